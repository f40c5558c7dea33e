package position

import (
	"slices"

	"footrule/internal/kriging"
	"footrule/internal/propagation"

	"github.com/paulmach/orb"
)

// JudgeWatched lets tests see the fit by which each place is judged.
var JudgeWatched = judgeWatched

// NewLocator prepares a method to find fixes from all stays of d, and from the fit
// to them.
func NewLocator(m Method, g *Grid, d *propagation.Data, f *propagation.Fit) Locator {
	return Without(m, g, d, f, f)
}

// Without is the locator by which leave-one-out judges places of d.
func Without(m Method, g *Grid, d *propagation.Data, all, left *propagation.Fit, places ...int) Locator {
	return learnerOf(m)(&lessons{grid: g, data: d, fit: all}).without(left, places)
}

// Cells lists the cells where people may walk, and their step.
func Cells(g *Grid) (floor []int, at []orb.Point, stepM float64) {
	c := g.cells()
	return c.floor, c.at, c.stepM
}

// Prior is the log of how likely the cells are, given where the walk went.
func Prior(g *Grid, at []orb.Point, floor []int) []float64 {
	return PriorOf(g, at, floor)(slices.Repeat([]bool{true}, len(at)))
}

// PriorOf is Prior given which places are left.
func PriorOf(g *Grid, at []orb.Point, floor []int) func(left []bool) []float64 {
	return newGround(g.cells(), at, floor).prior
}

// Spacing is how far apart places of a walk are.
var Spacing = spacing

// SummariseJudged lets tests summarise fixes that they made up.
var SummariseJudged = summarise

// Targeted gives the error to expect at every target once stays at some
// candidates were made too, in metres.
func (p *Prospect) Targeted(candidates ...int) []float64 {
	out := make([]float64, len(p.Targets))
	for _, v := range p.floors {
		o := v.given(v.own(candidates))
		for j, i := range v.targets {
			out[i] = o.errorAt(j, -1, nil)
		}
	}
	return out
}

// Unknown is v at targets, then candidates, of every radio and node of a floor
// once stays at some candidates were made, each certain to hear all.
func (p *Prospect) Unknown(floor int, candidates ...int) [][]float64 {
	v := *p.floors[floor]
	v.radios = slices.Clone(v.radios)
	for i, r := range v.radios {
		c := *r
		c.hear = slices.Repeat([]float64{1}, len(v.candidates))
		v.radios[i] = &c
	}
	return v.given(v.own(candidates)).variance
}

// Kriged is what kriging says of the same: of a layout with rows at the
// candidates in it.
func (p *Prospect) Kriged(floor int, candidates ...int) [][]float64 {
	var at []orb.Point
	v := p.floors[floor]
	for _, i := range v.targets {
		at = append(at, p.Targets[i].At)
	}
	for _, i := range v.candidates {
		at = append(at, p.Candidates[i].At)
	}
	var further kriging.Layout
	for _, i := range candidates {
		further.At, further.Noise = append(further.At, p.Candidates[i].At), append(further.Noise, 1)
	}
	var out [][]float64
	l := p.look
	for k := range l.m.fit.Radios {
		if l.outlook(k, v) == nil {
			continue
		}
		for _, b := range l.beliefs[l.m.fit.Radios[k].Band] {
			sys, err := kriging.NewSystem(l.layout(k, floor, func(int) bool { return true }), b.LengthM(), b.NoiseRatio())
			if err != nil {
				panic(err)
			}
			one := make([]float64, len(at))
			if err := sys.Onto(at).After(further, one); err != nil {
				panic(err)
			}
			out = append(out, one)
		}
	}
	return out
}

// Loss is what Choose makes least for so many further stays.
func (p *Prospect) Loss(of int, candidates ...int) float64 { return p.chooser(of).loss(candidates) }

// ForPlaces is the confidence that is asked of a bootstrap.
func ForPlaces(confidence float64, n int) float64 { return forPlaces(confidence, n) }

// Jackknife gives the acceleration and the standard error of a statistic, of
// which leaveOut is the value without a unit.
func Jackknife(n int, leaveOut func(i int) float64) (a, se float64) {
	v := make([]float64, n)
	mean := 0.0
	for i := range v {
		v[i] = leaveOut(i)
		mean += v[i] / float64(n)
	}
	return jackknife(v, mean)
}
