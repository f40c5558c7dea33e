package doubt_test

import (
	"context"
	"testing"
	"time"

	"footrule/internal/doubt"
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
	n := few(16)
	atMost(t, .05, named(t, clean, n, nil), n, "clean")
	n = few(8)
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
	o := study(t, fault{kind: doubt.Moved, plant: plantSpacing(1)}, clean, 0, few(16))
	atLeast(t, .85, o.hit, o.sites, "moved by one spacing")
	assert.LessOrEqual(t, median(o.errs), 2.5)
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
