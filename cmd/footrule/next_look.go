package main

import (
	"fmt"
	"slices"
	"time"

	"footrule/internal/position"
	"footrule/internal/route"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
	"github.com/spf13/cobra"
)

// next is what the command of that name says.
type next struct {
	*position.Further
	plan  *site.Site
	rev   uint64
	worth float64 // share of the error
	names []nextName
	tour  []nextStop
	pace  pace
	added uint64 // revision of the plan with the points; 0 for none
}

// nextName is what a chosen point is called.
type nextName struct {
	id     string
	onPlan bool
}

// nextStop is a chosen point in the order of the tour.
type nextStop struct {
	chosen  int // index into Chosen
	walkM   float64
	minutes float64 // with the visit
}

// pace is how long visits and ways take.
type pace struct {
	visit    time.Duration
	from     string
	speedMps float64
}

// A walk with a laptop in hand, stopping to look at the plan, and a visit of
// some scans in each of four directions (both common practice).
const (
	walkingMps   = 1.0
	visitAssumed = time.Minute
	// A visit that took longer was a break; one that took less was recorded on the move.
	visitLeast, visitMost = 10 * time.Second, 15 * time.Minute
	visitsForPace         = 5
)

func lookFurther(cmd *cobra.Command, path string, f *nextFlags, o position.FurtherOptions) (*next, error) {
	plan, rev, walks, err := loadAt(path, f.walks)
	if err != nil {
		return nil, err
	}
	for _, id := range f.floors {
		k := plan.FloorIndex(id)
		if k < 0 {
			return nil, usage(fmt.Errorf("no floor %q on the plan", id))
		}
		o.Only = append(o.Only, k)
	}
	var ids []string
	skipped := skippedPoints(plan, walks)
	for fl := range plan.Floors {
		for _, p := range plan.Floors[fl].Points {
			if !skipped[p.ID] {
				o.Prefer, ids = append(o.Prefer, position.Spot{Floor: fl, At: p.At}), append(ids, p.ID)
			}
		}
	}
	got, err := position.LookFurther(cmd.Context(), plan, walks, o)
	if err != nil {
		return nil, usage(fmt.Errorf("%s: %w", path, err))
	}
	n := &next{Further: got, plan: plan, rev: rev, worth: f.worth / 100, pace: paceOf(walks)}
	free := freeIDs(plan)
	for _, c := range got.Chosen {
		if c.Preferred >= 0 {
			n.names = append(n.names, nextName{ids[c.Preferred], true})
		} else {
			n.names = append(n.names, nextName{free(), false})
		}
	}
	n.order(walks)
	return n, nil
}

// skippedPoints are those that the latest walk which says anything of them skips.
func skippedPoints(plan *site.Site, walks []walk.Walk) map[string]bool {
	out := map[string]bool{}
	for _, w := range walks {
		for _, m := range w.Marks {
			switch m.Kind {
			case walk.Skip:
				out[m.Target] = true
			case walk.Unskip:
				delete(out, m.Target)
			}
		}
	}
	return out
}

// freeIDs names points by the numbers that no point of the plan has.
func freeIDs(plan *site.Site) func() string {
	taken := map[string]bool{}
	n, digits := 0, 2
	for i := range plan.Floors {
		for _, p := range plan.Floors[i].Points {
			taken[p.ID] = true
			var k int
			if m, err := fmt.Sscanf(p.ID, "P%d", &k); m == 1 && err == nil && fmt.Sprintf("P%0*d", len(p.ID)-1, k) == p.ID {
				n, digits = max(n, k), max(digits, len(p.ID)-1)
			}
		}
	}
	return func() string {
		for {
			n++
			if id := fmt.Sprintf("P%0*d", digits, n); !taken[id] {
				return id
			}
		}
	}
}

// lastVisit is where the latest walk ended.
func lastVisit(walks []walk.Walk) *walk.Visit {
	var last *walk.Visit
	var at time.Time
	for i := range walks {
		for _, v := range walks[i].Standing() {
			if len(v.Scans) > 0 && !v.Scans[len(v.Scans)-1].Time.Before(at) {
				last, at = v, v.Scans[len(v.Scans)-1].Time
			}
		}
	}
	return last
}

// order puts the chosen points in the order of a tour: the floor where the walk
// ended first, from there, then the others.
func (n *next) order(walks []walk.Walk) {
	var floors []int
	last := lastVisit(walks)
	for fl := range n.plan.Floors {
		floors = append(floors, fl)
	}
	if last != nil {
		if here := n.plan.FloorIndex(last.Floor); here > 0 {
			floors = slices.Insert(slices.Delete(floors, here, here+1), 0, here)
		}
	}
	for _, fl := range floors {
		var pts []site.Point
		var of []int
		for i, c := range n.Chosen {
			if c.Floor == fl {
				pts, of = append(pts, site.Point{ID: n.names[i].id, At: c.At}), append(of, i)
			}
		}
		if len(pts) == 0 {
			continue
		}
		ways := route.NewWays(&n.plan.Floors[fl])
		var from *orb.Point
		if last != nil && n.plan.FloorIndex(last.Floor) == fl {
			from = &last.At
		}
		for _, k := range ways.Order(pts, from).Order {
			s := nextStop{chosen: of[k]}
			if from != nil {
				s.walkM = planar.Distance(*from, pts[k].At)
				if leg, ok := ways.Leg(*from, pts[k].At); ok {
					s.walkM = leg.DistM
				}
			}
			s.minutes = n.pace.visit.Minutes() + s.walkM/n.pace.speedMps/60
			n.tour, from = append(n.tour, s), &pts[k].At
		}
	}
}

// paceOf takes the length of a visit from the walks' own times: the median from
// the start of one to the start of the next, less the way between them.
func paceOf(walks []walk.Walk) pace {
	p := pace{visit: visitAssumed, from: "assumed", speedMps: walkingMps}
	var took []time.Duration
	for i := range walks {
		if walks[i].Source == walk.Synthetic {
			continue
		}
		var before *walk.Visit
		for _, v := range walks[i].Standing() {
			if len(v.Scans) == 0 {
				continue
			}
			if before != nil && before.Floor == v.Floor {
				way := time.Duration(planar.Distance(before.At, v.At) / walkingMps * float64(time.Second))
				if d := v.Scans[0].Time.Sub(before.Scans[0].Time) - way; d > 0 && d <= visitMost {
					took = append(took, d)
				}
			}
			before = v
		}
	}
	if len(took) < visitsForPace {
		return p
	}
	slices.Sort(took)
	if m := took[len(took)/2].Round(time.Second); m >= visitLeast {
		p.visit, p.from = m, "median of the walks"
	}
	return p
}

// add puts the chosen grid places on the plan, unless it has changed meanwhile.
func (n *next) add(path string) error {
	if n.off() == 0 {
		return nil
	}
	st, err := open(path, false)
	if err != nil {
		return err
	}
	defer st.Close()
	now, rev, err := st.Plan()
	if err != nil {
		return err
	}
	if rev != n.rev {
		return refused(fmt.Errorf("the plan in %s changed meanwhile; run this again", path))
	}
	plan := now.Clone()
	for i, c := range n.Chosen {
		if !n.names[i].onPlan {
			fl := &plan.Floors[c.Floor]
			fl.Points = append(fl.Points, site.Point{ID: n.names[i].id, At: c.At})
		}
	}
	rev, err = st.PutPlan(plan)
	if err == nil {
		n.added = rev
	}
	return err
}
