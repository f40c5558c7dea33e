package propagation

import (
	"math"
	"slices"

	"footrule/internal/parallel"

	"gonum.org/v1/gonum/mat"
)

// bandRefit is one band of all rows at the parameters of the fit.
type bandRefit struct {
	f      *groupFit
	at     *optimum
	counts []tally        // two-level, robust
	byRate [][2][]float64 // two-level: per block, derivatives of its gradient by its miss rates
	gram   *mat.SymDense  // Σ x xᵀ over rows that heard, without spreads
	pull   []float64      // ols: Σ e x over them, e what the fit leaves
	rss    float64        // ols: Σ e²
	rowsAt [][]int        // rows of every place, in order
	lowest []float64      // level heard at every place, +Inf for none
	points []int          // places that heard, per block
}

func newBandRefit(f *groupFit, miss *float64) *bandRefit {
	d := f.data
	b := &bandRefit{f: f, rowsAt: make([][]int, len(d.Places)), lowest: make([]float64, len(d.Places)), points: make([]int, f.blocks)}
	f.design.place = make([]int, f.rows.n())
	for p := range b.lowest {
		b.lowest[p] = math.Inf(1)
	}
	for i, st := range f.stay {
		p := d.PlaceOf[st]
		f.design.place[i] = p
		b.rowsAt[p] = append(b.rowsAt[p], i)
		b.lowest[p] = min(b.lowest[p], f.lowestAt(i))
	}
	for _, rows := range b.rowsAt {
		f.placesOf(rows, func(k int, heard bool) {
			if heard {
				b.points[k]++
			}
		})
	}
	b.gram = mat.NewSymDense(f.psiAt(), nil)
	f.addGram(b.gram, f.heard, 1)
	switch f.model {
	case OLS:
		b.pull = make([]float64, f.psiAt())
		b.rss = f.pullOf(f.heard, b.pull)
		return b
	case Censored:
		t := f.tobit(miss)
		t.natural = true
		f.lik = t
	case Robust:
		if miss != nil {
			for k := range f.rates {
				f.rates[k] = missRate{stay: *miss}
			}
		}
		t := f.resistant()
		f.lik = t
		b.counts = f.tallies(f.rates)
	case TwoLevel:
		if miss != nil {
			for k := range f.rates {
				if f.rates[k].scan = *miss; *miss == 0 {
					f.rates[k].stay = 0
				}
			}
		}
		t := f.twoLevel()
		t.rates = f.rates
		f.lik = t
		b.counts = f.tallies(f.rates)
		b.byRate = f.byRate()
	}
	b.at = &optimum{theta: f.theta, active: make([]bool, f.size())}
	b.at.l, b.at.grad, b.at.info = f.evaluate(f.chunks(), f.lik, f.theta)
	return b
}

// rateStep is the difference of a miss rate over which gradients are differenced.
const rateStep = 1e-3

// byRate gives for every block the derivatives of its gradient, over its local
// parameters, by the shares of scans and of stays missed.
func (f *groupFit) byRate() [][2][]float64 {
	out := make([][2][]float64, f.blocks)
	parallel.Do(f.blocks, func(k int) {
		grad := func(scan, stay float64) []float64 {
			t := *f.lik.(*twoLevel)
			t.rates = slices.Clone(t.rates)
			t.rates[k].scan += scan
			t.rates[k].stay += stay
			return f.design.sum(chunk{k, f.design.start[k], f.design.start[k+1]}, &t, f.theta).grad
		}
		at := grad(0, 0)
		for j, g := range [][]float64{grad(rateStep, 0), grad(0, rateStep)} {
			for a := range g {
				g[a] = (g[a] - at[a]) / rateStep
			}
			out[k][j] = g
		}
	})
	return out
}

// placesOf calls use for every block among the rows of one place.
func (r *rows) placesOf(at []int, use func(block int, heard bool)) {
	for a := 0; a < len(at); {
		k := r.blockOf(at[a])
		heard := false
		for ; a < len(at) && at[a] < r.start[k+1]; a++ {
			heard = heard || r.level[at[a]].Heard > 0
		}
		use(k, heard)
	}
}

// addGram adds w Σ x xᵀ over those of the rows that heard.
func (f *groupFit) addGram(to *mat.SymDense, at []int, w float64) {
	x := make([]float64, len(f.locals(0)))
	for _, i := range at {
		if f.level[i].Heard == 0 {
			continue
		}
		loc := f.locals(f.blockOf(i))
		f.regressors(i, loc, f.theta, x)
		for a := range len(loc) - f.psi {
			for b := 0; b <= a; b++ {
				to.SetSym(loc[a], loc[b], to.At(loc[a], loc[b])+w*x[a]*x[b])
			}
		}
	}
}

// determined is the square of the part of a column that must be left when
// earlier columns are taken out of it. It is far above what counts as dependent
// in [LeastSquares], so that whatever is near to it takes the long way.
const determined = 1e-8

// without lays out the band without places; nil where more changes than sums.
func (b *bandRefit) without(without []bool, givenFloor bool) *groupFit {
	floor := math.Inf(1)
	var left []int // out
	points := slices.Clone(b.points)
	for p, out := range without {
		if !out {
			floor = min(floor, b.lowest[p])
			continue
		}
		left = append(left, b.rowsAt[p]...)
		b.f.placesOf(b.rowsAt[p], func(k int, heard bool) {
			if heard {
				points[k]--
			}
		})
	}
	least := 1
	if b.f.perAP {
		least = 2
	}
	if slices.Min(points) < least || !givenFloor && floor != b.f.floor {
		return nil
	}
	f := *b.f
	rows, design := *f.rows, *f.design
	design.without = without
	f.rows, f.design = &rows, &design
	for _, i := range left {
		h := f.level[i].Heard
		if f.counts.silent--; h > 0 {
			f.counts.silent++
			f.counts.heard--
		}
		f.counts.readings -= h
		f.counts.missed -= f.scans[i] - h
	}
	// Scans beyond the first of a stay tell the scatter, levels beyond the
	// number of unknowns the spread.
	if f.model == TwoLevel && f.counts.readings == f.counts.heard || f.counts.heard <= f.psiAt() {
		return nil
	}
	gram := mat.NewSymDense(f.psiAt(), nil)
	gram.CopySym(b.gram)
	f.addGram(gram, left, -1)
	var c mat.Cholesky
	if !c.Factorize(gram) {
		return nil
	}
	u := c.RawU()
	for j := range f.psiAt() {
		if v := u.At(j, j); !(v*v > determined*gram.At(j, j)) {
			return nil
		}
	}
	f.theta, f.rates, f.warnings = slices.Clone(f.theta), slices.Clone(f.rates), nil
	if f.model == OLS {
		if !b.leastSquares(&f, gram, left) {
			return nil
		}
		return &f
	}
	switch t := f.lik.(type) {
	case *twoLevel:
		own := *t
		own.rates = f.rates
		f.lik = &own
	case *resistant:
		own := *t
		own.rates = f.rates
		f.lik = &own
	}
	f.opt = b.less(left)
	return &f
}

// less is the likelihood at the parameters of all rows without some of them.
func (b *bandRefit) less(left []int) *optimum {
	f := b.f
	o := &optimum{theta: slices.Clone(f.theta), active: make([]bool, f.size()), l: b.at.l, grad: slices.Clone(b.at.grad), info: mat.NewSymDense(f.size(), nil)}
	o.info.CopySym(b.at.info)
	q := len(f.locals(0))
	x := make([]float64, q)
	psi := f.theta[f.psiAt():]
	var r deriv
	for a := 0; a < len(left); {
		k := f.blockOf(left[a])
		at := f.locals(k)
		s := partial{grad: make([]float64, q), info: make([]float64, q*q)}
		for ; a < len(left) && left[a] >= f.design.start[k] && left[a] < f.design.start[k+1]; a++ {
			eta := f.regressors(left[a], at, f.theta, x)
			f.lik.row(left[a], eta, psi, &r)
			s.add(&r, x, q-f.psi, f.psi)
		}
		o.l -= s.l
		for i := range q {
			o.grad[at[i]] -= s.grad[i]
			for j := 0; j <= i; j++ {
				o.info.SetSym(at[i], at[j], o.info.At(at[i], at[j])-s.info[i*q+j])
			}
		}
	}
	return o
}

// tallies without places.
func (b *bandRefit) tallies(without []bool) []tally {
	f := b.f
	out := make([]tally, f.blocks)
	x := make([]float64, len(f.locals(0)))
	for p, rows := range b.rowsAt {
		if without[p] {
			for _, i := range rows {
				k := f.blockOf(i)
				f.tally(&out[k], i, f.rates[k], f.locals(k), x)
			}
		}
	}
	for k := range out {
		out[k] = b.counts[k].less(out[k])
	}
	return out
}

// pullOf adds Σ e x over those of some rows that heard, with e what the parameters
// leave of a level, and gives Σ e².
func (f *groupFit) pullOf(rows []int, to []float64) (rss float64) {
	x := make([]float64, len(f.locals(0)))
	k := -1
	var at []int
	for _, i := range rows {
		if f.level[i].Heard == 0 {
			continue
		}
		if k < 0 || i < f.design.start[k] || i >= f.design.start[k+1] {
			k = f.blockOf(i)
			at = f.locals(k)
		}
		e := f.level[i].MeanDBm - f.regressors(i, at, f.theta, x)
		rss += e * e
		for a := range len(at) - f.psi {
			to[at[a]] += e * x[a]
		}
	}
	return rss
}

// leastSquares solves the rows that are left with the bounds held that all rows
// hold; false where others would be. From the parameters of all rows the step Δ
// solves G Δ = u, G and u the sums of x xᵀ and e x over what is left, and takes
// uᵀΔ off the sum of squares there: no row that is left is looked at.
func (b *bandRefit) leastSquares(f *groupFit, gram *mat.SymDense, out []int) bool {
	p := f.psiAt()
	var free []int
	for j := range p {
		if !f.opt.active[j] {
			free = append(free, j)
		}
	}
	q := len(free)
	g := mat.NewSymDense(q, nil)
	for a, i := range free {
		for c := a; c < q; c++ {
			g.SetSym(a, c, gram.At(i, free[c]))
		}
	}
	var c mat.Cholesky
	if !c.Factorize(g) {
		return false
	}
	u := make([]float64, p)
	rss := b.rss - f.pullOf(out, u)
	for j := range u {
		u[j] = b.pull[j] - u[j]
	}
	v := mat.NewVecDense(q, nil)
	// The second round solves for the rounding of the first.
	for range 2 {
		for a, j := range free {
			v.SetVec(a, u[j])
		}
		if err := c.SolveVecTo(v, v); err != nil {
			if _, ok := err.(mat.Condition); !ok {
				return false
			}
		}
		for a, j := range free {
			step := v.AtVec(a)
			rss -= step * u[j]
			f.theta[j] += step
		}
		for j := range u {
			for a, k := range free {
				u[j] -= gram.At(j, k) * v.AtVec(a)
			}
		}
	}
	for j := range p {
		if f.theta[j] < f.lower[j] || f.opt.active[j] && u[j] > 0 {
			return false
		}
	}
	rss = max(rss, 0)
	f.sigma = math.Sqrt(rss / float64(f.counts.heard-q))
	f.theta[p] = math.Log(max(math.Sqrt(rss/float64(f.counts.heard)), 1e-6))
	return true
}
