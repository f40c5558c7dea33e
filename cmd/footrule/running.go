package main

import (
	"context"
	"fmt"
	"math"
	"sync"

	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/say"
	"footrule/internal/site"
	"footrule/internal/walk"
	"footrule/tui"

	"github.com/paulmach/orb"
)

// leastPlaces are the places without which a running fit would be a guess: an
// exponent and a level for each of a few radios want more places than terms.
const leastPlaces = 5

// running fits a walk while it is being taken and remembers the latest fit, by
// which the next visit is doubted.
type running struct {
	plan    *site.Site
	targets []position.Target
	mu      sync.Mutex
	fit     *propagation.Fit
}

func newRunning(plan *site.Site, targets []position.Target) *running {
	return &running{plan: plan, targets: targets}
}

// latest gives the newest fit, nil before there is one.
func (r *running) latest() *propagation.Fit {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.fit
}

// judge is the running fit and error of a walk, by the functions that the
// commands fit and errors use.
func (r *running) judge(ctx context.Context, w walk.Walk) (tui.Standing, error) {
	st, fit, err := judgeWalk(ctx, r.plan, w, r.targets)
	if fit != nil {
		r.mu.Lock()
		r.fit = fit
		r.mu.Unlock()
	}
	return st, err
}

// judgeWalk fits a walk and measures its error. The fit is nil where there are
// too few places for one.
func judgeWalk(ctx context.Context, plan *site.Site, w walk.Walk, targets []position.Target) (tui.Standing, *propagation.Fit, error) {
	walks := []walk.Walk{w}
	stays := walk.Stays(plan, walks, walk.ByVisit)
	st := tui.Standing{Points: places(stays), Need: leastPlaces, RMSM: math.NaN(), BoundM: math.NaN(), FiveMoreM: tui.Estimate{Value: math.NaN(), Half: math.NaN()},
		CE50M: tui.Estimate{Value: math.NaN(), Half: math.NaN()}, CE90M: tui.Estimate{Value: math.NaN(), Half: math.NaN()}}
	if st.Points < leastPlaces {
		return st, nil, nil
	}
	data := propagation.Observe(plan, stays)
	fit, err := propagation.Estimate(data, propagation.Options{})
	if err != nil {
		return st, nil, fmt.Errorf("no fit yet: %w", err)
	}
	for _, g := range fit.Groups {
		st.Readings += g.Readings
		st.Exponents = append(st.Exponents, tui.BandEstimate{Band: g.Band, Estimate: estimate(g.Exponent)})
		st.SpreadsDB = append(st.SpreadsDB, tui.BandEstimate{Band: g.Band, Estimate: estimate(g.SigmaDB)})
	}
	for _, wn := range fit.Warnings {
		st.Warnings = append(st.Warnings, sentence(wn))
	}
	st.Level = func(k int, floor string, at orb.Point) float64 {
		return fit.Level(k, plan.FloorIndex(floor), at)
	}
	st.Curves = curves(data, fit)
	e, err := position.Judge(ctx, plan, walks, position.Options{Seed: 1, Targets: targets})
	if err != nil {
		return st, fit, fmt.Errorf("no position error yet: %w", err)
	}
	st.CE50M = tui.Estimate{Value: e.Statistics.CE50M, Half: e.CI95["ce50_m"].Half()}
	st.CE90M = tui.Estimate{Value: e.Statistics.CE90M, Half: e.CI95["ce90_m"].Half()}
	st.RMSM, st.BoundM = e.Statistics.RMSM, e.BoundRMSM
	st.Judged, st.ErrorsM = judgedPlaces(e)
	for _, t := range e.Targets {
		st.Targets = append(st.Targets, targetOf(t))
	}
	o := position.Outlook(e, fit, 5)
	share, err := position.Shrink(ctx, position.NewGrid(plan), data, fit, nil, 5)
	if err != nil {
		return st, fit, fmt.Errorf("no outlook: %w", err)
	}
	st.FiveMoreM = tui.Estimate{Value: st.CE50M.Value * share, Half: o.CE50.Then}
	return st, fit, nil
}

func estimate(v propagation.Value) tui.Estimate {
	return tui.Estimate{Value: v.Est, Half: (v.Hi - v.Lo) / 2}
}

// doubts compares a visit with the latest fit, in sentences with a size and a
// way out, the largest first and at most three.
func (r *running) doubts(v *walk.Visit) []tui.Doubt { return doubtsOf(r.plan, r.latest(), v) }

func doubtsOf(plan *site.Site, fit *propagation.Fit, v *walk.Visit) []tui.Doubt {
	heard := false
	for _, s := range v.Scans {
		heard = heard || len(s.Readings) > 0
	}
	if !heard {
		return []tui.Doubt{{AP: -1, Text: "Nothing was heard at all in this visit. Is the adapter on, and the antenna free?"}}
	}
	stays := walk.Stays(plan, []walk.Walk{{Visits: []walk.Visit{*v}}}, walk.ByVisit)
	if fit == nil || len(stays) != 1 {
		return nil
	}
	var out []tui.Doubt
	seen := map[int]bool{}
	for _, d := range fit.Doubts(stays[0]) {
		ap := fit.Radios[d.Radio].Ref.AP
		if seen[ap] || len(out) == 3 {
			continue // the other band of the same box says the same
		}
		seen[ap] = true
		var text string
		switch {
		case d.Unheard:
			text = fmt.Sprintf("%s was not heard here, and the fit expects %s dBm. Door shut, somebody in the way, or AP down?", d.Name, say.Fixed(d.PredictDBm, 0))
		case d.ResidualDB < 0:
			text = fmt.Sprintf("%s is %.0f dB below the fit here. Door shut, somebody in the way, or AP down?", d.Name, -d.ResidualDB)
		default:
			text = fmt.Sprintf("%s is %.0f dB above the fit here. Is this the right point, and the AP where the plan says?", d.Name, d.ResidualDB)
		}
		out = append(out, tui.Doubt{AP: ap, Text: text})
	}
	return out
}

// targetOf says how a target stands in the words of the screen.
func targetOf(t position.Outcome) tui.Target {
	out := tui.Target{Share: t.Share, WithinM: t.WithinM, Verdict: string(t.Verdict), Passed: t.Verdict == position.Passed}
	if t.Verdict == position.Open {
		switch {
		case t.MoreAtRate > 0:
			out.Verdict = fmt.Sprintf("open, %d more", t.MoreAtRate)
		case t.MoreWithin > 0:
			out.Verdict = fmt.Sprintf("open, %d more at least", t.MoreWithin)
		}
	}
	return out
}
