package validation

import (
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// share is how often something held: hits of cases per site.
type share struct{ hits, cases float64 }

// coverage gives the share of hits over sites with its exact binomial interval
// at 95 % (Clopper and Pearson, Biometrika 26, 1934). The cases of one site hang
// together, so that they count for less than their number: by the design effect,
// the variance of the share from site to site over that of as many independent
// cases (Kish, Survey Sampling, 1965, ch. 5), where that is above 1.
func coverage(sites []share) (p, lo, hi float64, cases int) {
	var hits, n float64
	for _, s := range sites {
		hits += s.hits
		n += s.cases
	}
	if n == 0 {
		return math.NaN(), math.NaN(), math.NaN(), 0
	}
	p = hits / n
	eff := n
	if p > 0 && p < 1 {
		sum := 0.0
		for _, s := range sites {
			r := s.hits - p*s.cases
			sum += r * r
		}
		eff = min(n, p*(1-p)*n*n/sum)
	}
	lo, hi = 0, 1
	if k := p * eff; k > 0 {
		lo = distuv.Beta{Alpha: k, Beta: eff - k + 1}.Quantile(.025)
	}
	if k := p * eff; k < eff {
		hi = distuv.Beta{Alpha: k + 1, Beta: eff - k}.Quantile(.975)
	}
	return p, lo, hi, int(n)
}

// meanOf gives the mean of one value a site with Student's interval at 95 %.
func meanOf(values []float64) (mean, lo, hi float64) {
	n := float64(len(values))
	if n == 0 {
		return math.NaN(), math.NaN(), math.NaN()
	}
	mean = stat.Mean(values, nil)
	if n < 2 {
		return mean, math.NaN(), math.NaN()
	}
	half := stat.StdDev(values, nil) / math.Sqrt(n) * distuv.StudentsT{Sigma: 1, Nu: n - 1}.Quantile(.975)
	return mean, mean - half, mean + half
}

// ratioOf gives Σ a/Σ b over sites with its interval at 95 % from the jackknife
// over sites, on the logarithm.
func ratioOf(a, b []float64) (r, lo, hi float64) {
	var sa, sb float64
	for i := range a {
		sa += a[i]
		sb += b[i]
	}
	n := float64(len(a))
	r = sa / sb
	if n < 2 || !(r > 0) {
		return r, math.NaN(), math.NaN()
	}
	logs := make([]float64, len(a))
	for i := range a {
		logs[i] = math.Log((sa - a[i]) / (sb - b[i]))
	}
	_, sd := stat.PopMeanStdDev(logs, nil)
	half := sd * math.Sqrt(n-1) * distuv.StudentsT{Sigma: 1, Nu: n - 1}.Quantile(.975)
	return r, r * math.Exp(-half), r * math.Exp(half)
}
