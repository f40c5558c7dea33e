package position_test

import (
	"testing"

	"footrule/internal/position"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// 59 points without a miss show 95 % at 95 % confidence, 29 show 90 %: the
// first-order Wilks (Ann. Math. Stat. 12, 1941) sizes, ln .05/ln q rounded up.
// The bounds of 8 of 10 are qbeta(.05, 8, 3) and qbeta(.95, 9, 2) in R 4.2.2.
func TestTargetCheck(t *testing.T) {
	check := func(share float64, within, points int) position.Outcome {
		o, err := position.Target{Share: share, WithinM: 10}.Check(within, points)
		require.NoError(t, err)
		assert.Equal(t, position.DefaultConfidence, o.Confidence)
		return o
	}
	assert.Equal(t, position.Passed, check(.95, 59, 59).Verdict)
	assert.Equal(t, position.Open, check(.95, 58, 58).Verdict)
	assert.Equal(t, 1, check(.95, 58, 58).MoreWithin)
	assert.Equal(t, position.Passed, check(.90, 29, 29).Verdict)
	assert.Equal(t, position.Open, check(.90, 28, 28).Verdict)
	assert.Equal(t, 59, check(.95, 0, 0).MoreWithin)
	assert.Equal(t, 29, check(.90, 0, 0).MoreWithin)
	assert.Equal(t, position.Failed, check(.90, 5, 10).Verdict)

	// One miss of n shows 90 % at n = 46, two at 61 (the same tables).
	assert.Equal(t, 46-20, check(.90, 19, 20).MoreWithin)
	assert.Equal(t, 61-40, check(.90, 38, 40).MoreWithin)

	o := check(.90, 19, 20)
	assert.Equal(t, position.Open, o.Verdict)
	assert.Equal(t, position.Passed, o.RateVerdict)
	assert.Greater(t, o.MoreAtRate, o.MoreWithin)
	half := check(.5, 10, 20)
	assert.Equal(t, 0, half.MoreAtRate, "at the rate that is asked nothing is ever settled")
	bad := check(.9, 16, 20)
	assert.Equal(t, position.Failed, bad.RateVerdict)
	assert.Greater(t, bad.MoreAtRate, 0)

	b := check(.9, 8, 10)
	assert.InDelta(t, 0.4930987, b.Lo, 1e-6)
	assert.InDelta(t, 0.9632287, b.Hi, 1e-6)
}

func TestTargetNonsense(t *testing.T) {
	for _, c := range []struct {
		target position.Target
		want   string
	}{
		{position.Target{Share: 90, WithinM: 10}, "target share 90; give a share between 0 and 1"},
		{position.Target{Share: .9}, "target distance 0 m; give more than 0"},
		{position.Target{Share: .9, WithinM: 1, Confidence: 2}, "target confidence 2; give a share between 0 and 1"},
	} {
		_, err := c.target.Check(1, 2)
		assert.EqualError(t, err, c.want)
	}
}
