package report

import (
	"fmt"

	"footrule/internal/canvas"
	"footrule/internal/figure"

	"github.com/paulmach/orb"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	i26 "golang.org/x/image/math/fixed"
)

// measurePicture gives the caption of a figure that is about to be set, the room for
// it, and how large the figure becomes.
func (w *page) measurePicture(p Picture) (caption string, above, scale float64) {
	caption = fmt.Sprintf("Figure %d. %s", w.figure+1, p.Caption)
	w.letters("", bodySize, inkColour)
	above = float64(len(w.lines(caption, w.width)))*line(bodySize) + 2
	most := float64(mostWide)
	if p.tall() {
		most = mostTall
	}
	most = min(most, w.bottom-marginTop-above)
	return caption, above, min(w.width/p.Figure.W, most/p.Figure.H)
}

// pictureOf sets a figure with its caption above; what it shows is said in its
// alternative text.
func (w *page) pictureOf(p Picture) {
	caption, above, scale := w.measurePicture(p)
	w.figure++
	w.space(2)
	high := p.Figure.H * scale
	w.need(above + high)
	w.say("P", caption, bodySize, "", inkColour, 0)
	x := w.left + (w.width-p.Figure.W*scale)/2
	_, ph := w.GetPageSize()
	box := fmt.Sprintf("/A <</O /Layout /Placement /Block /BBox [%.2f %.2f %.2f %.2f]>> ",
		x/mmOfPoint, (ph-w.y-high)/mmOfPoint, (x+p.Figure.W*scale)/mmOfPoint, (ph-w.y)/mmOfPoint)
	w.in("Figure", box+"/Alt "+textString(canvas.Clean(p.Figure.Desc))+" ", func() {
		w.ink()
		p.Figure.Draw(&pen{w, x, w.y, scale})
	})
	w.y += high + 4
}

// pen draws a figure on a page: a unit of it is scale mm.
type pen struct {
	w           *page
	x, y, scale float64
}

func (p *pen) at(q orb.Point) (x, y float64) { return p.x + q[0]*p.scale, p.y + q[1]*p.scale }

// style sets the colours and gives the operator: F fills, D strokes.
func (p *pen) style(s figure.Style) string {
	op := ""
	if !s.Fill.IsDefault() {
		r, g, b := s.Fill.RGB()
		p.w.SetFillColor(int(r), int(g), int(b))
		op = "F"
	}
	if !s.Stroke.IsDefault() {
		r, g, b := s.Stroke.RGB()
		p.w.SetDrawColor(int(r), int(g), int(b))
		p.w.SetLineWidth(s.Width * p.scale)
		op += "D"
	}
	return op
}

func (p *pen) Rect(b orb.Bound, s figure.Style) {
	op := p.style(s)
	if op == "" {
		return
	}
	lap := 0.0
	if s.Crisp {
		lap = seam
	}
	x, y := p.at(b.Min)
	p.w.Rect(x-lap, y-lap, (b.Max[0]-b.Min[0])*p.scale+2*lap, (b.Max[1]-b.Min[1])*p.scale+2*lap, op)
}

// seam is how far, in mm, cells reach over their neighbours: where they only meet,
// screens show a light line between.
const seam = 0.04

func (p *pen) Polygon(s figure.Style, rings ...orb.Ring) {
	op := p.style(s)
	if op == "" {
		return
	}
	for _, r := range rings {
		p.path(r)
		p.w.ClosePath()
	}
	p.w.DrawPath(map[string]string{"F": "F*", "D": "D", "FD": "FD*"}[op])
}

func (p *pen) path(pts []orb.Point) {
	for i, q := range pts {
		if x, y := p.at(q); i == 0 {
			p.w.MoveTo(x, y)
		} else {
			p.w.LineTo(x, y)
		}
	}
}

func (p *pen) Line(s figure.Style, pts ...orb.Point) {
	s.Fill = canvas.Default
	if op := p.style(s); op != "" && len(pts) > 1 {
		p.path(pts)
		p.w.DrawPath(op)
	}
}

func (p *pen) Circle(at orb.Point, r float64, s figure.Style) {
	if op := p.style(s); op != "" {
		x, y := p.at(at)
		p.w.Circle(x, y, r*p.scale, op)
	}
}

func (p *pen) Text(at orb.Point, text string, t figure.TextStyle) {
	style := ""
	if t.Bold {
		style = "B"
	}
	text = settable(text)
	r, g, b := t.Color.RGB()
	p.w.letters(style, t.Size*p.scale/mmOfPoint, fmt.Sprintf("#%02x%02x%02x", r, g, b))
	x, y := p.at(at)
	switch wide := p.w.GetStringWidth(text); t.Anchor {
	case figure.Middle:
		x -= wide / 2
	case figure.End:
		x -= wide
	}
	if !t.Halo.IsDefault() {
		p.halo(x, y, text, t)
	}
	p.w.Text(x, y, text)
}

// haloWidth is the width of a halo as a share of the letters' size.
const haloWidth = 0.28

// halo strokes the outlines of letters; as a second text they would be copied twice.
func (p *pen) halo(x, y float64, text string, t figure.TextStyle) {
	size := t.Size * p.scale
	p.style(figure.Style{Stroke: t.Halo, Width: t.Size * haloWidth})
	f := faces[0]
	if t.Bold {
		f = faces[1]
	}
	var buf sfnt.Buffer
	const em = 1000
	unit := func(v i26.Int26_6) float64 { return float64(v) / 64 / em * size }
	for _, r := range text {
		i, err := f.GlyphIndex(&buf, r)
		if err != nil {
			continue
		}
		at := func(q i26.Point26_6) (float64, float64) { return x + unit(q.X), y + unit(q.Y) }
		segments, err := f.LoadGlyph(&buf, i, i26.I(em), nil)
		if err != nil {
			continue
		}
		var px, py float64
		for _, s := range segments {
			ax, ay := at(s.Args[0])
			switch s.Op {
			case sfnt.SegmentOpMoveTo:
				p.w.MoveTo(ax, ay)
				px, py = ax, ay
			case sfnt.SegmentOpLineTo:
				p.w.LineTo(ax, ay)
				px, py = ax, ay
			case sfnt.SegmentOpQuadTo:
				bx, by := at(s.Args[1])
				p.w.CurveBezierCubicTo(px+(ax-px)*2/3, py+(ay-py)*2/3, bx+(ax-bx)*2/3, by+(ay-by)*2/3, bx, by)
				px, py = bx, by
			case sfnt.SegmentOpCubeTo:
				bx, by := at(s.Args[1])
				px, py = at(s.Args[2])
				p.w.CurveBezierCubicTo(ax, ay, bx, by, px, py)
			}
		}
		if len(segments) > 0 {
			p.w.DrawPath("D")
		}
		if adv, err := f.GlyphAdvance(&buf, i, i26.I(em), font.HintingNone); err == nil {
			x += unit(adv)
		}
	}
}

// faces are the Go fonts, regular and bold.
var faces = func() (f [2]*sfnt.Font) {
	for i, data := range [][]byte{goregular.TTF, gobold.TTF} {
		var err error
		if f[i], err = sfnt.Parse(data); err != nil {
			panic(err) // the font is part of the library
		}
	}
	return f
}()

// lackingBox stands for what the font lacks.
const lackingBox = '□'

// settable cleans a text and puts a box for each letter that the font lacks.
func settable(s string) string {
	out := []rune(canvas.Clean(s))
	for i, r := range out {
		if !has(r) {
			out[i] = lackingBox
		}
	}
	return string(out)
}

func has(r rune) bool {
	var buf sfnt.Buffer
	i, err := faces[0].GlyphIndex(&buf, r)
	return err == nil && i != 0
}

// Lacking gives the letters of the document that a PDF can't show, each once, since
// its font lacks them.
func (d *Document) Lacking() string {
	var out []rune
	seen := map[rune]bool{}
	look := func(list ...string) {
		for _, s := range list {
			for _, r := range canvas.Clean(s) {
				if !seen[r] && !has(r) {
					out = append(out, r)
				}
				seen[r] = true
			}
		}
	}
	look(d.Title, d.Subtitle)
	for _, f := range d.Facts {
		look(f.Name, f.Value)
	}
	for _, b := range d.Blocks {
		switch b := b.(type) {
		case Heading:
			look(b.Text)
		case Text:
			look(b.Say)
		case List:
			look(b.Items...)
		case Table:
			look(b.Caption)
			for _, c := range b.Columns {
				look(c.Head)
			}
			for _, r := range b.Rows {
				look(r...)
			}
		case Picture:
			look(b.Caption)
			b.Figure.Draw(&reader{func(s string) { look(s) }})
		}
	}
	return string(out)
}

// reader is a pen that only reads what it is to write.
type reader struct{ read func(string) }

func (*reader) Rect(orb.Bound, figure.Style)                     {}
func (*reader) Polygon(figure.Style, ...orb.Ring)                {}
func (*reader) Line(figure.Style, ...orb.Point)                  {}
func (*reader) Circle(orb.Point, float64, figure.Style)          {}
func (r *reader) Text(_ orb.Point, s string, _ figure.TextStyle) { r.read(s) }
