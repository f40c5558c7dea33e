package figure

import (
	"footrule/internal/canvas"

	"github.com/paulmach/orb"
)

// label is the text of a mark that has a place.
type label struct {
	at  orb.Point // middle of its base line
	set TextStyle
}

// labels finds places for the texts of marks, each near its mark and none over another
// where that can be had: those that matter most first. A point's text that finds no
// room is left out and counted in [Plan.Unnamed].
func (p *Plan) labels(f *Figure, at func(orb.Point) orb.Point) []*label {
	out := make([]*label, len(p.Marks))
	var taken []orb.Bound
	for i := range p.Marks { // what hangs or is looked for there must stay to be seen
		if k := p.Marks[i].Kind; k != Label && !k.point() {
			taken = append(taken, around(at(p.Marks[i].At), markRadius, markRadius))
		}
	}
	p.Unnamed = 0
	for _, points := range []bool{false, true} {
		for i := range p.Marks {
			m := &p.Marks[i]
			if m.Text == "" || m.Kind.point() != points {
				continue
			}
			out[i] = m.label(f.W, at(m.At), &taken)
			if out[i] == nil {
				p.Unnamed++
			}
		}
	}
	return out
}

// point says whether a mark is one of the many at which somebody stood or will.
func (k MarkKind) point() bool { return k == Stood || k == NotYet }

// wider is how much wider than the letters that room is measured in others may be.
const wider = 1.12

func (m *Mark) label(pageW float64, q orb.Point, taken *[]orb.Bound) *label {
	set := TextStyle{Size: textSize, Bold: true, Anchor: Middle, Color: ink, Halo: paper}
	gap := markRadius + 5
	switch {
	case m.Kind == Label:
		set.Size++
		gap = 0
	case m.Kind.point():
		set.Size, set.Bold, gap = textSize-2, false, 5
	case m.Kind == Remark:
		gap = 9
	}
	wide := max(TextWidth(m.Text, set.Size, set.Bold)*wider, float64(canvas.Width(m.Text))*set.Size/2) // what the font lacks is as wide as it is elsewhere
	half, high := wide/2, set.Size*0.75
	box := func(c orb.Point) orb.Bound { return around(orb.Point{c[0], c[1] - high/2}, half, high/2) }
	var first *orb.Bound
	for _, d := range []orb.Point{{0, -gap}, {0, gap + high}, {gap + half, high / 2}, {-gap - half, high / 2}} {
		c := orb.Point{q[0] + d[0], q[1] + d[1]}
		if gap == 0 { // it names the place itself
			c[1] += high / 2
		}
		c[0] = min(max(c[0], half+2), pageW-half-2)
		b := box(c)
		if first == nil {
			first = &b
		}
		if free(b, *taken) {
			*taken = append(*taken, b)
			return &label{c, set}
		}
	}
	if m.Kind.point() {
		return nil
	}
	*taken = append(*taken, *first)
	return &label{orb.Point{(first.Min[0] + first.Max[0]) / 2, first.Max[1]}, set}
}

func around(c orb.Point, dx, dy float64) orb.Bound {
	return orb.Bound{Min: orb.Point{c[0] - dx, c[1] - dy}, Max: orb.Point{c[0] + dx, c[1] + dy}}
}

func free(b orb.Bound, taken []orb.Bound) bool {
	for _, t := range taken {
		if b.Intersects(t) {
			return false
		}
	}
	return true
}
