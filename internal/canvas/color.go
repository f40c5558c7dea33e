package canvas

// Color is a colour of a cell: nothing ([Default]) or an sRGB triple, with an
// optional entry of the 16-colour palette to stand for it.
type Color uint32

// Default is the terminal's own colour.
const Default Color = 0

const (
	colorSet Color = 1 << 24
	color16  Color = 1 << 29
)

// RGB gives a colour from its sRGB components.
func RGB(r, g, b uint8) Color {
	return colorSet | Color(r)<<16 | Color(g)<<8 | Color(b)
}

// Hex gives the colour 0xRRGGBB.
func Hex(rgb uint32) Color { return colorSet | Color(rgb&0xffffff) }

// As16 says which of the 16 palette entries stands for c where there are no
// others; without it the nearest is taken.
func (c Color) As16(index uint8) Color {
	return c&^(15<<25) | color16 | Color(index&15)<<25
}

// IsDefault reports whether c leaves the terminal's own colour.
func (c Color) IsDefault() bool { return c&colorSet == 0 }

// RGB gives the components of c; they are zero for Default.
func (c Color) RGB() (r, g, b uint8) { return uint8(c >> 16), uint8(c >> 8), uint8(c) }

// Profile says how much colour a terminal has.
type Profile uint8

// The profiles. None writes characters alone, without any escape sequence.
const (
	None Profile = iota
	ANSI16
	ANSI256
	TrueColor
)

// Index256 gives the entry of the xterm palette (16 to 255: the 6×6×6 cube and
// the greys) nearest to c by squared distance in sRGB.
func (c Color) Index256() uint8 {
	r, g, b := c.RGB()
	cube := func(v uint8) (int, int) { // place on the axis and its value
		switch {
		case v < 48:
			return 0, 0
		case v < 115:
			return 1, 95
		}
		i := (int(v) - 35) / 40
		return i, 55 + 40*i
	}
	ri, rv := cube(r)
	gi, gv := cube(g)
	bi, bv := cube(b)
	grey := min(23, max(0, ((int(r)+int(g)+int(b))/3-3)/10))
	if y := 8 + 10*grey; dist(c, y, y, y) < dist(c, rv, gv, bv) {
		return uint8(232 + grey)
	}
	return uint8(16 + 36*ri + 6*gi + bi)
}

// palette16 is the palette of xterm; terminals let their users change it.
var palette16 = [16][3]int{
	{0, 0, 0}, {205, 0, 0}, {0, 205, 0}, {205, 205, 0}, {0, 0, 238}, {205, 0, 205}, {0, 205, 205}, {229, 229, 229},
	{127, 127, 127}, {255, 0, 0}, {0, 255, 0}, {255, 255, 0}, {92, 92, 255}, {255, 0, 255}, {0, 255, 255}, {255, 255, 255},
}

// Index16 gives the entry of the 16-colour palette that stands for c: the one
// named by [Color.As16], else the nearest in sRGB.
func (c Color) Index16() uint8 {
	if c&color16 != 0 {
		return uint8(c>>25) & 15
	}
	best, at := 1<<30, 0
	for i, p := range palette16 {
		if d := dist(c, p[0], p[1], p[2]); d < best {
			best, at = d, i
		}
	}
	return uint8(at)
}

func dist(c Color, r, g, b int) int {
	cr, cg, cb := c.RGB()
	dr, dg, db := int(cr)-r, int(cg)-g, int(cb)-b
	return dr*dr + dg*dg + db*db
}
