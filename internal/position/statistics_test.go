package position_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"footrule/internal/position"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
)

// Ten error vectors summarised in R 4.2.2; names of ISO/IEC 18305:2016 clause 8.
func TestSummariseSmallSample(t *testing.T) {
	sample := []orb.Point{{.5, -1.2}, {2, .3}, {-1, 1}, {3.5, -2.5}, {0, .8}, {-2.2, -.4}, {1.1, 1.9}, {-.3, -3}, {4, 1}, {-1.5, .2}}
	s := position.Summarise(sample, 12)
	assert.Equal(t, 12, s.Fixes)
	assert.Equal(t, 10, s.Located)
	assert.InDelta(t, 10.0/12, s.Coverage(), 1e-15)
	assert.InDelta(t, .61, s.BiasM[0], 1e-12)
	assert.InDelta(t, -.19, s.BiasM[1], 1e-12)
	assert.InDelta(t, .6389053137985314, math.Hypot(s.BiasM[0], s.BiasM[1]), 1e-12)
	assert.InDelta(t, 2.2920611762015968, s.MeanM, 1e-12)
	assert.InDelta(t, 1.18249057527339, s.SDM, 1e-12)
	assert.InDelta(t, 2.551862065237853, s.RMSM, 1e-12)
	assert.InDelta(t, 4.241, s.Covariance.XX, 1e-12)
	assert.InDelta(t, -.11344444, s.Covariance.XY, 5e-9)
	assert.InDelta(t, 2.541, s.Covariance.YY, 1e-12)
	assert.InDelta(t, 2.1089123408128416, s.CE50M, 1e-12)
	assert.InDelta(t, 4.221036979964669, s.CE95M, 1e-12)
	assert.InDelta(t, math.Hypot(3.5, 2.5), s.MaxM, 1e-12)
}

func TestSummariseOfFew(t *testing.T) {
	none := position.Summarise(nil, 3)
	for _, v := range []float64{none.MeanM, none.RMSM, none.CE50M, none.CE95M, none.MaxM, none.BiasM[0], none.Covariance.XX} {
		assert.True(t, math.IsNaN(v))
	}
	assert.Equal(t, 0.0, none.Coverage())
	one := position.Summarise([]orb.Point{{3, 4}}, 1)
	assert.Equal(t, 5.0, one.MeanM)
	assert.Equal(t, 5.0, one.CE95M)
	assert.True(t, math.IsNaN(one.Covariance.XX))
}

// R 4.2.2, quantile((1:10)^2, c(.5, .9, .95), type = 7).
func TestQuantileIsType7(t *testing.T) {
	var v []float64
	for i := range 10 {
		v = append(v, float64((i+1)*(i+1)))
	}
	assert.InDelta(t, 30.5, position.Quantile(v, .5), 1e-12)
	assert.InDelta(t, 82.9, position.Quantile(v, .9), 1e-12)
	assert.InDelta(t, 91.45, position.Quantile(v, .95), 1e-12)
	assert.Equal(t, 1.0, position.Quantile(v, 0))
	assert.Equal(t, 100.0, position.Quantile(v, 1))
}

// Circular normal: the Rayleigh quantiles √(−2 ln(1 − p)) (National Academies
// 4920); unequal axes: exact Hoyt quantiles. By simulation, to 1 %.
func TestCircularErrorOfNormalErrors(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 5))
	for _, c := range []struct{ sy, ce50, ce90, ce95 float64 }{
		{1, 1.1774100225154747, 2.145966026289347, 2.447746830680816},
		{.75, 1.02709061, 1.90334936, 2.18580192},
		{.5, .87041743, 1.73707993, 2.03585872},
		{.3, .74993512, 1.67382866, 1.98419623},
		{.1, .68198509, 1.64791161, 1.96252960},
	} {
		e := make([]orb.Point, 200000)
		for i := range e {
			e[i] = orb.Point{rng.NormFloat64(), c.sy * rng.NormFloat64()}
		}
		s := position.Summarise(e, len(e))
		assert.InEpsilon(t, c.ce50, s.CE50M, .01)
		assert.InEpsilon(t, c.ce90, s.CE90M, .01)
		assert.InEpsilon(t, c.ce95, s.CE95M, .01)
		assert.InEpsilon(t, math.Sqrt(1+c.sy*c.sy), s.RMSM, .01)
		if c.sy == 1 {
			// FGDC-STD-007.3-1998 (NSSDA): accuracy_r = 1.7308 RMSE_r.
			assert.InEpsilon(t, 1.7308183826022852, s.CE95M/s.RMSM, .01)
			// 63.2 % lie within the RMS and 98.2 % within twice that, 1 − 1/e and 1 − e⁻⁴.
			for d, want := range map[float64]float64{s.RMSM: .6321205588285577, 2 * s.RMSM: .9816843611112658} {
				in := 0
				for _, v := range e {
					if math.Hypot(v[0], v[1]) <= d {
						in++
					}
				}
				assert.InDelta(t, want, float64(in)/float64(len(e)), .004)
			}
		}
		assert.InDelta(t, 1, s.Covariance.XX, .02)
		assert.InDelta(t, c.sy*c.sy, s.Covariance.YY, .02)
	}
}
