package position

import (
	"math"

	"github.com/paulmach/orb"
)

// weigh turns log likelihoods over cells, which become probabilities, into
// a fix: the floor with the most of them, and the mean and covariance over the
// cells there. The cells are those of c by their numbers in of.
func (c *cells) weigh(of []int, logLik []float64) Fix {
	top := math.Inf(-1)
	for _, l := range logLik {
		top = max(top, l)
	}
	mass := make([]float64, len(c.site.Floors))
	for i, l := range logLik {
		w := 0.0
		if l > top-leastLog {
			w = math.Exp(l - top)
		}
		logLik[i] = w
		mass[c.floor[of[i]]] += w
	}
	floor := 0
	for f, m := range mass {
		if m > mass[floor] {
			floor = f
		}
	}
	var m orb.Point
	for i, w := range logLik {
		if j := of[i]; w > 0 && c.floor[j] == floor {
			w /= mass[floor]
			m[0] += w * c.at[j][0]
			m[1] += w * c.at[j][1]
		}
	}
	within := c.stepM * c.stepM / 12 // of a place within its cell
	v := Covariance{XX: within, YY: within}
	for i, w := range logLik {
		if j := of[i]; w > 0 && c.floor[j] == floor {
			w /= mass[floor]
			x, y := c.at[j][0]-m[0], c.at[j][1]-m[1]
			v.XX += w * x * x
			v.XY += w * x * y
			v.YY += w * y * y
		}
	}
	return Fix{Located: true, Floor: floor, At: m, LogLik: top, Covariance: v, Sure: true}
}

// leastLog is how much less likely than the likeliest a cell may be and count.
const leastLog = 40.0
