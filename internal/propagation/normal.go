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

// farTail is where the continued fraction takes over from Erfc: there eight
// terms of it are exact to 1e-12.
const farTail = -8

// logPhi is log Φ(x) and the hazard φ(x)/Φ(x), without underflow in the lower
// tail (Abramowitz and Stegun 26.2.14: Φ(−t) = φ(t)/(t + 1/(t + 2/(t + …)))).
func logPhi(x float64) (l, hazard float64) {
	if x > farTail {
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
