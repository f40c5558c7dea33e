package position

import (
	"math"
	"slices"

	"footrule/internal/propagation"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

// ways are those from every radio to a list of places, which no fit changes.
type ways struct {
	logD    [][]float64            // per radio and place, log10 of the distance
	crossed []map[string][]float64 // per radio, material that is crossed at all, and place
	pattern [][]float64            // per radio and place, what its antenna lacks, dB; nil for none
}

// waysTo measures the ways to places, each on a floor.
func waysTo(s *site.Site, refs []site.RadioRef, floor []int, at []orb.Point) ways {
	stays := make([]walk.Stay, len(at))
	for i := range stays {
		stays[i].Floor, stays[i].At = floor[i], at[i]
	}
	d := propagation.Observe(s, stays)
	n, r, w := len(at), len(refs), len(d.Materials)
	g := ways{make([][]float64, r), make([]map[string][]float64, r), make([][]float64, r)}
	for k := range r {
		g.crossed[k] = map[string][]float64{}
		if d.PatternDB != nil {
			g.pattern[k] = make([]float64, n)
			for i := range n {
				g.pattern[k][i] = d.PatternDB[i*r+k]
			}
		}
		if k > 0 && refs[k].AP == refs[k-1].AP { // the same way
			g.logD[k], g.crossed[k] = g.logD[k-1], g.crossed[k-1]
			continue
		}
		g.logD[k] = make([]float64, n)
		for i := range n {
			at := i*r + k
			g.logD[k][i] = math.Log10(d.DistanceM[at])
			for j, m := range d.Materials {
				if c := d.Crossings[at*w+j]; c != 0 {
					if g.crossed[k][m] == nil {
						g.crossed[k][m] = make([]float64, n)
					}
					g.crossed[k][m][i] = c
				}
			}
		}
	}
	return g
}

// level predicts radio k's level under a fit at every place.
func (g *ways) level(f *propagation.Fit, k int) []float64 {
	out := make([]float64, len(g.logD[k]))
	r := &f.Radios[k]
	for i, l := range g.logD[k] {
		out[i] = r.Level1m.Est - 10*r.Exponent.Est*l
	}
	for i, p := range g.pattern[k] {
		out[i] += p
	}
	for _, w := range f.Walls {
		if w.Band != r.Band || w.LossDB.Est == 0 {
			continue
		}
		for i, c := range g.crossed[k][w.Material] {
			out[i] -= c * w.LossDB.Est
		}
	}
	return out
}

// terms are what a level is linear in, at every place, in the order of [parametersOf]:
// 1, −10 log10 d, and for each material minus its crossings.
func (g *ways) terms(k int, materials []string) [][]float64 {
	n := len(g.logD[k])
	one, x := slices.Repeat([]float64{1}, n), make([]float64, n)
	for i, l := range g.logD[k] {
		x[i] = -10 * l
	}
	out := [][]float64{one, x}
	for _, m := range materials {
		c := make([]float64, n)
		for i, v := range g.crossed[k][m] {
			c[i] = -v
		}
		out = append(out, c)
	}
	return out
}

// parametersOf are those of a radio under a fit: level, exponent, and the loss of
// each material.
func parametersOf(f *propagation.Fit, k int, materials []string) []float64 {
	r := &f.Radios[k]
	out := []float64{r.Level1m.Est, r.Exponent.Est}
	for _, m := range materials {
		loss := 0.0
		for i := range f.Walls {
			if f.Walls[i].Band == r.Band && f.Walls[i].Material == m {
				loss += f.Walls[i].LossDB.Est
			}
		}
		out = append(out, loss)
	}
	return out
}

// spans are the levels of every radio of a fit at every place.
func (g *ways) spans(f *propagation.Fit) []span {
	out := make([]span, len(g.logD))
	for k := range out {
		if f.Radios[k].InFit {
			out[k] = newSpan(g.level(f, k))
		}
	}
	return out
}

// span is the levels of a radio at the places of a list, and the lowest and the
// highest of them.
type span struct {
	at     []float64
	lo, hi float64
}

func newSpan(at []float64) span { return span{at, slices.Min(at), slices.Max(at)} }
