package validation_test

import (
	"bytes"
	"context"
	"math"
	"math/rand/v2"
	"runtime"
	"testing"
	"time"

	"footrule/internal/propagation"
	"footrule/internal/validation"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestVerdict(t *testing.T) {
	none := math.NaN()
	for _, c := range []struct {
		value, lo, hi float64
		expect        validation.Range
		want          validation.Verdict
	}{
		{.95, .9, .98, validation.Range{Lo: .93, Hi: .97}, validation.OK},
		{.92, .88, .95, validation.Range{Lo: .93, Hi: .97}, validation.Open},
		{.9, .86, .929, validation.Range{Lo: .93, Hi: .97}, validation.Off},
		{.99, .98, .999, validation.Range{Lo: .93, Hi: .97}, validation.Off},
		{2.9, 2.5, 3.3, validation.Range{Lo: math.Inf(-1), Hi: 2.84}, validation.Open},
		{2.9, none, none, validation.Range{Lo: math.Inf(-1), Hi: 2.84}, validation.Off},
		{none, none, none, validation.Range{Lo: .93, Hi: .97}, validation.Off},
		{7, 6, 8, validation.Anything(), validation.NoClaim},
	} {
		assert.Equal(t, c.want, validation.Judge(validation.Row{Value: c.value, Lo: c.lo, Hi: c.hi, Expect: c.expect}), "%v", c)
	}
}

// Intervals that are too short, or around the wrong value, are called off; those
// of an estimator that knows its spread are not.
func TestLevelsCanBeOff(t *testing.T) {
	verdicts := func(m propagation.Model, bias, half float64) map[string]validation.Verdict {
		rng := rand.New(rand.NewPCG(2, 2))
		var sites []propagation.Value
		for range 300 {
			e := 3 + bias + .1*rng.NormFloat64()
			sites = append(sites, propagation.Value{Est: e, SE: .1, Lo: e - half, Hi: e + half})
		}
		out := map[string]validation.Verdict{}
		for _, r := range validation.LevelRows(m, sites...) {
			out[r.Figure] = r.Verdict
		}
		return out
	}
	const fails = "not fitted"
	assert.Equal(t, map[string]validation.Verdict{"n, coverage": validation.OK, "n, bias": validation.OK, fails: validation.Off}, verdicts(propagation.TwoLevel, 0, .196))
	assert.Equal(t, map[string]validation.Verdict{"n, coverage": validation.Off, "n, bias": validation.OK, fails: validation.Off}, verdicts(propagation.TwoLevel, 0, .15))
	assert.Equal(t, map[string]validation.Verdict{"n, coverage": validation.Off, "n, bias": validation.OK, fails: validation.Off}, verdicts("one to come", 0, .3))
	assert.Equal(t, map[string]validation.Verdict{"n, coverage": validation.Off, "n, bias": validation.Off, fails: validation.Off}, verdicts(propagation.OLS, .1, .196))
}

// A quick slice of everything that is simulated: nothing is off.
func TestQuickHolds(t *testing.T) {
	for _, c := range []struct {
		study       string
		sites, rows int
	}{{"levels", 3, 60}, {"bound", 3, 10}, {"leave-one-out", 5, 20}} {
		r, err := validation.Run(context.Background(), validation.Options{Seed: 3, Sites: c.sites, Quick: true, Studies: []string{c.study}})
		require.NoError(t, err)
		require.GreaterOrEqual(t, len(r.Rows), c.rows, c.study)
		require.Greater(t, r.Count(validation.OK), c.rows/10, c.study)
		for _, x := range r.Rows {
			assert.NotEqual(t, validation.Off, x.Verdict, "%v", x.Cells())
		}
	}
}

func TestRunIsDeterministic(t *testing.T) {
	run := func(processors int, seed uint64, studies ...string) *validation.Report {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(processors))
		r, err := validation.Run(context.Background(), validation.Options{Studies: studies, Seed: seed, Sites: 2, Quick: true, Program: "1.0", Date: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)})
		require.NoError(t, err)
		return r
	}
	page := func(r *validation.Report) string {
		var b bytes.Buffer
		require.NoError(t, r.Markdown(&b))
		return b.String()
	}
	one := run(1, 1, "levels", "bound")
	assert.Equal(t, page(one), page(run(3, 1, "levels", "bound")))
	assert.Contains(t, page(one), "footrule 1.0, 2026-03-01: seed 1, 2 simulated sites of each kind, the quick selection.")
	other := run(2, 2, "bound")
	assert.NotEqual(t, other.Rows, one.Rows[len(one.Rows)-len(other.Rows):])
}

func TestRunStops(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	last := 0
	_, err := validation.Run(ctx, validation.Options{Seed: 1, Sites: 2, Quick: true, Progress: func(done, of int) {
		last = done
		if done == 2 {
			cancel()
		}
	}})
	require.ErrorIs(t, err, context.Canceled)
	assert.Less(t, last, 5)
	_, err = validation.Run(context.Background(), validation.Options{Sites: 1})
	require.EqualError(t, err, "1 simulated sites; an interval needs 2 or more")
	_, err = validation.Run(context.Background(), validation.Options{Studies: []string{"level"}})
	require.EqualError(t, err, `no study "level"; use some of levels, bound, leave-one-out, real`)
}
