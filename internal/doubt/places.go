package doubt

import (
	"math"

	"footrule/internal/parallel"
)

// likely gives, for every spot from which w measures, the log likelihood L of
// what was heard and not heard of an access point that hangs there:
//
//	L(a) = Σ_r ℓ_r(a) + w Σ log P(unheard),  over its radios, each by its share
func (f *fit) likely(ap int, w *ways) []float64 {
	out := make([]float64, w.spots)
	for k := range f.radios {
		if f.radios[k].ap == ap && len(f.radios[k].rows) >= 3 {
			f.likelyRadio(k, w, out)
		}
	}
	share := f.share(ap)
	for g := range out {
		out[g] *= share
	}
	return out
}

// plain is L of an access point where the view has it.
func (f *fit) plain(ap int) float64 {
	out := []float64{0}
	for k := range f.radios {
		if f.radios[k].ap == ap && len(f.radios[k].rows) >= 3 {
			f.likelyRadio(k, f.single(ap), out)
		}
	}
	return out[0] * f.share(ap)
}

// single is the ways from where the view has an access point.
func (f *fit) single(ap int) *ways {
	n, g := f.v.rows.n, f.plan.spots
	w := &ways{spots: 1, from: f.v.spots[ap : ap+1], x: make([]float64, n), c: make([][]float64, len(f.plan.c))}
	for i := range n {
		w.x[i] = f.plan.x[i*g+ap]
	}
	for m := range w.c {
		w.c[m] = make([]float64, n)
		for i := range n {
			w.c[m][i] = f.plan.c[m][i*g+ap]
		}
	}
	return w
}

func (f *fit) likelyRadio(k int, w *ways, out []float64) {
	rf, g, n := &f.radios[k], w.spots, len(f.radios[k].rows)
	b := &f.bands[rf.band]
	beam := f.v.rows.antenna(k).Directional()
	aimed := func(c, i int) float64 {
		if !beam {
			return 0
		}
		return f.v.aimed(k, w.from[c], f.v.rows.floor[i], f.v.rows.at[i])
	}
	one := make([]float64, n)
	xs, es := make([]float64, n*g), make([]float64, n*g)
	for a, i := range rf.rows {
		one[a] = 1
		x, e := xs[a*g:(a+1)*g], es[a*g:(a+1)*g]
		copy(x, w.x[i*g:(i+1)*g])
		y := f.y(k, i) - b.level
		for c := range e {
			e[c] = y - b.exponent*x[c] - aimed(c, i)
		}
		for m, loss := range b.loss {
			if loss != 0 {
				for c, n := range w.c[m][i*g : (i+1)*g] {
					e[c] += loss * n
				}
			}
		}
	}
	whiten(rf.chol, one, 1)
	whiten(rf.chol, xs, g)
	whiten(rf.chol, es, g)
	sums := make([]gram, g)
	oo := 0.0
	for a := range n {
		o := one[a]
		oo += o * o
		x, e := xs[a*g:(a+1)*g], es[a*g:(a+1)*g]
		for c := range sums {
			s := &sums[c]
			s.ox += o * x[c]
			s.xx += x[c] * x[c]
			s.oe += o * e[c]
			s.xe += x[c] * e[c]
			s.ee += e[c] * e[c]
		}
	}
	r := f.v.rows
	pm := make([]float64, len(rf.silent))
	for j, i := range rf.silent {
		pm[j] = f.odds(r.listened[k*r.n+i])
	}
	for c := range sums {
		sums[c].oo = oo
		ll, o := f.evidence(b, f.tauN, n, rf.logDet, sums[c])
		quiet := 0.0
		for j, i := range rf.silent {
			x := w.x[i*g+c]
			mu := b.level + o.b0 + (b.exponent+o.b1)*x + aimed(c, i)
			for m, loss := range b.loss {
				if loss != 0 {
					mu -= loss * w.c[m][i*g+c]
				}
			}
			sd := math.Sqrt(b.s2 * (1 + o.p00 + 2*o.p01*x + o.p11*x*x))
			quiet += unheard(pm[j], mu, sd, r.floorDBm[k*r.n+i])
		}
		out[c] += ll + f.weight*quiet
	}
}

// total is the log likelihood of the site as the view has it.
func (f *fit) total() float64 {
	sums := make([]float64, len(f.v.spots))
	parallel.Do(len(sums), func(ap int) { sums[ap] = f.plain(ap) })
	t := 0.0
	for _, v := range sums {
		t += v
	}
	return t
}

// logMean is log of the mean of exp(v).
func logMean(v []float64) float64 { return logSum(v) - math.Log(float64(len(v))) }

// logSum is log of the sum of exp(v).
func logSum(v []float64) float64 {
	top := math.Inf(-1)
	for _, x := range v {
		top = max(top, x)
	}
	if math.IsInf(top, 0) {
		return top
	}
	sum := 0.0
	for _, x := range v {
		sum += math.Exp(x - top)
	}
	return top + math.Log(sum)
}
