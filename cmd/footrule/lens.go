package main

import (
	"context"
	"fmt"
	"math"
	"slices"

	"footrule/internal/coverage"

	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/site"
	"footrule/internal/walk"
	"footrule/tui"

	"github.com/paulmach/orb"
)

// curves lines up what every radio of a fit was heard at with its distance.
func curves(d *propagation.Data, fit *propagation.Fit) []tui.Curve {
	var out []tui.Curve
	for k := range fit.Radios {
		r := &fit.Radios[k]
		g := fit.Group(k)
		if g == nil {
			continue
		}
		c := tui.Curve{AP: r.Ref.AP, Band: r.Band, Level1m: estimate(r.Level1m), Exponent: estimate(r.Exponent), SigmaDB: g.SigmaDB.Est, Points: r.Points, Silent: r.Silent}
		for i := range d.Stays() {
			at := i*d.Radios + k
			if d.Levels[at].Heard == 0 {
				continue
			}
			// What the fit takes off on the way besides the distance.
			straight := r.Level1m.Est - 10*r.Exponent.Est*math.Log10(d.DistanceM[at])
			c.DistanceM = append(c.DistanceM, d.DistanceM[at])
			c.LevelDBm = append(c.LevelDBm, d.Levels[at].MeanDBm)
			c.WallsDB = append(c.WallsDB, straight-fit.Level(k, d.Floor[i], d.At[i]))
		}
		out = append(out, c)
	}
	return out
}

// judgedPlaces sums up the fixes of every place, and lists the errors of all.
func judgedPlaces(e *position.Errors) (places []tui.Judged, errorsM []float64) {
	at := map[walk.Place]int{}
	n := []int{}
	for i := range e.Judged {
		j := &e.Judged[i]
		k, ok := at[j.Place]
		if !ok {
			k = len(places)
			at[j.Place] = k
			places = append(places, tui.Judged{Point: j.Point, Floor: j.Floor, At: j.At, ErrorM: math.NaN(), BoundM: j.BoundM})
			n = append(n, 0)
		}
		p := &places[k]
		if !j.Fix.Located {
			if n[k] == 0 {
				p.Why = j.Fix.Reason
			}
			continue
		}
		errorsM = append(errorsM, j.ErrorM)
		if n[k]++; n[k] == 1 {
			p.Fix, p.ErrorM, p.Why = j.Fix.At, j.ErrorM, ""
		} else {
			f := 1 / float64(n[k])
			p.Fix[0] += f * (j.Fix.At[0] - p.Fix[0])
			p.Fix[1] += f * (j.Fix.At[1] - p.Fix[1])
			p.ErrorM += f * (j.ErrorM - p.ErrorM)
		}
		if j.Fix.Heard < 4 {
			p.Why = fmt.Sprintf("%d heard", j.Fix.Heard)
		}
	}
	slices.Sort(errorsM)
	return places, errorsM
}

// lensCells bounds the cells of a map for a lens: a screen has fewer.
const lensCells = 40_000

// closedHoles is for how many holes an added access point is looked for: the
// smaller ones are crumbs beside them.
const closedHoles = 3

// layer maps a floor for a lens: from a fit, and where there is none yet from
// the published figures of the first environment.
func layer(ctx context.Context, plan *site.Site, fit *propagation.Fit, q tui.Query, set walk.Settings) (tui.Map, error) {
	floor := plan.FloorIndex(q.Floor)
	if floor < 0 {
		return tui.Map{}, fmt.Errorf("no floor %q on the plan", q.Floor)
	}
	from := "from the fit"
	if fit == nil {
		e := propagation.Environments()[0]
		var err error
		if fit, _, err = e.Fit(plan); err != nil {
			return tui.Map{}, err
		}
		from = "no fit yet: published, " + e.Name
	}
	b := plan.Floors[floor].BoundingBox()
	cell := math.Max(0.5, math.Sqrt((b.Max[0]-b.Min[0])*(b.Max[1]-b.Min[1])/lensCells))
	m, err := coverage.Predict(ctx, plan, fit, coverage.Options{CellM: cell, ThresholdDBm: set.ThresholdDBm, Need: set.Need, Floors: []int{floor}})
	if err != nil {
		return tui.Map{}, err
	}
	fm := &m.Floors[0]
	l := fm.Lattice
	out := tui.Map{Origin: orb.Point{l.Origin[0] - l.DX/2, l.Origin[1] - l.DY/2}, Cell: orb.Point{l.DX, l.DY}, W: l.NX, H: l.NY,
		Values: make([]float64, l.Len()), From: from}
	for i := range out.Values {
		out.Values[i] = math.NaN()
	}
	value := func(i int) float64 { return float64(fm.Heard[i]) }
	switch q.Layer {
	case tui.LevelLayer:
		value = func(i int) float64 {
			best := math.NaN()
			for k, r := range plan.Radios() {
				if v := fm.Level(k, i); r.AP == q.AP && !(v <= best) && !math.IsNaN(v) {
					best = v
				}
			}
			return best
		}
	case tui.BoundLayer:
		bound := m.Accuracy(fm).BoundM
		value = func(i int) float64 { return bound[i] }
	case tui.ExpectLayer:
		expect := m.Accuracy(fm).ErrorM
		value = func(i int) float64 { return expect[i] }
	case tui.HullLayer:
		inside := m.InHull(fm)
		in, all := 0.0, 0.0
		for i, a := range fm.AreaM2 {
			all += a
			if inside[i] {
				in += a
			}
		}
		out.Inside = in / all
		value = func(i int) float64 {
			if inside[i] {
				return 1
			}
			return 0
		}
	case tui.HeardLayer:
		shares := fm.Shares(set.Need)
		for k, s := range shares.Heard {
			out.Shares = append(out.Shares, tui.Share{AtLeast: k + 1, Share: s})
		}
		holes := m.Holes()
		// What closes the largest ones.
		most := holes[:min(closedHoles, len(holes))]
		source := func(s *site.Site) (*propagation.Fit, []string, error) { return fit.Transfer(s, false) }
		if err := m.Close(ctx, most, source, coverage.LikeThose(plan), coverage.DefaultSpacingM); err != nil {
			return tui.Map{}, err
		}
		for _, h := range holes {
			t := tui.Hole{At: h.Centre, AreaM2: h.AreaM2, Heard: h.Heard}
			if h.Added != nil {
				at := h.Added.At
				t.Add, t.ClosesM2 = &at, h.Added.ClosesM2
			}
			out.Holes = append(out.Holes, t)
		}
	}
	for i, at := range fm.Index {
		out.Values[at] = value(i)
	}
	return out, nil
}

// lay maps a floor for a lens of the walk.
func (s *survey) lay(ctx context.Context, q tui.Query) (tui.Map, error) {
	return layer(ctx, s.plan, s.running.latest(), q, s.session.Walk().Settings)
}
