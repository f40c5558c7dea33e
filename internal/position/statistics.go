package position

import (
	"math"
	"slices"

	"github.com/paulmach/orb"
	"gonum.org/v1/gonum/stat"
)

// QuantileRule names the quantiles of this package: type 7 of Hyndman and Fan,
// Am. Stat. 50, 1996.
const QuantileRule = "Hyndman-Fan type 7"

// Quantile is the p-quantile of ascending values by [QuantileRule]: linear
// between the values at ranks 1 + (n − 1)p. It is NaN for no values.
func Quantile(sorted []float64, p float64) float64 {
	n := len(sorted)
	if n == 0 {
		return math.NaN()
	}
	h := float64(n-1) * min(max(p, 0), 1)
	i := int(h)
	if i >= n-1 {
		return sorted[n-1]
	}
	return sorted[i] + (h-float64(i))*(sorted[i+1]-sorted[i])
}

// Statistics describe horizontal errors by the names of ISO/IEC 18305:2016,
// clause 8, in metres. They are NaN where too few fixes were located.
type Statistics struct {
	Fixes   int // tried
	Located int // found; only these have an error

	MeanM float64
	SDM   float64 // of the size of the error, divisor Located − 1
	RMSM  float64
	CE50M float64 // circular error: half of the errors are at most so large (CEP)
	CE90M float64
	CE95M float64
	MaxM  float64

	BiasM      orb.Point  // mean of the error vector, fix less truth
	Covariance Covariance // of the error vector, divisor Located − 1
}

// Coverage is the share located, NaN for nothing tried.
func (s *Statistics) Coverage() float64 { return float64(s.Located) / float64(s.Fixes) }

// Summarise describes the error vectors (fix less truth, metres) of the fixes
// that were located, of so many tried.
func Summarise(located []orb.Point, tried int) Statistics {
	s := Statistics{Fixes: tried, Located: len(located)}
	n := float64(len(located))
	r := make([]float64, len(located))
	for i, e := range located {
		r[i] = math.Hypot(e[0], e[1])
		s.BiasM[0] += e[0] / n
		s.BiasM[1] += e[1] / n
	}
	if len(located) == 0 {
		s.BiasM = orb.Point{math.NaN(), math.NaN()}
	}
	for _, e := range located {
		dx, dy := e[0]-s.BiasM[0], e[1]-s.BiasM[1]
		s.Covariance.XX += dx * dx / (n - 1)
		s.Covariance.XY += dx * dy / (n - 1)
		s.Covariance.YY += dy * dy / (n - 1)
	}
	if len(located) < 2 {
		s.Covariance = Covariance{math.NaN(), math.NaN(), math.NaN()}
	}
	slices.Sort(r)
	v := figures(r)
	s.MeanM, s.RMSM, s.CE50M, s.CE90M, s.CE95M = v[0], v[1], v[2], v[3], v[4]
	s.MaxM = Quantile(r, 1)
	s.SDM = stat.StdDev(r, nil)
	return s
}

// figureNames are the statistics that have an interval, in the order of figures.
var figureNames = [...]string{"mean_m", "rms_m", "ce50_m", "ce90_m", "ce95_m"}

// figures gives mean, RMS, CE50, CE90 and CE95 of ascending errors.
func figures(sorted []float64) [len(figureNames)]float64 {
	var sum, sq float64
	for _, r := range sorted {
		sum += r
		sq += r * r
	}
	n := float64(len(sorted))
	return [...]float64{sum / n, math.Sqrt(sq / n), Quantile(sorted, .5), Quantile(sorted, .9), Quantile(sorted, .95)}
}
