package say_test

import (
	"math"
	"testing"

	"footrule/internal/say"

	"github.com/stretchr/testify/assert"
)

func TestNumbers(t *testing.T) {
	assert.Equal(t, "−71.5", say.Fixed(-71.46, 1))
	assert.Equal(t, "3", say.Fixed(3, 0))
	assert.Equal(t, "0.0", say.Fixed(-0.04, 1))
	assert.Equal(t, "−10", say.Fixed(-10.04, 0))
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		assert.Equal(t, "–", say.Fixed(v, 2))
	}
	assert.Equal(t, "−95 to −40 dBm", say.Minus("-95 to -40 dBm"))
}

func TestCounts(t *testing.T) {
	for want, got := range map[string]string{
		"1 scan": say.Count(1, "scan"), "0 scans": say.Count(0, "scan"), "2 switches": say.Count(2, "switch"), "1 switch": say.Count(1, "switch"),
		"1 row was": say.Plural(1, "row was", "rows were"), "3 rows were": say.Plural(3, "row was", "rows were"),
	} {
		assert.Equal(t, want, got)
	}
}
