package propagation

import (
	"math"
	"sync"
)

const (
	sqrt2Pi    = 2.5066282746310005024
	halfLog2Pi = 0.91893853320467274178
)

// phi is the standard normal density.
func phi(x float64) float64 { return math.Exp(-x*x/2) / sqrt2Pi }

// bigPhi is the standard normal distribution function.
func bigPhi(x float64) float64 { return math.Erfc(-x*(1/math.Sqrt2)) / 2 }

// farTail is where the continued fraction takes over from Erfc: there twelve
// terms of it are exact to 1e-12.
const farTail = -8

// logPhi is log Φ(x) and the hazard φ(x)/Φ(x), without underflow in the lower
// tail (Abramowitz and Stegun 26.2.14: Φ(−t) = φ(t)/(t + 1/(t + 2/(t + …)))).
func logPhi(x float64) (l, hazard float64) {
	switch {
	case x >= farTail && x < -farTail:
		return hazardTable().at(x)
	case x > farTail:
		p := bigPhi(x)
		return math.Log(p), phi(x) / p
	}
	t := -x
	f := t
	for k := 12.0; k >= 1; k-- {
		f = t + k/f
	}
	return -x*x/2 - halfLog2Pi - math.Log(f), f
}

// Nodes of the table of hazards to one, and terms of the series at each.
const (
	hazardSteps = 32
	hazardTerms = 9
)

// hazards holds, at nodes k in the middle of stretches from farTail to −farTail,
// log Φ(k) and the series of the hazard h(k + d) = Σ c_n dⁿ. By h' = −h (x + h) its
// terms are, from c_0 = h(k) on,
//
//	(n + 1) c_(n+1) = −(k c_n + c_(n−1) + Σ_(i≤n) c_i c_(n−i))
//
// and log Φ is the integral. With |d| ≤ 1/64 both are exact to 1e-13 of themselves.
type hazards [-2 * farTail * hazardSteps]struct {
	logPhi float64
	c      [hazardTerms]float64
}

var hazardTable = sync.OnceValue(func() *hazards {
	t := new(hazards)
	for j := range t {
		k := farTail + (float64(j)+.5)/hazardSteps
		at, p := &t[j], bigPhi(k)
		at.logPhi, at.c[0] = math.Log(p), phi(k)/p
		if k > 0 {
			at.logPhi = math.Log1p(-bigPhi(-k))
		}
		for n := range hazardTerms - 1 {
			sum := k * at.c[n]
			if n > 0 {
				sum += at.c[n-1]
			}
			for i := range n + 1 {
				sum += at.c[i] * at.c[n-i]
			}
			at.c[n+1] = -sum / float64(n+1)
		}
	}
	return t
})

// at gives log Φ(x) and the hazard for x from farTail to below −farTail.
func (t *hazards) at(x float64) (l, hazard float64) {
	u := (x - farTail) * hazardSteps
	j := int(u)
	at := &t[j]
	d := (u - float64(j) - .5) * (1. / hazardSteps)
	c := &at.c
	hazard = c[0] + d*(c[1]+d*(c[2]+d*(c[3]+d*(c[4]+d*(c[5]+d*(c[6]+d*(c[7]+d*c[8])))))))
	l = d * (c[0] + d*(c[1]*(1./2)+d*(c[2]*(1./3)+d*(c[3]*(1./4)+d*(c[4]*(1./5)+d*(c[5]*(1./6)+d*(c[6]*(1./7)+d*(c[7]*(1./8)+d*c[8]*(1./9)))))))))
	return at.logPhi + l, hazard
}

// The table of the normal distribution reaches to tableReach on either side in
// steps of 1/tableSteps.
const (
	tableReach = 8.0
	tableSteps = 64
)

// Normal gives Φ(x) and φ(x) from a table, to 1e-10 of themselves where |x| < 4
// and to 2e-9 further out.
func Normal(x float64) (cdf, density float64) {
	if math.Abs(x) <= tableReach {
		return normalTable().at(x)
	}
	return bigPhi(x), phi(x)
}

// table holds Φ and φ at its nodes.
type table [2*tableReach*tableSteps + 1][2]float64

var normalTable = sync.OnceValue(func() *table {
	t := new(table)
	for j := range t {
		x := float64(j)/tableSteps - tableReach
		t[j] = [2]float64{bigPhi(x), phi(x)}
	}
	return t
})

// at gives Φ(x) and φ(x) for |x| ≤ tableReach, from the nearest node k = x − d:
//
//	φ(x) = φ(k) e^u, u = −k d − d²/2, by six terms of the series, |u| < 1/15
//	Φ(x) = Φ(k) + d/2 [φ(k) + φ(x)] + d²/12 [x φ(x) − k φ(k)]
//
// the latter by the formula of Euler and Maclaurin to its first term. Both are
// exact to 1e-10 of themselves where |x| < 4 and to 2e-9 further out.
func (t *table) at(x float64) (cdf, density float64) {
	j := int((x+tableReach)*tableSteps + 0.5)
	k := float64(j)/tableSteps - tableReach
	d := x - k
	u := -d * (k + d/2)
	at := &t[j]
	uu := u * u
	density = at[1] * (1 + u + uu*((1./2+u*(1./6))+uu*((1./24+u*(1./120))+uu*(1./720))))
	cdf = at[0] + d/2*(at[1]+density) + d*d/12*(x*density-k*at[1])
	return cdf, density
}
