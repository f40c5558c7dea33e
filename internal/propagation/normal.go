package propagation

import "math"

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
