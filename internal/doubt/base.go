package doubt

import (
	"math"
	"slices"

	"footrule/internal/radio"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"
)

// Constants of the base fit, fixed beforehand.
const (
	nu0        = 10.0 // weight of the shared spread in that of a radio, rows
	mostRadios = 10   // radios that decide length, nugget and spread of slopes
	leastRows  = 8    // rows that heard without which a radio decides nothing shared
	rounds     = 8    // of the slope free of selection
	typicalN   = 3.0  // common practice: 2 to 4 indoors
	typicalNSD = 1.5
	typicalL   = 4.0 // dB a wall, common practice: 3 to 10
	typicalLSD = 4.0
)

// fit is the base fit of a view: the level of radio k in row i is
//
//	y = Ā + n̄ x − Σ L c + b₀ + b₁ x + s u,  x = −10 log10 d
//
// with Ā, n̄ and the wall losses L of its band, b ~ N(0, diag(τ_A², τ_n²)) of its
// own, and u of covariance C = (1−ρ) exp(−D/ℓ) + ρ I over the rows that heard it.
// The spread s of each radio is integrated out around that of its band, with
// the weight of nu0 rows.
type fit struct {
	v      *view
	bands  []bandFit
	radios []radioFit
	plan   *ways // from every access point to every row

	ell, rho float64 // ℓ in metres, ρ
	tauN     float64
	kappa    float64 // correlation of the bands of one access point
	shareDB  float64 // spread of what all radios of a row have in common
	missScan float64 // p0: share of scans that miss a strong radio
	missStay float64 // of stays that miss it without a reason
	weight   float64 // of a silent row: neighbours say the same
	corr     []float64
	krigs    []kriged // per radio, over its rows
}

// bandFit is what the radios of one band share.
type bandFit struct {
	band     radio.Band
	level    float64 // Ā, dBm at 1 m
	exponent float64 // n̄
	loss     []float64
	tauA     float64
	s2       float64 // dB²
}

// radioFit is one radio with the rows that heard it and those that did not.
type radioFit struct {
	ap, band int
	rows     []int
	silent   []int
	pattern  []float64         // per row of the site, what its antenna lacks there in dB; nil without a beam
	chol     blas64.Triangular // of C over rows
	logDet   float64           // log |C|
}

func newFit(v *view) *fit {
	r := v.rows
	f := &fit{v: v, ell: 5, rho: .4, tauN: .4}
	f.plan = v.ground.measure(v.spots, r.floor, r.at)
	f.radios = make([]radioFit, len(r.refs))
	for k, ref := range r.refs {
		b := slices.IndexFunc(f.bands, func(b bandFit) bool { return b.band == r.band(k) })
		if b < 0 {
			b = len(f.bands)
			f.bands = append(f.bands, bandFit{band: r.band(k), level: -40, exponent: typicalN, loss: make([]float64, v.ground.materials), tauA: 6, s2: 25})
		}
		rf := radioFit{ap: ref.AP, band: b}
		for i := range r.n {
			switch c := k*r.n + i; {
			case r.out[i] || r.listened[c] == 0 || !r.listens(k):
			case r.heard[c] > 0:
				rf.rows = append(rf.rows, i)
			default:
				rf.silent = append(rf.silent, i)
			}
		}
		f.radios[k] = rf
	}
	f.aim()
	each(len(f.bands), func(b int) { f.start(b) })
	f.hyper(startLengths, startNuggets, startSlopes)
	f.shared(2, .8)
	f.hyper(around(f.ell, .75, 1, 1.33), plus(f.rho, -.1, 0, .1), around(f.tauN, .7, 1, 1.4))
	f.shared(rounds, .5)
	f.corr = f.correlation(f.ell, f.rho)
	each(len(f.radios), func(k int) {
		rf := &f.radios[k]
		rf.chol, rf.logDet = factor(f.corr, r.n, rf.rows)
	})
	f.silence()
	f.kinship()
	return f
}

var (
	startLengths = []float64{2, 4, 7, 12, 22}
	startNuggets = []float64{.15, .35, .6, .85}
	startSlopes  = []float64{.15, .3, .6, 1}
)

func around(v float64, by ...float64) []float64 {
	out := make([]float64, len(by))
	for i, f := range by {
		out[i] = v * f
	}
	return out
}

func plus(v float64, by ...float64) []float64 {
	out := make([]float64, len(by))
	for i, d := range by {
		out[i] = min(max(v+d, .05), .95)
	}
	return out
}

// x is that of a radio and a row, with its access point where the view has it.
func (f *fit) x(rf *radioFit, i int) float64 { return f.plan.x[i*f.plan.spots+rf.ap] }

// walls is what the walls on that way take, in dB.
func (f *fit) walls(rf *radioFit, i int) float64 {
	sum := 0.0
	for m, l := range f.bands[rf.band].loss {
		if l != 0 {
			sum += l * f.plan.c[m][i*f.plan.spots+rf.ap]
		}
	}
	return sum
}

// mean is the level of a radio of the band in row i, without its own b.
func (f *fit) mean(rf *radioFit, i int) float64 {
	b := &f.bands[rf.band]
	mu := b.level + b.exponent*f.x(rf, i) - f.walls(rf, i)
	if rf.pattern != nil {
		mu += rf.pattern[i]
	}
	return mu
}

// aim sets the patterns of antennas with a beam.
func (f *fit) aim() {
	r := f.v.rows
	for k := range f.radios {
		rf := &f.radios[k]
		rf.pattern = nil
		if r.antenna(k).Directional() {
			rf.pattern = make([]float64, r.n)
			for i := range rf.pattern {
				rf.pattern[i] = f.v.aimed(k, f.v.spots[rf.ap], r.floor[i], r.at[i])
			}
		}
	}
}

func (f *fit) y(k, i int) float64 { return f.v.rows.level[k*f.v.rows.n+i] }

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
		s := max(1.4826*median(abs), 1)
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
	bf.level = median(levels)
	for i := range levels {
		levels[i] = math.Abs(levels[i] - bf.level)
	}
	bf.tauA = min(max(1.4826*median(levels), 3), 12)
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

// correlation gives C over all rows. Storeys are independent.
func (f *fit) correlation(ell, rho float64) []float64 {
	r := f.v.rows
	out := make([]float64, r.n*r.n)
	for i := range r.n {
		out[i*r.n+i] = 1
		for j := range i {
			if r.floor[i] == r.floor[j] {
				c := (1 - rho) * math.Exp(-distance(r.at[i], r.at[j])/ell)
				out[i*r.n+j], out[j*r.n+i] = c, c
			}
		}
	}
	return out
}

// factor gives the Cholesky factor of the rows and columns idx of an n×n
// correlation, and the log of the determinant.
func factor(corr []float64, n int, idx []int) (blas64.Triangular, float64) {
	m := len(idx)
	if m == 0 {
		return blas64.Triangular{}, 0
	}
	s := blas64.Symmetric{Uplo: blas.Upper, N: m, Stride: m, Data: make([]float64, m*m)}
	for a, i := range idx {
		for b := a; b < m; b++ {
			s.Data[a*m+b] = corr[i*n+idx[b]]
		}
		s.Data[a*m+a] += 1e-9
	}
	t, ok := lapack64.Potrf(s)
	if !ok {
		panic("a correlation with a nugget of 0.05 or more is not positive definite")
	}
	logDet := 0.0
	for a := range m {
		logDet += 2 * math.Log(t.Data[a*m+a])
	}
	return t, logDet
}

// whiten solves Uᵀ Z = B in place; B is rows × columns.
func whiten(t blas64.Triangular, b []float64, columns int) {
	if t.N == 0 || columns == 0 {
		return
	}
	if columns > fewColumns {
		blas64.Trsm(blas.Left, blas.Trans, 1, t, blas64.General{Rows: t.N, Cols: columns, Stride: columns, Data: b})
		return
	}
	for k := range t.N {
		u := t.Data[k*t.Stride : k*t.Stride+t.N]
		z := b[k*columns : (k+1)*columns]
		for c := range z {
			z[c] /= u[k]
		}
		for j := k + 1; j < t.N; j++ {
			row, f := b[j*columns:(j+1)*columns], u[j]
			for c, v := range z {
				row[c] -= f * v
			}
		}
	}
}

// fewColumns is up to where a plain loop is quicker than a library's blocks.
const fewColumns = 8

// gram is the products of whitened 1, x and e.
type gram struct{ oo, ox, xx, oe, xe, ee float64 }

// evidence is the log likelihood of a radio with level, slope and spread of its
// own integrated out, and what it says of b (in dB, and dB per dB). With
// S = C + B V Bᵀ, B = [1, x] and V = diag(τ_A², τ_n²)/s²,
//
//	ℓ = −½ log|S| − ½ N log s² − ½ (ν0 + N) log(1 + eᵀS⁻¹e/(ν0 s²))
func (f *fit) evidence(b *bandFit, tauN float64, n int, logDet float64, g gram) (ll float64, own own) {
	va, vn := b.tauA*b.tauA/b.s2, tauN*tauN/b.s2
	m00, m01, m11 := 1/va+g.oo, g.ox, 1/vn+g.xx
	det := m00*m11 - m01*m01
	own.b0, own.b1 = (m11*g.oe-m01*g.xe)/det, (m00*g.xe-m01*g.oe)/det
	own.p00, own.p01, own.p11 = m11/det, -m01/det, m00/det
	own.q = max(g.ee-g.oe*own.b0-g.xe*own.b1, 0)
	ll = -.5*(logDet+math.Log(det*va*vn)+float64(n)*math.Log(b.s2)) - .5*(nu0+float64(n))*math.Log1p(own.q/(nu0*b.s2))
	return ll, own
}

// own is what a radio's rows say of its own level and slope: estimate b,
// covariance p in units of s², and q = eᵀS⁻¹e.
type own struct{ b0, b1, p00, p01, p11, q float64 }

// products whitens 1, x and e of a radio over rows.
func (f *fit) products(k int, rows []int, t blas64.Triangular) gram {
	rf := &f.radios[k]
	z := make([]float64, 3*len(rows))
	for a, i := range rows {
		z[3*a], z[3*a+1], z[3*a+2] = 1, f.x(rf, i), f.y(k, i)-f.mean(rf, i)
	}
	whiten(t, z, 3)
	var g gram
	for a := range rows {
		o, x, e := z[3*a], z[3*a+1], z[3*a+2]
		g.oo += o * o
		g.ox += o * x
		g.xx += x * x
		g.oe += o * e
		g.xe += x * e
		g.ee += e * e
	}
	return g
}

// clear lists the rows in which a radio is predicted a spread above the floor of
// hearing, so that being heard there selects nothing.
func (f *fit) clear(k int, o own) []int {
	rf, r := &f.radios[k], f.v.rows
	s := math.Sqrt(f.bands[rf.band].s2)
	var out []int
	for _, i := range rf.rows {
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
		each(len(f.radios), func(k int) {
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
			if c := f.clear(k, o); len(c) >= 3 && !slices.Equal(c, h.rows) {
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
	mid := median(ratios)
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
	each(len(order), func(j int) {
		k := order[j]
		rf := &f.radios[k]
		t, logDet := factor(now, f.v.rows.n, rf.rows)
		_, o := f.evidence(&f.bands[rf.band], f.tauN, len(rf.rows), logDet, f.products(k, rf.rows, t))
		if used[j] = f.clear(k, o); len(used[j]) < leastRows {
			used[j] = rf.rows
		}
	})
	score := make([]float64, len(lengths)*len(nuggets)*len(slopes))
	each(len(lengths)*len(nuggets), func(c int) {
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

func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	v = slices.Clone(v)
	slices.Sort(v)
	k := len(v) / 2
	if len(v)%2 == 1 {
		return v[k]
	}
	return (v[k-1] + v[k]) / 2
}
