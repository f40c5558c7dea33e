package position

import (
	"math"

	"github.com/paulmach/orb"
)

// leastLog is how much less likely than the likeliest a cell may be and count.
const leastLog = 20.0

// weighed is a place with its share of the probability.
type weighed struct {
	at orb.Point
	w  float64
}

// weigh turns log probabilities over the cells into a fix: on the floor with the most probability, the place from which the expected distance to where
// somebody stands is least. That is the median of the distribution in the plane,
// as its mean would be the place of least expected square. The covariance is the
// expected square around the fix.
func (c *cells) weigh(logLik []float64) Fix {
	top := math.Inf(-1)
	for _, l := range logLik {
		top = max(top, l)
	}
	mass := make([]float64, len(c.site.Floors))
	for i, l := range logLik {
		if l > top-leastLog {
			logLik[i] = math.Exp(l - top)
			mass[c.floor[i]] += logLik[i]
		} else {
			logLik[i] = 0
		}
	}
	floor := 0
	for f, m := range mass {
		if m > mass[floor] {
			floor = f
		}
	}
	var all []weighed
	for i, w := range logLik {
		if w > 0 && c.floor[i] == floor {
			all = append(all, weighed{c.at[i], w / mass[floor]})
		}
	}
	within := c.stepM * c.stepM / 12 // along an axis, of a place within its cell
	m := median(all, 2*within)
	v := Covariance{XX: within, YY: within}
	for _, p := range all {
		x, y := p.at[0]-m[0], p.at[1]-m[1]
		v.XX += p.w * x * x
		v.XY += p.w * x * y
		v.YY += p.w * y * y
	}
	return Fix{Located: true, Floor: floor, At: m, LogLik: top, Covariance: v, Sure: true}
}

const (
	medianSteps  = 60
	medianStillM = 1e-3
)

// median is where Σ w √(d² + within) is least, from the mean by Weiszfeld's steps
// (Tôhoku Math. J. 43, 1937): the mean of the places, each weighted by w over its
// distance. within, in m², smooths the distance to a place for the size of its
// cell.
func median(of []weighed, within float64) orb.Point {
	var m orb.Point
	for _, p := range of {
		m[0] += p.w * p.at[0]
		m[1] += p.w * p.at[1]
	}
	for range medianSteps {
		var x, y, sum float64
		for _, p := range of {
			dx, dy := p.at[0]-m[0], p.at[1]-m[1]
			w := p.w / math.Sqrt(dx*dx+dy*dy+within)
			x, y, sum = x+w*p.at[0], y+w*p.at[1], sum+w
		}
		next := orb.Point{x / sum, y / sum}
		moved := math.Hypot(next[0]-m[0], next[1]-m[1])
		m = next
		if moved < medianStillM {
			break
		}
	}
	return m
}
