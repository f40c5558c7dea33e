package position_test

import (
	"context"
	"math"
	"slices"
	"testing"

	"footrule/internal/position"
	"footrule/internal/walk"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The figures of a comparison are those of the rows, and its intervals those of
// the plain bootstrap of the paired differences.
func TestCompare(t *testing.T) {
	v := small()
	v.facings = 2
	s, w := v.walk(21)
	for i := range 4 { // one access point left at four places: trilateration has no fix there
		for j := range w.Visits[i].Scans {
			sc := &w.Visits[i].Scans[j]
			sc.Readings = sc.Readings[:min(1, len(sc.Readings))]
		}
	}
	o := position.Options{Resamples: 1000, Seed: 3}
	c, err := position.Compare(context.Background(), s, []walk.Walk{w}, o, position.Methods()...)
	require.NoError(t, err)
	require.Len(t, c.Each, len(position.Methods()))
	require.Len(t, c.Differences, 6)
	assert.Equal(t, 52, c.Fixes)
	assert.Equal(t, 26, c.Places)
	d := c.Differences[2]
	assert.Equal(t, position.Trilaterate, d.A)
	assert.Equal(t, position.Nearest, d.B)
	a, b := c.Each[0], c.Each[3]
	perPlace := map[walk.Place]float64{}
	var order []walk.Place
	var ea, eb []float64
	mean := 0.0
	for i := range a.Judged {
		require.Equal(t, a.Judged[i].Visit, b.Judged[i].Visit)
		if x, y := a.Judged[i].ErrorM, b.Judged[i].ErrorM; !math.IsNaN(x + y) {
			if p := a.Judged[i].Place; !slices.Contains(order, p) {
				order = append(order, p)
			}
			perPlace[a.Judged[i].Place] += x - y
			mean += (x - y) / 52
			ea, eb = append(ea, x), append(eb, y)
		}
	}
	slices.Sort(ea)
	slices.Sort(eb)
	assert.InDelta(t, mean, d.MeanM, 1e-9)
	assert.InDelta(t, position.Quantile(ea, .5)-position.Quantile(eb, .5), d.CE50M, 1e-9)
	assert.InDelta(t, position.Quantile(ea, .9)-position.Quantile(eb, .9), d.CE90M, 1e-9)
	want := position.BCa(len(order), func(times []int) float64 {
		sum, n := 0.0, 0
		for k, p := range order {
			sum += float64(times[k]) * perPlace[p]
			n += 2 * times[k]
		}
		return sum / float64(n)
	}, 1000, .95, 3)
	assert.InDelta(t, want.Lo, d.CI95["mean_m"].Lo, 1e-9)
	assert.InDelta(t, want.Hi, d.CI95["mean_m"].Hi, 1e-9)
	assert.Equal(t, want.Lo > 0 || want.Hi < 0, d.Apart())
}

// A method against itself differs by nothing and can't be told apart.
func TestCompareWithItself(t *testing.T) {
	s, w := small().walk(22)
	c, err := position.Compare(context.Background(), s, []walk.Walk{w}, position.Options{Resamples: 200}, position.Posterior, position.Posterior)
	require.NoError(t, err)
	require.Len(t, c.Differences, 1)
	assert.Zero(t, c.Differences[0].MeanM)
	assert.False(t, c.Differences[0].Apart())
	_, err = position.Compare(context.Background(), s, []walk.Walk{w}, position.Options{}, "guess")
	assert.ErrorContains(t, err, `no method "guess"`)
}

// Two access points give trilateration no fix at all; the others are compared
// without it.
func TestCompareLeavesOutWhoLocatedNone(t *testing.T) {
	v := small()
	v.aps, v.facings, v.floor, v.miss = 2, 1, -120, 0
	s, w := v.walk(23)
	c, err := position.Compare(context.Background(), s, []walk.Walk{w}, position.Options{Resamples: 200}, position.Methods()...)
	require.NoError(t, err)
	assert.Zero(t, c.Each[0].Statistics.Located)
	assert.Equal(t, 30, c.Fixes)
	assert.True(t, math.IsNaN(c.Differences[0].MeanM))
	assert.False(t, c.Differences[0].Apart())
	last := c.Differences[len(c.Differences)-1]
	assert.False(t, math.IsNaN(last.MeanM+last.CI95["mean_m"].Lo+last.CI95["ce90_m"].Hi))
}
