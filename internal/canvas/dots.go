package canvas

import "math"

// Glyphs says which characters stand for fine drawing.
type Glyphs uint8

// Braille has 2×4 dots a cell, Blocks 2×2, ASCII one character a cell.
const (
	Braille Glyphs = iota
	Blocks
	ASCII
)

// Dots is a picture of 2×4 dots a cell, dot 0, 0 at the upper left.
type Dots struct {
	w, h int // cells
	bits []uint8
	dirs []uint8 // directions of the lines that cross a cell
}

const (
	dirH = 1 << iota
	dirV
	dirUp   // as a slash
	dirDown // as a backslash
)

// NewDots gives an empty picture of w by h cells.
func NewDots(w, h int) *Dots {
	w, h = max(0, w), max(0, h)
	return &Dots{w: w, h: h, bits: make([]uint8, w*h), dirs: make([]uint8, w*h)}
}

// brailleBit is the bit of the dot at column x, row y of a cell (Unicode
// 16.0, chapter 21.1: dots 1 2 3 7 go down the left, 4 5 6 8 down the right).
var brailleBit = [4][2]uint8{{0x01, 0x08}, {0x02, 0x10}, {0x04, 0x20}, {0x40, 0x80}}

// Dot sets the dot at x, y.
func (d *Dots) Dot(x, y int) { d.set(x, y, 0) }

func (d *Dots) set(x, y int, dir uint8) {
	if x < 0 || y < 0 || x >= 2*d.w || y >= 4*d.h {
		return
	}
	i := y/4*d.w + x/2
	d.bits[i] |= brailleBit[y%4][x%2]
	d.dirs[i] |= dir
}

// Line sets the dots from x0, y0 to x1, y1, both included. Coordinates are in
// dots and may lie far outside; a line with an infinite or undefined end draws nothing.
func (d *Dots) Line(x0, y0, x1, y1 float64) { d.Dashes(x0, y0, x1, y1, 1, 0, 0) }

// Dashes draws a line that is on dots long, then off dots missing, and so on,
// from phase dots into the pattern. It gives the phase at its end, for the
// next piece of a polyline. on below 1 draws nothing.
func (d *Dots) Dashes(x0, y0, x1, y1 float64, on, off, phase int) int {
	steps := math.Max(math.Abs(x1-x0), math.Abs(y1-y0))
	if math.IsNaN(steps) || math.IsInf(steps, 0) || on < 1 || off < 0 {
		return phase
	}
	n := math.Max(1, math.Ceil(steps))
	var dir uint8
	// A dot is as high as wide (a cell is 1:2 and has 2×4), so slopes are true.
	switch dx, dy := math.Abs(x1-x0), math.Abs(y1-y0); {
	case dy <= dx*math.Tan(math.Pi/8):
		dir = dirH
	case dx <= dy*math.Tan(math.Pi/8):
		dir = dirV
	case (x1 > x0) == (y1 > y0):
		dir = dirDown
	default:
		dir = dirUp
	}
	t0, t1, ok := clip(x0, y0, x1-x0, y1-y0, float64(2*d.w), float64(4*d.h))
	period := float64(on + off)
	if ok {
		for k := math.Floor(t0 * n); k <= math.Ceil(t1*n); k++ {
			t := k / n
			if math.Mod(k+float64(phase), period) >= float64(on) {
				continue
			}
			x, y := math.Floor(x0+t*(x1-x0)+dotSlack), math.Floor(y0+t*(y1-y0)+dotSlack)
			if x >= 0 && y >= 0 && x < float64(2*d.w) && y < float64(4*d.h) {
				d.set(int(x), int(y), dir)
			}
		}
	}
	return int(math.Mod(n+float64(phase), period))
}

// dotSlack keeps rounding from deciding where a line runs exactly along the edge
// between two dots; far above double precision at any size, far below a dot.
const dotSlack = 1e-6

// clip gives the part [t0, t1] of [0, 1] in which the point (x, y) + t (dx, dy)
// is within [0, w] × [0, h] (Liang and Barsky 1984).
func clip(x, y, dx, dy, w, h float64) (t0, t1 float64, ok bool) {
	t1 = 1
	for _, e := range [...][2]float64{{-dx, x}, {dx, w - x}, {-dy, y}, {dy, h - y}} {
		switch p, q := e[0], e[1]; {
		case p == 0 && q < 0:
			return 0, 0, false
		case p < 0:
			t0 = math.Max(t0, q/p)
		case p > 0:
			t1 = math.Min(t1, q/p)
		}
	}
	return t0, t1, t0 <= t1
}

// quadrant gives the character for the quarters of a cell that are set: 1 upper
// left, 2 upper right, 4 lower left, 8 lower right.
var quadrant = [16]rune{' ', '▘', '▝', '▀', '▖', '▌', '▞', '▛', '▗', '▚', '▐', '▜', '▄', '▙', '▟', '█'}

// asciiLine gives the character for the directions that cross a cell.
func asciiLine(dirs uint8) rune {
	switch dirs {
	case 0:
		return '.'
	case dirH:
		return '-'
	case dirV:
		return '|'
	case dirUp:
		return '/'
	case dirDown:
		return '\\'
	}
	return '+'
}

// Draw puts the dots on c with their upper left at x, y. Braille joins Braille
// that is there already and takes its look over; other characters are replaced.
func (d *Dots) Draw(c *Canvas, x, y int, g Glyphs, l Look) {
	for j := range d.h {
		for i := range d.w {
			b := d.bits[j*d.w+i]
			if b == 0 {
				continue
			}
			var r rune
			switch g {
			case Braille:
				if old := c.At(x+i, y+j).Rune; old > 0x2800 && old <= 0x28ff {
					b |= uint8(old - 0x2800)
				}
				r = 0x2800 + rune(b)
			case Blocks:
				q := 0
				for k, m := range [4]uint8{0x01 | 0x02, 0x08 | 0x10, 0x04 | 0x40, 0x20 | 0x80} {
					if b&m != 0 {
						q |= 1 << k
					}
				}
				r = quadrant[q]
			default:
				r = asciiLine(d.dirs[j*d.w+i])
			}
			c.Set(x+i, y+j, r, l)
		}
	}
}
