package drill_test

import (
	"context"
	"math"
	"os"
	"slices"
	"strconv"
	"sync/atomic"
	"testing"

	"footrule/internal/doubt"
	"footrule/internal/drill"
	"footrule/internal/walk"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// solve answers a case from what a trainee has: the plan, the tape and the walk.
func solve(t *testing.T, c *drill.Case, walks []walk.Walk) ([]drill.Answer, drill.Evidence) {
	rep, err := doubt.Find(context.Background(), c.Plan, walks, doubt.Options{Brief: true})
	require.NoError(t, err)
	e := drill.Evidence{Walks: walks, Report: rep}
	rules := []func(*drill.Case, *walk.Walk) *drill.Answer{onOneLine, byTape, oneFacing, tooFew, stuck}
	for _, rule := range rules {
		if a := rule(c, &walks[0]); a != nil {
			return []drill.Answer{*a}, e
		}
	}
	var out []drill.Answer
	for _, f := range rep.Findings {
		a := drill.Answer{Kind: drill.Kind(f.Kind)}
		for _, ap := range f.APs {
			a.APs = append(a.APs, c.Plan.AccessPoints[ap].ID)
		}
		switch f.Kind {
		case doubt.Moved, doubt.Point:
			if f.Kind == doubt.Moved && c.Plan.Floors[f.Seems[0].Floor].ID != c.Plan.AccessPoints[f.APs[0]].Floor {
				a.Kind = drill.Storey
				break
			}
			a.At = &f.Seems[0].At
			for _, v := range f.Visits {
				a.Points = append(a.Points, v.Point)
			}
		case doubt.Power:
			a.Size, a.Since = f.Effect, f.When.Point
		case doubt.Dies:
			a.Since = f.When.Point
		case doubt.Scale, doubt.Receiver:
			a.Size = f.Effect
		case doubt.Exchange:
			for _, v := range f.Visits {
				a.Points = append(a.Points, v.Point)
			}
		case doubt.Labels, doubt.Dead:
		default:
			continue
		}
		require.NoError(t, a.Check(c.Plan), "%+v", a)
		out = drill.Give(out, a)
	}
	if len(out) == 0 {
		out = []drill.Answer{{Kind: drill.Nothing}}
	}
	return out, e
}

// onOneLine looks whether the access points have no breadth.
func onOneLine(c *drill.Case, _ *walk.Walk) *drill.Answer {
	n, mx, my := float64(len(c.Plan.AccessPoints)), 0.0, 0.0
	for _, ap := range c.Plan.AccessPoints {
		mx, my = mx+ap.At[0]/n, my+ap.At[1]/n
	}
	xx, xy, yy := 0.0, 0.0, 0.0
	for _, ap := range c.Plan.AccessPoints {
		dx, dy := ap.At[0]-mx, ap.At[1]-my
		xx, xy, yy = xx+dx*dx/n, xy+dx*dy/n, yy+dy*dy/n
	}
	if least := (xx + yy - math.Hypot(xx-yy, 2*xy)) / 2; least < 1 {
		return &drill.Answer{Kind: drill.Line}
	}
	return nil
}

func byTape(c *drill.Case, _ *walk.Walk) *drill.Answer {
	b := c.Plan.Floors[0].BoundingBox()
	if by := c.TapedM() / (b.Max[0] - b.Min[0]); math.Abs(by-1) > .02 {
		return &drill.Answer{Kind: drill.Plan, Size: by}
	}
	return nil
}

func oneFacing(_ *drill.Case, w *walk.Walk) *drill.Answer {
	for _, v := range w.Visits {
		for _, s := range v.Scans {
			if s.FacingDeg != w.Visits[0].Scans[0].FacingDeg {
				return nil
			}
		}
	}
	return &drill.Answer{Kind: drill.Facing}
}

func tooFew(c *drill.Case, w *walk.Walk) *drill.Answer {
	points := 0
	for _, f := range c.Plan.Floors {
		points += len(f.Points)
	}
	if 2*len(w.Visits) < points {
		return &drill.Answer{Kind: drill.Few}
	}
	return nil
}

// stuck looks for visits all of whose scans are the same.
func stuck(_ *drill.Case, w *walk.Walk) *drill.Answer {
	a := drill.Answer{Kind: drill.Stale}
	for _, v := range w.Visits {
		same := true
		for _, s := range v.Scans {
			same = same && slices.Equal(s.Readings, v.Scans[0].Readings)
		}
		if same {
			a.Points = append(a.Points, v.Point)
		}
	}
	if len(a.Points) == 0 {
		return nil
	}
	return &a
}

// Every family can be solved from what a trainee gets. The shares are those that a
// study of package doubt's recipe found (its tests hold them); what rules see is
// seen always. One building of each is taken always, of which two in nineteen may go
// wrong; FOOTRULE_DRILLS=20 takes 20 and holds each family to its share.
func TestSolvable(t *testing.T) {
	buildings, all, cases := 1, atomic.Int64{}, int64(0)
	if s := os.Getenv("FOOTRULE_DRILLS"); s != "" {
		n, err := strconv.Atoi(s)
		require.NoError(t, err)
		buildings = n
	}
	t.Run("each", func(t *testing.T) {
		for _, tc := range []struct {
			level drill.Level
			kinds []drill.Kind
			least float64
		}{
			{drill.Plain, []drill.Kind{drill.Labels}, .95},
			{drill.Plain, []drill.Kind{drill.Moved}, .9},
			{drill.Plain, []drill.Kind{drill.Dead}, .9},
			{drill.Plain, []drill.Kind{drill.Line}, 1},
			{drill.Plain, []drill.Kind{drill.Few}, 1},
			{drill.Plain, nil, .9},
			{drill.Middle, []drill.Kind{drill.Labels}, .95},
			{drill.Middle, []drill.Kind{drill.Moved}, .85},
			{drill.Middle, []drill.Kind{drill.Power}, .75},
			{drill.Middle, []drill.Kind{drill.Dies}, .85},
			{drill.Middle, []drill.Kind{drill.Point}, .8},
			{drill.Middle, []drill.Kind{drill.Scale}, .9},
			{drill.Middle, []drill.Kind{drill.Stale}, 1},
			{drill.Middle, []drill.Kind{drill.Facing}, 1},
			{drill.Middle, nil, .85},
			{drill.Middle, []drill.Kind{drill.Exchange}, .8},
			{drill.Middle, []drill.Kind{drill.Receiver}, .95},
			{drill.Middle, []drill.Kind{drill.Storey}, .9},
			{drill.Hard, []drill.Kind{drill.Exchange}, .6},
			{drill.Hard, []drill.Kind{drill.Storey}, .8},
			{drill.Hard, []drill.Kind{drill.Plan}, 1},
			{drill.Hard, []drill.Kind{drill.Moved}, .6},
			{drill.Hard, []drill.Kind{drill.Labels, drill.Dead}, .8},
			{drill.Hard, []drill.Kind{drill.Moved, drill.Dies}, .6},
		} {
			cases++
			t.Run(string(tc.level)+" "+join(tc.kinds), func(t *testing.T) {
				t.Parallel()
				right := 0
				for seed := range uint64(buildings) {
					spec := drill.Spec{Level: tc.level, Seed: seed}
					for _, k := range tc.kinds {
						spec.Faults = append(spec.Faults, drill.Fault{Kind: k})
					}
					c, err := drill.Make(spec)
					require.NoError(t, err, "seed %d", seed)
					w, err := drill.Hand(context.Background(), c)
					require.NoError(t, err)
					answers, e := solve(t, c, w)
					s := drill.Grade(c, answers, e)
					if s.Right {
						right++
						assert.GreaterOrEqual(t, s.Points, 70, "seed %d: %+v", seed, s)
					} else {
						t.Logf("seed %d: %d points for %v", seed, s.Points, answers)
					}
				}
				t.Logf("%d of %d", right, buildings)
				all.Add(int64(right))
				if n := float64(buildings); n >= 10 {
					slack := 2 * math.Sqrt(n*tc.least*(1-tc.least)) // two standard errors of that share
					assert.GreaterOrEqual(t, float64(right), n*tc.least-slack)
				}
			})
		}
	})
	require.GreaterOrEqual(t, all.Load(), cases*int64(buildings)*17/19)
}

func join(kinds []drill.Kind) string {
	if len(kinds) == 0 {
		return "nothing"
	}
	s := ""
	for _, k := range kinds {
		s += string(k) + " "
	}
	return s
}
