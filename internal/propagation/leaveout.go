package propagation

import (
	"footrule/internal/parallel"

	"gonum.org/v1/gonum/mat"
)

// leaveOneOut is the sum of squares and the number of prediction errors of the
// heard levels at a place that the fit did not see. Leaving out place P moves
// the linear parameters by one Newton step with the rows of P taken out,
//
//	b − (H − H_P)⁻¹ U_P
//
// which for least squares is exact (the block form of residual/(1 − leverage))
// and for the other models first order in the weight of one place.
func (f *groupFit) leaveOneOut() (sumSq, n float64) {
	d := f.data
	var free []int
	index := make([]int, f.size())
	for j := range index {
		if index[j] = -1; j < f.psiAt() && !f.opt.active[j] {
			index[j] = len(free)
			free = append(free, j)
		}
	}
	q := len(free)
	h := mat.NewSymDense(q, nil)
	for a, i := range free {
		for b := a; b < q; b++ {
			h.SetSym(a, b, f.opt.info.At(i, free[b]))
		}
	}
	byPlace := make([][]int, len(d.Places))
	for i, st := range f.stay {
		byPlace[d.PlaceOf[st]] = append(byPlace[d.PlaceOf[st]], i)
	}
	psi := f.theta[f.psiAt():]
	type result struct{ ss, n float64 }
	results := make([]result, len(byPlace))
	parallel.Do(len(byPlace), func(p int) {
		rows := byPlace[p]
		hp := mat.NewSymDense(q, nil)
		hp.CopySym(h)
		u := mat.NewVecDense(q, nil)
		x := make([]float64, len(f.locals(0)))
		var o deriv
		for _, i := range rows {
			at := f.locals(f.blockOf(i))
			f.lik.row(i, f.regressors(i, at, f.theta, x), psi, &o)
			for a, j := range at {
				if index[j] < 0 {
					continue
				}
				u.SetVec(index[j], u.AtVec(index[j])+o.m*x[a])
				for b := 0; b <= a; b++ {
					if k := index[at[b]]; k >= 0 {
						hp.SetSym(index[j], k, hp.At(index[j], k)+o.mm*x[a]*x[b])
					}
				}
			}
		}
		var ch mat.Cholesky
		if !ch.Factorize(hp) || ch.Cond() > 1e12 {
			return // a radio heard at this place alone: nothing predicts it
		}
		step := mat.NewVecDense(q, nil)
		if err := ch.SolveVecTo(step, u); err != nil {
			if _, ok := err.(mat.Condition); !ok {
				return
			}
		}
		for _, i := range rows {
			if f.level[i].Heard == 0 {
				continue
			}
			at := f.locals(f.blockOf(i))
			e := f.level[i].MeanDBm - f.regressors(i, at, f.theta, x)
			for a, j := range at {
				if index[j] >= 0 {
					e += x[a] * step.AtVec(index[j])
				}
			}
			results[p].ss += e * e
			results[p].n++
		}
	})
	for _, r := range results {
		sumSq += r.ss
		n += r.n
	}
	return sumSq, n
}
