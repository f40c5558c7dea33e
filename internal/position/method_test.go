package position_test

import (
	"context"
	"fmt"
	"math"
	"runtime"
	"slices"
	"testing"

	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Whoever is judged is not in what was learned: the locator of leave-one-out is
// that of a walk that never went to the place, fix by fix.
func TestJudgedPlaceIsNotLearned(t *testing.T) {
	v := small()
	v.facings, v.walls = 2, true
	s, w := v.walk(11)
	again := w.Visits[3] // a place that was visited twice
	again.ID = "again"
	w.Visits = append(w.Visits, again)
	stays := walk.Stays(s, []walk.Walk{w}, walk.ByFacing)
	d := propagation.Observe(s, stays)
	g := position.NewGrid(s)
	all, err := propagation.Estimate(d, propagation.Options{})
	require.NoError(t, err)
	refits := propagation.NewRefits(d, propagation.Options{}, all)
	for _, m := range position.Methods() {
		for _, places := range [][]int{{3}, {0, 17, 29}} {
			left, err := refits.Without(places...)
			require.NoError(t, err)
			rest := d.Subset(func(i int) bool {
				for _, p := range places {
					if d.PlaceOf[i] == p {
						return false
					}
				}
				return true
			})
			never := position.NewLocator(m, g, rest, left)
			judge := position.Without(m, g, d, all, left, places...)
			for i := range stays {
				want, got := never.Fix(&stays[i]), judge.Fix(&stays[i])
				require.Equal(t, want.Located, got.Located)
				require.InDelta(t, 0, math.Hypot(want.At[0]-got.At[0], want.At[1]-got.At[1]), 1e-9, "%s without %v", m, places)
				require.InDelta(t, want.Covariance.XX, got.Covariance.XX, 1e-9*(1+want.Covariance.XX))
			}
		}
	}
}

// Every method judges by every protocol, the same on any number of processors,
// and says how sure it is: some 95 % of the truths lie in the 95 % ellipse. The
// limits are wide for the few places (0.95 ± 0.06 with 60), and wider for
// trilateration, whose ellipse knows the curvature at the top alone.
func TestEveryMethodJudges(t *testing.T) {
	v := small()
	v.points, v.facings = 60, 2
	s, w := v.walk(12)
	test := w
	train := w
	test.ID, test.Visits, train.Visits = "W2", nil, nil
	for i, vi := range w.Visits {
		if i%3 == 1 {
			test.Visits = append(test.Visits, vi)
		} else {
			train.Visits = append(train.Visits, vi)
		}
	}
	for _, m := range position.Methods() {
		for _, fix := range []position.Unit{position.PerVisit, position.PerFacing} {
			run := func(processors int, o position.Options, walks ...walk.Walk) *position.Errors {
				defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(processors))
				o.Method, o.Fix, o.Resamples = m, fix, 100
				e, err := position.Judge(context.Background(), s, walks, o)
				require.NoError(t, err)
				assert.Equal(t, m, e.Method)
				return e
			}
			loo := run(2, position.Options{}, w)
			if fix == position.PerVisit {
				assert.Equal(t, fmt.Sprint(run(1, position.Options{}, w).Judged), fmt.Sprint(loo.Judged), "%s by %s", m, fix)
			}
			tt := run(2, position.Options{Train: []string{"W1"}, Test: []string{"W2"}}, train, test)
			assert.Equal(t, 20, tt.Points)
			in, n := 0, 0
			for _, r := range loo.Judged {
				require.True(t, r.Fix.Located)
				if !r.Fix.Sure {
					continue
				}
				n++
				if inEllipse(r.Fix, r.At) {
					in++
				}
			}
			share := float64(in) / float64(n)
			t.Logf("%-13s by %-6s leave-one-out %.2f m, train-test %.2f m, bound %.2f m; %.2f of %d in the 95 %% ellipse", m, fix,
				loo.Statistics.RMSM, tt.Statistics.RMSM, loo.BoundRMSM, share, n)
			least := .8
			if m == position.Trilaterate {
				least = .7
			}
			assert.Greater(t, share, least, "%s by %s", m, fix)
			assert.Greater(t, n, 50)
			assert.Less(t, loo.Statistics.RMSM, 2*loo.BoundRMSM, "%s by %s", m, fix)
		}
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		_, err := position.Judge(ctx, s, []walk.Walk{w}, position.Options{Method: m})
		assert.ErrorIs(t, err, context.Canceled)
	}
}

// inEllipse says whether a place is in the ellipse that holds 95 % of a normal
// distribution in the plane: χ² with two degrees of freedom, −2 log 0.05 = 5.991.
func inEllipse(f position.Fix, at orb.Point) bool {
	x, y, c := f.At[0]-at[0], f.At[1]-at[1], f.Covariance
	return (x*x*c.YY-2*x*y*c.XY+y*y*c.XX)/(c.XX*c.YY-c.XY*c.XY) <= -2*math.Log(.05)
}

// With nothing heard there is no fix by any method.
func TestNoFixFromSilence(t *testing.T) {
	s, w := small().walk(13)
	stays := walk.Stays(s, []walk.Walk{w}, walk.ByVisit)
	d := propagation.Observe(s, stays)
	f, err := propagation.Estimate(d, propagation.Options{})
	require.NoError(t, err)
	g := position.NewGrid(s)
	for _, m := range position.Methods() {
		l := position.NewLocator(m, g, d, f)
		for _, levels := range [][]walk.Level{nil, make([]walk.Level, len(s.Radios()))} {
			fix := l.Fix(&walk.Stay{Scans: 3, Levels: levels})
			assert.False(t, fix.Located, m)
			assert.Equal(t, "no access point of the fit was heard", fix.Reason, m)
		}
	}
}

// A radio that no scan of a stay listened for says nothing about the place, by any
// method: the fix is that from a plan without the radio's level, not that of a
// silence.
func TestDeafScansSayNothing(t *testing.T) {
	v := small()
	s, w := v.walk(13)
	stays := walk.Stays(s, []walk.Walk{w}, walk.ByVisit)
	d := propagation.Observe(s, stays)
	f, err := propagation.Estimate(d, propagation.Options{})
	require.NoError(t, err)
	g := position.NewGrid(s)
	moved := 0
	for _, m := range position.Methods() {
		l := position.NewLocator(m, g, d, f)
		for i := range stays {
			st := stays[i]
			st.Levels = slices.Clone(st.Levels)
			strongest := 0
			for k, lv := range st.Levels {
				if lv.Heard > 0 && (st.Levels[strongest].Heard == 0 || lv.MeanDBm > st.Levels[strongest].MeanDBm) {
					strongest = k
				}
			}
			st.Levels[strongest] = walk.Level{}
			silent := l.Fix(&st)
			st.Levels[strongest].Deaf = st.Scans
			deaf := l.Fix(&st)
			if !silent.Located || !deaf.Located {
				continue
			}
			off := func(x position.Fix) float64 { return math.Hypot(x.At[0]-st.At[0], x.At[1]-st.At[1]) }
			if off(deaf) < off(silent)-1e-6 {
				moved++
			} else if off(deaf) > off(silent)+1e-6 {
				moved--
			}
		}
	}
	assert.Greater(t, moved, 20, "a strong radio's silence leads away from it, a deaf scan does not")
}
