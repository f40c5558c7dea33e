package figure

import (
	"footrule/internal/canvas"

	"github.com/paulmach/orb"
)

// Style is how a shape is drawn. Default for Fill or Stroke leaves it out.
type Style struct {
	Fill, Stroke canvas.Color
	Width        float64 // of the stroke, in units of the page
	Crisp        bool    // edges fall on whole pixels: neighbours meet without a seam
}

// Anchor says which end of a text stands at its place.
type Anchor uint8

// The anchors.
const (
	Start Anchor = iota
	Middle
	End
)

// TextStyle is how a text is set; At is on its base line.
type TextStyle struct {
	Size   float64
	Bold   bool
	Anchor Anchor
	Color  canvas.Color
	Halo   canvas.Color // around the letters, so that they can be read on anything; Default for none
}

// Figure is a page of W by H units, x to the right and y down. What is drawn later
// lies on top. A unit is a pixel of a screen, or of a PNG at scale 1.
type Figure struct {
	W, H   float64
	Title  string // said by readers of screens
	Desc   string // what can be seen, for who can't see it; said by them too
	Paper  canvas.Color
	shapes []shape
}

// Pen is what a figure is drawn with: a [Figure] is one, and so is whatever else
// takes shapes on a page of the same units.
type Pen interface {
	Rect(orb.Bound, Style)
	Polygon(Style, ...orb.Ring)
	Line(Style, ...orb.Point)
	Circle(orb.Point, float64, Style)
	Text(orb.Point, string, TextStyle)
}

// Draw draws all shapes of the figure with another pen, in their order.
func (f *Figure) Draw(p Pen) {
	for i := range f.shapes {
		switch s := &f.shapes[i]; {
		case s.text != "":
			p.Text(s.at, s.text, s.set)
		case s.rect != nil:
			p.Rect(*s.rect, s.style)
		case s.rings != nil:
			p.Polygon(s.style, s.rings...)
		case s.line != nil:
			p.Line(s.style, s.line...)
		default:
			p.Circle(s.at, s.r, s.style)
		}
	}
}

type shape struct {
	rings []orb.Ring // filled by the even-odd rule; closed without repetition
	line  []orb.Point
	rect  *orb.Bound
	at    orb.Point // of circle and text
	r     float64   // of a circle
	text  string
	style Style
	set   TextStyle
}

// Rect draws a rectangle.
func (f *Figure) Rect(b orb.Bound, s Style) { f.shapes = append(f.shapes, shape{rect: &b, style: s}) }

// Polygon draws rings, filled by the even-odd rule, so that a ring within another
// is a hole.
func (f *Figure) Polygon(s Style, rings ...orb.Ring) {
	f.shapes = append(f.shapes, shape{rings: rings, style: s})
}

// Line draws a polyline.
func (f *Figure) Line(s Style, pts ...orb.Point) {
	f.shapes = append(f.shapes, shape{line: pts, style: s})
}

// Circle draws a circle.
func (f *Figure) Circle(at orb.Point, r float64, s Style) {
	f.shapes = append(f.shapes, shape{at: at, r: r, style: s})
}

// Text sets one line. What a terminal would obey in it is taken out.
func (f *Figure) Text(at orb.Point, s string, t TextStyle) {
	f.shapes = append(f.shapes, shape{at: at, text: canvas.Clean(s), set: t})
}
