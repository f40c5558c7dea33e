package propagation

import (
	"math"

	"footrule/internal/parallel"
)

// folded is the rows that heard with neighbours of equal regressors taken
// together, as those of one radio are from stays made one after the other at one
// place. Least squares sees no more of them than their number and their mean.
// All slices but first and within have one value a cell.
type folded struct {
	room   *room
	row    []int     // one of its rows
	x      []float64 // −10 log10 d
	weight []float64 // how many rows
	root   []float64 // its root
	level  []float64 // their mean level
	first  []int     // per block, its first cell, and the end
	within []float64 // per block, Σ (level of a row − that of its cell)²
}

// fold takes rows together.
func (r *rows) fold() *folded {
	c := &folded{room: r.room, first: make([]int, len(r.radios)+1), within: make([]float64, len(r.radios))}
	parallel.Do(len(r.radios), func(k int) {
		for h := r.first[k]; h < r.first[k+1]; h = r.alikeFrom(h, r.first[k+1]) {
			c.first[k+1]++
		}
	})
	for k := range r.radios {
		c.first[k+1] += c.first[k]
	}
	n := c.first[len(r.radios)]
	c.row, c.x = r.room.int(n), r.room.float(n)
	c.weight, c.root, c.level = r.room.float(n), r.room.float(n), r.room.float(n)
	parallel.Do(len(r.radios), func(k int) {
		at := c.first[k] - 1
		for from := r.first[k]; from < r.first[k+1]; {
			to := r.alikeFrom(from, r.first[k+1])
			at++
			heard, m := r.heard[from:to], 0.0
			for _, i := range heard {
				m += r.level[i].MeanDBm
			}
			m /= float64(len(heard))
			ss := 0.0
			for _, i := range heard {
				e := r.level[i].MeanDBm - m
				ss += e * e
			}
			c.row[at], c.x[at], c.weight[at], c.level[at] = heard[0], r.x[heard[0]], float64(len(heard)), m
			if c.root[at] = 1; len(heard) > 1 {
				c.root[at] = math.Sqrt(float64(len(heard)))
			}
			c.within[k] += ss
			from = to
		}
	})
	return c
}

// alikeFrom is the end of the places in heard from one on that are alike.
func (r *rows) alikeFrom(from, end int) int {
	to := from + 1
	for to < end && r.alike(r.heard[to], r.heard[to-1]) {
		to++
	}
	return to
}

// alike says whether two rows have the same regressors.
func (r *rows) alike(i, j int) bool {
	if r.x[i] != r.x[j] {
		return false
	}
	for _, c := range r.wall {
		if c[i] != c[j] {
			return false
		}
	}
	return true
}

// pick gives a column of rows cell by cell.
func (c *folded) pick(col []float64) []float64 {
	out := c.room.float(len(c.row))
	for a, i := range c.row {
		out[a] = col[i]
	}
	return out
}

// norm2 is the length of a column over the rows.
func (c *folded) norm2(col []float64) float64 {
	s := 0.0
	for a, v := range col {
		s += c.weight[a] * v * v
	}
	return math.Sqrt(s)
}

// partialled takes the mean of every block, and where ownSlope its regression
// on x, out of a column (Frisch and Waugh 1933), and weighs what is left by the
// root of the number of rows.
func (c *folded) partialled(col []float64, ownSlope []bool) []float64 {
	out := c.room.float(len(col))
	parallel.Do(len(c.within), func(k int) {
		mx, mc, slope := c.line(k, col, ownSlope[k])
		for a := c.first[k]; a < c.first[k+1]; a++ {
			out[a] = c.root[a] * (col[a] - mc - slope*(c.x[a]-mx))
		}
	})
	return out
}

// line gives the means of x and of a column over one block, and the slope of the
// regression through them, zero without ownSlope.
func (c *folded) line(k int, col []float64, ownSlope bool) (mx, mc, slope float64) {
	lo, hi := c.first[k], c.first[k+1]
	var n, sx, sc float64
	for a := lo; a < hi; a++ {
		w := c.weight[a]
		n += w
		sx += w * c.x[a]
		sc += w * col[a]
	}
	mx, mc = sx/n, sc/n
	if ownSlope {
		var xx, xc float64
		for a := lo; a < hi; a++ {
			x := c.x[a] - mx
			xx += c.weight[a] * x * x
			xc += c.weight[a] * x * (col[a] - mc)
		}
		slope = xc / xx
	}
	return mx, mc, slope
}
