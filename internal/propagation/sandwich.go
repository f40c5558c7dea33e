package propagation

import (
	"math"

	"footrule/internal/parallel"

	"github.com/paulmach/orb"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

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

// scored is what the rows say at the estimate, 0 where a row says nothing.
type scored struct {
	t    []float64 // score m by η over its root mean square a
	a    []float64
	info []float64 // information by η; a² where the score is that of the true density
	left []float64 // b/a: what is left of the correlation of two residuals in that of their scores
}

func (f *groupFit) scores() *scored {
	n := f.rows.n()
	s := &scored{make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)}
	var pull, slope float64
	if f.model == Robust {
		pull, slope = f.influence()
	}
	psi := f.theta[f.psiAt():]
	chunks := f.chunks()
	parallel.Do(len(chunks), func(c int) {
		at := f.locals(chunks[c].block)
		x := make([]float64, len(at))
		var o deriv
		for i := chunks[c].lo; i < chunks[c].hi; i++ {
			f.lik.row(i, f.regressors(i, at, f.theta, x), psi, &o)
			switch {
			case f.model == Robust && f.level[i].Heard > 0:
				s.a[i] = pull / f.sigma
				s.info[i] = slope / (f.sigma * f.sigma)
				s.left[i] = min(1, slope/pull)
			case o.mm < -1e-8:
				s.a[i] = math.Sqrt(-o.mm)
				s.info[i] = -o.mm
				s.left[i] = min(1, s.a[i]*f.sigma)
			default:
				continue
			}
			s.t[i] = o.m / s.a[i]
		}
	})
	return s
}

// spot is where stays of one place were made.
type spot struct {
	place, floor int
	at           orb.Point
}

// spots lists those of the stays, and gives that of each stay.
func (d *Data) spots() (all []spot, of []int) {
	seen := map[spot]int{}
	of = make([]int, d.Stays())
	for i := range of {
		s := spot{d.PlaceOf[i], d.Floor[i], d.At[i]}
		n, ok := seen[s]
		if !ok {
			n = len(all)
			seen[s] = n
			all = append(all, s)
		}
		of[i] = n
	}
	return all, of
}

// between is the correlation of two stays of one radio at different spots.
func (c *correlation) between(a, b *spot) float64 {
	switch {
	case a.place == b.place:
		return c.repeat
	case a.floor != b.floor || len(c.table) == 0:
		return 0
	}
	return c.at(dist(a.at, b.at))
}

// meat is M over all parameters and for every block alone over its local ones,
// by how much correlation lengthens the variance of the spreads, Σ C_ij²/N, and
// the number of independent rows that stays. Rows of one radio at one spot go
// together, so that it takes rows + spots² steps for a radio.
func (f *groupFit) meat(sc *scored, c *correlation) (m *mat.SymDense, blocks [][]float64, inflation, effective float64) {
	p := f.size()
	m = mat.NewSymDense(p, nil)
	spots, of := f.data.spots()
	parts := make([]meatOf, f.blocks)
	parallel.Do(f.blocks, func(k int) { parts[k] = f.meatOf(k, sc, c, spots, of) })
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
		f.acrossRadios(m, sc, c.across)
	}
	inflation = c2 / max(n, 1)
	return m, blocks, inflation, n / inflation
}

// meatOf is M of one block.
type meatOf struct {
	m     []float64 // over its local parameters
	c2, n float64   // Σ C_ij², and rows, of those that heard
}

func (f *groupFit) meatOf(k int, sc *scored, c *correlation, spots []spot, of []int) meatOf {
	at := f.locals(k)
	q := len(at)
	s := meatOf{m: make([]float64, q*q)}
	x := make([]float64, q)
	group := make([]int, len(spots)) // of a spot, 1 more than its place in the lists that follow
	var which []int
	var sums, heard []float64 // Σ b x, and rows that heard
	for i := f.design.start[k]; i < f.design.start[k+1]; i++ {
		if sc.a[i] == 0 {
			continue
		}
		n := of[f.stay[i]]
		if group[n] == 0 {
			which, heard = append(which, n), append(heard, 0)
			sums = append(sums, make([]float64, q)...)
			group[n] = len(which)
		}
		g := group[n] - 1
		f.regressors(i, at, f.theta, x)
		b := sc.a[i] * sc.left[i]
		// A row with itself has a correlation of 1, and those of a spot c.repeat.
		own := sc.a[i]*sc.a[i] - c.repeat*b*b
		for r, v := range x {
			for u, w := range x[:r+1] {
				s.m[r*q+u] += own * v * w
			}
			sums[g*q+r] += b * v
		}
		if f.level[i].Heard > 0 {
			heard[g]++
		}
	}
	near := make([]float64, q) // half of the sum of a spot, and what is correlated with it before
	for g, n := range which {
		own := sums[g*q : (g+1)*q]
		for r, v := range own {
			near[r] = c.repeat * v / 2
		}
		s.n += heard[g]
		s.c2 += heard[g] + c.repeat*c.repeat*heard[g]*(heard[g]-1)
		for e, o := range which[:g] {
			rho := c.between(&spots[n], &spots[o])
			if rho == 0 {
				continue
			}
			s.c2 += 2 * rho * rho * heard[g] * heard[e]
			for r, v := range sums[e*q : (e+1)*q] {
				near[r] += rho * v
			}
		}
		for r := range q {
			for u := range r + 1 {
				s.m[r*q+u] += own[r]*near[u] + near[r]*own[u]
			}
		}
	}
	for r := range q {
		for u := range r {
			s.m[u*q+r] = s.m[r*q+u]
		}
	}
	return s
}

// differing is how much the radios of a band differ in their exponents.
type differing struct {
	sd     float64
	chance float64 // probability of so much from radios that do not
}

// between is what the score varies by because radios differ in exponent with
// variance τ²: Σ_k τ² u_k u_kᵀ, u_k = Σ_i h_i x̃_i x_i, h_i the information, over the rows of radio k,
// x̃ its −10 log10 d about the weighted mean. τ² is the excess of the spread of
// the radios' own slopes over what their rows explain. Zero under PerAP.
func (f *groupFit) between(sc *scored, meats [][]float64) *mat.SymDense {
	m := mat.NewSymDense(f.size(), nil)
	if f.perAP || f.blocks < 3 {
		return m
	}
	type slope struct{ delta, variance float64 }
	slopes := make([]slope, f.blocks)
	us := make([][]float64, f.blocks)
	parallel.Do(f.blocks, func(k int) {
		lo, hi := f.design.start[k], f.design.start[k+1]
		at := f.locals(k)
		x := make([]float64, len(at))
		u := make([]float64, len(at))
		var w, wx float64
		for i := lo; i < hi; i++ {
			w += sc.info[i]
			wx += sc.info[i] * f.x[i]
		}
		if w == 0 {
			return
		}
		mean := wx / w
		var s, info float64
		for i := lo; i < hi; i++ {
			xi := f.x[i] - mean
			s += sc.a[i] * sc.t[i] * xi
			info += sc.info[i] * xi * xi
			f.regressors(i, at, f.theta, x)
			for r := range u {
				u[r] += sc.info[i] * xi * x[r]
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
	f.differ = differing{math.Sqrt(tau2), distuv.ChiSquared{K: n - 1}.Survival(q)}
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
func (f *groupFit) acrossRadios(m *mat.SymDense, sc *scored, rho float64) {
	a := sc.a
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
				w := rho * a[i] * a[j] * sc.left[i] * sc.left[j]
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
