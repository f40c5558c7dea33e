package validation

import (
	"math"

	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

// cellM is the side of the cells of an exhaustive search.
const cellM = .25

// exhaustive is a search over all of a floor that shares nothing with package
// position: levels of one mean each from the propagation law, normal errors of
// one spread. It is right where every radio is heard and nothing stands between.
type exhaustive struct {
	d      *drawn
	at     []orb.Point
	levels [][]float64 // per radio and cell
	log    []float64
}

// search gives nil where the scene is not so simple.
func (d *drawn) search() *exhaustive {
	c := d.scene
	if c.silence != heard || c.walls || c.office {
		return nil
	}
	e := &exhaustive{d: d, levels: make([][]float64, len(d.truth.Radios))}
	for x := cellM / 2; x < c.width; x += cellM {
		for y := cellM / 2; y < c.depth; y += cellM {
			e.at = append(e.at, orb.Point{x, y})
		}
	}
	for k := range e.levels {
		e.levels[k] = make([]float64, len(e.at))
		for i, p := range e.at {
			e.levels[k][i] = e.level(k, p)
		}
	}
	e.log = make([]float64, len(e.at))
	return e
}

func (e *exhaustive) level(k int, p orb.Point) float64 {
	ref := e.d.site.Radios()[k]
	ap := &e.d.site.AccessPoints[ref.AP]
	x, y, z := p[0]-ap.At[0], p[1]-ap.At[1], ap.HeightM-e.d.site.ReceiverHeightM
	r := &e.d.truth.Radios[k]
	return r.Level1mDBm - 5*r.Exponent*math.Log10(x*x+y*y+z*z)
}

// locate gives the mean of the place over the floor, each cell weighted by its
// likelihood, and whether some cell is likelier than a fix. Over places that are
// equally likely no estimate has a smaller mean square error than that mean.
func (e *exhaustive) locate(st *walk.Stay, fix orb.Point) (mean orb.Point, beaten bool) {
	clear(e.log)
	ours, sigma := 0.0, e.d.sigma()
	for k, levels := range e.levels {
		y := st.Levels[k].MeanDBm
		for i, l := range levels {
			z := (y - l) / sigma
			e.log[i] -= z * z / 2
		}
		z := (y - e.level(k, fix)) / sigma
		ours -= z * z / 2
	}
	best := math.Inf(-1)
	for _, l := range e.log {
		best = max(best, l)
	}
	sum := 0.0
	for i, l := range e.log {
		w := math.Exp(l - best)
		sum += w
		mean[0] += w * e.at[i][0]
		mean[1] += w * e.at[i][1]
	}
	mean[0] /= sum
	mean[1] /= sum
	return mean, best > ours+sameLikelihood
}

// sameLikelihood is a difference of log likelihoods that is none: levels are sums
// of some tens of terms.
const sameLikelihood = 1e-6
