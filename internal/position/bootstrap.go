package position

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Interval is a confidence interval.
type Interval struct {
	Lo, Hi float64
}

// Half is half of the width.
func (i Interval) Half() float64 { return (i.Hi - i.Lo) / 2 }

// jackknife gives, from a statistic v with each of n units left out in turn, with
// mean θ_(·),
//
//	a  = Σ (θ_(·) − θ_(i))³ / (6 [Σ (θ_(·) − θ_(i))²]^{3/2})
//	se = √((n − 1)/n Σ (θ_(i) − θ_(·))²)
//
// (Efron and Tibshirani, An Introduction to the Bootstrap, 1993, eq. 14.15 and
// 11.5). a is 0 where all are equal.
func jackknife(v []float64, mean float64) (a, se float64) {
	var s2, s3 float64
	for _, x := range v {
		d := mean - x
		s2 += d * d
		s3 += d * d * d
	}
	se = math.Sqrt(s2 * float64(len(v)-1) / float64(len(v)))
	if s2 > 1e-24*mean*mean {
		a = s3 / (6 * math.Pow(s2, 1.5))
	}
	return a, se
}

// BCaLevels are the two quantiles of the bootstrap distribution that end an
// interval of the given confidence (ibid. eq. 14.10): with z the normal
// quantile of each tail,
//
//	α = Φ(z0 + (z0 + z)/(1 − a (z0 + z)))
func BCaLevels(z0, a, confidence float64) (lo, hi float64) {
	n := distuv.UnitNormal
	at := func(z float64) float64 {
		d := 1 - a*(z0+z)
		if d <= 0 { // the transformation has run over its pole: the end of the distribution
			return n.CDF(math.Inf(int(math.Copysign(1, z0+z))))
		}
		return n.CDF(z0 + (z0+z)/d)
	}
	z := n.Quantile((1 + confidence) / 2)
	return at(-z), at(z)
}

// BCa is the bias-corrected and accelerated bootstrap interval of a statistic
// of n units (ibid. ch. 14), from resamples with replacement of the units.
// statistic gets how often each unit stands in the sample; est is its value
// with every unit once. A resample on which it is NaN is passed over. Same seed,
// same interval. It is NaN for fewer than two units.
func BCa(n int, statistic func(times []int) float64, resamples int, confidence float64, seed uint64) Interval {
	out := bcaAll(n, 1, func(times []int, to []float64) { to[0] = statistic(times) }, resamples, confidence, seed)
	return out[0]
}

// bcaAll does [BCa] for several statistics on the same resamples.
func bcaAll(n, statistics int, statistic func(times []int, to []float64), resamples int, confidence float64, seed uint64) []Interval {
	out := make([]Interval, statistics)
	for j := range out {
		out[j] = Interval{math.NaN(), math.NaN()}
	}
	if n < 2 {
		return out
	}
	times := make([]int, n)
	row := make([]float64, statistics)
	for i := range times {
		times[i] = 1
	}
	est := make([]float64, statistics)
	statistic(times, est)

	left := make([][]float64, statistics)
	for i := range n {
		times[i] = 0
		statistic(times, row)
		times[i] = 1
		for j, v := range row {
			if !math.IsNaN(v) {
				left[j] = append(left[j], v)
			}
		}
	}
	rng := rand.New(rand.NewPCG(seed, 0x626f6f74))
	boot := make([][]float64, statistics)
	for range resamples {
		clear(times)
		for range n {
			times[rng.IntN(n)]++
		}
		statistic(times, row)
		for j, v := range row {
			if !math.IsNaN(v) {
				boot[j] = append(boot[j], v)
			}
		}
	}
	for j := range out {
		if len(left[j]) < 2 || len(boot[j]) < 2 || math.IsNaN(est[j]) {
			continue
		}
		mean := 0.0
		for _, v := range left[j] {
			mean += v / float64(len(left[j]))
		}
		a, _ := jackknife(left[j], mean)
		b := boot[j]
		slices.Sort(b)
		lo, hi := BCaLevels(bias(b, est[j]), a, confidence)
		out[j] = Interval{Quantile(b, lo), Quantile(b, hi)}
	}
	return out
}

// forPlaces is the confidence to ask of a bootstrap of n units so that it has the
// confidence that is meant: 2 Φ(√(n/(n − 1)) t) − 1, t the quantile of Student's
// distribution with n − 1 degrees of freedom. Resamples of few units scatter by
// √((n − 1)/n) too little and as if that were known (Hesterberg, Am. Stat. 69,
// 2015, section 5.3).
func forPlaces(confidence float64, n int) float64 {
	k := float64(max(n, leastForInterval)) // fewer have no interval
	t := distuv.StudentsT{Sigma: 1, Nu: k - 1}.Quantile((1 + confidence) / 2)
	return 2*distuv.UnitNormal.CDF(math.Sqrt(k/(k-1))*t) - 1
}

// bias is z0 = Φ⁻¹ of the share of the bootstrap values below the estimate,
// those equal to it counted half.
func bias(sorted []float64, est float64) float64 {
	below, _ := slices.BinarySearch(sorted, est)
	upto := below
	for upto < len(sorted) && sorted[upto] == est {
		upto++
	}
	n := float64(len(sorted))
	p := (float64(below) + float64(upto-below)/2) / n
	p = min(max(p, 0.5/n), 1-0.5/n)
	return distuv.UnitNormal.Quantile(p)
}
