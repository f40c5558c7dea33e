package propagation

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"
)

// Mixed is a fit by [RandomEffects].
type Mixed struct {
	Coef, SE    []float64
	Sigma       float64     // spread of the residuals
	SD          []float64   // of every random column's coefficient between groups
	Correlation float64     // of the two random coefficients; 0 where there is one
	Effects     [][]float64 // per group, the random coefficients' predictions
	EffectSE    [][]float64 // per group, from the fixed coefficients as estimated
	LogLik      float64     // of the data, the random coefficients integrated out, at this Σ/σ²
	Restricted  float64     // the restricted log likelihood

	relative [2][2]float64 // covariance of the random coefficients over σ²
	shape    [3]float64    // Λ
}

// RandomEffects fits y_i = x_i b + z_i u_g(i) + e_i with u_g ~ N(0, Σ) and
// e ~ N(0, σ²) by restricted or by maximum likelihood. X is given by its
// columns, Z by one or two; group numbers run from 0. With Σ = σ² Λ Λᵀ and
// u = Λ v the least squares of (y, 0) on (X, ZΛ; 0, I) gives b, v and a residual
// sum of squares r², and
//
//	−2ℓ  = log|ΛᵀZᵀZΛ + I| + N (1 + log(2π r²/N))
//	−2ℓR = log|ΛᵀZᵀZΛ + I| + log|R_X|² + (N − p)(1 + log(2π r²/(N − p)))
//
// are to be minimised over the lower triangular Λ (Bates, Mächler, Bolker and
// Walker, J. Stat. Softw. 67, 2015). Both need of every group but its sums of
// products, so that a step costs the same for ten rows and for ten thousand.
// Dependent columns are a [*RankError]; it is an error where groups times random
// columns leave no row for the spread.
func RandomEffects(columns [][]float64, names []string, y []float64, group []int, random [][]float64, restricted bool) (*Mixed, error) {
	if len(random) < 1 || len(random) > 2 {
		return nil, fmt.Errorf("%d random columns; give one or two", len(random))
	}
	ls, err := LeastSquares(columns, names, y)
	if err != nil {
		return nil, err
	}
	// About the least squares, sums of squares lose no digits.
	s := newMixedSums(len(columns), len(random))
	x, z := make([]float64, len(columns)), make([]float64, len(random))
	for i, g := range group {
		for j, c := range columns {
			x[j] = c[i]
		}
		for j, c := range random {
			z[j] = c[i]
		}
		s.add(g, x, z, ls.Residual[i], 1)
	}
	m, err := s.fit(restricted, nil)
	if err != nil {
		return nil, err
	}
	for j := range m.Coef {
		m.Coef[j] += ls.Coef[j]
	}
	return m, nil
}

// mixedSums is what [RandomEffects] needs of the rows.
type mixedSums struct {
	p, q   int
	n      float64
	xx     *mat.SymDense
	xy     []float64
	yy     float64
	groups []groupSums
}

type groupSums struct {
	n  float64
	zz [2][2]float64
	zx [2][]float64
	zy [2]float64
}

// residual is Zᵀ(y − Xβ) of the group.
func (g *groupSums) residual(coef []float64) [2]float64 {
	r := g.zy
	for a := range 2 {
		for j, c := range coef {
			r[a] -= g.zx[a][j] * c
		}
	}
	return r
}

func newMixedSums(p, q int) *mixedSums {
	return &mixedSums{p: p, q: q, xx: mat.NewSymDense(p, nil), xy: make([]float64, p)}
}

// add enters a row w times; −1 takes it out again.
func (s *mixedSums) add(group int, x, z []float64, y, w float64) {
	for len(s.groups) <= group {
		s.groups = append(s.groups, groupSums{zx: [2][]float64{make([]float64, s.p), make([]float64, s.p)}})
	}
	g := &s.groups[group]
	s.n += w
	g.n += w
	s.yy += w * y * y
	for j, v := range x {
		s.xy[j] += w * v * y
		for k := j; k < s.p; k++ {
			s.xx.SetSym(j, k, s.xx.At(j, k)+w*v*x[k])
		}
	}
	for a, v := range z {
		for b, u := range z {
			g.zz[a][b] += w * v * u
		}
		for j, u := range x {
			g.zx[a][j] += w * v * u
		}
		g.zy[a] += w * v * y
	}
}

// profile is the fit at a given Λ = (t0 0; t1 t2).
type profile struct {
	coef   []float64
	rx     mat.Cholesky // of RXᵀRX
	rss    float64
	logDet float64 // log|ΛᵀZᵀZΛ + I|
	inv    [][2][2]float64
}

// at solves for b at Λ; nil where the columns are dependent.
func (s *mixedSums) at(t [3]float64) *profile {
	o := &profile{inv: make([][2][2]float64, len(s.groups))}
	xx := mat.NewSymDense(s.p, nil)
	xx.CopySym(s.xx)
	xy := append([]float64(nil), s.xy...)
	o.rss = s.yy
	v := make([][2]float64, s.p)
	for gi := range s.groups {
		g := &s.groups[gi]
		// A = ΛᵀZᵀZΛ + I, B = ΛᵀZᵀX, c = ΛᵀZᵀy
		z := g.zz
		a00 := t[0]*t[0]*z[0][0] + 2*t[0]*t[1]*z[0][1] + t[1]*t[1]*z[1][1] + 1
		a01 := t[2] * (t[0]*z[0][1] + t[1]*z[1][1])
		a11 := t[2]*t[2]*z[1][1] + 1
		det := a00*a11 - a01*a01
		o.logDet += math.Log(det)
		inv := [2][2]float64{{a11 / det, -a01 / det}, {-a01 / det, a00 / det}}
		o.inv[gi] = inv
		c := [2]float64{t[0]*g.zy[0] + t[1]*g.zy[1], t[2] * g.zy[1]}
		for j := range s.p {
			v[j] = [2]float64{t[0]*g.zx[0][j] + t[1]*g.zx[1][j], t[2] * g.zx[1][j]}
		}
		ic := [2]float64{inv[0][0]*c[0] + inv[0][1]*c[1], inv[1][0]*c[0] + inv[1][1]*c[1]}
		o.rss -= c[0]*ic[0] + c[1]*ic[1]
		for j := range s.p {
			xy[j] -= v[j][0]*ic[0] + v[j][1]*ic[1]
			w0, w1 := inv[0][0]*v[j][0]+inv[0][1]*v[j][1], inv[1][0]*v[j][0]+inv[1][1]*v[j][1]
			for k := j; k < s.p; k++ {
				xx.SetSym(j, k, xx.At(j, k)-w0*v[k][0]-w1*v[k][1])
			}
		}
	}
	if !o.rx.Factorize(xx) {
		return nil
	}
	b := mat.NewVecDense(s.p, nil)
	if err := o.rx.SolveVecTo(b, mat.NewVecDense(s.p, xy)); err != nil {
		if _, ok := err.(mat.Condition); !ok {
			return nil
		}
	}
	o.coef = b.RawVector().Data
	for j, c := range o.coef {
		o.rss -= c * xy[j]
	}
	return o
}

// deviance is −2ℓ or −2ℓR.
func (s *mixedSums) deviance(o *profile, restricted bool) float64 {
	n, d := s.n, o.logDet
	if restricted {
		n -= float64(s.p)
		d += o.rx.LogDet()
	}
	return d + n*(1+math.Log(2*math.Pi*o.rss/n))
}

// fit minimises the deviance from a start, nil for none.
func (s *mixedSums) fit(restricted bool, start *[3]float64) (*Mixed, error) {
	if int(s.n) <= s.p+1 || int(s.n) <= len(s.groups)*s.q && s.q > 1 {
		return nil, fmt.Errorf("%g rows do not determine %d coefficients of %d groups and their spread", s.n, s.q, len(s.groups))
	}
	// Λ in units of what one row of mean size tells of a coefficient.
	var unit [2]float64
	for a := range s.q {
		for _, g := range s.groups {
			unit[a] += g.zz[a][a] / s.n
		}
		unit[a] = 1 / math.Sqrt(max(unit[a], 1e-300))
	}
	wide := func(x []float64) [3]float64 {
		if s.q == 1 {
			return [3]float64{x[0] * unit[0], 0, 0}
		}
		return [3]float64{x[0] * unit[0], x[1] * unit[1], x[2] * unit[1]}
	}
	f := func(x []float64) float64 {
		o := s.at(wide(x))
		if o == nil || !(o.rss > 0) {
			return math.Inf(1)
		}
		return s.deviance(o, restricted)
	}
	starts := [][]float64{{1, 0, 1}, {0.3, 0, 0.1}}
	if start != nil {
		starts = [][]float64{{start[0] / unit[0], start[1] / unit[1], start[2] / unit[1]}}
	}
	best, x := math.Inf(1), []float64(nil)
	for _, st := range starts {
		if s.q == 1 {
			st = st[:1]
		}
		r, err := optimize.Minimize(optimize.Problem{Func: f}, st,
			&optimize.Settings{Converger: &optimize.FunctionConverge{Absolute: 1e-9, Iterations: 40}, FuncEvaluations: 2000}, &optimize.NelderMead{SimplexSize: 0.3})
		if err == nil && r.F < best {
			best, x = r.F, r.X
		}
	}
	if x == nil {
		return nil, fmt.Errorf("the likelihood of %d groups has no maximum", len(s.groups))
	}
	s.polish(f, x)
	return s.result(wide(x), restricted)
}

// polish is Newton's method on differences of the deviance, which a simplex
// leaves to half of its digits. Λ with other signs is the same, so that there
// is no bound to mind.
func (s *mixedSums) polish(f func([]float64) float64, x []float64) {
	n := len(x)
	at := append([]float64(nil), x...)
	val := func(i, j int, a, b float64) float64 {
		copy(at, x)
		at[i] += a
		at[j] += b
		return f(at)
	}
	for range 6 {
		const h = 2e-3
		here := f(x)
		g, hess := mat.NewVecDense(n, nil), mat.NewSymDense(n, nil)
		for i := range n {
			p1, m1, p2, m2 := val(i, i, h, 0), val(i, i, -h, 0), val(i, i, 2*h, 0), val(i, i, -2*h, 0)
			g.SetVec(i, (8*(p1-m1)-(p2-m2))/(12*h))
			hess.SetSym(i, i, (16*(p1+m1)-(p2+m2)-30*here)/(12*h*h))
			for j := i + 1; j < n; j++ {
				hess.SetSym(i, j, (val(i, j, h, h)-val(i, j, h, -h)-val(i, j, -h, h)+val(i, j, -h, -h))/(4*h*h))
			}
		}
		var c mat.Cholesky
		step := mat.NewVecDense(n, nil)
		if !c.Factorize(hess) || c.SolveVecTo(step, g) != nil {
			return
		}
		copy(at, x)
		for i := range at {
			at[i] -= step.AtVec(i)
		}
		if !(f(at) <= here+1e-10*math.Abs(here)) {
			return
		}
		copy(x, at)
		if mat.Norm(step, 2) < 1e-10 {
			return
		}
	}
}

// result gives the fit at Λ.
func (s *mixedSums) result(t [3]float64, restricted bool) (*Mixed, error) {
	o := s.at(t)
	if o == nil || !(o.rss > 0) {
		return nil, fmt.Errorf("%g rows leave no spread", s.n)
	}
	n := s.n
	if restricted {
		n -= float64(s.p)
	}
	m := &Mixed{Coef: o.coef, Sigma: math.Sqrt(o.rss / n), LogLik: -s.deviance(o, false) / 2, Restricted: -s.deviance(o, true) / 2}
	m.shape = t
	m.relative = [2][2]float64{{t[0] * t[0], t[0] * t[1]}, {t[0] * t[1], t[1]*t[1] + t[2]*t[2]}}
	var rinv mat.SymDense
	if err := o.rx.InverseTo(&rinv); err != nil {
		if _, ok := err.(mat.Condition); !ok {
			return nil, err
		}
	}
	for j := range s.p {
		m.SE = append(m.SE, m.Sigma*math.Sqrt(rinv.At(j, j)))
	}
	m.SD = []float64{m.Sigma * math.Sqrt(m.relative[0][0])}
	if s.q == 2 {
		m.SD = append(m.SD, m.Sigma*math.Sqrt(m.relative[1][1]))
		if d := math.Sqrt(m.relative[0][0] * m.relative[1][1]); d > 0 {
			m.Correlation = m.relative[0][1] / d
		}
	}
	for gi := range s.groups {
		g := &s.groups[gi]
		r := g.residual(m.Coef)
		inv := o.inv[gi]
		c := [2]float64{t[0]*r[0] + t[1]*r[1], t[2] * r[1]}
		v := [2]float64{inv[0][0]*c[0] + inv[0][1]*c[1], inv[1][0]*c[0] + inv[1][1]*c[1]}
		u := []float64{t[0] * v[0], t[1]*v[0] + t[2]*v[1]}
		// Var(u | y) = σ² Λ A⁻¹ Λᵀ
		se := []float64{m.Sigma * math.Sqrt(t[0]*t[0]*inv[0][0]),
			m.Sigma * math.Sqrt(t[1]*t[1]*inv[0][0]+2*t[1]*t[2]*inv[0][1]+t[2]*t[2]*inv[1][1])}
		m.Effects = append(m.Effects, u[:s.q])
		m.EffectSE = append(m.EffectSE, se[:s.q])
	}
	return m, nil
}
