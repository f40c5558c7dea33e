package doubt

import (
	"math"
	"slices"

	"footrule/internal/median"

	"gonum.org/v1/gonum/mat"
)

// start fits slope and losses of a band by Huber's M-estimator on levels about
// the mean of each radio, and the radios' levels by medians.
func (f *fit) start(b int) {
	bf := &f.bands[b]
	p := 1 + len(bf.loss)
	var rows [][]float64 // regressors, then y
	var of []int
	for k := range f.radios {
		rf := &f.radios[k]
		if rf.band != b || len(rf.rows) < 2 {
			continue
		}
		for _, i := range rf.rows {
			row := append(make([]float64, 0, p+1), f.x(rf, i))
			for m := range bf.loss {
				row = append(row, -f.plan.c[m][i*f.plan.spots+rf.ap])
			}
			y := f.y(k, i)
			if rf.pattern != nil {
				y -= rf.pattern[i]
			}
			rows, of = append(rows, append(row, y)), append(of, k)
		}
	}
	if len(rows) == 0 {
		return
	}
	weight := make([]float64, len(rows))
	for i := range weight {
		weight[i] = 1
	}
	beta := bf.prior()
	res := make([]float64, len(rows))
	level := make([]float64, len(f.radios))
	for range 10 {
		mean := make([][]float64, len(f.radios))
		sum := make([]float64, len(f.radios))
		for i, row := range rows {
			k := of[i]
			if mean[k] == nil {
				mean[k] = make([]float64, p+1)
			}
			sum[k] += weight[i]
			for j, v := range row {
				mean[k][j] += weight[i] * v
			}
		}
		eq := bf.equations(36)
		for i, row := range rows {
			m, w := mean[of[i]], sum[of[i]]
			for a := range p {
				da := row[a] - m[a]/w
				for c := range p {
					eq.a[a*p+c] += weight[i] * da * (row[c] - m[c]/w)
				}
				eq.b[a] += weight[i] * da * (row[p] - m[p]/w)
			}
		}
		beta = eq.solve(beta)
		var abs []float64
		for k := range level {
			if sum[k] > 0 {
				level[k] = mean[k][p] / sum[k]
				for j, v := range beta {
					level[k] -= v * mean[k][j] / sum[k]
				}
			}
		}
		for i, row := range rows {
			res[i] = row[p] - level[of[i]]
			for j, v := range beta {
				res[i] -= v * row[j]
			}
			abs = append(abs, math.Abs(res[i]))
		}
		s := max(1.4826*median.Of(abs), 1)
		bf.s2 = s * s
		for i := range weight {
			weight[i] = min(1, 1.345*s/math.Abs(res[i])) // 95 % efficiency at the normal (Huber 1964)
		}
	}
	bf.take(beta)
	var levels []float64
	for k := range level {
		if slices.Contains(of, k) {
			levels = append(levels, level[k])
		}
	}
	bf.level = median.Of(levels)
	for i := range levels {
		levels[i] = math.Abs(levels[i] - bf.level)
	}
	bf.tauA = min(max(1.4826*median.Of(levels), 3), 12)
}

func (b *bandFit) prior() []float64 {
	out := []float64{typicalN}
	for range b.loss {
		out = append(out, typicalL)
	}
	return out
}

// take enters slope and losses.
func (b *bandFit) take(beta []float64) {
	b.exponent = min(max(beta[0], .5), 8)
	for m := range b.loss {
		b.loss[m] = max(beta[1+m], 0)
	}
}

// equations are normal equations with the prior of slope and losses in them, in
// units of s2.
type equations struct {
	p    int
	a, b []float64
}

func (b *bandFit) equations(s2 float64) *equations {
	p := 1 + len(b.loss)
	eq := &equations{p: p, a: make([]float64, p*p), b: make([]float64, p)}
	for j, v := range b.prior() {
		sd := typicalLSD
		if j == 0 {
			sd = typicalNSD
		}
		eq.a[j*p+j] = s2 / (sd * sd)
		eq.b[j] = v * s2 / (sd * sd)
	}
	return eq
}

// solve gives otherwise where the equations cannot be solved.
func (e *equations) solve(otherwise []float64) []float64 {
	var out mat.VecDense
	var ch mat.Cholesky
	if !ch.Factorize(mat.NewSymDense(e.p, e.a)) || ch.SolveVecTo(&out, mat.NewVecDense(e.p, e.b)) != nil {
		return otherwise
	}
	return out.RawVector().Data
}
