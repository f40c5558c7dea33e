package figure

import (
	"slices"

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
	var room room
	for i := range p.Marks {
		switch k := p.Marks[i].Kind; {
		case k.point():
			room.dots = append(room.dots, around(at(p.Marks[i].At), dotRadius, dotRadius))
		case k != Label:
			room.taken = append(room.taken, around(at(p.Marks[i].At), markRadius, markRadius))
		}
	}
	p.Unnamed = 0
	for _, points := range []bool{false, true} {
		for i := range p.Marks {
			m := &p.Marks[i]
			if m.Text == "" || m.Kind.point() != points {
				continue
			}
			out[i] = m.label(f.W, at(m.At), &room)
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

// room is where nothing more may stand, and where it had better not.
type room struct{ taken, dots []orb.Bound }

func (m *Mark) label(pageW float64, q orb.Point, r *room) *label {
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
	var places []orb.Point
	for _, d := range []orb.Point{{0, -gap}, {0, gap + high}, {gap + half, high / 2}, {-gap - half, high / 2}} {
		c := orb.Point{q[0] + d[0], q[1] + d[1]}
		if gap == 0 { // it names the place itself
			c[1] += high / 2
		}
		c[0] = min(max(c[0], half+2), pageW-half-2)
		places = append(places, c)
	}
	clear := func(c orb.Point) bool { return free(box(c), r.taken) && free(box(c), r.dots) }
	i := slices.IndexFunc(places, clear)
	if i < 0 && m.Kind.point() {
		return nil
	}
	if i < 0 {
		i = max(slices.IndexFunc(places, func(c orb.Point) bool { return free(box(c), r.taken) }), 0)
	}
	r.taken = append(r.taken, box(places[i]))
	return &label{places[i], set}
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
