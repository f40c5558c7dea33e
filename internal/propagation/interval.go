package propagation

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// judge gives a fit its log likelihood, AICc, standard errors, intervals and
// leave-one-place-out error.
//
// Standard errors are a sandwich H⁻¹ M H⁻¹: H is the observed information, and
// M = Σ_i a_i² x_i x_iᵀ + Σ_i≠j b_i b_j C_ij x_i x_jᵀ the variance of the score,
// a_i² being a row's own information, C its [correlation] with the others and
// b = a² σ what is left of it: by Stein's lemma Cov(u_i, u_j) = C_ij E[u_i z_i]
// E[u_j z_j] to first order, and E[u z] = σ a² as the score of a row is
// E[z | what was observed]/σ. Where all is heard b = a. To that comes what radios
// differ in their exponents (DerSimonian and Laird, Control. Clin. Trials 7,
// 1986), with as many degrees of freedom as there are radios less one.
func (f *Fit) judge(d *Data, fits []*groupFit) {
	var l, params, n, se2, se2n float64
	for _, b := range fits {
		b.finish()
		l += b.opt.l
		n += b.observations()
		for _, held := range b.opt.active {
			if !held {
				params++
			}
		}
		f.enter(b, b.covariance())
		s, c := b.leaveOneOut()
		se2 += s
		se2n += c
	}
	f.LogLikelihood = l
	if n > params+1 {
		f.AICc = -2*l + 2*params + 2*params*(params+1)/(n-params-1)
	}
	if se2n > 0 {
		f.LOORMSEDB = math.Sqrt(se2 / se2n)
	}
}

// finish evaluates the likelihood at the estimate in natural parameters.
func (f *groupFit) finish() {
	o := &optimum{theta: f.theta, active: make([]bool, len(f.theta))}
	o.l, o.grad, o.info = f.evaluate(f.chunks(), f.lik, f.theta)
	for j := range f.theta {
		o.active[j] = f.fixed[j] || f.theta[j] <= f.lower[j]+1e-12
	}
	f.opt = o
}

// observations counts what the likelihood is of: pairs that heard (ols), all
// pairs (censored, two-level).
func (f *groupFit) observations() float64 {
	if f.model == OLS {
		return float64(f.counts.heard)
	}
	return float64(f.counts.heard + f.counts.silent)
}

func (f *groupFit) free() []int {
	var out []int
	for j, held := range f.opt.active {
		if !held {
			out = append(out, j)
		}
	}
	return out
}

// covariance is that of all parameters, zero for those held.
type covariance struct {
	*mat.SymDense
	slopes *mat.SymDense // the part that comes from radios' differing exponents
	df     float64       // degrees of freedom of the rest
	radios float64
}

// quantile is Student's t at 97.5 % for the combination c of parameters, its
// degrees of freedom by Satterthwaite's rule.
func (v *covariance) quantile(variance, slopes float64) float64 {
	df := v.df
	if slopes > 0 && variance > 0 {
		rest := variance - slopes
		df = variance * variance / (rest*rest/v.df + slopes*slopes/max(v.radios-1, 1))
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(0.975)
}

// covariance is nil where the information is not positive definite.
func (f *groupFit) covariance() *covariance {
	p := f.size()
	free := f.free()
	h := mat.NewSymDense(len(free), nil)
	for a, i := range free {
		for b := a; b < len(free); b++ {
			h.SetSym(a, b, f.opt.info.At(i, free[b]))
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(h) {
		return nil
	}
	var hinv mat.SymDense
	if err := chol.InverseTo(&hinv); err != nil {
		if _, ok := err.(mat.Condition); !ok {
			return nil
		}
	}
	t, a := f.scores()
	c := f.correlogram(t, a)
	meat, blocks, inflation, effective := f.meat(a, &c)
	between := f.between(t, a, blocks)
	out := &covariance{SymDense: sandwich(&hinv, meat, free), slopes: sandwich(&hinv, between, free), radios: float64(f.blocks)}
	out.AddSym(out.SymDense, out.slopes)
	// The spreads: their information counts squares of residuals, which hang
	// together as the squares of the correlations.
	for s := f.psiAt(); s < p; s++ {
		for u := s; u < p; u++ {
			out.SetSym(s, u, 0)
		}
	}
	for r, i := range free {
		for s, j := range free {
			if i >= f.psiAt() && j >= i {
				out.SetSym(i, j, hinv.At(r, s)*inflation)
			}
		}
	}
	// Variances were divided by the number of rows; parameters used some up.
	k := float64(len(free) - f.psi)
	if n := float64(len(f.heard)); n > k {
		out.ScaleSym(n/(n-k), out.SymDense)
		out.slopes.ScaleSym(n/(n-k), out.slopes)
	}
	out.df = max(effective-k, 2)
	return out
}

// sandwich is H⁻¹ M H⁻¹ over the free parameters, in a matrix over all.
func sandwich(hinv, meat *mat.SymDense, free []int) *mat.SymDense {
	m := mat.NewDense(len(free), len(free), nil)
	for r, i := range free {
		for s, j := range free {
			m.Set(r, s, meat.At(i, j))
		}
	}
	var hm, v mat.Dense
	hm.Mul(hinv, m)
	v.Mul(&hm, hinv)
	out := mat.NewSymDense(meat.SymmetricDim(), nil)
	for r, i := range free {
		for s := r; s < len(free); s++ {
			out.SetSym(i, free[s], (v.At(r, s)+v.At(s, r))/2)
		}
	}
	return out
}

// scores gives every row's standardised score m/a by η, and a, the root of its
// information; both 0 where a row has none.
func (f *groupFit) scores() (t, a []float64) {
	n := f.rows.n()
	t, a = make([]float64, n), make([]float64, n)
	psi := f.theta[f.psiAt():]
	chunks := f.chunks()
	parallel(len(chunks), func(c int) {
		at := f.locals(chunks[c].block)
		x := make([]float64, len(at))
		var o deriv
		for i := chunks[c].lo; i < chunks[c].hi; i++ {
			f.lik.row(i, f.regressors(i, at, f.theta, x), psi, &o)
			if o.mm < -1e-8 {
				a[i] = math.Sqrt(-o.mm)
				t[i] = o.m / a[i]
			}
		}
	})
	return t, a
}

// meat is M over all parameters and for every block alone over its local ones,
// by how much correlation lengthens the variance of the spreads, Σ C_ij²/N, and
// the number of independent rows that stays.
func (f *groupFit) meat(a []float64, c *correlation) (m *mat.SymDense, blocks [][]float64, inflation, effective float64) {
	p := f.size()
	m = mat.NewSymDense(p, nil)
	d := f.data
	type sums struct {
		m     []float64 // of the block's rows, over its local parameters
		c2, n float64
	}
	parts := make([]sums, f.blocks)
	parallel(f.blocks, func(k int) {
		at := f.locals(k)
		q := len(at)
		lo, n := f.design.start[k], f.design.start[k+1]-f.design.start[k]
		x := make([]float64, n*q)
		left := make([]float64, n)
		for i := range n {
			f.regressors(lo+i, at, f.theta, x[i*q:(i+1)*q])
			for j := range q {
				x[i*q+j] *= a[lo+i]
			}
			left[i] = min(1, a[lo+i]*f.sigma) // b/a
		}
		s := sums{m: make([]float64, q*q)}
		cx := make([]float64, q) // x_i/2 and what is correlated with it before i
		for i := range n {
			if a[lo+i] == 0 {
				continue
			}
			for r := range q {
				cx[r] = x[i*q+r] / 2
			}
			heard := f.level[lo+i].Heard > 0
			if heard {
				s.n++
				s.c2++
			}
			pi := d.PlaceOf[f.stay[lo+i]]
			for j := range i {
				if a[lo+j] == 0 {
					continue
				}
				rho := c.repeat
				if d.PlaceOf[f.stay[lo+j]] != pi {
					rho = c.at(f.apart(lo+i, lo+j))
				}
				if rho == 0 {
					continue
				}
				if heard && f.level[lo+j].Heard > 0 {
					s.c2 += 2 * rho * rho
				}
				rho *= left[i] * left[j]
				xj := x[j*q : j*q+q]
				for r, v := range xj {
					cx[r] += rho * v
				}
			}
			for r := range q {
				for u := range q {
					s.m[r*q+u] += x[i*q+r]*cx[u] + cx[r]*x[i*q+u]
				}
			}
		}
		parts[k] = s
	})
	var n, c2 float64
	for k := range parts {
		at := f.locals(k)
		q := len(at)
		for r := range q {
			for u := r; u < q; u++ {
				m.SetSym(at[r], at[u], m.At(at[r], at[u])+parts[k].m[r*q+u])
			}
		}
		n += parts[k].n
		c2 += parts[k].c2
		blocks = append(blocks, parts[k].m)
	}
	if c.across > 0 {
		f.acrossRadios(m, a, c.across)
	}
	inflation = c2 / max(n, 1)
	return m, blocks, inflation, n / inflation
}

// between is what the score varies by because radios differ in exponent with
// variance τ²: Σ_k τ² u_k u_kᵀ, u_k = Σ_i a_i² x̃_i x_i over the rows of radio k,
// x̃ its −10 log10 d about the weighted mean. τ² is the excess of the spread of
// the radios' own slopes over what their rows explain. Zero under PerAP.
func (f *groupFit) between(t, a []float64, meats [][]float64) *mat.SymDense {
	m := mat.NewSymDense(f.size(), nil)
	if f.perAP || f.blocks < 3 {
		return m
	}
	type slope struct{ delta, variance float64 }
	slopes := make([]slope, f.blocks)
	us := make([][]float64, f.blocks)
	parallel(f.blocks, func(k int) {
		lo, hi := f.design.start[k], f.design.start[k+1]
		at := f.locals(k)
		x := make([]float64, len(at))
		u := make([]float64, len(at))
		var w, wx float64
		for i := lo; i < hi; i++ {
			w += a[i] * a[i]
			wx += a[i] * a[i] * f.x[i]
		}
		if w == 0 {
			return
		}
		mean := wx / w
		var s, info float64
		for i := lo; i < hi; i++ {
			xi := f.x[i] - mean
			s += a[i] * t[i] * xi
			info += a[i] * a[i] * xi * xi
			f.regressors(i, at, f.theta, x)
			for r := range u {
				u[r] += a[i] * a[i] * xi * x[r]
			}
		}
		us[k] = u
		if info == 0 {
			return
		}
		// x̃ = g·x with g = (−mean, 1, 0, …), so its variance is gᵀ M_k g.
		q, mk := len(at), meats[k]
		v := mean*mean*mk[0] - 2*mean*mk[1] + mk[q+1]
		slopes[k] = slope{s / info, v / (info * info)}
	})
	var w1, w2, wd float64
	for _, s := range slopes {
		if s.variance > 0 {
			w1 += 1 / s.variance
			w2 += 1 / (s.variance * s.variance)
			wd += s.delta / s.variance
		}
	}
	n, q := 0.0, 0.0
	for _, s := range slopes {
		if s.variance > 0 {
			q += (s.delta - wd/w1) * (s.delta - wd/w1) / s.variance
			n++
		}
	}
	if n < 3 || q <= n-1 {
		return m
	}
	tau2 := (q - (n - 1)) / (w1 - w2/w1)
	for k, u := range us {
		at := f.locals(k)
		for r := range u {
			for s := r; s < len(u); s++ {
				m.SetSym(at[r], at[s], m.At(at[r], at[s])+tau2*u[r]*u[s])
			}
		}
	}
	return m
}

// acrossRadios adds to M what radios of one stay share.
func (f *groupFit) acrossRadios(m *mat.SymDense, a []float64, rho float64) {
	byStay := make([][]int, f.data.Stays())
	for i, st := range f.stay {
		if a[i] > 0 {
			byStay[st] = append(byStay[st], i)
		}
	}
	q := len(f.locals(0))
	xi, xj := make([]float64, q), make([]float64, q)
	for _, rows := range byStay {
		for u, i := range rows {
			ati := f.locals(f.blockOf(i))
			f.regressors(i, ati, f.theta, xi)
			for _, j := range rows[:u] {
				atj := f.locals(f.blockOf(j))
				f.regressors(j, atj, f.theta, xj)
				w := rho * a[i] * a[j] * min(1, a[i]*f.sigma) * min(1, a[j]*f.sigma)
				for r := range q {
					for s := range q {
						v := w * xi[r] * xj[s]
						if ati[r] == atj[s] {
							v *= 2
						}
						if v != 0 {
							m.SetSym(ati[r], atj[s], m.At(ati[r], atj[s])+v)
						}
					}
				}
			}
		}
	}
}

// enter writes standard errors and 95 % intervals into the fit.
func (f *Fit) enter(b *groupFit, v *covariance) {
	if v == nil {
		b.warn(-1, "the likelihood at %s GHz is flat around its maximum, so there are no intervals; walk more points", b.band)
		return
	}
	value := func(est, variance, slopes float64) Value {
		if !(variance > 0) {
			return Value{est, math.NaN(), math.NaN(), math.NaN()}
		}
		t, se := v.quantile(variance, slopes), math.Sqrt(variance)
		return Value{est, se, est - t*se, est + t*se}
	}
	of := func(j int) Value { return value(b.theta[j], v.At(j, j), v.slopes.At(j, j)) }
	var g *Group
	for i := range f.Groups {
		if f.Groups[i].Band == b.band {
			g = &f.Groups[i]
		}
	}
	if b.perAP {
		n := float64(b.blocks)
		s := 0.0
		for j := range b.blocks {
			for k := range b.blocks {
				s += v.At(b.blocks+j, b.blocks+k)
			}
		}
		g.Exponent = value(g.Exponent.Est, s/(n*n), 0)
	} else {
		g.Exponent = of(b.exponentAt())
	}
	for k, r := range b.radios {
		f.Radios[r].Level1m = of(k)
		if f.Radios[r].Exponent = g.Exponent; b.perAP {
			f.Radios[r].Exponent = of(b.blocks + k)
		}
	}
	for i := range f.Walls {
		w := &f.Walls[i]
		for j, m := range b.walls {
			if w.Band == b.band && w.Material == b.data.Materials[m] && w.LossDB.Est > 0 {
				w.LossDB = of(b.wallAt(j))
				w.LossDB.Lo = max(w.LossDB.Lo, 0)
			}
		}
	}
	q := b.psiAt()
	rel := v.At(q, q)
	if b.model == TwoLevel {
		s2, e2 := math.Exp(2*b.theta[q]), math.Exp(2*b.theta[q+1])/b.meanHeard()
		ws, we := s2/(s2+e2), e2/(s2+e2)
		rel = ws*ws*v.At(q, q) + 2*ws*we*v.At(q, q+1) + we*we*v.At(q+1, q+1)
	}
	if se, t := math.Sqrt(rel), v.quantile(1, 0); se > 0 {
		g.SigmaDB = Value{b.sigma, b.sigma * se, b.sigma * math.Exp(-t*se), b.sigma * math.Exp(t*se)}
	}
}

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
	parallel(len(byPlace), func(p int) {
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
