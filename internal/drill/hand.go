package drill

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"footrule/internal/radio/synthetic"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

// returns is how many points a walk comes back to at its end, spread over the
// floor: what changed meanwhile shows there without any model.
const returns = 6

// Times of a walk that somebody else made; invented.
const (
	toNext = 12 * time.Second
	toTurn = 3 * time.Second
)

// handedOn is when handed walks begin.
var handedOn = time.Date(2026, 1, 12, 8, 0, 0, 0, time.UTC)

// ends are the points that a walk comes back to: each the farthest from those
// before it, in the order of the walk.
func (m *maker) ends() []int { return spreadOut(m.Building.Floors[0].Points, m.order, returns) }

func spreadOut(pts []site.Point, order []int, n int) []int {
	chosen := []int{order[0]}
	for len(chosen) < min(n, len(order)) {
		best, far := -1, -1.0
		for _, p := range order {
			least := math.Inf(1)
			for _, q := range chosen {
				least = min(least, distance(pts[p].At, pts[q].At))
			}
			if least > far {
				best, far = p, least
			}
		}
		chosen = append(chosen, best)
	}
	slices.SortFunc(chosen, func(a, b int) int { return slices.Index(order, a) - slices.Index(order, b) })
	return chosen
}

// Hand gives the case walked by somebody else: all points in a short order with
// four facings of three scans, and six of them once more at the end; with too few
// points or one facing where that is what is wrong. Equal cases give equal walks.
func Hand(ctx context.Context, c *Case) (walk.Walk, error) {
	clock := synthetic.NewSimulatedClock(handedOn)
	sc, err := NewScanner(c, 0, clock)
	if err != nil {
		return walk.Walk{}, err
	}
	set := walk.DefaultSettings()
	order := c.order()
	switch {
	case c.fault(Few) != nil:
		order = order[:fewPoints]
	default:
		order = append(slices.Clone(order), spreadOut(c.Plan.Floors[0].Points, order, returns)...)
	}
	if c.fault(Facing) != nil {
		set.FacingsDeg = []float64{90 * float64(c.sweeps%4)}
		set.ScansPerFacing = 6
	}
	w := walk.Walk{Header: walk.Header{ID: "handed-" + c.Digest[:12], Name: "handed over", Surveyor: "a colleague", Receiver: "simulated",
		Source: walk.Synthetic, Started: handedOn, PlanRev: 1, Settings: set, Completed: true}}
	for n, p := range order {
		pt := c.Plan.Floors[0].Points[p]
		if err := clock.Sleep(ctx, toNext); err != nil {
			return w, err
		}
		v := walk.Visit{ID: fmt.Sprintf("V%03d", n+1), Seq: n + 1, Point: pt.ID, Floor: "G", At: pt.At}
		if v.Scans, err = sc.stay(ctx, clock, pt.At, set); err != nil {
			return w, err
		}
		w.Visits = append(w.Visits, v)
		sc.Visited()
	}
	w.Marks = []walk.Mark{{Seq: len(order) + 1, Time: clock.Now(), Kind: walk.Finish}}
	return w, nil
}

// stay takes the scans of one visit.
func (s *Scanner) stay(ctx context.Context, clock *synthetic.SimulatedClock, at orb.Point, set walk.Settings) ([]walk.Scan, error) {
	var out []walk.Scan
	for i, facing := range set.FacingsDeg {
		if i > 0 {
			if err := clock.Sleep(ctx, toTurn); err != nil {
				return nil, err
			}
		}
		for range set.ScansPerFacing {
			sweep, err := s.visit(ctx, at, facing)
			if err != nil {
				return nil, err
			}
			out = append(out, walk.Scan{Time: sweep.Started, FacingDeg: facing, Readings: sweep.Readings()})
		}
	}
	return out, nil
}
