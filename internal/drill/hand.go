package drill

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"footrule/internal/radio/synthetic"
	"footrule/internal/walk"
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
func (m *maker) ends() []int { return spreadOut(m.points, m.order, returns) }

// apart is how far two points are from each other; other floors are far.
func apart(a, b spot) float64 {
	d := distance(a.At, b.At)
	if a.floor != b.floor {
		d += 100
	}
	return d
}

func spreadOut(pts []spot, order []int, n int) []int {
	chosen := []int{order[0]}
	for len(chosen) < min(n, len(order)) {
		best, far := -1, -1.0
		for _, p := range order {
			least := math.Inf(1)
			for _, q := range chosen {
				least = min(least, apart(pts[p], pts[q]))
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

// outing is one of the walks that are handed over.
type outing struct {
	name, receiver string
	order          []int
	offsetDB       float64 // of its receiver
}

// outings lists the walks that are handed over: one of all points with six of them
// once more at the end, or of too few; where two receivers differ, one that leaves
// out the last third, and one by the other receiver that leaves out the first.
func (c *Case) outings() []outing {
	order, points := c.order(), c.points()
	one := outing{name: "handed over", receiver: "simulated", order: order}
	switch f := c.fault(Receiver); {
	case f != nil:
		n := len(order)
		one.receiver, one.order = "receiver A", order[:2*n/3]
		return []outing{one, {name: "second half", receiver: "receiver B", order: order[n/3:], offsetDB: f.Size}}
	case c.fault(Few) != nil:
		one.order = order[:fewPoints]
	default:
		one.order = append(slices.Clone(order), spreadOut(points, order, returns)...)
	}
	return []outing{one}
}

// Hand gives the case walked by somebody else: all points in a short order with
// four facings of three scans, and six of them once more at the end; with too few
// points or one facing where that is what is wrong, and by two receivers in two
// walks where these differ. Equal cases give equal walks.
func Hand(ctx context.Context, c *Case) ([]walk.Walk, error) {
	clock := synthetic.NewSimulatedClock(handedOn)
	set := walk.DefaultSettings()
	if c.fault(Facing) != nil {
		set.FacingsDeg = []float64{90 * float64(c.sweeps%4)}
		set.ScansPerFacing = 6
	}
	points, before := c.points(), 0
	var out []walk.Walk
	for i, r := range c.outings() {
		by := *c
		by.Truth = c.Truth.Clone()
		by.Truth.ReceiverOffsetDB = r.offsetDB
		sc, err := NewScanner(&by, before, clock)
		if err != nil {
			return nil, err
		}
		id := "handed-"
		if i > 0 {
			id = fmt.Sprintf("handed%d-", i+1)
		}
		w := walk.Walk{Header: walk.Header{ID: id + c.Digest[:12], Name: r.name, Surveyor: "a colleague", Receiver: r.receiver,
			Source: walk.Synthetic, Started: clock.Now(), PlanRev: 1, Settings: set, Completed: true}}
		for n, p := range r.order {
			pt := points[p]
			if err := clock.Sleep(ctx, toNext); err != nil {
				return nil, err
			}
			v := walk.Visit{ID: fmt.Sprintf("V%03d", n+1), Seq: n + 1, Point: pt.ID, Floor: pt.floor, At: pt.At}
			if v.Scans, err = sc.stay(ctx, clock, pt, set); err != nil {
				return nil, err
			}
			w.Visits = append(w.Visits, v)
			sc.Visited()
		}
		w.Marks = []walk.Mark{{Seq: len(r.order) + 1, Time: clock.Now(), Kind: walk.Finish}}
		out = append(out, w)
		before += len(r.order)
	}
	return out, nil
}

// stay takes the scans of one visit.
func (s *Scanner) stay(ctx context.Context, clock *synthetic.SimulatedClock, at spot, set walk.Settings) ([]walk.Scan, error) {
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
