package doubt

import (
	"math"
	"slices"

	"footrule/internal/median"
	"footrule/internal/parallel"

	"gonum.org/v1/gonum/blas/blas64"
)

// clear lists those of some rows in which a radio is predicted a spread above the
// floor of hearing, so that being heard there selects nothing.
func (f *fit) clear(k int, o own, rows []int) []int {
	rf, r := &f.radios[k], f.v.rows
	s := math.Sqrt(f.bands[rf.band].s2)
	var out []int
	for _, i := range rows {
		if f.mean(rf, i)+o.b0+o.b1*f.x(rf, i) > r.floorDBm[k*r.n+i]+s {
			out = append(out, i)
		}
	}
	return out
}

// shared refits Ā, n̄ and L of every band by generalised least squares over the
// clear rows, a radio far off the others counting less, and s² by its moment.
func (f *fit) shared(rounds int, step float64) {
	n := f.v.rows.n
	corr := f.correlation(f.ell, f.rho)
	type held struct {
		rows   []int
		chol   blas64.Triangular
		logDet float64
	}
	have := make([]held, len(f.radios))
	for range rounds {
		sums := make([]radioSum, len(f.radios))
		parallel.Do(len(f.radios), func(k int) {
			rf := &f.radios[k]
			if len(rf.rows) < 3 {
				return
			}
			h := &have[k]
			if h.chol.N == 0 {
				h.rows = rf.rows
				h.chol, h.logDet = factor(corr, n, h.rows)
			}
			_, o := f.evidence(&f.bands[rf.band], f.tauN, len(h.rows), h.logDet, f.products(k, h.rows, h.chol))
			if c := f.clear(k, o, rf.rows); len(c) >= 3 && !slices.Equal(c, h.rows) {
				h.rows = c
				h.chol, h.logDet = factor(corr, n, c)
			}
			sums[k] = f.sum(k, h.rows, h.chol)
		})
		for b := range f.bands {
			f.pool(b, sums, step)
		}
	}
}

// radioSum is what one radio adds to the normal equations of its band, in the
// columns 1, x, −c and e.
type radioSum struct {
	n int
	z []float64 // ZᵀS⁻¹Z
	q float64   // eᵀS⁻¹e
}

func (f *fit) sum(k int, rows []int, t blas64.Triangular) radioSum {
	rf := &f.radios[k]
	b := &f.bands[rf.band]
	p := 3 + len(b.loss)
	z := make([]float64, p*len(rows))
	for a, i := range rows {
		row := z[a*p : (a+1)*p]
		row[0], row[1] = 1, f.x(rf, i)
		for m := range b.loss {
			row[2+m] = -f.plan.c[m][i*f.plan.spots+rf.ap]
		}
		row[p-1] = f.y(k, i) - f.mean(rf, i)
	}
	whiten(t, z, p)
	out := radioSum{n: len(rows), z: make([]float64, p*p)}
	for a := range rows {
		row := z[a*p : (a+1)*p]
		for i, u := range row {
			for j, v := range row {
				out.z[i*p+j] += u * v
			}
		}
	}
	va, vn := b.tauA*b.tauA/b.s2, f.tauN*f.tauN/b.s2
	m00, m01, m11 := 1/va+out.z[0], out.z[1], 1/vn+out.z[p+1]
	det := m00*m11 - m01*m01
	g := slices.Clone(out.z)
	for i := range p {
		for j := range p {
			u0, u1, v0, v1 := g[i], g[p+i], g[j], g[p+j]
			out.z[i*p+j] -= (u0*(m11*v0-m01*v1) + u1*(m00*v1-m01*v0)) / det
		}
	}
	out.q = out.z[p*p-1]
	return out
}

// pool solves for the shared terms of a band.
func (f *fit) pool(b int, sums []radioSum, step float64) {
	bf := &f.bands[b]
	var ratios []float64
	for k := range sums {
		if f.radios[k].band == b && sums[k].n >= leastRows {
			ratios = append(ratios, sums[k].q/float64(sums[k].n))
		}
	}
	if len(ratios) == 0 {
		return
	}
	mid := median.Of(ratios)
	p := 2 + len(bf.loss)
	prior := bf.equations(bf.s2)
	eq := &equations{p: p, a: make([]float64, p*p), b: make([]float64, p)}
	eq.a[0] = 1e-6
	now := append([]float64{bf.exponent}, bf.loss...)
	for i := range prior.p {
		eq.a[(i+1)*p+i+1] = prior.a[i*prior.p+i]
		eq.b[i+1] = prior.b[i] - prior.a[i*prior.p+i]*now[i]
	}
	moment, rows := 0.0, 0.0
	for k := range sums {
		s := &sums[k]
		if f.radios[k].band != b || s.n == 0 {
			continue
		}
		w := (nu0 + float64(s.n)) / (nu0 + s.q/mid)
		for i := range p {
			for j := range p {
				eq.a[i*p+j] += w * s.z[i*(p+1)+j]
			}
			eq.b[i] += w * s.z[i*(p+1)+p]
		}
		if s.n >= leastRows {
			moment += min(s.q, 2*mid*float64(s.n))
			rows += float64(s.n)
		}
	}
	d := eq.solve(make([]float64, p))
	bf.level += step * d[0]
	beta := make([]float64, p-1)
	for i := range beta {
		beta[i] = now[i] + step*d[i+1]
	}
	bf.take(beta)
	bf.s2 = math.Exp((1-step)*math.Log(bf.s2) + step*math.Log(max(moment/rows, 1)))
}

// hyper chooses ℓ, ρ and τ_n by the evidence of the radios that most rows heard,
// over their clear rows.
func (f *fit) hyper(lengths, nuggets, slopes []float64) {
	var order []int
	for k := range f.radios {
		if len(f.radios[k].rows) >= leastRows {
			order = append(order, k)
		}
	}
	if len(order) == 0 {
		return
	}
	slices.SortStableFunc(order, func(a, b int) int { return len(f.radios[b].rows) - len(f.radios[a].rows) })
	order = order[:min(len(order), mostRadios)]
	now := f.correlation(f.ell, f.rho)
	used := make([][]int, len(order))
	parallel.Do(len(order), func(j int) {
		k := order[j]
		rf := &f.radios[k]
		t, logDet := factor(now, f.v.rows.n, rf.rows)
		_, o := f.evidence(&f.bands[rf.band], f.tauN, len(rf.rows), logDet, f.products(k, rf.rows, t))
		if used[j] = f.clear(k, o, rf.rows); len(used[j]) < leastRows {
			used[j] = rf.rows
		}
	})
	score := make([]float64, len(lengths)*len(nuggets)*len(slopes))
	parallel.Do(len(lengths)*len(nuggets), func(c int) {
		corr := f.correlation(lengths[c/len(nuggets)], nuggets[c%len(nuggets)])
		for j, k := range order {
			t, logDet := factor(corr, f.v.rows.n, used[j])
			g := f.products(k, used[j], t)
			for s, tau := range slopes {
				ll, _ := f.evidence(&f.bands[f.radios[k].band], tau, len(used[j]), logDet, g)
				score[c*len(slopes)+s] += ll
			}
		}
	})
	best := 0
	for i, v := range score {
		if v > score[best] {
			best = i
		}
	}
	c := best / len(slopes)
	f.ell, f.rho, f.tauN = lengths[c/len(nuggets)], nuggets[c%len(nuggets)], slopes[best%len(slopes)]
}
