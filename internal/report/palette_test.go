package report

import (
	"math"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// luminance is the relative luminance of WCAG 2.2.
func luminance(t *testing.T, hex string) float64 {
	v, err := strconv.ParseUint(hex[1:], 16, 32)
	require.NoError(t, err)
	sum := 0.0
	for i, w := range []float64{0.0722, 0.7152, 0.2126} {
		c := float64(v>>(8*i)&0xff) / 255
		if c <= 0.04045 {
			c /= 12.92
		} else {
			c = math.Pow((c+0.055)/1.055, 2.4)
		}
		sum += w * c
	}
	return sum
}

func contrast(t *testing.T, a, b string) float64 {
	x, y := luminance(t, a), luminance(t, b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

// Black on white is 21 : 1, and #777777 on white 4.48 : 1 (WCAG 2.2, understanding
// 1.4.3): the yardstick. Then every pair of the report.
func TestContrast(t *testing.T) {
	assert.InDelta(t, 21, contrast(t, "#000000", "#ffffff"), 1e-9)
	assert.InDelta(t, 4.48, contrast(t, "#777777", "#ffffff"), 0.005)
	for _, p := range pairs {
		assert.GreaterOrEqual(t, contrast(t, p[0], p[1]), 4.5, p)
	}
}
