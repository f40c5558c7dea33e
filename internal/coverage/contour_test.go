package coverage_test

import (
	"math"
	"testing"

	"footrule/internal/coverage"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Contours of a distance are circles: closed, of their radius, and cut by the
// edge of the floor into one arc.
func TestContours(t *testing.T) {
	s := &site.Site{Floors: []site.Floor{{ID: "G", Outline: orb.Ring{{0, 0}, {40, 0}, {40, 30}, {0, 30}}}}}
	c, err := coverage.LayCells(s, 0, 0.5)
	require.NoError(t, err)
	centre := orb.Point{20, 15}
	value := make([]float64, c.Len())
	for i, p := range c.At {
		value[i] = planar.Distance(p, centre)
	}
	lines := c.Contours(value, 10)
	require.Len(t, lines, 1)
	assert.Equal(t, lines[0][0], lines[0][len(lines[0])-1], "closed")
	assert.InDelta(t, 2*math.Pi*10, planar.Length(lines[0]), 0.1)
	for _, p := range lines[0] {
		assert.InDelta(t, 10, planar.Distance(p, centre), 0.01)
	}
	lines = c.Contours(value, 17) // above and below the floor
	require.Len(t, lines, 2)
	for _, l := range lines {
		assert.NotEqual(t, l[0], l[len(l)-1])
	}
	assert.Empty(t, c.Contours(value, 100))

	// A saddle, x·y, has two lines for any level but 0.
	for i, p := range c.At {
		value[i] = (p[0] - 20) * (p[1] - 15)
	}
	assert.Len(t, c.Contours(value, 5), 2)
	assert.Len(t, c.Contours(value, -5), 2)
	for i, p := range c.At {
		if planar.Distance(p, centre) < 3 {
			value[i] = math.NaN()
		}
	}
	for _, l := range c.Contours(value, 0.0001) {
		for _, p := range l {
			assert.Greater(t, planar.Distance(p, centre), 2.5)
		}
	}
}
