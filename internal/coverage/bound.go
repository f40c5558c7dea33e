package coverage

import (
	"math"

	"footrule/internal/position"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"gonum.org/v1/gonum/mathext"
)

// Accuracy is what the levels in each cell say about the place.
type Accuracy struct {
	// BoundM is the Cramér-Rao bound (RMS, metres) of a stay of Options.Scans
	// scans, as [position.Grid.Bound] gives it; NaN where there is no fix to be
	// had: too few radios, all on one line, or a bound beyond the floor's diagonal.
	BoundM []float64
	// ErrorM is the expected error in metres of a good estimator that also knows
	// the floor: the mean length of a normal error with covariance (F + P⁻¹)⁻¹, F
	// the information behind the bound and P the covariance of a place anywhere on
	// the floor. It is never unknown: without a radio it is that of a guess.
	ErrorM []float64
}

// radioTerm is what of a radio does not depend on the cell.
type radioTerm struct {
	at              orb.Point
	rise2           float64
	sigma, floorDBm float64
	never           float64 // probability that a strong radio is missed in the whole stay
	strong          float64 // level from which HeardWeight is 1 − never
	deaf            float64 // level below which it is 0
}

// weightReach is the distance from the floor of hearing, in spreads, beyond
// which [position.HeardWeight] is at its ends to 1e-6.
const weightReach = 6.0

// Accuracy of one floor of the map.
func (m *Map) Accuracy(fm *FloorMap) *Accuracy {
	n := fm.Len()
	a := &Accuracy{BoundM: make([]float64, n), ErrorM: make([]float64, n)}
	radios := make([]radioTerm, len(m.Fit.Radios))
	scans := float64(m.Options.Scans)
	for k := range radios {
		g := m.Fit.Group(k)
		if g == nil {
			continue
		}
		r := &m.Fit.Radios[k]
		ap := &m.Site.AccessPoints[r.Ref.AP]
		rise := m.Site.Floors[m.Site.FloorIndex(ap.Floor)].ElevationM + ap.HeightM - m.Site.Floors[fm.Floor].ElevationM - m.Site.ReceiverHeightM
		shadow, scatter := m.Fit.Spread(k)
		sigma := math.Sqrt(shadow*shadow + scatter*scatter/scans)
		radios[k] = radioTerm{at: ap.At, rise2: rise * rise, sigma: sigma, floorDBm: g.FloorDBm,
			never:  r.StayMiss + (1-r.StayMiss)*math.Pow(r.ScanMiss, scans),
			strong: g.FloorDBm + weightReach*sigma, deaf: g.FloorDBm - weightReach*sigma}
	}
	box := m.Site.Floors[fm.Floor].BoundingBox()
	span := math.Hypot(box.Max[0]-box.Min[0], box.Max[1]-box.Min[1])
	prior := fm.prior()
	var terms []position.Term
	for i := range n {
		terms = terms[:0]
		for k := range radios {
			if fm.levels[k] == nil {
				continue
			}
			r, mu := &radios[k], float64(fm.levels[k][i])
			x, y := fm.At[i][0]-r.at[0], fm.At[i][1]-r.at[1]
			d := math.Sqrt(x*x + y*y + r.rise2)
			if mu < r.deaf || d <= site.MinDistanceM {
				continue // says nothing, or stands where the level is flat
			}
			w := 1 - r.never
			if mu < r.strong {
				w = position.HeardWeight(mu, r.floorDBm, r.sigma, r.never)
			}
			terms = append(terms, position.Term{Offset: orb.Point{x, y}, DistanceM: d, Exponent: m.Fit.ExponentAt(k, d), SigmaDB: r.sigma, Weight: w})
		}
		a.BoundM[i] = math.NaN()
		if c, ok := position.Bound(terms); ok && c.RMS() <= span {
			a.BoundM[i] = c.RMS()
		}
		a.ErrorM[i] = meanLength(withPrior(terms, prior))
	}
	return a
}

// prior is the covariance of a place anywhere on the floor.
func (c *Cells) prior() position.Covariance {
	var area, mx, my float64
	for i, p := range c.At {
		area += c.AreaM2[i]
		mx += c.AreaM2[i] * p[0]
		my += c.AreaM2[i] * p[1]
	}
	mx, my = mx/area, my/area
	var v position.Covariance
	for i, p := range c.At {
		x, y, w := p[0]-mx, p[1]-my, c.AreaM2[i]/area
		v.XX += w * x * x
		v.XY += w * x * y
		v.YY += w * y * y
	}
	// A floor of one cell has a width nevertheless.
	v.XX += c.Lattice.DX * c.Lattice.DX / 12
	v.YY += c.Lattice.DY * c.Lattice.DY / 12
	return v
}

// withPrior is (F + P⁻¹)⁻¹.
func withPrior(terms []position.Term, p position.Covariance) position.Covariance {
	xx, xy, yy := position.Information(terms)
	det := p.XX*p.YY - p.XY*p.XY
	xx, xy, yy = xx+p.YY/det, xy-p.XY/det, yy+p.XX/det
	det = xx*yy - xy*xy
	return position.Covariance{XX: yy / det, XY: -xy / det, YY: xx / det}
}

// meanLength is the mean length of a normal vector with zero mean and this
// covariance: √(2/π) σ₁ E(1 − σ₂²/σ₁²), σ₁ and σ₂ the spreads along its axes and
// E the complete elliptic integral of the second kind.
func meanLength(c position.Covariance) float64 {
	major, minor, _ := c.Axes()
	return math.Sqrt(2/math.Pi) * major * mathext.CompleteE(1-minor*minor/(major*major))
}
