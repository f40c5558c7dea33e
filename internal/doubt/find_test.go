package doubt_test

import (
	"context"
	"fmt"
	"math"
	"runtime"
	"slices"
	"testing"
	"time"

	"footrule/internal/doubt"
	"footrule/internal/median"
	"footrule/internal/radio"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
)

// slack is how unlikely a count has to be under the rate that is held before a
// test fails: seeds are fixed, so it fails always or never.
const slack = .02

func atLeast(t *testing.T, rate float64, hits, n int, what string) {
	t.Helper()
	t.Logf("%s: %d of %d", what, hits, n)
	assert.Greater(t, distuv.Binomial{N: float64(n), P: rate}.CDF(float64(hits)), slack, "%s: %d of %d where %.0f %% are promised", what, hits, n, 100*rate)
}

func atMost(t *testing.T, rate float64, hits, n int, what string) {
	t.Helper()
	t.Logf("%s: %d of %d", what, hits, n)
	assert.Greater(t, 1-distuv.Binomial{N: float64(n), P: rate}.CDF(float64(hits-1)), slack, "%s: %d of %d where at most %.0f %% are promised", what, hits, n, 100*rate)
}

// few or, for a study, as many sites as asked for.
func few(n int) int {
	if m := asked(); m > 0 {
		return max(m, n)
	}
	return n
}

func named(t *testing.T, k kind, n int, change func(*scene)) int {
	count := 0
	for seed := range n {
		sc := newScene(uint64(seed), k)
		if change != nil {
			change(sc)
		}
		s, w := sc.walked(t)
		rep, err := doubt.Find(context.Background(), s, w, doubt.Options{})
		require.NoError(t, err)
		if len(rep.Findings) > 0 {
			count++
			t.Logf("seed %d: %s", seed, rep.Findings[0].Text)
		}
	}
	return count
}

// What clean sites may be said of, by the first study.
func TestCleanSitesStayQuiet(t *testing.T) {
	n := few(12)
	atMost(t, .05, named(t, clean, n, nil), n, "clean")
	n = few(6)
	atMost(t, .05, named(t, withWalls, n, nil), n, "walls on the plan")
	atMost(t, .05, named(t, twoBands, n, nil), n, "two bands")
	atMost(t, .05, named(t, underway, n, nil), n, "8 to 24 points")
	atMost(t, .05, named(t, clean, n, (*scene).back), n, "coming back")
	atMost(t, .10, named(t, hard, n, nil), n, "hard")
}

func TestLabels(t *testing.T) {
	o := study(t, faults[0], clean, 0, few(8))
	atLeast(t, .95, o.hit, o.sites, "labels swapped, the right pair")
	o = study(t, faults[1], clean, 0, few(4))
	atLeast(t, .95, o.hit, o.sites, "labels shifted, the right three")
}

func TestMoved(t *testing.T) {
	o := study(t, fault{kind: doubt.Moved, plant: plantSpacing(1)}, clean, 0, few(12))
	atLeast(t, .85, o.hit, o.sites, "moved by one spacing")
	assert.LessOrEqual(t, median.Of(o.errs), 2.5)
	o = study(t, fault{kind: doubt.Moved, plant: plantSpacing(.3)}, clean, 0, few(8))
	atMost(t, .25, o.hit, o.sites, "moved by 0.3 of the spacing")
}

func plantSpacing(s float64) func(*scene) (planted, bool) {
	return func(sc *scene) (planted, bool) {
		return plantMove(s*sc.spacing, s*sc.spacing)(sc)
	}
}

func TestNeverHeard(t *testing.T) {
	n := few(8)
	o := study(t, fault{kind: doubt.Dead, plant: plantDead}, clean, 0, n)
	atLeast(t, .92, o.hit, o.sites, "said to be dead")
}

func TestDies(t *testing.T) {
	o := study(t, fault{kind: doubt.Dies, plant: plantDies}, clean, 0, few(12))
	hits, all := between(o.by, 4, math.Inf(1))
	atLeast(t, .90, hits, all, "silent where 4 hearings or more are expected")
	assert.Greater(t, all, o.sites/3)
}

func TestPower(t *testing.T) {
	n := few(6)
	o := study(t, fault{kind: doubt.Power, plant: plantStep(9, (*scene).back)}, clean, 0, n)
	atLeast(t, .90, o.hit, o.sites, "9 dB, coming back")
	assert.LessOrEqual(t, median.Of(o.errs), 2.0)
	o = study(t, fault{kind: doubt.Power, plant: plantStep(6, (*scene).bookends)}, clean, 0, n)
	atLeast(t, .80, o.hit, o.sites, "6 dB, bookends")
	o = study(t, fault{kind: doubt.Power, plant: plantStep(3, once)}, clean, 0, n)
	atMost(t, .05, o.hit, o.sites, "3 dB, a single serpentine")
	o = study(t, fault{kind: doubt.Event, plant: plantEvent}, clean, 0, few(6))
	atLeast(t, .85, o.hit, o.sites, "half of the access points at one time")
}

func TestScale(t *testing.T) {
	o := study(t, fault{kind: doubt.Scale, plant: plantScale(false)}, clean, 0, few(8))
	atLeast(t, .90, o.hit, o.sites, "points 10 % off about the origin")
	assert.LessOrEqual(t, median.Of(o.errs), .03)
}

func TestPoints(t *testing.T) {
	o := study(t, fault{kind: doubt.Point, plant: plantPoint(20)}, clean, 0, few(10))
	atLeast(t, .75, o.hit, o.sites, "a point 20 m off")
	assert.LessOrEqual(t, median.Of(o.errs), 3.0)
	o = study(t, fault{kind: doubt.Exchange, plant: plantExchange}, clean, 0, few(8))
	atLeast(t, .80, o.hit, o.sites, "two points exchanged")
}

func TestReceivers(t *testing.T) {
	o := study(t, fault{kind: doubt.Receiver, plant: plantReceiver(5, func(n, _ int) bool { return n%2 == 1 })}, clean, 0, few(8))
	atLeast(t, .85, o.hit, o.sites, "5 dB, interleaved")
	assert.LessOrEqual(t, median.Of(o.errs), 1.0)
	// Where one takes over from the other on the way back, all levels change at one moment.
	o = study(t, fault{kind: doubt.Receiver, plant: func(sc *scene) (planted, bool) {
		there := len(sc.order)
		sc.back()
		return plantReceiver(8, func(n, _ int) bool { return n >= there })(sc)
	}}, twoBands, 0, few(6))
	atLeast(t, .85, o.first, o.sites, "8 dB on the way back, named first")
}

// What is promised holds: of faults that are larger than the report says would be
// seen in nine of ten cases, nine of ten are.
func TestOutlookIsHonest(t *testing.T) {
	n := few(5)
	var moved, points []sized
	for _, f := range []fault{{plant: plantMove(5, 7)}, {plant: plantMove(7, 10)}, {plant: plantMove(10, 15)}} {
		f.kind = doubt.Moved
		moved = append(moved, study(t, f, clean, 3000, n).by...)
	}
	points = study(t, fault{kind: doubt.Point, plant: plantPoint(15)}, clean, 3000, n).by
	for what, v := range map[string][]sized{"moved": moved, "point": points} {
		hits, all := between(v, 1, math.Inf(1))
		atLeast(t, .90, hits, all, what+" by more than is promised")
		assert.NotZero(t, all)
	}
}

// Law 1 of Find.
func TestSameOnAnyNumberOfProcessors(t *testing.T) {
	sc := newScene(3, twoBands)
	_, ok := plantMove(10, 15)(sc)
	require.True(t, ok)
	s, w := sc.walked(t)
	two, err := doubt.Find(context.Background(), s, w, doubt.Options{Draws: 3, Seed: 1})
	require.NoError(t, err)
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	one, err := doubt.Find(context.Background(), s, w, doubt.Options{Draws: 3, Seed: 1})
	require.NoError(t, err)
	// NaN is not equal to itself, so reports are compared as they print.
	assert.Equal(t, fmt.Sprintf("%+v", flat(two)), fmt.Sprintf("%+v", flat(one)))
	require.NotEmpty(t, two.Findings)
	assert.Equal(t, .25, *two.PValue)
}

// flat is a report as text, its pointers followed.
func flat(rep *doubt.Report) []string {
	var out []string
	for _, f := range rep.Findings {
		out = append(out, fmt.Sprint(f.Kind, f.APs, f.Effect, f.SE, f.LBF, f.Text, f.Do, f.Seems[0].At))
	}
	for _, a := range rep.Power.APs {
		out = append(out, fmt.Sprint(a.AP, a.MoveM, a.StepDB, a.StepSE, a.Hearing, a.Dying.Name()))
	}
	for _, v := range rep.Power.Visits {
		out = append(out, fmt.Sprint(v.OffM))
	}
	return append(append(out, rep.Power.Text...), rep.Advice...)
}

func TestTooLittle(t *testing.T) {
	sc := newScene(1, clean)
	sc.order = sc.order[:7]
	s, w := sc.walked(t)
	rep, err := doubt.Find(context.Background(), s, w, doubt.Options{})
	require.NoError(t, err)
	assert.Empty(t, rep.Findings)
	assert.Equal(t, "7 visits, and it takes 8 to tell anything from chance; walk more points", rep.Missing)
	rep, err = doubt.Find(context.Background(), s, []walk.Walk{}, doubt.Options{})
	require.NoError(t, err)
	assert.NotEmpty(t, rep.Missing)
}

func TestStopsWhenAsked(t *testing.T) {
	s, w := newScene(1, clean).walked(t)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := doubt.Find(ctx, s, w, doubt.Options{})
	require.ErrorIs(t, err, context.Canceled)
	ctx, cancel = context.WithTimeout(context.Background(), 50*time.Millisecond)
	defer cancel()
	_, err = doubt.Find(ctx, s, w, doubt.Options{Draws: 100000})
	require.ErrorIs(t, err, context.DeadlineExceeded)
}

// Antennas with a beam hide an access point from half of the floor, which is no
// fault where the plan has them.
func TestBeamsOnThePlan(t *testing.T) {
	beams := func(sc *scene) {
		for i := range sc.site.AccessPoints {
			a := &site.Antenna{AzimuthDeg: 360 * sc.rng.Float64(), BeamWidthDeg: 65, FrontToBackDB: 20}
			sc.truth.Radios[i].Antenna = a
			sc.site.AccessPoints[i].Radios[0].Antenna = a
		}
	}
	n := few(6)
	atMost(t, .05, named(t, clean, n, beams), n, "beams")
	o := study(t, fault{kind: doubt.Labels, plant: func(sc *scene) (planted, bool) { beams(sc); return plantCycle(2)(sc) }}, clean, 0, few(4))
	atLeast(t, .75, o.hit, o.sites, "labels swapped under beams")
}

// Scans that did not listen on a radio's channel say nothing of it; others do.
func TestDeafScansSayNothing(t *testing.T) {
	const off = 5180
	sc := newScene(2, clean)
	s, w := sc.walked(t)
	cut := func(deaf bool) []doubt.Kind {
		half := len(w[0].Visits) / 2
		for i := half; i < len(w[0].Visits); i++ {
			for j := range w[0].Visits[i].Scans {
				scan := &w[0].Visits[i].Scans[j]
				scan.Readings = slices.DeleteFunc(slices.Clone(scan.Readings), func(r radio.Reading) bool { return r.FreqMHz == off })
				if deaf {
					scan.FreqsMHz = []int{5260, 5500, 5580, 5660}
				}
			}
		}
		rep, err := doubt.Find(context.Background(), s, w, doubt.Options{})
		require.NoError(t, err)
		var kinds []doubt.Kind
		for _, f := range rep.Findings {
			kinds = append(kinds, f.Kind)
		}
		return kinds
	}
	assert.Contains(t, cut(false), doubt.Dies)
	assert.Empty(t, cut(true))
}
