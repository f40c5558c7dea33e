package position

import (
	"cmp"
	"math"
	"slices"

	"footrule/internal/propagation"

	"github.com/paulmach/orb"
)

// EllipseConfidence is the probability with which an ellipse is meant to hold
// the place.
const EllipseConfidence = 0.95

// normal95 is the 95 % quantile of χ² with two degrees of freedom, −2 ln 0.05:
// the squared half axes of a 95 % ellipse in units of the variances, for normal
// errors on the plan.
const normal95 = 5.991464547107979

// Ellipse is an error ellipse about a fix. The zero value is none.
type Ellipse struct {
	MajorM, MinorM float64 // half axes
	Deg            float64 // of the major axis, clockwise from +y, in [0, 180)
}

// Area is that of the ellipse in m², what lies outside of the outline included.
func (e Ellipse) Area() float64 { return math.Pi * e.MajorM * e.MinorM }

// Times is the ellipse with both axes so many times as long.
func (e Ellipse) Times(f float64) Ellipse { return Ellipse{f * e.MajorM, f * e.MinorM, e.Deg} }

// Holds reports whether p lies in the ellipse about centre.
func (e Ellipse) Holds(centre, p orb.Point) bool {
	sin, cos := math.Sincos(e.Deg * math.Pi / 180)
	x, y := p[0]-centre[0], p[1]-centre[1]
	along, across := (x*sin+y*cos)/e.MajorM, (x*cos-y*sin)/e.MinorM
	return along*along+across*across <= 1
}

// Ellipse has half axes of √q standard deviations.
func (c Covariance) Ellipse(q float64) Ellipse {
	major, minor, deg := c.Axes()
	return Ellipse{math.Sqrt(q) * major, math.Sqrt(q) * minor, deg}
}

const (
	// A likelihood narrower than leastSteps steps of the grid is not summed over
	// it: sums of a normal bell at that pitch are good to 0.2 %, and go wrong
	// fast below.
	leastSteps = 0.6
	// fewPlaces within the ellipse give no quantile of their own: one place is
	// then more than 3 % of the mass.
	fewPlaces = 30
	// leastMass is how far below the fix a log likelihood counts for nothing.
	leastMass = 16.0
)

// ellipse is the error ellipse of a fix under its likelihood, taken for a
// probability over the outline of the fix's floor (a uniform prior): its shape is
//
//	M = E (p − fix)(p − fix)ᵀ
//
// and it is as large as holds 95 % of the mass. The curvature at the fix, which
// is that of a normal bell, holds far too little where few access points are
// heard: the likelihood bends around access points, has shoulders and rivals,
// and ends at the outline. Where it is narrower than the grid it is close to a
// bell, and the curvature serves. It is none where neither tells.
func (s *search) ellipse(best place, c Covariance, sure bool) Ellipse {
	g := s.t.grid
	type part struct {
		of int
		w  float64
	}
	var parts []part
	var m Covariance
	sum := 0.0
	for i, l := range s.over {
		if g.cell[i] == 0 || g.floor[i] != best.floor || l < best.l-leastMass {
			continue
		}
		w := g.cell[i] * math.Exp(l-best.l)
		parts = append(parts, part{i, w})
		x, y := g.at[i][0]-best.at[0], g.at[i][1]-best.at[1]
		sum += w
		m.XX += w * x * x
		m.XY += w * x * y
		m.YY += w * y * y
	}
	m = Covariance{m.XX / sum, m.XY / sum, m.YY / sum}
	_, minor, _ := m.Axes()
	switch {
	case sum > 0 && minor > leastSteps*g.stepM:
	case sure:
		return c.Ellipse(normal95)
	default:
		return Ellipse{}
	}
	e := m.Ellipse(normal95)
	if e.Area() < fewPlaces*g.stepM*g.stepM {
		return e
	}
	det := m.XX*m.YY - m.XY*m.XY
	far := make([]part, len(parts))
	for k, p := range parts {
		x, y := g.at[p.of][0]-best.at[0], g.at[p.of][1]-best.at[1]
		parts[k].of = k
		far[k] = part{k, (m.YY*x*x - 2*m.XY*x*y + m.XX*y*y) / det}
	}
	slices.SortFunc(far, func(a, b part) int {
		if c := cmp.Compare(a.w, b.w); c != 0 {
			return c
		}
		return a.of - b.of
	})
	mass := 0.0
	for _, p := range far {
		if mass += parts[p.of].w; mass >= EllipseConfidence*sum {
			return m.Ellipse(p.w)
		}
	}
	return e
}

// widening is how much longer the axes of ellipses are for what a fix takes for
// granted: √((1 + δ)(1 + κ)), with [unsure] and [together].
func widening(d *propagation.Data, f *propagation.Fit) float64 {
	return math.Sqrt((1 + unsure(d, f)) * (1 + together(d, f)))
}

// unsure is the variance δ of a predicted level, for the parameters of the fit
// are not known, as a share of that of a stay's mean level; mean over the radios.
// With x = −10 log10 d, x̄ and s² its mean and variance over the stays that heard
// the radio, and level and exponent uncorrelated at x̄,
//
//	δ = (SE(A)² − x̄² SE(n)² + s² SE(n)²)/σ²
//
// The standard errors respect that shadowing is shared by near places. Walls
// are not in it. It is 0 where no standard error is known.
func unsure(d *propagation.Data, f *propagation.Fit) float64 {
	sum, n := 0.0, 0
	for k := range f.Radios {
		r := &f.Radios[k]
		if !r.InFit || math.IsNaN(r.Level1m.SE) || math.IsNaN(r.Exponent.SE) {
			continue
		}
		var m, x1, x2 float64
		for i := range d.Stays() {
			if at := i*d.Radios + k; d.Levels[at].Heard > 0 {
				x := -10 * math.Log10(d.DistanceM[at])
				m, x1, x2 = m+1, x1+x, x2+x*x
			}
		}
		if m == 0 {
			continue
		}
		x1, x2 = x1/m, x2/m
		a, b := r.Level1m.SE*r.Level1m.SE, r.Exponent.SE*r.Exponent.SE
		shadow, scatter := f.Spread(k)
		sum += (max(a-x1*x1*b, 0) + (x2-x1*x1)*b) / (shadow*shadow + scatter*scatter)
		n++
	}
	if n == 0 {
		return 0
	}
	return sum / float64(n)
}

// together is what radios of one access point tell less of a place for sharing
// their shadowing, which the likelihood of a fix does not know. m levels along
// one direction whose errors have correlation ρ tell as much as m/(1 + κ) that
// have none,
//
//	κ = ρ (m − 1)
//
// with m the mean number of radios heard of an access point that was heard, and
// ρ from products of the residuals of two radios of one access point in one stay.
func together(d *propagation.Data, f *propagation.Fit) float64 {
	refs := d.Site.Radios()
	var heard, aps, product, square float64
	for i := range d.Stays() {
		for k := 0; k < len(refs); {
			var sum, sq, n float64
			ap := refs[k].AP
			for ; k < len(refs) && refs[k].AP == ap; k++ {
				l := d.Levels[i*d.Radios+k]
				if l.Heard == 0 || !f.Radios[k].InFit {
					continue
				}
				shadow, scatter := f.Spread(k)
				z := (l.MeanDBm - f.Level(k, d.Floor[i], d.At[i])) / math.Hypot(shadow, scatter)
				n, sum, sq = n+1, sum+z, sq+z*z
			}
			if n == 0 {
				continue
			}
			heard, aps = heard+n, aps+1
			if n > 1 {
				product += (sum*sum - sq) / (n - 1) // n times the mean product of two
				square += sq
			}
		}
	}
	if square == 0 {
		return 0
	}
	return min(max(product/square, 0), 1) * (heard/aps - 1)
}

// ellipse is the fix's own, or that of its covariance as of a normal error.
func (f *Fix) ellipse() Ellipse {
	if f.Ellipse == (Ellipse{}) && f.Sure {
		return f.Covariance.Ellipse(normal95)
	}
	return f.Ellipse
}
