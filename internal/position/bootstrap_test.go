package position_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"footrule/internal/position"

	"github.com/stretchr/testify/assert"
)

// weighted calls f with every value as often as it was drawn.
func weighted(times []int, f func(i int, w float64)) {
	for i, k := range times {
		if k > 0 {
			f(i, float64(k))
		}
	}
}

// Spatial test A of Efron and Tibshirani 1993, table 14.1: the plug-in variance
// and its 90 % interval. a = .061 and (115.8, 259.6) are the book's (from
// memory), the digits were recomputed; 115.46 and 260.85 with 200 000 resamples.
var spatialA = []float64{48, 36, 20, 29, 42, 42, 20, 42, 22, 41, 45, 14, 6, 0, 33, 28, 34, 4, 32, 24, 47, 41, 24, 26, 30, 41}

func variance(times []int) float64 {
	var n, sum, sq float64
	weighted(times, func(i int, w float64) { n += w; sum += w * spatialA[i] })
	weighted(times, func(i int, w float64) { d := spatialA[i] - sum/n; sq += w * d * d })
	return sq / n
}

func without(n, i int) []int {
	out := make([]int, n)
	for j := range out {
		if j != i {
			out[j] = 1
		}
	}
	return out
}

func TestBCaSpatialA(t *testing.T) {
	n := len(spatialA)
	assert.InDelta(t, 171.534023668639, variance(without(n, -1)), 1e-9)
	a, _ := position.Jackknife(n, func(i int) float64 { return variance(without(n, i)) })
	assert.InDelta(t, .0612401198123, a, 1e-12)
	lo, hi := position.BCaLevels(.146, .061, .9)
	assert.InDelta(t, .10985618, lo, 5e-9)
	assert.InDelta(t, .98447701, hi, 5e-9)
	// Two standard errors of the ends at 200 000 resamples are 0.4 and 1.
	got := position.BCa(n, variance, 200000, .9, 1)
	assert.InDelta(t, 115.46, got.Lo, .6)
	assert.InDelta(t, 260.85, got.Hi, 1.4)
	small := position.BCa(n, variance, 500, .9, 7)
	assert.Equal(t, small, position.BCa(n, variance, 500, .9, 7), "same seed, same interval")
	assert.NotEqual(t, small, position.BCa(n, variance, 500, .9, 8))
}

// The R package boot 1.3-28.1: `city` (49 U.S. cities, the ten of its table),
// ratio of means and its jackknife error.
func TestJackknifeCity(t *testing.T) {
	u := []float64{138, 93, 61, 179, 48, 37, 29, 23, 30, 2}
	x := []float64{143, 104, 69, 260, 75, 63, 50, 48, 111, 50}
	ratio := func(times []int) float64 {
		var su, sx float64
		weighted(times, func(i int, w float64) { su += w * u[i]; sx += w * x[i] })
		return sx / su
	}
	assert.InDelta(t, 1.5203125, ratio(without(10, -1)), 1e-12)
	_, se := position.Jackknife(10, func(i int) float64 { return ratio(without(10, i)) })
	assert.InDelta(t, .194790993588, se, 1e-12)
}

// The law school data of Efron and Tibshirani 1993, table 3.1: correlation.
func TestJackknifeLawSchool(t *testing.T) {
	x := []float64{576, 635, 558, 578, 666, 580, 555, 661, 651, 605, 653, 575, 545, 572, 594}
	y := []float64{3.39, 3.30, 2.81, 3.03, 3.44, 3.07, 3.00, 3.43, 3.36, 3.13, 3.12, 2.74, 2.76, 2.88, 2.96}
	r := func(times []int) float64 {
		var n, sx, sy, xx, xy, yy float64
		weighted(times, func(i int, w float64) { n += w; sx += w * x[i]; sy += w * y[i] })
		weighted(times, func(i int, w float64) {
			dx, dy := x[i]-sx/n, y[i]-sy/n
			xx += w * dx * dx
			xy += w * dx * dy
			yy += w * dy * dy
		})
		return xy / math.Sqrt(xx*yy)
	}
	assert.InDelta(t, .776374491289, r(without(15, -1)), 1e-12)
	a, se := position.Jackknife(15, func(i int) float64 { return r(without(15, i)) })
	assert.InDelta(t, .142518618602, se, 1e-11)
	assert.InDelta(t, -.0756715649379, a, 1e-12)
}

// A 95 % interval of the mean of 60 Rayleigh errors covers the true mean,
// √(π/2), in about 95 % of samples: within three binomial standard errors and
// the percent or two that the bootstrap is known to lack at this size.
func TestBCaCovers(t *testing.T) {
	if testing.Short() {
		t.Skip("simulation")
	}
	rng := rand.New(rand.NewPCG(3, 8))
	const samples, n = 300, 60
	hits := 0
	for s := range samples {
		v := make([]float64, n)
		for i := range v {
			v[i] = math.Hypot(rng.NormFloat64(), rng.NormFloat64())
		}
		ci := position.BCa(n, func(times []int) float64 {
			var k, sum float64
			weighted(times, func(i int, w float64) { k += w; sum += w * v[i] })
			return sum / k
		}, 800, .95, uint64(s))
		if ci.Lo <= math.Sqrt(math.Pi/2) && math.Sqrt(math.Pi/2) <= ci.Hi {
			hits++
		}
	}
	share := float64(hits) / samples
	assert.Greater(t, share, .90)
	assert.Less(t, share, .985)
}

func TestBCaOfFew(t *testing.T) {
	ci := position.BCa(1, func([]int) float64 { return 3 }, 100, .95, 1)
	assert.True(t, math.IsNaN(ci.Lo) && math.IsNaN(ci.Hi))
	ci = position.BCa(4, func([]int) float64 { return 3 }, 100, .95, 1)
	assert.Equal(t, position.Interval{Lo: 3, Hi: 3}, ci)
}

// For the mean of few normal values the interval is about Student's: the end of it
// at n = 10 is t(9) = 2.262157 (tables) standard errors away, √(10/9) of those that
// a resample has.
func TestBootstrapOfFewPlaces(t *testing.T) {
	tail := (1 - position.ForPlaces(.95, 10)) / 2
	assert.InDelta(t, .5*math.Erfc(2.262157*math.Sqrt(10./9)/math.Sqrt2), tail, 1e-7)
	assert.InDelta(t, .95, position.ForPlaces(.95, 100000), 1e-5)

	rng := rand.New(rand.NewPCG(9, 9))
	var plain, wide float64
	const runs, n = 400, 10
	for run := range uint64(runs) {
		v := make([]float64, n)
		for i := range v {
			v[i] = 3 + rng.NormFloat64()
		}
		mean := func(times []int) float64 {
			sum := 0.0
			weighted(times, func(i int, w float64) { sum += w * v[i] / n })
			return sum
		}
		for _, c := range []struct {
			confidence float64
			hits       *float64
		}{{.95, &plain}, {position.ForPlaces(.95, n), &wide}} {
			if ci := position.BCa(n, mean, 1000, c.confidence, run); ci.Lo <= 3 && 3 <= ci.Hi {
				*c.hits += 1. / runs
			}
		}
	}
	t.Logf("the mean of %d is in %.3f of intervals, %.3f as bootstrapped", n, wide, plain)
	assert.InDelta(t, .95, wide, .03)
	assert.Less(t, plain, .93)
}
