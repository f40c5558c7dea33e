package position

import (
	"context"
	"math"
	"slices"

	"footrule/internal/kriging"
	"footrule/internal/radio"
	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// looker makes the outlook of every radio from what a mapping learned.
type looker struct {
	m       *mapping
	p       *Prospect
	beliefs map[radio.Band][]belief
	scale   [][]float64    // per radio and node
	levels  [2][][]float64 // of targets and of candidates, per radio
}

// belief is a node with the probability that it has.
type belief struct {
	kriging.Hyper
	weight float64
}

func newLooker(m *mapping, p *Prospect) *looker {
	l := &looker{m: m, p: p, beliefs: map[radio.Band][]belief{}, scale: make([][]float64, len(m.fit.Radios))}
	all := m.residuals(m.fit, nil)
	for k := range m.fit.Radios {
		g := m.fit.Group(k)
		if g == nil {
			continue
		}
		b := m.fit.Radios[k].Band
		if l.beliefs[b] == nil {
			l.beliefs[b] = believe(m.of(all, func(r int) bool { return m.fit.Radios[r].Band == b }), g.ResidualDB())
		}
		for _, h := range l.beliefs[b] {
			l.scale[k] = append(l.scale[k], kriging.Scale(m.of(all, func(r int) bool { return r == k }), h.Hyper, radioValues))
		}
	}
	for i, spots := range [][]Spot{p.Targets, p.Candidates} {
		w := waysTo(m.grid.site, m.grid.refs, floorsOf(spots), placesOf(spots))
		l.levels[i] = make([][]float64, len(m.fit.Radios))
		for k := range m.fit.Radios {
			if m.fit.Radios[k].InFit {
				l.levels[i][k] = w.level(m.fit, k)
			}
		}
	}
	return l
}

// believed are the hyperparameters that are thought possible before anything is measured,
// each as much as any other: shadows of 2.5, 6.3 and 16 m, and stays whose scatter
// has half or twice the variance of the shadows.
var believed = []kriging.Node{
	{Length: 4, Ratio: -1}, {Length: 8, Ratio: -1}, {Length: 12, Ratio: -1},
	{Length: 4, Ratio: 1}, {Length: 8, Ratio: 1}, {Length: 12, Ratio: 1},
}

// leastBelief is how improbable a node may be, as a share of the likeliest, and count.
const leastBelief = 0.1

// believe weighs the nodes by the marginal likelihood.
func believe(series []kriging.Series, sigmaDB float64) []belief {
	var out []belief
	for _, n := range believed {
		h, err := kriging.At(series, n)
		if err != nil {
			panic(err)
		}
		if h.Variance == 0 { // nothing is known of residuals but their spread in the fit
			h.Variance = sigmaDB * sigmaDB / (1 + n.NoiseRatio())
		}
		out = append(out, belief{Hyper: h})
	}
	top := math.Inf(-1)
	for _, b := range out {
		top = max(top, b.LogLik)
	}
	sum := 0.0
	for i := range out {
		if out[i].weight = math.Exp(out[i].LogLik - top); out[i].weight < leastBelief {
			out[i].weight = 0
		}
		sum += out[i].weight
	}
	out = slices.DeleteFunc(out, func(b belief) bool { return b.weight == 0 })
	for i := range out {
		out[i].weight /= sum
	}
	return out
}

// at sets what is known on every floor from some places of the walk.
func (l *looker) at(floors []*vista, places func(int) bool) {
	type key struct {
		layout string
		node   kriging.Node
	}
	kept := map[key]*unknown{}
	for fl, v := range floors {
		v.radios = nil
		for k := range l.m.fit.Radios {
			r := l.outlook(k, v)
			if r == nil {
				continue
			}
			layout := l.layout(k, fl, places)
			r.heard = max(1, float64(len(layout.At)))
			name := layoutKey(fl, layout)
			for i, b := range l.beliefs[l.m.fit.Radios[k].Band] {
				id := key{name, b.Node}
				if kept[id] == nil {
					kept[id] = l.p.unknown(v, layout, b.Node)
				}
				r.parts = append(r.parts, part{s2: l.s2(k, i), rho: b.NoiseRatio(), base: kept[id]})
			}
			v.radios = append(v.radios, r)
		}
	}
}

// s2 is w σ² of a radio at a node of its band, in dB².
func (l *looker) s2(k, node int) float64 {
	b := l.beliefs[l.m.fit.Radios[k].Band][node]
	return b.weight * b.Variance * l.scale[k][node]
}

// sigma is the spread of a radio's levels around the fit, in dB.
func (l *looker) sigma(k int) float64 {
	v := 0.0
	for i, b := range l.beliefs[l.m.fit.Radios[k].Band] {
		v += l.s2(k, i) * (1 + b.NoiseRatio())
	}
	return math.Sqrt(v)
}

// outlook is what the fit says of a radio on a floor, nil where it is not heard.
func (l *looker) outlook(k int, v *vista) *outlook {
	g := l.m.fit.Group(k)
	if g == nil {
		return nil
	}
	r := &outlook{}
	never, sigma, heard := l.m.fit.Radios[k].StayMiss, l.sigma(k), false
	for _, i := range v.targets {
		w := HeardWeight(l.levels[0][k][i], g.FloorDBm, sigma, never)
		r.weight, r.slope = append(r.weight, w), append(r.slope, l.slopeAt(k, l.p.Targets[i]))
		heard = heard || w > leastWeight
	}
	if !heard {
		return nil
	}
	for _, i := range v.candidates {
		z := (g.FloorDBm - l.levels[1][k][i]) / sigma
		r.hear = append(r.hear, (1-never)*math.Erfc(z/math.Sqrt2)/2)
	}
	return r
}

// slopeAt is ∂μ/∂p of a radio, in dB/m.
func (l *looker) slopeAt(k int, s Spot) orb.Point {
	g := l.m.grid
	x, y, z := s.At[0]-g.foot[k][0], s.At[1]-g.foot[k][1], g.rise[k][s.Floor]
	d2 := x*x + y*y + z*z
	if d2 <= site.MinDistanceM*site.MinDistanceM {
		return orb.Point{}
	}
	c := -10 * l.m.fit.Radios[k].Exponent.Est / (math.Ln10 * d2)
	return orb.Point{c * x, c * y}
}

// layout is where a radio was heard at some places.
func (l *looker) layout(k, floor int, places func(int) bool) kriging.Layout {
	var out kriging.Layout
	if s := l.m.seriesOf(k, floor); s != nil {
		all := s.layout()
		for i := range s.rows {
			if slices.ContainsFunc(s.rows[i].places, places) {
				out.At, out.Noise = append(out.At, all.At[i]), append(out.Noise, all.Noise[i])
			}
		}
	}
	return out
}

// seriesOf is that of a radio on a floor, nil where it was not heard.
func (m *mapping) seriesOf(k, floor int) *series {
	for _, s := range m.series {
		if s.radio == k && s.floor == floor {
			return s
		}
	}
	return nil
}

// leftOut is E at each place of the walk, without the rows of that place.
func (l *looker) leftOut(ctx context.Context, p *Prospect) ([]float64, error) {
	m := l.m
	spotOf := make([]int, len(m.data.Places))
	for i, pl := range m.data.PlaceOf {
		spotOf[pl] = m.spots.ofStay[i]
	}
	type info struct{ xx, xy, yy float64 }
	known := make([]info, len(spotOf))
	levels := m.spots.levels(m.fit)
	for k := range m.fit.Radios {
		g := m.fit.Group(k)
		if g == nil {
			continue
		}
		sigma, never := l.sigma(k), m.fit.Radios[k].StayMiss
		v := make([]float64, len(spotOf)) // V at every place
		for i, b := range l.beliefs[m.fit.Radios[k].Band] {
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			s2, rho := l.s2(k, i), b.NoiseRatio()
			for fl := range p.floors {
				n := 1.0
				if s := m.seriesOf(k, fl); s != nil {
					n = max(1, float64(len(s.rows)-1))
				}
				for place, share := range m.shareWithout(k, fl, b.Node, spotOf) {
					v[place] += s2 * (share + rho + (1+rho)/n)
				}
			}
		}
		for place, spot := range spotOf {
			if w := HeardWeight(levels[k][spot], g.FloorDBm, sigma, never); w > leastWeight {
				u := l.slopeAt(k, Spot{m.spots.floor[spot], m.spots.at[spot]})
				w /= v[place]
				q := &known[place]
				q.xx, q.xy, q.yy = q.xx+w*u[0]*u[0], q.xy+w*u[0]*u[1], q.yy+w*u[1]*u[1]
			}
		}
	}
	out := make([]float64, len(spotOf))
	for place, spot := range spotOf {
		pr, q := p.floors[m.spots.floor[spot]].prior, known[place]
		det := pr.XX*pr.YY - pr.XY*pr.XY
		out[place] = meanOf(q.xx+pr.YY/det, q.xy-pr.XY/det, q.yy+pr.XX/det)
	}
	return out, nil
}

// shareWithout is v of a radio at each place of a floor, without its own rows.
func (m *mapping) shareWithout(k, floor int, n kriging.Node, spotOf []int) map[int]float64 {
	out := map[int]float64{}
	s := m.seriesOf(k, floor)
	var silent []int
	var at []orb.Point
	rows := map[int][]int{}
	var sys *kriging.System
	if s != nil {
		for i := range s.rows {
			for _, p := range s.rows[i].places {
				rows[p] = append(rows[p], i)
			}
		}
		var err error
		if sys, err = s.family.System(n); err != nil {
			panic(err)
		}
	}
	for place, spot := range spotOf {
		switch {
		case m.spots.floor[spot] != floor:
		case s == nil:
			out[place] = 1
		case rows[place] == nil:
			silent, at = append(silent, place), append(at, m.spots.at[spot])
		default:
			_, cov := sys.LeaveOut(make([]float64, len(s.rows)), sys.Block(rows[place]))
			r := &s.rows[rows[place][0]]
			out[place] = max(0, cov.At(0, 0)-sys.Ratio/float64(len(r.spots)))
		}
	}
	if len(silent) > 0 {
		v := make([]float64, len(at))
		sys.Onto(at).Variance(v)
		for i, place := range silent {
			out[place] = v[i]
		}
	}
	return out
}
