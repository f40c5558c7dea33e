package position

import (
	"slices"

	"footrule/internal/propagation"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

func learnPosterior(l *lessons) learner {
	c, s := l.grid.cells(), stoodOf(l)
	return &posteriors{l, c, s, newGround(c, s.at, s.floor)}
}

type posteriors struct {
	*lessons
	cells  *cells
	spots  *spots
	ground *ground
}

func (p *posteriors) without(f *propagation.Fit, places []int) Locator {
	gone := map[int]bool{}
	for _, n := range places {
		gone[n] = true
	}
	return &posterior{fit: f, cells: p.cells, prior: p.ground.prior(p.spots.left(p.lessons, gone)), levels: p.cells.spans(f)}
}

// stood gives where stays were made.
func (l *lessons) stood(stays []int) (at []orb.Point, floor []int) {
	last := -1
	for _, i := range stays {
		if last >= 0 && l.data.At[i] == l.data.At[last] && l.data.Floor[i] == l.data.Floor[last] {
			continue
		}
		at, floor = append(at, l.data.At[i]), append(floor, l.data.Floor[i])
		last = i
	}
	return at, floor
}

// posterior finds fixes from the posterior of the place under a fit, silence
// included as the fit treats it, with a uniform prior over the cells where people
// walk: on the plan, and within 1.25 spacings of a place that was walked, where
// that floor was walked at all; a cell beyond counts a twentieth ([cells.prior]).
// The floor is that with the most probability, and the fix the place on it with
// the least expected error ([cells.weigh]). Fix.LogLik is that of the likeliest
// cell, Fix.Covariance the expected square around the fix. One access point heard
// is enough; what it leaves open is in the covariance.
type posterior struct {
	fit    *propagation.Fit
	cells  *cells
	prior  []float64 // log, per cell
	levels []span    // per radio
}

// Fix locates a stay.
func (p *posterior) Fix(st *walk.Stay) Fix {
	heard := heardAPs(p.fit, st)
	if heard == 0 {
		return Fix{Reason: nothingHeard}
	}
	l := slices.Clone(p.prior)
	sumOver(hearings(p.fit, st), p.levels, l)
	fix := p.cells.weigh(l)
	fix.Heard = heard
	return fix
}

// nothingHeard is why there is no fix from silence alone.
const nothingHeard = "no access point of the fit was heard"

// heardAPs counts the access points of the fit that a stay heard.
func heardAPs(f *propagation.Fit, st *walk.Stay) int {
	n, last := 0, -1
	for k := range f.Radios {
		if r := &f.Radios[k]; r.InFit && k < len(st.Levels) && st.Levels[k].Heard > 0 && r.Ref.AP != last {
			n++
			last = r.Ref.AP
		}
	}
	return n
}
