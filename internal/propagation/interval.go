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
		params += b.unknowns()
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
	if f.model == Pooled {
		o.l = f.pooling.logLik
		o.info.AddSym(o.info, f.penalty())
	}
	for j := range f.theta {
		o.active[j] = f.fixed[j] || f.theta[j] <= f.lower[j]+1e-12
	}
	f.opt = o
}

// observations counts what the likelihood is of: pairs that heard (ols, pooled),
// all pairs (the others).
func (f *groupFit) observations() float64 {
	if f.model.IgnoresSilence() {
		return float64(f.counts.heard)
	}
	return float64(f.counts.heard + f.counts.silent)
}

// unknowns is how many parameters the likelihood has.
func (f *groupFit) unknowns() float64 {
	n := float64(len(f.free()))
	switch f.model {
	case Robust:
		n++ // its scale
	case Pooled: // the band's level and exponent, the walls, the spread, and Σ
		n = float64(2 + len(f.walls) + 1)
		for j := range f.walls {
			if f.opt.active[f.wallAt(j)] {
				n--
			}
		}
		if f.blocks > 1 {
			n += 3
		}
	}
	return n
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
	freed  float64 // spread of the rows over that of their residuals
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
	s := f.scores()
	c := f.correlogram(s.t, s.a)
	meat, blocks, inflation, effective := f.meat(s, &c)
	between := f.between(s, blocks)
	k := f.used(free, &hinv)
	freed := f.freed(&hinv, meat, free, k, s)
	if f.model == Pooled {
		between = f.penalty()
		// Rows scatter by more than what its own spread says; the others are scaled below.
		if f.blocks > 1 { // one radio alone is least squares
			meat.ScaleSym(freed*freed, meat)
		}
	}
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
	switch q := f.psiAt(); f.model {
	case Robust:
		out.SetSym(q, q, madVariance/float64(len(f.heard))*inflation)
	case Pooled:
		out.SetSym(q, q, inflation/(2*max(float64(len(f.heard))-k, 1)))
		out.df, out.freed = max(effective-k, 2), freed
		f.addUnsure(out, blocks)
		return out // the spread is that of restricted likelihood
	}
	// Variances were divided by the number of rows; parameters used some up.
	if n := float64(len(f.heard)); n > k {
		out.ScaleSym(n/(n-k), out.SymDense)
		out.slopes.ScaleSym(n/(n-k), out.slopes)
	}
	out.df = max(effective-k, 2)
	out.freed = freed
	return out
}

// addUnsure adds to the variances of a pooled fit what comes from estimating Σ.
func (f *groupFit) addUnsure(v *covariance, blocks [][]float64) {
	if len(f.sums.groups) < f.blocks {
		return
	}
	q := len(f.locals(0))
	excess := make([][2][2]float64, f.blocks)
	for k := range excess {
		m, zz := blocks[k], f.sums.groups[k].zz
		// In the regressors of the sums, 1 and x about its mean, a row counts 1 and not 1/σ².
		s2, mx := square(f.sigma*v.freed), f.meanX
		a, b, c := m[0]*s2, (m[1]-mx*m[0])*s2, (m[q+1]-2*mx*m[1]+mx*mx*m[0])*s2
		excess[k] = [2][2]float64{{a - zz[0][0], b - zz[0][1]}, {b - zz[1][0], c - zz[1][1]}}
	}
	for k, u := range f.unsureSpreads(excess) {
		i, j := k, f.blocks+k
		v.SetSym(i, i, max(v.At(i, i)+u[0], v.At(i, i)/4))
		v.SetSym(i, j, v.At(i, j)+u[1])
		v.SetSym(j, j, max(v.At(j, j)+u[2], v.At(j, j)/4))
	}
}

// used is how many degrees of freedom of the levels the linear parameters took:
// their number, and less where radios are drawn together, tr H⁻¹(H − P).
func (f *groupFit) used(free []int, hinv *mat.SymDense) float64 {
	k := 0.0
	var p *mat.SymDense
	if f.model == Pooled {
		p = f.penalty()
	}
	for r, i := range free {
		if i >= f.psiAt() {
			continue
		}
		k++
		for s, j := range free {
			if p != nil {
				k -= hinv.At(r, s) * p.At(j, i)
			}
		}
	}
	return k
}

// freed is the spread of the rows over that of their residuals, from which the
// parameters took a part. With P the projection onto the regressors, the residuals
// of rows with correlation C have on average the share 1 − tr(P C)/N of the
// variance, and tr(P C) = tr(H⁻¹ M) over the parameters of the mean: their number
// where rows are independent, and more where they are alike, since a level at
// 1 m takes up what all rows of a radio share. Of the rows that were not heard,
// which have no residual, the trace has a part as large as their information.
func (f *groupFit) freed(hinv, meat *mat.SymDense, free []int, used float64, s *scored) float64 {
	taken := 0.0
	for r, i := range free {
		for s, j := range free {
			if i < f.psiAt() && j < f.psiAt() {
				taken += hinv.At(r, s) * meat.At(j, i)
			}
		}
	}
	var heard, all float64
	for i, a := range s.a {
		all += a * a
		if f.level[i].Heard > 0 {
			heard += a * a
		}
	}
	n := float64(len(f.heard))
	left := max(1-taken/n*heard/all, .25)
	if f.model == OLS || f.model == Pooled { // their estimate has the number of parameters in it
		left *= n / max(n-used, 1)
	}
	return 1 / math.Sqrt(left)
}

// madVariance is N times the relative variance of a median absolute residual
// under the normal distribution, 1/(4 z φ(z))² with z = Φ⁻¹(¾): an efficiency of
// 37 % against the ½ of maximum likelihood (Hampel, J. Am. Stat. Assoc. 69, 1974).
const madVariance = 1.3605

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
		between := 0.0
		if b.model == Pooled { // the radios are a sample of those that could hang there
			for j := range b.blocks {
				for k := range b.blocks {
					between += v.slopes.At(b.blocks+j, b.blocks+k) / (n * n)
				}
			}
			s += n * b.pooling.sigma[1][1]
			between += b.pooling.sigma[1][1] / n
		}
		g.Exponent = value(g.Exponent.Est, s/(n*n), between)
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
		sigma := b.sigma * v.freed
		g.SigmaDB = Value{sigma, sigma * se, sigma * math.Exp(-t*se), sigma * math.Exp(t*se)}
	}
}
