package position

import (
	"math"

	"footrule/internal/propagation"

	"github.com/paulmach/orb"
	"gonum.org/v1/gonum/mathext"
)

// Covariance is that of a place on the plan, in m².
type Covariance struct {
	XX, XY, YY float64
}

// RMS is the root mean square of the error in metres, √trace.
func (c Covariance) RMS() float64 { return math.Sqrt(c.XX + c.YY) }

// MeanM is the mean length in metres of a normal error with zero mean and this
// covariance: √(2/π) σ₁ E(1 − σ₂²/σ₁²), σ₁ and σ₂ the spreads along its axes and E
// the complete elliptic integral of the second kind.
func (c Covariance) MeanM() float64 {
	mean, half := (c.XX+c.YY)/2, math.Hypot((c.XX-c.YY)/2, c.XY)
	major := mean + half
	return math.Sqrt(2/math.Pi*major) * mathext.CompleteE(1-max(mean-half, 0)/major)
}

// Axes gives the standard deviations along the longest and the shortest axis of
// the error ellipse in metres, and the direction of the longest in degrees
// clockwise from +y, in [0, 180).
func (c Covariance) Axes() (major, minor, deg float64) {
	mean, half := (c.XX+c.YY)/2, math.Hypot((c.XX-c.YY)/2, c.XY)
	major, minor = math.Sqrt(mean+half), math.Sqrt(max(mean-half, 0))
	deg = math.Mod(90-math.Atan2(2*c.XY, c.XX-c.YY)/2*180/math.Pi+180, 180)
	return major, minor, deg
}

// Term is one radio as it counts towards the information on a place.
type Term struct {
	Offset    orb.Point // p − a on the plan, metres
	DistanceM float64   // d, three-dimensional
	Exponent  float64   // n
	SigmaDB   float64   // σ of the level
	Weight    float64   // ω, information as a share of that of a level always heard; see [HeardWeight]
}

// longestEllipse is the ratio of the axes of the error ellipse beyond which
// there is no fix. It is far above what rounding of places to a millimetre can
// feign and far below what a geometry worth a number gives.
const longestEllipse = 1e4

// Bound is the Cramér-Rao bound on the covariance of a place for known levels
// at 1 m (Patwari, Hero, Perkins, Correal, O'Dea, IEEE Trans. Signal Process.
// 51, 2003): the inverse of
//
//	F = Σ ω g (p − a)(p − a)ᵀ/d⁴,  g = (10 n/(σ ln 10))²
//
// with the part of p − a in the plane where heights differ. Its laws:
//
//  1. It is proportional to the size of the scene.
//  2. Another radio never raises it.
//  3. Radios and place on one line leave one direction unknown: ok is false.
//
// Radios of one access point count as independent measurements of the same
// direction, so that they never make a fix by themselves.
func Bound(terms []Term) (c Covariance, ok bool) {
	return BoundOf(Information(terms))
}

// Information is F, in 1/m²: see [Bound].
func Information(terms []Term) (xx, xy, yy float64) {
	for i := range terms {
		t := &terms[i]
		sx, sy := t.slope()
		xx += t.Weight * sx * sx
		xy += t.Weight * sx * sy
		yy += t.Weight * sy * sy
	}
	return xx, xy, yy
}

// slope is ∂μ/∂p in units of σ.
func (t *Term) slope() (x, y float64) {
	g := -10 * t.Exponent / (t.SigmaDB * math.Ln10 * t.DistanceM * t.DistanceM)
	return g * t.Offset[0], g * t.Offset[1]
}

// BoundOf gives the covariance that belongs to an information matrix; ok is
// false where one axis of it is longestEllipse times the other or infinite.
func BoundOf(xx, xy, yy float64) (c Covariance, ok bool) {
	mean, half := (xx+yy)/2, math.Hypot((xx-yy)/2, xy)
	if !(mean-half > (mean+half)/(longestEllipse*longestEllipse)) || math.IsInf(mean, 0) {
		return Covariance{}, false
	}
	det := xx*yy - xy*xy
	if !(det > 0) {
		return Covariance{}, false
	}
	return Covariance{XX: yy / det, XY: -xy / det, YY: xx / det}, true
}

// HeardWeight is the information on μ in a level that may go unheard, as a
// share of that in one always heard. A radio goes unheard where its level falls
// below the floor of hearing c, and for other reasons with probability p0:
// with z = (c − μ)/σ and P(unheard) = u = p0 + (1 − p0) Φ(z),
//
//	ω = (1 − p0) [1 − Φ(z) + z φ(z)] + ((1 − p0) φ(z))²/u
//
// which is σ² times the Fisher information of the censored normal. It is 1 − p0
// for a strong radio and falls to 0 below the floor.
func HeardWeight(mu, floorDBm, sigma, p0 float64) float64 {
	z := (floorDBm - mu) / sigma
	if z > 30 {
		return 0
	}
	below, phi := propagation.Normal(z)
	u := p0 + (1-p0)*below
	w := (1 - p0) * (1 - below + z*phi)
	if phi > 0 {
		w += (1 - p0) * (1 - p0) * phi * phi / u
	}
	return min(max(w, 0), 1)
}
