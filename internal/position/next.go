package position

import (
	"context"
	"math"
	"slices"

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

// farApart keeps so many spots that lie far apart, in their order: from the first,
// always the one furthest from all kept.
func farApart(spots []Spot, most int) []Spot {
	if len(spots) <= most {
		return spots
	}
	dist := make([]float64, len(spots))
	for i := range dist {
		dist[i] = math.Inf(1)
	}
	kept := make([]bool, len(spots))
	for k, n := 0, 0; n < most; n++ {
		kept[k] = true
		next, far := 0, -1.0
		for i := range spots {
			if spots[i].Floor == spots[k].Floor {
				dist[i] = min(dist[i], planar.DistanceSquared(spots[i].At, spots[k].At))
			}
			if !kept[i] && dist[i] > far {
				next, far = i, dist[i]
			}
		}
		k = next
	}
	var out []Spot
	for i := range spots {
		if kept[i] {
			out = append(out, spots[i])
		}
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
// Experiments, 1972, on exchange). Its error is that of ctx.
func (p *Prospect) Choose(ctx context.Context, n int) ([]Step, error) {
	var chosen []int
	for len(chosen) < n {
		best, _, err := p.best(ctx, chosen, nil)
		if err != nil {
			return nil, err
		}
		if best < 0 {
			break
		}
		chosen = append(chosen, best)
	}
	now := p.ErrorM(chosen...)
	for range mostPasses {
		before := now
		for i := range chosen {
			rest := slices.Delete(slices.Clone(chosen), i, i+1)
			best, e, err := p.best(ctx, rest, nil)
			if err != nil {
				return nil, err
			}
			if e < now*(1-leastGain) {
				chosen[i], now = best, e
			}
		}
		if now == before {
			break
		}
	}
	var out []Step
	var done []int
	for len(out) < len(chosen) {
		best, e, err := p.best(ctx, done, chosen)
		if err != nil {
			return nil, err
		}
		done = append(done, best)
		out = append(out, Step{best, e})
	}
	return out, nil
}

// best is the candidate, of some or else of all, at which one more stay beside
// those given lowers the error most, and the error then; −1 where none is left.
// Of equal ones it is the first.
func (p *Prospect) best(ctx context.Context, given, of []int) (best int, errorM float64, err error) {
	then := make([]float64, len(p.Candidates))
	for i := range then {
		then[i] = math.Inf(1)
	}
	all := 0.0
	for _, v := range p.floors {
		o := v.given(v.own(given))
		now := o.error(-1)
		all += now
		parallel(ctx, len(v.candidates), func(n int) error {
			i := v.candidates[n]
			if !slices.Contains(given, i) && (of == nil || slices.Contains(of, i)) {
				then[i] = o.error(n) - now
			}
			return nil
		}, &err)
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
		all += then[best]
	}
	return best, all / float64(len(p.Targets)), nil
}
