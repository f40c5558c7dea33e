package coverage

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"footrule/internal/canvas"
	"footrule/internal/figure"
	"footrule/internal/say"
	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// heardSteps gives numbers of access points heard colours that lie far apart.
var heardSteps = []int{0, 1, 2, 4, 6, 8} // the last is five or more

// Kinds lists the maps that [Map.Picture] draws.
func Kinds() []string { return []string{"heard", "strongest", "level:AP", "hull", "bound", "error"} }

// Bare draws a floor without a map: outline, walls, voids, and the access points.
func Bare(s *site.Site, floor int) *figure.Plan {
	f := &s.Floors[floor]
	p := &figure.Plan{Outline: f.Outline}
	for _, w := range f.Walls {
		p.Walls = append(p.Walls, w.Line)
	}
	for _, a := range f.Areas {
		if a.Kind == site.Void {
			p.Voids = append(p.Voids, a.Polygon)
		}
	}
	for i := range s.AccessPoints {
		if ap := &s.AccessPoints[i]; ap.Floor == f.ID {
			p.Marks = append(p.Marks, figure.Mark{Kind: figure.AccessPoint, At: ap.At, Text: ap.ID})
		}
	}
	return p
}

// Picture draws one floor of the map: how many are heard with the edges of the
// holes, the level of the strongest, that of one access point ("level:AP-01", the better of its radios, or
// "level:AP-01/5"), inside the hull or not, the bound, or the expected error.
func (m *Map) Picture(fm *FloorMap, kind string) (*figure.Plan, error) {
	f := &m.Site.Floors[fm.Floor]
	p := Bare(m.Site, fm.Floor)
	where := f.Name
	if where == "" {
		where = "floor " + f.ID
	}
	o := m.Options
	what, ap, _ := strings.Cut(kind, ":")
	switch {
	case kind == "heard":
		p.Title = fmt.Sprintf("%s, %s: access points heard", m.Site.Name, where)
		p.Subtitle = say.Minus(fmt.Sprintf("heard from %g dBm at a probability of %g or more; %d needed", o.ThresholdDBm, o.Confidence, o.Need))
		p.Cells = m.paint(fm, func(i int) int { return heardSteps[min(fm.Heard[i], len(heardSteps)-1)] })
		m.drawHoles(fm, p)
		p.Legend = figure.Legend{Title: "access points heard"}
		for n, step := range heardSteps {
			text := fmt.Sprint(n)
			if n == len(heardSteps)-1 {
				text += " or more"
			}
			p.Legend.Entries = append(p.Legend.Entries, figure.Entry{Step: step, Text: text})
		}
		p.Legend.Entries = append(p.Legend.Entries, figure.Entry{Step: figure.Attention, Text: fmt.Sprintf("edge of fewer than %d", o.Need)})
	case what == "level" && ap != "":
		radios := m.radiosCalled(ap)
		if len(radios) == 0 {
			return nil, fmt.Errorf("no access point or radio %q; the plan has %s", ap, strings.Join(m.apIDs(), ", "))
		}
		p.Title = fmt.Sprintf("%s, %s: level of %s", m.Site.Name, where, ap)
		p.Subtitle = "mean level in dBm"
		if len(radios) > 1 {
			p.Subtitle += ", of the stronger of its radios"
		}
		m.drawLevels(fm, p, radios)
	case kind == "strongest":
		p.Title = fmt.Sprintf("%s, %s: level of the strongest access point", m.Site.Name, where)
		p.Subtitle = "mean level in dBm of the radio that is heard best"
		m.drawLevels(fm, p, all(len(m.Site.Radios())))
	case kind == "hull":
		in := m.InHull(fm)
		p.Title = fmt.Sprintf("%s, %s: inside the access points heard", m.Site.Name, where)
		p.Subtitle = say.Minus(fmt.Sprintf("inside the convex hull, on the plan, of those heard from %g dBm", o.ThresholdDBm))
		p.Cells = m.paint(fm, func(i int) int {
			if in[i] {
				return 5
			}
			return 1
		})
		p.Legend = figure.Legend{Title: "hull of those heard", Entries: []figure.Entry{{Step: 5, Text: "inside"}, {Step: 1, Text: "outside, errors grow"}}}
	case kind == "bound", kind == "error":
		a := m.Accuracy(fm)
		v, title := a.BoundM, "bound on the position error"
		p.Subtitle = fmt.Sprintf("Cramér-Rao bound, RMS, of a stay of %d scans", o.Scans)
		if kind == "error" {
			v, title = a.ErrorM, "expected position error"
			p.Subtitle = fmt.Sprintf("mean error of a good estimator that knows the outline, %d scans", o.Scans)
		}
		p.Title = fmt.Sprintf("%s, %s: %s", m.Site.Name, where, title)
		p.Cells = m.paint(fm, func(i int) int { return canvas.ErrorScale.Step(v[i]) })
		p.Legend = ranges("error, m", canvas.ErrorScale)
		if kind == "bound" {
			p.Legend.Entries = append(p.Legend.Entries, figure.Entry{Step: -1, Text: "no fix"})
		}
	default:
		return nil, fmt.Errorf("no map %q; use one of %s", kind, strings.Join(Kinds(), ", "))
	}
	return p, nil
}

func (m *Map) paint(fm *FloorMap, step func(i int) int) []figure.Cell {
	out := make([]figure.Cell, fm.Len())
	for i := range out {
		out[i] = figure.Cell{Box: fm.Box(i), Step: step(i)}
	}
	return out
}

// ranges makes the legend of a scale.
func ranges(title string, s canvas.Scale) figure.Legend {
	l := figure.Legend{Title: title}
	for step := range canvas.Steps {
		var text string
		switch {
		case step == 0:
			text = fmt.Sprintf("below %g", s.Edges[0])
		case step == canvas.Steps-1:
			text = fmt.Sprintf("%g and above", s.Edges[step-1])
		default:
			text = fmt.Sprintf("%g to %g", s.Edges[step-1], s.Edges[step])
		}
		l.Entries = append(l.Entries, figure.Entry{Step: step, Text: say.Minus(text)})
	}
	return l
}

// drawLevels paints the level of the strongest of some radios.
func (m *Map) drawLevels(fm *FloorMap, p *figure.Plan, radios []int) {
	p.Cells = m.paint(fm, func(i int) int {
		best := math.NaN()
		for _, k := range radios {
			if l := fm.Level(k, i); math.IsNaN(best) || l > best {
				best = l
			}
		}
		return canvas.LevelScale.Step(best)
	})
	p.Legend = ranges("level, dBm", canvas.LevelScale)
	slices.Reverse(p.Legend.Entries)
}

func all(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

// radiosCalled finds the radios of an access point, or one by its name.
func (m *Map) radiosCalled(name string) []int {
	var out []int
	for k, r := range m.Site.Radios() {
		if m.Site.AccessPoints[r.AP].ID == name || m.Site.RadioName(r) == name {
			out = append(out, k)
		}
	}
	return out
}

func (m *Map) apIDs() []string {
	var out []string
	for i := range m.Site.AccessPoints {
		out = append(out, m.Site.AccessPoints[i].ID)
	}
	return out
}

// leastLabelled is how many cells a hole has that gets its number.
const leastLabelled = 6

// drawHoles adds the edges of the holes and the number heard in them.
func (m *Map) drawHoles(fm *FloorMap, p *figure.Plan) {
	short := func(x, y int) (in, cell bool) {
		if x < 0 || y < 0 || x >= fm.Lattice.NX || y >= fm.Lattice.NY {
			return false, false
		}
		c := fm.cellAt[y*fm.Lattice.NX+x]
		return c >= 0 && fm.Heard[c] < m.Options.Need, c >= 0
	}
	for i := range fm.At {
		b := fm.Box(i)
		x, y := fm.Index[i]%fm.Lattice.NX, fm.Index[i]/fm.Lattice.NX
		in := fm.Heard[i] < m.Options.Need
		if other, cell := short(x+1, y); cell && other != in {
			p.Attention = append(p.Attention, [2]orb.Point{{b.Max[0], b.Min[1]}, b.Max})
		}
		if other, cell := short(x, y+1); cell && other != in {
			p.Attention = append(p.Attention, [2]orb.Point{{b.Min[0], b.Max[1]}, b.Max})
		}
	}
	for _, h := range m.Holes() {
		if h.Floor == fm.Floor && len(h.Cells) >= leastLabelled {
			p.Marks = append(p.Marks, figure.Mark{Kind: figure.Label, At: h.Centre, Text: fmt.Sprintf("hears %d", h.Heard)})
		}
	}
}

// Picture draws one floor of what is heard after, with what is added and moved.
func (p *Placement) Picture(fm *FloorMap, kind string) (*figure.Plan, error) {
	plan, err := p.After.Picture(fm, kind)
	if err != nil {
		return nil, err
	}
	id := p.Plan.Floors[fm.Floor].ID
	at := func(ap string) *figure.Mark {
		for i := range plan.Marks {
			if m := &plan.Marks[i]; m.Kind == figure.AccessPoint && m.Text == ap {
				return m
			}
		}
		return nil
	}
	for _, ap := range p.Added {
		if m := at(ap.ID); m != nil {
			m.Kind = figure.AddedAccessPoint
		}
	}
	for _, moved := range p.Moved {
		m := at(moved.ID)
		if m == nil {
			continue
		}
		m.Kind, m.From = figure.MovedAccessPoint, moved.From.At
		if p.Plan.Floors[moved.From.Floor].ID != id { // it came from another floor
			m.From = m.At
		}
	}
	plan.Legend.Entries = append(plan.Legend.Entries, figure.Entry{Step: figure.Added, Text: "added or moved"})
	return plan, nil
}
