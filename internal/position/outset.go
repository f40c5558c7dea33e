package position

import (
	"math"
	"slices"
)

// outset is a floor once stays at some candidates were made too.
type outset struct {
	*vista
	added    []int
	variance [][]float64   // per radio and node, over targets, then candidates: v
	rows     [][][]float64 // and per added stay: C(q, ·)/√(v(q) + ρ/h), each given those before it
	heard    []float64     // per radio: n
}

func (v *vista) given(added []int) *outset {
	o := &outset{vista: v}
	for _, r := range v.radios {
		for i := range r.parts {
			o.variance = append(o.variance, slices.Clone(r.parts[i].base.variance))
		}
		o.heard = append(o.heard, r.heard)
	}
	o.rows = make([][][]float64, len(o.variance))
	for _, n := range added {
		o.add(n)
	}
	return o
}

// add counts a stay at a candidate of the floor.
func (o *outset) add(n int) {
	o.added = append(o.added, n)
	row := make([]float64, len(o.targets)+len(o.candidates))
	o.each(n, len(row), row, func(k int, over float64) {
		kept := slices.Clone(row)
		for j := range kept {
			kept[j] *= math.Sqrt(over)
			o.variance[k][j] -= kept[j] * kept[j]
		}
		o.rows[k] = append(o.rows[k], kept)
	})
	for k, r := range o.radios {
		o.heard[k] += r.hear[n]
	}
}

// each gives, for every radio and node that a stay at a candidate would tell of,
// its row C(q, ·) up to some length and 1/(v(q) + ρ/h).
func (o *outset) each(n, length int, row []float64, f func(k int, over float64)) {
	k := -1
	at := len(o.targets) + n
	for _, r := range o.radios {
		for i := range r.parts {
			k++
			if r.hear[n] <= leastWeight {
				continue
			}
			p := &r.parts[i]
			copy(row[:length], p.base.cov[n])
			for _, w := range o.rows[k] {
				if c := w[at]; c != 0 {
					for j, x := range w[:length] {
						row[j] -= c * x
					}
				}
			}
			f(k, 1/(max(0, o.variance[k][at])+p.rho/r.hear[n]))
		}
	}
}

// error is the sum of E over the targets, with one more stay at candidate n of
// the floor; −1 for none.
func (o *outset) error(n int) float64 {
	t := len(o.targets)
	var less [][]float64
	if n >= 0 {
		less = make([][]float64, len(o.variance))
		row := make([]float64, t)
		o.each(n, t, row, func(k int, over float64) {
			less[k] = make([]float64, t)
			for j, c := range row {
				less[k][j] = c * c * over
			}
		})
	}
	sum := 0.0
	for j := range t {
		sum += o.errorAt(j, n, less)
	}
	return sum
}

// errorAt is E at a target, with v of every radio and node less by so much, nil
// for nothing.
func (o *outset) errorAt(j, n int, less [][]float64) float64 {
	det := o.prior.XX*o.prior.YY - o.prior.XY*o.prior.XY
	xx, xy, yy := o.prior.YY/det, -o.prior.XY/det, o.prior.XX/det
	k := 0
	for i, r := range o.radios {
		w := r.weight[j]
		if w <= leastWeight {
			k += len(r.parts)
			continue
		}
		all, heard := 0.0, o.heard[i]
		if n >= 0 {
			heard += r.hear[n]
		}
		for i := range r.parts {
			p, v := &r.parts[i], o.variance[k][j]
			if less != nil && less[k] != nil {
				v -= less[k][j]
			}
			all += p.s2 * (max(0, v) + p.rho + (1+p.rho)/heard)
			k++
		}
		w /= all
		x, y := r.slope[j][0], r.slope[j][1]
		xx, xy, yy = xx+w*x*x, xy+w*x*y, yy+w*y*y
	}
	return meanOf(xx, xy, yy)
}
