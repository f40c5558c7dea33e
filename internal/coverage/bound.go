package coverage

import (
	"math"

	"footrule/internal/parallel"
	"footrule/internal/position"
	"footrule/internal/site"

	"github.com/paulmach/orb"
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
	steep           float64 // 10 n/(σ ln 10), of [position.Bound]; beyond breakM it is steepBeyond
	steepBeyond     float64
	break2          float64 // square of the distance of the break, +Inf for none
	never           float64 // probability that a strong radio is missed in the whole stay
	strong          float64 // level from which HeardWeight is 1 − never
	deaf            float64 // level below which it is 0
	weights         *weights
}

// weightReach is the distance from the floor of hearing, in spreads, beyond
// which [position.HeardWeight] is at its ends to 1e-6.
const weightReach = 6.0

// mapped lists the radios that are in the fit.
func (m *Map) mapped() []int {
	var out []int
	for k := range m.Fit.Radios {
		if m.Fit.Group(k) != nil {
			out = append(out, k)
		}
	}
	return out
}

// radioTerms prepares radios that are in the fit for one floor.
func (m *Map) radioTerms(floor int, radios []int) []radioTerm {
	out := make([]radioTerm, len(radios))
	tables := map[float64]*weights{}
	scans := float64(m.Options.Scans)
	for n, k := range radios {
		g := m.Fit.Group(k)
		r := &m.Fit.Radios[k]
		ap := &m.Site.AccessPoints[r.Ref.AP]
		rise := m.Site.Floors[m.Site.FloorIndex(ap.Floor)].ElevationM + ap.HeightM - m.Site.Floors[floor].ElevationM - m.Site.ReceiverHeightM
		shadow, scatter := m.Fit.Spread(k)
		sigma := math.Sqrt(shadow*shadow + scatter*scatter/scans)
		break2 := math.Inf(1)
		if g.BreakM > 0 {
			break2 = g.BreakM * g.BreakM
		}
		steep := 10 / (sigma * math.Ln10)
		never := r.StayMiss + (1-r.StayMiss)*math.Pow(r.ScanMiss, scans)
		if tables[never] == nil {
			tables[never] = newWeights(never)
		}
		out[n] = radioTerm{at: ap.At, rise2: rise * rise, sigma: sigma, floorDBm: g.FloorDBm,
			steep: steep * r.Exponent.Est, steepBeyond: steep * g.Beyond, break2: break2,
			never: never, weights: tables[never],
			strong: g.FloorDBm + weightReach*sigma, deaf: g.FloorDBm - weightReach*sigma}
	}
	return out
}

// information is F, in 1/m².
type information struct{ xx, xy, yy float64 }

// tell adds what a radio says in cells from one on, as [position.Information] has
// it, given its level in each.
func (r *radioTerm) tell(levels []float32, at []orb.Point, to []information) {
	const least = site.MinDistanceM * site.MinDistanceM
	at, to = at[:len(levels)], to[:len(levels)]
	over := weightSteps / r.sigma
	for i, l := range levels {
		mu := float64(l)
		x, y := at[i][0]-r.at[0], at[i][1]-r.at[1]
		d2 := x*x + y*y + r.rise2
		if mu < r.deaf || d2 <= least {
			continue // says nothing, or stands where the level is flat
		}
		w := 1 - r.never
		if mu < r.strong {
			w = r.weights.at((r.strong - mu) * over)
		}
		steep := r.steep
		if d2 > r.break2 {
			steep = r.steepBeyond
		}
		g := steep / d2
		g *= g * w
		f := &to[i]
		f.xx += g * x * x
		f.xy += g * x * y
		f.yy += g * y * y
	}
}

// weightSteps is the number of stretches to one spread in a table of weights.
const weightSteps = 64

// weights is [position.HeardWeight] between [weightReach] spreads on either side of
// the floor of hearing, from where a radio is strong on: a cubic through the ends of
// a stretch and their neighbours, exact to 1e-7 of it where it is above 1e-4.
type weights [2 * weightReach * weightSteps][4]float64

func newWeights(never float64) *weights {
	var nodes [len(weights{}) + 3]float64
	for j := range nodes {
		nodes[j] = position.HeardWeight(weightReach-float64(j-1)/weightSteps, 0, 1, never)
	}
	t := new(weights)
	for j := range t {
		a, b, c, d := nodes[j], nodes[j+1], nodes[j+2], nodes[j+3]
		t[j] = [4]float64{b, c - a/3 - b/2 - d/6, (a+c)/2 - b, (d-a)/6 + (b-c)/2}
	}
	return t
}

// at is the weight so many stretches from where a radio is strong.
func (t *weights) at(x float64) float64 {
	j := min(int(x), len(t)-1)
	p := &t[j]
	x -= float64(j)
	return p[0] + x*(p[1]+x*(p[2]+x*p[3]))
}

// Accuracy of one floor of the map. It uses as many goroutines as there are
// processors.
func (m *Map) Accuracy(fm *FloorMap) *Accuracy {
	n := fm.Len()
	a := &Accuracy{BoundM: make([]float64, n), ErrorM: make([]float64, n)}
	radios := m.mapped()
	ready := m.radioTerms(fm.Floor, radios)
	box := m.Site.Floors[fm.Floor].BoundingBox()
	span := math.Hypot(box.Max[0]-box.Min[0], box.Max[1]-box.Min[1])
	prior := fm.prior()
	parallel.Do((n+chunk-1)/chunk, func(part int) {
		var known [strip]information
		for from := part * chunk; from < min(n, (part+1)*chunk); from += strip {
			to := min(from+strip, n)
			clear(known[:])
			for n, k := range radios {
				ready[n].tell(fm.levels[k][from:to], fm.At[from:to], known[:])
			}
			for i := from; i < to; i++ {
				f := &known[i-from]
				a.BoundM[i] = math.NaN()
				if c, ok := position.BoundOf(f.xx, f.xy, f.yy); ok {
					if rms := c.RMS(); rms <= span {
						a.BoundM[i] = rms
					}
				}
				a.ErrorM[i] = f.withPrior(prior).MeanM()
			}
		}
	})
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
func (f information) withPrior(p position.Covariance) position.Covariance {
	det := p.XX*p.YY - p.XY*p.XY
	xx, xy, yy := f.xx+p.YY/det, f.xy-p.XY/det, f.yy+p.XX/det
	det = xx*yy - xy*xy
	return position.Covariance{XX: yy / det, XY: -xy / det, YY: xx / det}
}
