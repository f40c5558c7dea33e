package position_test

import (
	"context"
	"math"
	"testing"

	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/walk"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What is told of the walk is what was measured, and what is told of further
// points goes on from there.
func TestLookFurther(t *testing.T) {
	v := shadowed{width: 40, depth: 25, aps: 6, points: 24, sigmaDB: 5, rangeM: 6, facings: 1, scans: 2}
	s, w := v.walk(3)
	prefer := []position.Spot{{At: w.Visits[2].At}, {At: box(1, 1, 2, 2)[0]}}
	f, err := position.LookFurther(context.Background(), s, []walk.Walk{w}, position.FurtherOptions{More: 3, Prefer: prefer})
	require.NoError(t, err)
	e, err := position.Judge(context.Background(), s, []walk.Walk{w}, position.Options{Method: position.RadioMap, Fix: position.PerVisit})
	require.NoError(t, err)
	assert.Equal(t, e.Statistics.MeanM, f.Errors.Statistics.MeanM)
	assert.Equal(t, 24, f.Places)
	var places []int
	for i, b := range f.Behind {
		places = append(places, b.Places)
		assert.False(t, math.IsNaN(b.MetM))
		if i > 0 {
			assert.Less(t, b.ErrorM, f.Behind[i-1].ErrorM)
		}
	}
	assert.Equal(t, []int{6, 12, 24}, places)
	assert.Equal(t, e.Statistics.MeanM, f.Behind[2].MetM)
	assert.InDelta(t, f.NowM, f.Behind[2].ErrorM, 1e-9)
	require.Len(t, f.Chosen, 3)
	now := f.NowM
	for _, c := range f.Chosen {
		assert.Greater(t, c.BuysM, 0.0)
		assert.InDelta(t, now-c.BuysM, c.ErrorM, 1e-9)
		now = c.ErrorM
		if c.Preferred >= 0 {
			assert.Equal(t, prefer[c.Preferred], c.Spot)
			assert.NotZero(t, c.Preferred, "somebody stood there")
		}
	}
	few := walk.Walk{Header: w.Header, Visits: w.Visits[:4]}
	_, err = position.LookFurther(context.Background(), s, []walk.Walk{few}, position.FurtherOptions{More: 3})
	assert.ErrorContains(t, err, "only 4 of the 5 places")
	_, err = position.LookFurther(context.Background(), s, []walk.Walk{w}, position.FurtherOptions{})
	assert.ErrorContains(t, err, "ask for 1 or more")
}

// Further points shrink the error, and by less the more were walked.
func TestShrink(t *testing.T) {
	v := shadowed{width: 40, depth: 25, aps: 6, points: 60, sigmaDB: 5, rangeM: 6, facings: 1, scans: 2}
	s, w := v.walk(3)
	last := 0.0
	for _, n := range []int{10, 60} {
		d := propagation.Observe(s, walk.Stays(s, []walk.Walk{{Visits: w.Visits[:n]}}, walk.ByVisit))
		f, err := propagation.Estimate(d, propagation.Options{})
		require.NoError(t, err)
		share, err := position.Shrink(context.Background(), position.NewGrid(s), d, f, nil, 5)
		require.NoError(t, err)
		assert.Greater(t, share, last)
		assert.Less(t, share, 1.0)
		last = share
	}
}

func BenchmarkShrink(b *testing.B) {
	v := shadowed{width: 40, depth: 25, aps: 6, points: 40, sigmaDB: 5, rangeM: 6, facings: 1, scans: 2}
	s, w := v.walk(3)
	d := propagation.Observe(s, walk.Stays(s, []walk.Walk{w}, walk.ByVisit))
	f, err := propagation.Estimate(d, propagation.Options{})
	require.NoError(b, err)
	g := position.NewGrid(s)
	for b.Loop() {
		_, err := position.Shrink(context.Background(), g, d, f, nil, 5)
		require.NoError(b, err)
	}
}
