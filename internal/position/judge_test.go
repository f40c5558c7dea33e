package position_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"sync"
	"testing"
	"time"

	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/radio"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// invented is a simulated hall that was walked: access points at 3 m on a
// jittered grid, n = 3, shadowing 4 dB (a part of it by facing), scatter 2 dB.
type invented struct {
	width, depth float64
	aps, points  int
	facings      int
	scans        int // per facing
	floor        float64
	miss         float64
	walls        bool
}

// aside is how many columns a grid of n squares has on a floor.
func aside(n int, width, depth float64) float64 { return math.Sqrt(float64(n) * width / depth) }

// jittered lays n points on a floor, each anywhere in its cell of a grid.
func jittered(rng *rand.Rand, n, cols int, width, depth float64) []orb.Point {
	rows := (n + cols - 1) / cols
	var out []orb.Point
	for i := range n {
		out = append(out, orb.Point{
			(float64(i%cols) + .1 + .8*rng.Float64()) * width / float64(cols),
			(float64(i/cols) + .1 + .8*rng.Float64()) * depth / float64(rows),
		})
	}
	return out
}

func (v invented) walk(seed uint64) (*site.Site, walk.Walk) {
	rng := rand.New(rand.NewPCG(seed, 99))
	s := &site.Site{Name: "invented", ReceiverHeightM: 1.2, Floors: []site.Floor{{ID: "G", Outline: box(0, 0, v.width, v.depth)}}}
	if v.walls {
		s.Floors[0].Walls = []site.Wall{
			{Material: "brick", Line: orb.LineString{{v.width / 3, 0}, {v.width / 3, .6 * v.depth}}},
			{Material: "brick", Line: orb.LineString{{.7 * v.width, v.depth}, {.7 * v.width, .3 * v.depth}, {v.width, .3 * v.depth}}},
		}
	}
	spread := func(n int) []orb.Point {
		return jittered(rng, n, int(math.Ceil(aside(n, v.width, v.depth))), v.width, v.depth)
	}
	for i, at := range spread(v.aps) {
		s.AccessPoints = append(s.AccessPoints, site.AccessPoint{ID: fmt.Sprintf("AP-%02d", i+1), Floor: "G", At: at, HeightM: 3,
			Radios: []site.Radio{{Band: radio.Band5, BSSIDs: []radio.BSSID{{2, 0, 0, 0, 2, byte(i + 1)}}}}})
	}
	ix := site.NewWallIndex(s)
	w := walk.Walk{Header: walk.Header{ID: "W1"}}
	now := time.Date(2024, 3, 1, 9, 0, 0, 0, time.UTC)
	for i, at := range spread(v.points) {
		vi := walk.Visit{ID: fmt.Sprintf("V%03d", i), Point: fmt.Sprintf("P%03d", i), Floor: "G", At: at}
		mean := make([]float64, v.aps)
		for k, r := range s.Radios() {
			through := make([]float64, 1)
			ix.Count(0, s.AccessPoints[k].At, at, through)
			mean[k] = -40 - 30*math.Log10(s.Distance3D(r, 0, at)) - 6*through[0] + 3.5*rng.NormFloat64()
		}
		for f := range v.facings {
			body := make([]float64, v.aps)
			for k := range body {
				body[k] = 2 * rng.NormFloat64()
			}
			for range v.scans {
				now = now.Add(3 * time.Second)
				sc := walk.Scan{Time: now, FacingDeg: float64(f) * 360 / float64(v.facings)}
				for k := range mean {
					l := math.Round(mean[k] + body[k] + 2*rng.NormFloat64())
					if l >= v.floor && rng.Float64() >= v.miss {
						sc.Readings = append(sc.Readings, radio.Reading{BSSID: radio.BSSID{2, 0, 0, 0, 2, byte(k + 1)}, FreqMHz: 5180, RSSIDBm: l})
					}
				}
				vi.Scans = append(vi.Scans, sc)
			}
		}
		w.Visits = append(w.Visits, vi)
	}
	return s, w
}

func small() invented {
	return invented{width: 50, depth: 30, aps: 8, points: 30, facings: 4, scans: 3, floor: -85, miss: .1}
}

func TestJudgeLeaveOneOut(t *testing.T) {
	s, w := small().walk(1)
	target := position.Target{Share: .5, WithinM: 8}
	e, err := position.Judge(context.Background(), s, []walk.Walk{w}, position.Options{Targets: []position.Target{target}, Resamples: 500})
	require.NoError(t, err)
	assert.Equal(t, position.Trilaterate, e.Method)
	assert.Equal(t, position.LeaveOneOut, e.Protocol)
	assert.Equal(t, position.PerFacing, e.Fix)
	assert.Equal(t, 30, e.Points)
	assert.Equal(t, 30, e.Refits)
	assert.Len(t, e.Judged, 120)
	assert.Equal(t, 120, e.Statistics.Fixes)
	assert.Equal(t, e.Statistics.Located, e.FloorDetection.Fixes)
	assert.Equal(t, "Hyndman-Fan type 7", e.Quantiles)

	// The figures are those of the rows.
	var vectors []orb.Point
	for i, r := range e.Judged {
		assert.Equal(t, fmt.Sprintf("P%03d", i/4), r.Point)
		assert.Equal(t, float64(i%4)*90, r.FacingDeg)
		assert.Equal(t, 3, r.Scans)
		if !r.Fix.Located {
			assert.True(t, math.IsNaN(r.ErrorM))
			assert.NotEmpty(t, r.Fix.Reason)
			continue
		}
		assert.InDelta(t, math.Hypot(r.Fix.At[0]-r.At[0], r.Fix.At[1]-r.At[1]), r.ErrorM, 1e-12)
		vectors = append(vectors, orb.Point{r.Fix.At[0] - r.At[0], r.Fix.At[1] - r.At[1]})
	}
	assert.Equal(t, position.Summarise(vectors, 120), e.Statistics)
	require.Len(t, e.CI95, 5)
	for name, v := range map[string]float64{"mean_m": e.Statistics.MeanM, "rms_m": e.Statistics.RMSM, "ce50_m": e.Statistics.CE50M, "ce90_m": e.Statistics.CE90M, "ce95_m": e.Statistics.CE95M} {
		assert.Less(t, e.CI95[name].Lo, v, name)
		assert.Greater(t, e.CI95[name].Hi, v, name)
	}
	require.Len(t, e.Targets, 1)
	assert.Equal(t, 30, e.Targets[0].Points)
	// One building, n = 3, σ = √(3.5² + 2² + 2²/3) = 4.2 dB: the error is above
	// the bound, and not by much.
	ratio := e.Statistics.RMSM / e.BoundRMSM
	t.Logf("rms %.2f m, bound %.2f m, ce50 %.2f m %v", e.Statistics.RMSM, e.BoundRMSM, e.Statistics.CE50M, e.CI95["ce50_m"])
	assert.Greater(t, ratio, .9)
	assert.Less(t, ratio, 1.6)
	assert.InDelta(t, 3, e.Fit.Groups[0].Exponent.Est, .5)
}

// refitTolerance, in dB and units of the exponent, is what Newton's method may
// leave of the start in a refit. A millionth of what the planted level does to
// the fits that it is in moves no fix by a millimetre.
const refitTolerance = 1e-5

// An absurd level is planted at one place. The fit by which that place is judged
// must not move, and those by which others are judged must.
func TestJudgedPlaceIsNotInTheFit(t *testing.T) {
	const place = 7
	quiet := small()
	quiet.miss, quiet.floor = 0, -120
	for _, c := range []struct {
		model propagation.Model
		scene invented
		level float64
	}{
		{propagation.OLS, small(), -119}, {propagation.Censored, small(), -119}, {propagation.TwoLevel, small(), -119},
		// Where nothing is missed the miss rates stay put, and the levels alone
		// must make the refit move.
		{propagation.OLS, quiet, -45}, {propagation.Censored, quiet, -45}, {propagation.TwoLevel, quiet, -45},
	} {
		model := c.model
		fits := func(plant bool) map[int]*propagation.Fit {
			s, w := c.scene.walk(2)
			// The place was visited twice, the second time at the end.
			again := w.Visits[place]
			again.ID = "again"
			w.Visits = append(w.Visits, again)
			if plant {
				for _, i := range []int{place, len(w.Visits) - 1} {
					for j := range w.Visits[i].Scans {
						sc := &w.Visits[i].Scans[j]
						sc.Readings = append([]radio.Reading(nil), sc.Readings...)
						for k := range sc.Readings {
							sc.Readings[k].RSSIDBm = c.level
						}
					}
				}
			}
			out := map[int]*propagation.Fit{}
			var mu sync.Mutex
			_, err := position.JudgeWatched(context.Background(), s, []walk.Walk{w}, position.Options{Propagation: propagation.Options{Model: model}, Resamples: 100},
				func(p int, f *propagation.Fit) {
					mu.Lock()
					defer mu.Unlock()
					out[p] = f
				})
			require.NoError(t, err)
			require.Len(t, out, 30)
			return out
		}
		clean, planted := fits(false), fits(true)
		moved := func(p int) float64 {
			a, b := clean[p], planted[p]
			d := math.Abs(a.Groups[0].Exponent.Est-b.Groups[0].Exponent.Est) + math.Abs(a.Groups[0].FloorDBm-b.Groups[0].FloorDBm) +
				math.Abs(a.Groups[0].ShadowDB-b.Groups[0].ShadowDB)
			for k := range a.Radios {
				d = math.Max(d, math.Abs(a.Radios[k].Level1m.Est-b.Radios[k].Level1m.Est))
				d = math.Max(d, math.Abs(a.Radios[k].MissRate-b.Radios[k].MissRate))
			}
			return d
		}
		t.Logf("%s: the judged place's fit moved by %.2g, another's by %.2g", model, moved(place), moved(place+1))
		assert.Less(t, moved(place), refitTolerance, "%s", model)
		assert.Greater(t, moved(place+1), .5, "%s", model)
	}
}

// Refits end in the same fixes as full fits without the place, within a
// centimetre: with misses and without, where a refit that stops early shows.
func TestRefitsEqualFullFits(t *testing.T) {
	v := small()
	v.facings, v.points = 1, 24
	quiet := v
	quiet.miss, quiet.floor = 0, -120
	for _, c := range []struct {
		scene invented
		o     propagation.Options
	}{
		{v, propagation.Options{Model: propagation.OLS}}, {v, propagation.Options{Model: propagation.Censored}}, {v, propagation.Options{}},
		{quiet, propagation.Options{}}, {quiet, propagation.Options{PerAP: true}},
	} {
		s, w := c.scene.walk(3)
		o, model := c.o, c.o.Model
		e, err := position.Judge(context.Background(), s, []walk.Walk{w}, position.Options{Propagation: o, Resamples: 100, Fix: position.PerVisit})
		require.NoError(t, err)
		stays := walk.Stays(s, []walk.Walk{w}, walk.ByVisit)
		d := propagation.Observe(s, stays)
		grid := position.NewGrid(s)
		most := 0.0
		for i := 0; i < len(stays); i += 2 { // a full fit takes its time
			f, err := propagation.Estimate(d.Subset(func(k int) bool { return k != i }), o)
			require.NoError(t, err)
			fix := position.NewTrilateration(grid, f).Fix(&stays[i])
			require.Equal(t, fix.Located, e.Judged[i].Fix.Located)
			if fix.Located {
				full := math.Hypot(fix.At[0]-stays[i].At[0], fix.At[1]-stays[i].At[1])
				most = math.Max(most, math.Abs(full-e.Judged[i].ErrorM))
			}
		}
		t.Logf("%q per-ap %v: errors differ by %.2g m at most", model, o.PerAP, most)
		assert.Less(t, most, .01, "%s", model)
	}
}

func TestJudgeIsDeterministic(t *testing.T) {
	v := small()
	v.points, v.walls = 12, true
	s, w := v.walk(4)
	run := func(processors int, seed uint64) *position.Errors {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(processors))
		e, err := position.Judge(context.Background(), s, []walk.Walk{w}, position.Options{Resamples: 200, Seed: seed})
		require.NoError(t, err)
		return e
	}
	text := func(e *position.Errors) string {
		return fmt.Sprint(e.Judged, e.Statistics, e.CI95, e.BoundRMSM)
	}
	one := text(run(1, 1))
	assert.Equal(t, one, text(run(4, 1)))
	assert.NotEqual(t, one, text(run(1, 2)), "the seed moves the intervals")
}

func TestJudgeTrainTest(t *testing.T) {
	s, w := small().walk(5)
	test := walk.Walk{Header: walk.Header{ID: "W2"}, Visits: w.Visits[20:]}
	w.Visits = w.Visits[:20]
	walks := []walk.Walk{w, test}
	e, err := position.Judge(context.Background(), s, walks, position.Options{Train: []string{"W1"}, Test: []string{"W2"}, Resamples: 200})
	require.NoError(t, err)
	assert.Equal(t, position.TrainTest, e.Protocol)
	assert.Equal(t, position.PerVisit, e.Fix)
	assert.Equal(t, 10, e.Points)
	assert.Equal(t, 1, e.Refits)
	assert.Len(t, e.Judged, 10)
	for i, r := range e.Judged {
		assert.Equal(t, "W2", r.Walk)
		assert.Equal(t, fmt.Sprintf("P%03d", 20+i), r.Point)
		assert.Equal(t, walk.NoFacing, r.FacingDeg)
		assert.Equal(t, 12, r.Scans)
	}
	// The fit is that to the training walk alone.
	alone, err := propagation.Estimate(propagation.Observe(s, walk.Stays(s, walks[:1], walk.ByVisit)), propagation.Options{})
	require.NoError(t, err)
	assert.Equal(t, alone.Groups[0].Exponent.Est, e.Fit.Groups[0].Exponent.Est)
}

// Radios that hear too little, and what targets make of it.
func TestJudgeCountsTheUnlocated(t *testing.T) {
	s, w := small().walk(6)
	for i := range 10 { // two access points left at a third of the places
		for j := range w.Visits[i].Scans {
			sc := &w.Visits[i].Scans[j]
			sc.Readings = sc.Readings[:min(2, len(sc.Readings))]
			for k := range sc.Readings {
				sc.Readings[k].BSSID = radio.BSSID{2, 0, 0, 0, 2, byte(k + 1)}
			}
		}
	}
	e, err := position.Judge(context.Background(), s, []walk.Walk{w}, position.Options{Resamples: 200, Propagation: propagation.Options{Model: propagation.OLS},
		Targets: []position.Target{{Share: .9, WithinM: 1000}}})
	require.NoError(t, err)
	assert.Equal(t, 30, e.Points)
	assert.Equal(t, 20, e.Located)
	assert.Equal(t, 80, e.Statistics.Located)
	assert.InDelta(t, 2.0/3, e.Statistics.Coverage(), 1e-12)
	assert.Equal(t, 20, e.Targets[0].Within)
	assert.Equal(t, position.Failed, e.Targets[0].Verdict)
	assert.Contains(t, e.Judged[0].Fix.Reason, "of the 3 access points needed were heard")
}

func TestJudgeRefuses(t *testing.T) {
	s, w := small().walk(1)
	for _, c := range []struct {
		o    position.Options
		want string
	}{
		{position.Options{Protocol: "hope"}, `no protocol "hope"; use leave-one-out, leave-area-out or train-test`},
		{position.Options{Method: "guess"}, `no method "guess"; use one of [trilateration posterior radio-map nearest]`},
		{position.Options{Fix: "scan"}, `no fix from a "scan"; use visit or facing`},
		{position.Options{Resamples: 10}, "10 resamples are too few for an interval; use 100 or more"},
		{position.Options{Protocol: position.TrainTest, Train: []string{"W1"}}, "train-test needs walks to train on and walks to test; name at least one of each"},
		{position.Options{Train: []string{"W1"}}, "leave-one-out uses all walks; to train on some and test others, use train-test"},
		{position.Options{Train: []string{"W1"}, Test: []string{"W9"}}, `there is no walk "W9"; name one that the site has`},
		{position.Options{Train: []string{"W1"}, Test: []string{"W1"}}, `walk "W1" is both trained on and tested, which flatters; test another`},
		{position.Options{Targets: []position.Target{{Share: 5, WithinM: 1}}}, "target share 5; give a share between 0 and 1"},
	} {
		_, err := position.Judge(context.Background(), s, []walk.Walk{w}, c.o)
		assert.EqualError(t, err, c.want)
	}
	one := walk.Walk{Header: w.Header, Visits: w.Visits[:1]}
	_, err := position.Judge(context.Background(), s, []walk.Walk{one}, position.Options{})
	assert.EqualError(t, err, "leave-one-out needs stays at 2 places or more, and there are 1; walk more points")
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err = position.Judge(ctx, s, []walk.Walk{w}, position.Options{})
	assert.ErrorIs(t, err, context.Canceled)
}

func BenchmarkLeaveOneOut(b *testing.B) {
	for _, walls := range []bool{false, true} {
		v := invented{width: 80, depth: 50, aps: 20, points: 200, facings: 4, scans: 3, floor: -88, miss: .1, walls: walls}
		s, w := v.walk(1)
		for _, model := range []propagation.Model{propagation.OLS, propagation.TwoLevel} {
			b.Run(fmt.Sprintf("200 points 20 radios/%s/walls=%v", model, walls), func(b *testing.B) {
				for range b.N {
					e, err := position.Judge(context.Background(), s, []walk.Walk{w}, position.Options{Propagation: propagation.Options{Model: model}})
					require.NoError(b, err)
					b.ReportMetric(e.Statistics.CE50M, "ce50-m")
				}
			})
		}
	}
}

func BenchmarkFix(b *testing.B) {
	for _, walls := range []bool{false, true} {
		v := invented{width: 80, depth: 50, aps: 20, points: 50, facings: 4, scans: 3, floor: -88, miss: .1, walls: walls}
		s, w := v.walk(1)
		stays := walk.Stays(s, []walk.Walk{w}, walk.ByFacing)
		f, err := propagation.Estimate(propagation.Observe(s, stays), propagation.Options{})
		require.NoError(b, err)
		tri := position.NewTrilateration(position.NewGrid(s), f)
		b.Run(fmt.Sprintf("walls=%v", walls), func(b *testing.B) {
			for i := range b.N {
				tri.Fix(&stays[i%len(stays)])
			}
		})
	}
}
