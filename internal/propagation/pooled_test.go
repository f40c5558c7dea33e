package propagation_test

import (
	"math"
	"testing"

	"footrule/internal/propagation"
	"footrule/internal/walk"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestPooledIsNearer: where radios differ a little in their exponents, and some
// were heard at few places, what is drawn towards the band's is nearer to the
// truth than an exponent of each alone and than one for all.
func TestPooledIsNearer(t *testing.T) {
	miss := map[string]float64{}
	for seed := range uint64(6) {
		h := bigHall()
		h.width, h.depth, h.aps, h.points, h.floor, h.levelSD = 50, 35, 10, 24, -200, 0
		h.exponentSD = 0.25
		h.exponents = make([]float64, h.aps)
		s, stays := h.simulate(seed)
		for i := range stays { // half of the radios were on for the first eight visits
			for k := 0; k < h.aps && i >= 8; k += 2 {
				stays[i].Levels[k] = walk.Level{}
			}
		}
		d := propagation.Observe(s, stays)
		for name, o := range map[string]propagation.Options{"one": {Model: propagation.OLS}, "own": {Model: propagation.OLS, PerAP: true}, "pooled": {Model: propagation.Pooled}} {
			f, err := propagation.Estimate(d, o)
			require.NoError(t, err)
			for k := range f.Radios {
				// The mean level over the hall's distances, as of both coefficients.
				for _, dist := range []float64{3, 10, 30} {
					e := f.Radios[k].Level1m.Est - 10*f.Radios[k].Exponent.Est*math.Log10(dist) - (h.level1m - 10*h.exponents[k]*math.Log10(dist))
					miss[name] += e * e / (6 * 10 * 3)
				}
			}
		}
	}
	t.Logf("mean square of a predicted mean level, dB²: %v", miss)
	assert.Less(t, miss["pooled"], miss["own"])
	assert.Less(t, miss["pooled"], miss["one"])
}

// A radio heard at one place has what the others and that place say, and one
// access point alone is least squares.
func TestPooledFewPlaces(t *testing.T) {
	h := quiet()
	s, stays := h.simulate(4)
	for i := range stays {
		if i != 3 {
			stays[i].Levels[2] = walk.Level{}
		}
	}
	d := propagation.Observe(s, stays)
	f, err := propagation.Estimate(d, propagation.Options{Model: propagation.Pooled})
	require.NoError(t, err)
	assert.InDelta(t, f.Groups[0].Exponent.Est, f.Radios[2].Exponent.Est, 0.3)
	assert.Greater(t, f.Radios[2].Exponent.SE, f.Radios[1].Exponent.SE*0.99)
	assert.InDelta(t, stays[3].Levels[2].MeanDBm, f.Level(2, 0, stays[3].At), 6)

	s.AccessPoints = s.AccessPoints[:1]
	for i := range stays {
		stays[i].Levels = stays[i].Levels[:1]
	}
	one := propagation.Observe(s, stays)
	p, err := propagation.Estimate(one, propagation.Options{Model: propagation.Pooled})
	require.NoError(t, err)
	l, err := propagation.Estimate(one, propagation.Options{Model: propagation.OLS})
	require.NoError(t, err)
	assertDigits(t, []float64{l.Radios[0].Level1m.Est, l.Groups[0].Exponent.Est, l.Groups[0].SigmaDB.Est, l.Groups[0].Exponent.SE},
		[]float64{p.Radios[0].Level1m.Est, p.Groups[0].Exponent.Est, p.Groups[0].SigmaDB.Est, p.Groups[0].Exponent.SE}, 1e-6, "one access point")
	assert.Zero(t, p.Groups[0].ExponentSD)
}

// Losses below zero are set to zero as in every model, and what is assumed from
// a pooled fit predicts as it does.
func TestPooledBounds(t *testing.T) {
	h := quiet()
	h.loss, h.floor = -4, -200
	s, stays := h.simulate(2)
	h.loss = 1
	walled, _ := h.simulate(2)
	s.Floors[0].Walls = walled.Floors[0].Walls
	f, err := propagation.Estimate(propagation.Observe(s, stays), propagation.Options{Model: propagation.Pooled})
	require.NoError(t, err)
	assert.GreaterOrEqual(t, f.Walls[0].LossDB.Est, 0.0)
	g, err := propagation.Assume(s, propagation.Options{Model: propagation.Pooled}, f.Groups, f.Radios, f.Walls)
	require.NoError(t, err)
	for k := range f.Radios {
		assert.Equal(t, f.Level(k, 0, stays[5].At), g.Level(k, 0, stays[5].At))
		assert.Equal(t, f.LogLik(k, -70, stays[5].Levels[k], 8), g.LogLik(k, -70, stays[5].Levels[k], 8))
		assert.Zero(t, f.LogLik(k, -50, walk.Level{}, 8), "silence says nothing")
	}
}
