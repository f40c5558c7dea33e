package position

import (
	"math"
	"slices"
	"sync"

	"github.com/paulmach/orb"
)

// leastLog is how much less likely than the likeliest a cell may be and count.
const leastLog = 20.0

// weighed is a place with its share of the probability.
type weighed struct {
	at orb.Point
	w  float64
}

// weighedPool spares a fix the making of its list.
var weighedPool = sync.Pool{New: func() any { return new([]weighed) }}

// weigh turns log probabilities over the cells into a fix.
func (c *cells) weigh(logLik []float64) Fix {
	top := slices.Max(logLik)
	for i, l := range logLik {
		if l > top-leastLog {
			logLik[i] = math.Exp(l - top)
		} else {
			logLik[i] = 0
		}
	}
	fix := c.fix(logLik, 1)
	fix.LogLik = top
	return fix
}

// fix is the place that probabilities over the cells tell, the highest of which is
// top: on the floor with the most probability, the place from which the expected
// distance to where somebody stands is least. That is the median of the distribution in the plane,
// as its mean would be the place of least expected square. The covariance is the
// expected square around the fix.
func (c *cells) fix(w []float64, top float64) Fix {
	least := top * math.Exp(-leastLog)
	mass := make([]float64, len(c.site.Floors))
	count := make([]int, len(mass))
	for i, v := range w {
		if v > least {
			mass[c.floor[i]] += v
			count[c.floor[i]]++
		}
	}
	floor := 0
	for f, m := range mass {
		if m > mass[floor] {
			floor = f
		}
	}
	buffer := weighedPool.Get().(*[]weighed)
	defer weighedPool.Put(buffer)
	all := slices.Grow((*buffer)[:0], count[floor])
	over := 1 / mass[floor]
	first := c.first[floor]
	for i, v := range w[first:c.first[floor+1]] {
		if v > least {
			all = append(all, weighed{c.at[first+i], v * over})
		}
	}
	*buffer = all
	within := c.stepM * c.stepM / 12 // along an axis, of a place within its cell
	m := median(all, 2*within)
	v := Covariance{XX: within, YY: within}
	for _, p := range all {
		x, y := p.at[0]-m[0], p.at[1]-m[1]
		v.XX += p.w * x * x
		v.XY += p.w * x * y
		v.YY += p.w * y * y
	}
	return Fix{Located: true, Floor: floor, At: m, Covariance: v, Sure: true}
}

const (
	medianSteps  = 60
	medianStillM = 1e-5 // what a step leaves goes with its square
	heavyShare   = 0.01 // of the heaviest place, from which a place is heavy
)

// median is where Σ w s with s = √(d² + within) is least. within, in m², smooths
// the distance to a place for the size of its cell. It sets out from the median of
// the heavy places alone.
func median(of []weighed, within float64) orb.Point {
	top := 0.0
	for i := range of {
		top = max(top, of[i].w)
	}
	var heavy []weighed
	for i := range of {
		if of[i].w >= heavyShare*top {
			heavy = append(heavy, of[i])
		}
	}
	var m orb.Point
	sum := 0.0
	for i := range heavy {
		p := &heavy[i]
		m[0], m[1], sum = m[0]+p.w*p.at[0], m[1]+p.w*p.at[1], sum+p.w
	}
	m[0], m[1] = m[0]/sum, m[1]/sum
	if 2*len(heavy) < len(of) {
		m = medianFrom(m, heavy, within)
	}
	return medianFrom(m, of, within)
}

// medianFrom goes to the median by Newton's steps: with d the way to each place the gradient is
// −Σ w d/s, and the matrix of second derivatives Σ w (I/s − d dᵀ/s³), which is
// positive. Where a step does not descend, Weiszfeld's does (Tôhoku Math. J. 43,
// 1937): to the mean of the places, each weighted by w/s.
func medianFrom(m orb.Point, of []weighed, within float64) orb.Point {
	safe, least := m, math.Inf(1)
	for range medianSteps {
		var f, sum, x, y, xx, xy, yy float64
		for i := range of {
			p := &of[i]
			dx, dy := p.at[0]-m[0], p.at[1]-m[1]
			s2 := dx*dx + dy*dy + within
			over := 1 / math.Sqrt(s2)
			w, ux, uy := p.w*over, dx*over, dy*over
			f += w * s2
			sum += w
			wx, wy := w*ux, w*uy
			x, y = x+w*dx, y+w*dy
			xx, xy, yy = xx+wx*ux, xy+wx*uy, yy+wy*uy
		}
		if f > least*(1+1e-14) {
			m, least = safe, math.Inf(1)
			continue
		}
		least, safe = f, orb.Point{m[0] + x/sum, m[1] + y/sum}
		xx, yy = sum-xx, sum-yy
		det := xx*yy - xy*xy
		dx, dy := (yy*x+xy*y)/det, (xx*y+xy*x)/det
		m[0], m[1] = m[0]+dx, m[1]+dy
		if dx*dx+dy*dy < medianStillM*medianStillM {
			break
		}
	}
	return m
}
