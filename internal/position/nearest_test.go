package position_test

import (
	"math"
	"testing"

	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A line of six stays whose levels differ from one to the next by the same step.
// With k = 2, which leaves least when one is left out, a stay that is a quarter
// of a step from the third is drawn to the two next to it by 1/d²: weights 16 and
// 16/9 (units of step⁻²), so 0.1 of the way.
func TestNearestWeighs(t *testing.T) {
	c := scene{outline: box(0, 0, 60, 10), aps: []orb.Point{{0, 0}, {60, 0}, {30, 9}}, n: 3, level1m: -40, sigma: 4, floor: -95, model: propagation.OLS}
	s := c.site()
	f := c.fit(t, s)
	var stays []walk.Stay
	level := func(i float64) []walk.Level {
		return []walk.Level{{Heard: 1, MeanDBm: -40 - 8*i}, {Heard: 1, MeanDBm: -80 + 8*i}, {Heard: 1, MeanDBm: -60}}
	}
	for i := range 6 {
		stays = append(stays, walk.Stay{Point: string(rune('A' + i)), At: orb.Point{5 + 10*float64(i), 5}, Scans: 1, Levels: level(float64(i))})
	}
	l := position.NewLocator(position.Nearest, position.NewGrid(s), propagation.Observe(s, stays), f)
	fix := l.Fix(&walk.Stay{Scans: 1, Levels: level(2.25)})
	require.True(t, fix.Located)
	assert.InDelta(t, 26, fix.At[0], .01)
	assert.InDelta(t, 5, fix.At[1], 1e-9)
	assert.Greater(t, fix.Covariance.XX, fix.Covariance.YY)
}

// A silence tells stays apart by how unlikely it is at the level that the other
// heard: where radios are never missed, a stay that misses a strong one is not
// near one that heard it; next to the floor of hearing it is.
func TestSilenceTellsNeighboursApart(t *testing.T) {
	c := scene{outline: box(0, 0, 40, 40), aps: []orb.Point{{0, 0}, {40, 0}, {20, 40}, {20, 0}}, n: 3, level1m: -40, sigma: 3, floor: -90, model: propagation.Censored}
	s := c.site()
	f := c.fit(t, s)
	heard := func(dBm ...float64) (out []walk.Level) {
		for _, v := range dBm {
			if math.IsNaN(v) {
				out = append(out, walk.Level{})
				continue
			}
			out = append(out, walk.Level{Heard: 1, MeanDBm: v})
		}
		return out
	}
	none := math.NaN()
	stays := []walk.Stay{
		{Point: "strong", At: orb.Point{5, 5}, Scans: 1, Levels: heard(-60, -60, -60, -60)},
		{Point: "weak", At: orb.Point{35, 35}, Scans: 1, Levels: heard(-60, -60, -60, -89)},
		{Point: "far", At: orb.Point{5, 35}, Scans: 1, Levels: heard(-80, -80, -80, none)},
	}
	l := position.NewLocator(position.Nearest, position.NewGrid(s), propagation.Observe(s, stays), f)
	fix := l.Fix(&walk.Stay{Scans: 1, Levels: heard(-60, -60, -60, none)})
	require.True(t, fix.Located)
	assert.Less(t, math.Hypot(fix.At[0]-35, fix.At[1]-35), 8.0)
}
