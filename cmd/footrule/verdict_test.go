package main

import (
	"testing"

	"footrule/internal/position"

	"github.com/stretchr/testify/assert"
)

// A bound that is rounded never says the opposite of the verdict.
func TestVerdictAgreesWithItsBound(t *testing.T) {
	for _, c := range []struct {
		hi   float64
		want string
	}{
		{0.81, "at most 81 %"}, {0.893, "at most 89.3 %"}, {0.8996, "at most 89.96 %"}, {0.85, "at most 85 %"},
	} {
		got := verdict(position.Outcome{Target: position.Target{Share: 0.9, WithinM: 10, Confidence: 0.95}, Points: 100, Within: 80, Lo: 0.7, Hi: c.hi, Verdict: position.Failed})
		assert.Equal(t, "target: 90 % within 10 m: failed; 80 of 100 places are within, at 95 % confidence the share is "+c.want, got)
	}
}
