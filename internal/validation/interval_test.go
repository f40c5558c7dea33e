package validation_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"footrule/internal/validation"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
)

// R 4.2.2, binom.test(95, 100), binom.test(20, 20) and binom.test(0, 8).
func TestCoverageOfIndependentCases(t *testing.T) {
	for _, c := range []struct {
		hits, n int
		lo, hi  float64
	}{{95, 100, .8871651, .9835681}, {20, 20, .8315665, 1}, {0, 8, 0, .3694166}} {
		var sites [][2]float64
		for i := range c.n {
			hit := 0.0
			if i < c.hits {
				hit = 1
			}
			sites = append(sites, [2]float64{hit, 1})
		}
		p, lo, hi, n := validation.Coverage(sites...)
		assert.InDelta(t, float64(c.hits)/float64(c.n), p, 1e-12)
		assert.InDelta(t, c.lo, lo, 1e-6)
		assert.InDelta(t, c.hi, hi, 1e-6)
		assert.Equal(t, c.n, n)
	}
	p, lo, hi, n := validation.Coverage()
	assert.True(t, math.IsNaN(p) && math.IsNaN(lo) && math.IsNaN(hi))
	assert.Zero(t, n)
}

// Ten cases of a site that hit or miss together count as one.
func TestCoverageOfCasesThatHangTogether(t *testing.T) {
	var one, ten [][2]float64
	for i := range 100 {
		hit := float64(min(i%20, 1))
		one = append(one, [2]float64{hit, 1})
		ten = append(ten, [2]float64{10 * hit, 10})
	}
	p1, lo1, hi1, _ := validation.Coverage(one...)
	p2, lo2, hi2, n := validation.Coverage(ten...)
	assert.Equal(t, 1000, n)
	assert.InDelta(t, p1, p2, 1e-12)
	assert.InDelta(t, lo1, lo2, 1e-9)
	assert.InDelta(t, hi1, hi2, 1e-9)
}

// Student's t at 97.5 % with 3 degrees of freedom is 3.182446 (tables).
func TestMeanOf(t *testing.T) {
	mean, lo, hi := validation.MeanOf([]float64{1, 2, 3, 6})
	half := 3.182446 * math.Sqrt(14.0/3/4)
	assert.InDelta(t, 3, mean, 1e-12)
	assert.InDelta(t, 3-half, lo, 1e-6)
	assert.InDelta(t, 3+half, hi, 1e-6)
}

// The interval of a ratio covers it about 95 times in 100.
func TestRatioOfCovers(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	hits := 0
	const runs = 1000
	for range runs {
		var a, b []float64
		for range 20 {
			size := .5 + rng.Float64()
			a = append(a, 1.3*size*(1+.3*rng.NormFloat64()))
			b = append(b, size*(1+.1*rng.NormFloat64()))
		}
		r, lo, hi := validation.RatioOf(a, b)
		assert.True(t, lo < r && r < hi)
		if lo <= 1.3 && 1.3 <= hi {
			hits++
		}
	}
	assert.InDelta(t, .95, float64(hits)/runs, .03)
}

func TestConvexHull(t *testing.T) {
	assert.Equal(t, orb.Ring{{0, 0}, {4, 0}, {4, 3}, {1, 4}, {0, 0}},
		validation.ConvexHull(orb.Point{1, 4}, orb.Point{2, 1}, orb.Point{4, 3}, orb.Point{4, 1.5}, orb.Point{0, 0}, orb.Point{4, 0}, orb.Point{2, 0}))
}
