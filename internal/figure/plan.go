package figure

import (
	"fmt"
	"math"
	"strings"

	"footrule/internal/canvas"

	"github.com/paulmach/orb"
)

// Plan is a floor plan in metres, x to the right and y up.
type Plan struct {
	Title, Subtitle string
	Outline         orb.Ring
	Voids           []orb.Ring
	Walls           []orb.LineString
	Cells           []Cell
	Attention       [][2]orb.Point // lines in the accent, such as the edges of holes
	Marks           []Mark
	Legend          Legend
	Arrows          []Arrow
	Notes           []string // below the plan: what it rests on

	// Inset draws for a column of text: narrower, with the legend below, and without
	// title, subtitle and notes, which the text says.
	Inset bool
	Desc  string // for who can't see it

	Unnamed int // of the marks of points, how many had no room for their text; counted when it is drawn
}

// Arrow points from one place to another.
type Arrow struct {
	From, To orb.Point
}

// Cell is a rectangle in a step of [canvas.Ramp]; below 0 it is left white.
type Cell struct {
	Box  orb.Bound
	Step int
}

// MarkKind says what stands at a place.
type MarkKind uint8

// The kinds of marks: an access point that hangs there, one to be added, one that
// moves, a place that is only labelled, a place where somebody stood, one where
// nobody did yet, and one to look at.
const (
	AccessPoint MarkKind = iota
	AddedAccessPoint
	MovedAccessPoint
	Label
	Stood
	NotYet
	Remark
)

// Mark is something at a place.
type Mark struct {
	Kind MarkKind
	At   orb.Point
	Text string
	From orb.Point // of MovedAccessPoint, where it hangs now
}

// Legend says what the colours mean.
type Legend struct {
	Title   string
	Entries []Entry
}

// Entry is one colour. Step −1 is white, Attention a line in the accent, Added the
// mark of an access point to be added, Pointed an arrow, and [OfMark] gives the step
// of any mark.
type Entry struct {
	Step int
	Text string
}

// Steps of entries that are no step of the ramp.
const (
	Attention = 100 + iota
	Added
	Pointed
	ofMark // and those above
)

// OfMark is the step of an entry that shows a mark.
func OfMark(k MarkKind) int { return ofMark + int(k) }

// The page, in units.
const (
	pageWidth  = 960.0
	margin     = 24.0
	titleSize  = 20.0
	textSize   = 12.0
	legendRoom = 190.0
	mostTall   = 1400.0 // of the plan itself
	insetWidth = 680.0
	insetTall  = 760.0
)

// Colours besides the ramp: ink and grey on white paper, and one accent, orange,
// which no kind of colour blindness confuses with the blue of the ramp.
var (
	paper  = canvas.Hex(0xffffff)
	ink    = canvas.Hex(0x1b1f23)
	grey   = canvas.Hex(0x6b737a)
	pale   = canvas.Hex(0xe4e6e8)
	accent = canvas.Hex(0xc9731a)

	arrowBlue = canvas.Ramp(canvas.Steps - 3)
)

// Figure draws the plan on a page 960 units wide, or 680 where it is [Plan.Inset].
func (p *Plan) Figure() *Figure {
	box := p.Outline.Bound()
	for _, m := range p.Marks { // an access point may hang next door
		if m.Kind != Label {
			box = box.Extend(m.At)
		}
	}
	for _, a := range p.Arrows {
		box = box.Extend(a.From).Extend(a.To)
	}
	w, h := max(box.Max[0]-box.Min[0], 0.1), max(box.Max[1]-box.Min[1], 0.1)
	f := &Figure{W: pageWidth, Title: p.Title, Desc: p.Desc, Paper: paper}
	x0, y0 := margin, margin+titleSize+14
	if p.Subtitle != "" {
		y0 += textSize + 6
	}
	scale := min((pageWidth-2*margin-legendRoom)/w, mostTall/h)
	if p.Inset {
		f.W, x0, y0 = insetWidth, 10, 22
		scale = min((insetWidth-2*x0)/w, insetTall/h)
		x0 = (insetWidth - w*scale) / 2
	}
	at := func(q orb.Point) orb.Point {
		return orb.Point{x0 + (q[0]-box.Min[0])*scale, y0 + (box.Max[1]-q[1])*scale}
	}
	p.floor(f, at)
	bottom := y0 + h*scale
	if p.Inset {
		scaleBar(f, x0, bottom+16, scale)
		f.H = math.Ceil(p.legendBelow(f, bottom+34) + 6)
		return f
	}
	legendBottom := y0 + float64(len(p.Legend.Entries))*20 + 24
	below := max(bottom, legendBottom) + 40
	var notes []string
	for _, n := range p.Notes {
		notes = append(notes, wrap(n, pageWidth-2*margin, textSize)...)
	}
	f.H = math.Ceil(below + float64(len(notes))*(textSize+5) + margin)
	f.Text(orb.Point{margin, margin + titleSize}, p.Title, TextStyle{Size: titleSize, Bold: true, Color: ink})
	if p.Subtitle != "" {
		f.Text(orb.Point{margin, margin + titleSize + textSize + 8}, p.Subtitle, TextStyle{Size: textSize, Color: grey})
	}
	p.legend(f, y0)
	scaleBar(f, x0, max(bottom, legendBottom)+18, scale)
	for i, n := range notes {
		f.Text(orb.Point{margin, below + float64(i+1)*(textSize+5)}, n, TextStyle{Size: textSize, Color: grey})
	}
	return f
}

// floor draws the plan itself.
func (p *Plan) floor(f *Figure, at func(orb.Point) orb.Point) {
	p.cells(f, at)
	ring := func(r []orb.Point) orb.Ring {
		out := make(orb.Ring, len(r))
		for i, q := range r {
			out[i] = at(q)
		}
		return out
	}
	// Cells that an edge cuts reach beyond it: paper covers that.
	outline := ring(p.Outline)
	b := outline.Bound()
	pad := 4.0
	for _, c := range p.Cells {
		b = b.Union(orb.Bound{Min: at(c.Box.Min), Max: at(c.Box.Min)}.Extend(at(c.Box.Max)))
	}
	f.Polygon(Style{Fill: paper}, orb.Ring{{b.Min[0] - pad, b.Min[1] - pad}, {b.Max[0] + pad, b.Min[1] - pad}, {b.Max[0] + pad, b.Max[1] + pad}, {b.Min[0] - pad, b.Max[1] + pad}}, outline)
	for _, v := range p.Voids {
		r := ring(v)
		f.Polygon(Style{Fill: pale, Stroke: grey, Width: 0.8}, r)
		v := r.Bound()
		f.Line(Style{Stroke: grey, Width: 0.5}, v.Min, v.Max)
	}
	for _, l := range p.Attention {
		f.Line(Style{Stroke: accent, Width: 2}, at(l[0]), at(l[1]))
	}
	for _, l := range p.Walls { // with light beside them, to be seen on dark steps
		f.Line(Style{Stroke: paper, Width: 3.4}, ring(l)...)
	}
	for _, l := range p.Walls {
		f.Line(Style{Stroke: ink, Width: 1.6}, ring(l)...)
	}
	f.Polygon(Style{Stroke: ink, Width: 2.2}, outline)
	for _, a := range p.Arrows {
		arrow(f, at(a.From), at(a.To))
	}
	p.marks(f, at)
}

// cells draws runs of cells of one step in a row as one rectangle.
func (p *Plan) cells(f *Figure, at func(orb.Point) orb.Point) {
	for i := 0; i < len(p.Cells); {
		c := p.Cells[i]
		j := i + 1
		for j < len(p.Cells) && p.Cells[j].Step == c.Step && p.Cells[j].Box.Min[1] == c.Box.Min[1] && math.Abs(p.Cells[j].Box.Min[0]-c.Box.Max[0]) < 1e-6 {
			c.Box.Max[0] = p.Cells[j].Box.Max[0]
			j++
		}
		i = j
		if c.Step < 0 {
			continue
		}
		a, b := at(c.Box.Min), at(c.Box.Max)
		f.Rect(orb.Bound{Min: orb.Point{a[0], b[1]}, Max: orb.Point{b[0], a[1]}}, Style{Fill: canvas.Ramp(c.Step), Crisp: true})
	}
}

func (p *Plan) marks(f *Figure, at func(orb.Point) orb.Point) {
	for _, m := range p.Marks {
		q := at(m.At)
		if m.Kind == MovedAccessPoint {
			f.Line(Style{Stroke: accent, Width: 1.6}, at(m.From), q)
			f.Circle(at(m.From), 3, Style{Fill: paper, Stroke: accent, Width: 1.6})
		}
		m.Kind.draw(f, q)
	}
	for i, l := range p.labels(f, at) {
		if l != nil {
			f.Text(l.at, p.Marks[i].Text, l.set)
		}
	}
}

const markRadius, dotRadius = 5.5, 2.6

// draw draws what stands for a kind of mark.
func (k MarkKind) draw(f *Figure, q orb.Point) {
	switch k {
	case AccessPoint:
		f.Circle(q, markRadius, Style{Fill: paper, Stroke: ink, Width: 1.8})
		f.Circle(q, 1.8, Style{Fill: ink})
	case AddedAccessPoint, MovedAccessPoint:
		added(f, q, markRadius+2)
	case Stood:
		f.Circle(q, dotRadius, Style{Fill: ink, Stroke: paper, Width: 0.8})
	case NotYet:
		f.Circle(q, dotRadius, Style{Fill: paper, Stroke: ink, Width: 1})
	case Remark:
		f.Circle(q, 6, Style{Stroke: accent, Width: 2})
	}
}

// arrow draws a line with a head.
func arrow(f *Figure, a, b orb.Point) {
	l := math.Hypot(b[0]-a[0], b[1]-a[1])
	if l == 0 {
		return
	}
	f.Line(Style{Stroke: arrowBlue, Width: 1.1}, a, b)
	head := min(5, l/2)
	x, y := (b[0]-a[0])/l*head, (b[1]-a[1])/l*head
	f.Polygon(Style{Fill: arrowBlue}, orb.Ring{b, {b[0] - x - y/2.2, b[1] - y + x/2.2}, {b[0] - x + y/2.2, b[1] - y - x/2.2}})
}

// added draws the mark of an access point to be added.
func added(f *Figure, q orb.Point, r float64) {
	f.Polygon(Style{Fill: accent, Stroke: ink, Width: 1.2}, orb.Ring{{q[0], q[1] - r}, {q[0] + r, q[1]}, {q[0], q[1] + r}, {q[0] - r, q[1]}})
}

func (p *Plan) legend(f *Figure, y float64) {
	x := pageWidth - margin - legendRoom + 20
	f.Text(orb.Point{x, y + textSize}, p.Legend.Title, TextStyle{Size: textSize, Bold: true, Color: ink})
	for i, e := range p.Legend.Entries {
		e.draw(f, x, y+22+float64(i)*20)
	}
}

// legendBelow sets the legend in lines from y down and gives where it ends.
func (p *Plan) legendBelow(f *Figure, y float64) float64 {
	x := 10.0
	if p.Legend.Title != "" {
		f.Text(orb.Point{x, y + 11.5}, p.Legend.Title, TextStyle{Size: textSize, Bold: true, Color: ink})
		x += TextWidth(p.Legend.Title, textSize, true)*1.15 + 14
	}
	for _, e := range p.Legend.Entries {
		w := 28 + TextWidth(e.Text, textSize, false)*1.12 // other fonts are wider
		if x > 10 && x+w > insetWidth-10 {
			x, y = 10, y+20
		}
		e.draw(f, x, y)
		x += w + 14
	}
	return y + 18
}

// draw draws an entry with its upper left at x, top.
func (e *Entry) draw(f *Figure, x, top float64) {
	box := orb.Bound{Min: orb.Point{x, top}, Max: orb.Point{x + 22, top + 14}}
	switch {
	case e.Step >= ofMark:
		MarkKind(e.Step-ofMark).draw(f, orb.Point{x + 11, top + 7})
	case e.Step == Pointed:
		arrow(f, orb.Point{x, top + 7}, orb.Point{x + 22, top + 7})
	case e.Step == Attention:
		f.Line(Style{Stroke: accent, Width: 2}, orb.Point{x, top + 7}, orb.Point{x + 22, top + 7})
	case e.Step == Added:
		added(f, orb.Point{x + 11, top + 7}, 7)
	case e.Step < 0:
		f.Rect(box, Style{Fill: paper, Stroke: grey, Width: 0.8})
	default:
		f.Rect(box, Style{Fill: canvas.Ramp(e.Step), Stroke: grey, Width: 0.8})
	}
	f.Text(orb.Point{x + 30, top + 11.5}, e.Text, TextStyle{Size: textSize, Color: ink})
}

// scaleBar draws a length of the form 1, 2 or 5 times a power of ten metres.
func scaleBar(f *Figure, x, y, scale float64) {
	length, _ := canvas.ScaleBar(1/scale, 220)
	if length <= 0 {
		return
	}
	w := length * scale
	s := Style{Stroke: ink, Width: 1.4}
	f.Line(s, orb.Point{x, y}, orb.Point{x + w, y})
	for _, t := range []float64{0, w / 2, w} {
		f.Line(s, orb.Point{x + t, y - 4}, orb.Point{x + t, y + 4})
	}
	f.Text(orb.Point{x + w + 8, y + 4}, fmt.Sprintf("%g m", length), TextStyle{Size: textSize, Color: ink})
}

// wrap breaks a text at blanks into lines of at most so many units.
func wrap(s string, width, size float64) []string {
	var out []string
	line := ""
	for _, word := range strings.Fields(s) {
		next := word
		if line != "" {
			next = line + " " + word
		}
		if line != "" && TextWidth(next, size, false) > width {
			out = append(out, line)
			next = word
		}
		line = next
	}
	if line != "" {
		out = append(out, line)
	}
	return out
}
