package median_test

import (
	"math"
	"testing"

	"footrule/internal/median"

	"github.com/stretchr/testify/assert"
)

// By definition.
func TestMedian(t *testing.T) {
	v := []float64{5, -1, 3}
	assert.Equal(t, 3.0, median.Of(v))
	assert.Equal(t, []float64{5, -1, 3}, v)
	assert.Equal(t, 4.0, median.Of(append(v, 9)))
	assert.Equal(t, 2.5, median.Of([]float64{2.5}))
	assert.True(t, math.IsNaN(median.Of(nil)))
}
