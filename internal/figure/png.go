package figure

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"math"

	"footrule/internal/canvas"

	"github.com/paulmach/orb"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// haloWidth is the width of a halo as a share of the text's size.
const haloWidth = 0.28

// mostPixels bounds a picture: more serves no reader.
const mostPixels = 64_000_000

// PNG gives the picture as a PNG of scale pixels a unit.
func (f *Figure) PNG(scale float64) ([]byte, error) {
	w, h := int(math.Ceil(f.W*scale)), int(math.Ceil(f.H*scale))
	if w < 1 || h < 1 || w*h > mostPixels {
		return nil, fmt.Errorf("a picture of %d by %d pixels; at most %d altogether can be drawn", w, h, mostPixels)
	}
	p := &painter{scale: scale, img: image.NewRGBA(image.Rect(0, 0, w, h)), ras: vector.NewRasterizer(0, 0)}
	draw.Draw(p.img, p.img.Bounds(), image.NewUniform(rgba(f.Paper)), image.Point{}, draw.Src)
	for i := range f.shapes {
		if err := p.shape(&f.shapes[i]); err != nil {
			return nil, err
		}
	}
	var b bytes.Buffer
	if err := png.Encode(&b, p.img); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

type painter struct {
	scale float64
	img   *image.RGBA
	ras   *vector.Rasterizer
	added []orb.Ring // in pixels, to be painted together
}

func rgba(c canvas.Color) color.RGBA {
	r, g, b := c.RGB()
	return color.RGBA{r, g, b, 255}
}

func (p *painter) shape(s *shape) error {
	switch {
	case s.text != "":
		return p.text(s)
	case s.rect != nil && s.style.Crisp && s.style.Stroke.IsDefault():
		px := func(v float64) int { return int(math.Round(v * p.scale)) }
		r := image.Rect(px(s.rect.Min[0]), px(s.rect.Min[1]), px(s.rect.Max[0]), px(s.rect.Max[1]))
		draw.Draw(p.img, r, image.NewUniform(rgba(s.style.Fill)), image.Point{}, draw.Src)
	case s.rect != nil:
		b := s.rect
		p.rings([]orb.Ring{{b.Min, {b.Max[0], b.Min[1]}, b.Max, {b.Min[0], b.Max[1]}}}, s.style)
	case s.rings != nil:
		p.rings(s.rings, s.style)
	case s.line != nil:
		if !s.style.Stroke.IsDefault() {
			p.stroke(s.line, false, s.style)
			p.paint(s.style.Stroke)
		}
	default:
		p.rings([]orb.Ring{circle(s.at, s.r)}, s.style)
	}
	return nil
}

func circle(at orb.Point, r float64) orb.Ring {
	out := make(orb.Ring, 48)
	for i := range out {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(len(out)))
		out[i] = orb.Point{at[0] + r*cos, at[1] + r*sin}
	}
	return out
}

// rings fills and strokes. The rasterizer adds up signed areas: holes turn the
// other way, and what encloses them this way.
func (p *painter) rings(rings []orb.Ring, s Style) {
	if !s.Fill.IsDefault() {
		for i, r := range rings {
			depth := 0
			for j, q := range rings {
				if i != j && within(q, r[0]) {
					depth++
				}
			}
			if (turn(r) > 0) == (depth%2 == 0) {
				p.add(r)
			} else {
				p.add(reversed(r))
			}
		}
		p.paint(s.Fill)
	}
	if !s.Stroke.IsDefault() {
		for _, r := range rings {
			p.stroke(r, true, s)
		}
		p.paint(s.Stroke)
	}
}

func within(r orb.Ring, p orb.Point) bool {
	in := false
	for i, a := range r {
		b := r[(i+1)%len(r)]
		if (a[1] > p[1]) != (b[1] > p[1]) && p[0] < a[0]+(p[1]-a[1])/(b[1]-a[1])*(b[0]-a[0]) {
			in = !in
		}
	}
	return in
}

func turn(r orb.Ring) float64 {
	sum := 0.0
	for i, a := range r {
		b := r[(i+1)%len(r)]
		sum += a[0]*b[1] - a[1]*b[0]
	}
	return sum
}

func reversed(r orb.Ring) orb.Ring {
	out := make(orb.Ring, len(r))
	for i, q := range r {
		out[len(r)-1-i] = q
	}
	return out
}

func (p *painter) add(r orb.Ring) {
	out := make(orb.Ring, len(r))
	for i, q := range r {
		out[i] = orb.Point{q[0] * p.scale, q[1] * p.scale}
	}
	p.added = append(p.added, out)
}

// stroke adds a line as quadrangles with round joints, all turning one way.
func (p *painter) stroke(pts []orb.Point, closed bool, s Style) {
	w := s.Width / 2
	one := func(r orb.Ring) {
		if turn(r) < 0 {
			r = reversed(r)
		}
		p.add(r)
	}
	n := len(pts) - 1
	if closed {
		n++
	}
	for i := range n {
		a, b := pts[i], pts[(i+1)%len(pts)]
		dx, dy := b[0]-a[0], b[1]-a[1]
		l := math.Hypot(dx, dy)
		if l == 0 {
			continue
		}
		x, y := -dy/l*w, dx/l*w
		one(orb.Ring{{a[0] + x, a[1] + y}, {b[0] + x, b[1] + y}, {b[0] - x, b[1] - y}, {a[0] - x, a[1] - y}})
	}
	for _, q := range pts {
		one(circle(q, w))
	}
}

// paint fills what was added, within the pixels that it touches.
func (p *painter) paint(c canvas.Color) {
	defer func() { p.added = p.added[:0] }()
	if len(p.added) == 0 {
		return
	}
	b := p.added[0].Bound()
	for _, r := range p.added {
		b = b.Union(r.Bound())
	}
	box := image.Rect(int(math.Floor(b.Min[0])), int(math.Floor(b.Min[1])), int(math.Ceil(b.Max[0])), int(math.Ceil(b.Max[1]))).Intersect(p.img.Bounds())
	if box.Empty() {
		return
	}
	p.ras.Reset(box.Dx(), box.Dy())
	for _, r := range p.added {
		for i, q := range r {
			x, y := float32(q[0]-float64(box.Min.X)), float32(q[1]-float64(box.Min.Y))
			if i == 0 {
				p.ras.MoveTo(x, y)
			} else {
				p.ras.LineTo(x, y)
			}
		}
		p.ras.ClosePath()
	}
	p.ras.Draw(p.img, box, image.NewUniform(rgba(c)), image.Point{})
}

var goFonts = func() (f [2]*opentype.Font) {
	for i, data := range [][]byte{goregular.TTF, gobold.TTF} {
		var err error
		if f[i], err = opentype.Parse(data); err != nil {
			panic(err) // the font is part of the library
		}
	}
	return f
}()

func face(size float64, bold bool) (font.Face, error) {
	f := goFonts[0]
	if bold {
		f = goFonts[1]
	}
	return opentype.NewFace(f, &opentype.FaceOptions{Size: size, DPI: 72, Hinting: font.HintingNone})
}

// TextWidth measures a line in the Go fonts, in units.
func TextWidth(s string, size float64, bold bool) float64 {
	f, err := face(100, bold)
	if err != nil {
		panic(err) // sizes above 0 are faces
	}
	return float64(font.MeasureString(f, canvas.Clean(s))) / 64 * size / 100
}

func (p *painter) text(s *shape) error {
	f, err := face(s.set.Size*p.scale, s.set.Bold)
	if err != nil {
		return err
	}
	defer f.Close()
	x, y := s.at[0]*p.scale, s.at[1]*p.scale
	switch w := float64(font.MeasureString(f, s.text)) / 64; s.set.Anchor {
	case Middle:
		x -= w / 2
	case End:
		x -= w
	}
	d := font.Drawer{Dst: p.img, Face: f}
	at := func(dx, dy float64, c canvas.Color) {
		d.Src = image.NewUniform(rgba(c))
		d.Dot = fixed.Point26_6{X: fixed.Int26_6(math.Round((x + dx) * 64)), Y: fixed.Int26_6(math.Round((y + dy) * 64))}
		d.DrawString(s.text)
	}
	if !s.set.Halo.IsDefault() {
		r := s.set.Size * p.scale * haloWidth / 2
		for i := range 12 {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / 12)
			at(r*cos, r*sin, s.set.Halo)
		}
	}
	at(0, 0, s.set.Color)
	return nil
}
