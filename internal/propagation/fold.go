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
	row    []int     // one of its rows
	x      []float64 // −10 log10 d
	weight []float64 // how many rows
	level  []float64 // their mean level
	first  []int     // per block, its first cell, and the end
	within []float64 // per block, Σ (level of a row − that of its cell)²
}

// fold takes rows together.
func (r *rows) fold() *folded {
	starts := make([][]int, len(r.radios)) // per block, places in heard where a cell starts
	parallel.Do(len(r.radios), func(k int) {
		for h := r.first[k]; h < r.first[k+1]; h++ {
			if h == r.first[k] || !r.alike(r.heard[h], r.heard[h-1]) {
				starts[k] = append(starts[k], h)
			}
		}
	})
	c := &folded{first: make([]int, len(r.radios)+1), within: make([]float64, len(r.radios))}
	for k := range starts {
		c.first[k+1] = c.first[k] + len(starts[k])
	}
	n := c.first[len(r.radios)]
	c.row, c.x = make([]int, n), make([]float64, n)
	c.weight, c.level = make([]float64, n), make([]float64, n)
	parallel.Do(len(r.radios), func(k int) {
		for a, from := range starts[k] {
			to := r.first[k+1]
			if a+1 < len(starts[k]) {
				to = starts[k][a+1]
			}
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
			at := c.first[k] + a
			c.row[at], c.x[at], c.weight[at], c.level[at] = heard[0], r.x[heard[0]], float64(len(heard)), m
			c.within[k] += ss
		}
	})
	return c
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
	out := make([]float64, len(c.row))
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
	out := make([]float64, len(col))
	parallel.Do(len(c.within), func(k int) {
		mx, mc, slope := c.line(k, col, ownSlope[k])
		for a := c.first[k]; a < c.first[k+1]; a++ {
			out[a] = math.Sqrt(c.weight[a]) * (col[a] - mc - slope*(c.x[a]-mx))
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
