package position

import (
	"context"
	"math"
	"slices"

	"footrule/internal/parallel"
	"footrule/internal/propagation"
	"footrule/internal/site"

	"github.com/paulmach/orb/planar"
)

// fromWalkedM is how far from every place walked a further stay is made at least.
const fromWalkedM = 1.0

// Candidates lists where further stays may be made: the spots of prefer where
// somebody can stand, and a grid of the walkable places beside them, but nothing
// within a metre of where a stay of d was made. Where prefer has more than may
// be, those are kept that lie furthest apart.
func Candidates(s *site.Site, d *propagation.Data, prefer []Spot, most int) []Spot {
	near := func(c Spot, of []Spot, m float64) bool {
		return slices.ContainsFunc(of, func(o Spot) bool {
			return o.Floor == c.Floor && planar.DistanceSquared(o.At, c.At) < m*m
		})
	}
	var walked, out []Spot
	for i, at := range d.At {
		if c := (Spot{d.Floor[i], at}); len(walked) == 0 || walked[len(walked)-1] != c {
			walked = append(walked, c)
		}
	}
	for _, c := range prefer {
		if s.Floors[c.Floor].Walkable(c.At) && !near(c, walked, fromWalkedM) {
			out = append(out, c)
		}
	}
	if out = farApart(out, most); len(out) == most {
		return out
	}
	preferred := out
	room := most - len(preferred)
	c := newCellsOf(s, room)
	for n := room; len(c.at) > room && n > len(s.Floors); n-- { // a grid has whole rows
		c = newCellsOf(s, n)
	}
	for i := range c.at {
		g := Spot{c.floor[i], c.at[i]}
		if !near(g, walked, fromWalkedM) && !near(g, preferred, max(fromWalkedM, c.stepM/2)) {
			out = append(out, g)
		}
	}
	return out
}

// farApart keeps so many spots that lie far apart, in their order.
func farApart(spots []Spot, most int) []Spot {
	if len(spots) <= most {
		return spots
	}
	order := spread(spots)[:most]
	slices.Sort(order)
	out := make([]Spot, most)
	for i, k := range order {
		out[i] = spots[k]
	}
	return out
}

// spread orders spots so that as many of the first as one likes lie all over the
// floors: from the first of them, next is always the one furthest from all before
// it (Gonzalez, Theor. Comput. Sci. 38, 1985).
func spread(spots []Spot) []int {
	dist := make([]float64, len(spots))
	for i := range dist {
		dist[i] = math.Inf(1)
	}
	var out []int
	for k := 0; len(out) < len(spots); {
		out, dist[k] = append(out, k), -1
		next := -1
		for i := range spots {
			if dist[i] >= 0 && spots[i].Floor == spots[k].Floor {
				dist[i] = min(dist[i], planar.DistanceSquared(spots[i].At, spots[k].At))
			}
			if dist[i] >= 0 && (next < 0 || dist[i] > dist[next]) {
				next = i
			}
		}
		k = next
	}
	return out
}

// Step is one further stay and the error to expect once it was made, with those
// before it.
type Step struct {
	Candidate int // index into the prospect's
	ErrorM    float64
}

// mostPasses bounds the exchange; two or three nearly always do.
const mostPasses = 6

// leastGain is how much of the error an exchange has to save to be made.
const leastGain = 1e-6

// Choose gives the candidates at which n further stays lower the error most,
// fewer where there are not so many, each at its turn the best of those left.
// They are picked one by one, and then each in turn is given up for the best
// there is without it, until nothing is gained (Fedorov, Theory of Optimal
// Experiments, 1972, on exchange). What counts is E and, beside it, by how much a
// target is further from every stay than evenly spread ones would leave it: a fix
// keeps to where people walked. Only candidates on some floors are chosen, nil for
// all. Its error is that of ctx.
func (p *Prospect) Choose(ctx context.Context, n int, floors []int) ([]Step, error) {
	c := p.chooser(n)
	may := make([]int, 0, len(p.Candidates))
	if floors == nil {
		may = nil
	} else {
		for i, s := range p.Candidates {
			if slices.Contains(floors, s.Floor) {
				may = append(may, i)
			}
		}
	}
	var chosen []int
	now := c.loss(nil)
	for len(chosen) < n {
		best, loss, err := c.best(ctx, chosen, may)
		if err != nil {
			return nil, err
		}
		if best < 0 {
			break
		}
		chosen, now = append(chosen, best), loss
	}
	for range mostPasses {
		before := now
		for i := range chosen {
			rest := slices.Delete(slices.Clone(chosen), i, i+1)
			best, loss, err := c.best(ctx, rest, may)
			if err != nil {
				return nil, err
			}
			if loss < now*(1-leastGain) {
				chosen[i], now = best, loss
			}
		}
		if now == before {
			break
		}
	}
	var out []Step
	var done []int
	for len(out) < len(chosen) {
		best, _, err := c.best(ctx, done, chosen)
		if err != nil {
			return nil, err
		}
		done = append(done, best)
		out = append(out, Step{best, p.ErrorM(done...)})
	}
	return out, nil
}

// chooser weighs sets of candidates.
type chooser struct {
	*Prospect
	evenM float64     // how far evenly spread stays leave a target at most
	near  [][]float64 // per floor and target, metres to the nearest stay of the walk
}

// evenSpacings is how far evenly spread stays leave a target at most, in the side
// of the square that each has for itself: 0.71 on an endless grid, and a little
// for what a floor's outline does to it.
const evenSpacings = 0.75

func (p *Prospect) chooser(n int) *chooser {
	d, s := p.look.m.data, p.look.m.grid.site
	area := 0.0
	c := &chooser{Prospect: p}
	for fl, v := range p.floors {
		near := make([]float64, len(v.targets))
		for j, i := range v.targets {
			near[j] = math.Inf(1)
			for k, at := range d.At {
				if d.Floor[k] == fl {
					near[j] = min(near[j], planar.Distance(at, p.Targets[i].At))
				}
			}
		}
		c.near = append(c.near, near)
		area += s.Floors[fl].Area()
	}
	c.evenM = evenSpacings * math.Sqrt(area/float64(len(d.Places)+n))
	return c
}

// beyond sums by how much the targets of a floor are further from every stay than
// evenly spread ones would leave them.
func (c *chooser) beyond(v *vista, near []float64, n int) float64 {
	sum := 0.0
	for j, i := range v.targets {
		d := near[j]
		if n >= 0 {
			d = min(d, planar.Distance(c.Targets[i].At, c.Candidates[v.candidates[n]].At))
		}
		if d = min(d, v.prior.RMS()); d > c.evenM {
			sum += d - c.evenM
		}
	}
	return sum
}

// nearer is how far targets are from the nearest stay once some were added.
func (c *chooser) nearer(fl int, added []int) []float64 {
	v := c.floors[fl]
	near := slices.Clone(c.near[fl])
	for _, n := range added {
		for j, i := range v.targets {
			near[j] = min(near[j], planar.Distance(c.Targets[i].At, c.Candidates[v.candidates[n]].At))
		}
	}
	return near
}

// loss is what a set of candidates leaves.
func (c *chooser) loss(given []int) float64 {
	sum := 0.0
	for fl, v := range c.floors {
		own := v.own(given)
		sum += v.given(own).error(-1) + c.beyond(v, c.nearer(fl, own), -1)
	}
	return sum
}

// best is the candidate, of some or else of all, that leaves least beside those
// given, and what is left then; −1 where none is left. Of equal ones it is the
// first.
func (c *chooser) best(ctx context.Context, given, of []int) (best int, loss float64, err error) {
	then := make([]float64, len(c.Candidates))
	for i := range then {
		then[i] = math.Inf(1)
	}
	for fl, v := range c.floors {
		own := v.own(given)
		o, near := v.given(own), c.nearer(fl, own)
		now := o.error(-1) + c.beyond(v, near, -1)
		loss += now
		err := parallel.Until(ctx, len(v.candidates), func(n int) {
			i := v.candidates[n]
			if !slices.Contains(given, i) && (of == nil || slices.Contains(of, i)) {
				then[i] = o.error(n) + c.beyond(v, near, n) - now
			}
		})
		if err != nil {
			return -1, 0, err
		}
	}
	best = -1
	for i, t := range then {
		if !math.IsInf(t, 1) && (best < 0 || t < then[best]) {
			best = i
		}
	}
	if best >= 0 {
		loss += then[best]
	}
	return best, loss, nil
}
