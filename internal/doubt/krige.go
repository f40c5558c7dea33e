package doubt

import (
	"math"

	"footrule/internal/parallel"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
)

// kriged is a radio with S⁻¹ over its rows, S = C + B V Bᵀ, in units of s².
type kriged struct {
	n     int
	inv   []float64 // S⁻¹, n×n
	chol  blas64.Triangular
	e     []float64 // residuals about the mean of the band
	alpha []float64 // S⁻¹ e
	q     float64   // eᵀS⁻¹e
}

// krige gives S⁻¹ of a radio over rows.
func (f *fit) krige(k int, rows []int) kriged {
	rf, n := &f.radios[k], len(rows)
	out := kriged{n: n, inv: make([]float64, n*n), e: make([]float64, n), alpha: make([]float64, n)}
	if n == 0 {
		return out
	}
	va, vn := f.priors(rf)
	s := blas64.Symmetric{Uplo: blas.Upper, N: n, Stride: n, Data: make([]float64, n*n)}
	for a, i := range rows {
		xi := f.x(rf, i)
		for b := a; b < n; b++ {
			s.Data[a*n+b] = f.corr[i*f.v.rows.n+rows[b]] + va + vn*xi*f.x(rf, rows[b])
		}
		s.Data[a*n+a] += 1e-9
		out.e[a] = f.y(k, i) - f.mean(rf, i)
	}
	t, ok := lapack64.Potrf(s)
	if !ok {
		panic("a covariance with a nugget of 0.05 or more is not positive definite")
	}
	out.chol = t
	copy(out.inv, t.Data)
	inv := blas64.Triangular{Uplo: blas.Upper, Diag: blas.NonUnit, N: n, Stride: n, Data: out.inv}
	lapack64.Potri(inv)
	for a := range n {
		for b := range a {
			out.inv[a*n+b] = out.inv[b*n+a]
		}
	}
	for a := range n {
		for b := range n {
			out.alpha[a] += out.inv[a*n+b] * out.e[b]
		}
		out.q += out.alpha[a] * out.e[a]
	}
	return out
}

// priors are the prior variances of a radio's level and slope in units of s².
func (f *fit) priors(rf *radioFit) (va, vn float64) {
	b := &f.bands[rf.band]
	return b.tauA * b.tauA / b.s2, f.tauN * f.tauN / b.s2
}

// toward is the covariance, in units of s², of the level in a row that did not
// hear with those of rows that did.
func (f *fit) toward(k, i int, rows []int) []float64 {
	rf := &f.radios[k]
	va, vn := f.priors(rf)
	out := make([]float64, len(rows))
	for a, j := range rows {
		out[a] = f.corr[i*f.v.rows.n+j] + va + vn*f.x(rf, i)*f.x(rf, j)
	}
	return out
}

// predict gives mean and sd of the level of a radio in row i from rows.
func (f *fit) predict(k, i int, rows []int, kr *kriged) (mu, sd float64) {
	rf := &f.radios[k]
	va, vn := f.priors(rf)
	c := f.toward(k, i, rows)
	x := f.x(rf, i)
	mu, v := f.mean(rf, i), 1+va+vn*x*x
	for a := range c {
		mu += c[a] * kr.alpha[a]
		dot := 0.0
		for b := range c {
			dot += kr.inv[a*kr.n+b] * c[b]
		}
		v -= c[a] * dot
	}
	return mu, math.Sqrt(max(v, .05) * f.bands[rf.band].s2)
}

// Limits of what radios have in common.
const (
	leastPairs  = 20
	mostKinship = .9
)

// kinship estimates from leave-one-out residuals how much two bands of one
// access point say the same (κ), and what all radios of a row have in common.
func (f *fit) kinship() {
	r := f.v.rows
	f.krigs = make([]kriged, len(f.radios))
	loo := make([][]float64, len(f.radios)) // standardised, NaN where not heard
	parallel.Do(len(f.radios), func(k int) {
		rf := &f.radios[k]
		f.krigs[k] = f.krige(k, rf.rows)
		loo[k] = make([]float64, r.n)
		for i := range loo[k] {
			loo[k][i] = math.NaN()
		}
		for a, i := range rf.rows {
			loo[k][i] = f.krigs[k].alpha[a] / math.Sqrt(f.krigs[k].inv[a*len(rf.rows)+a]*f.bands[rf.band].s2)
		}
	})
	same, sameN, other, otherN := 0.0, 0.0, 0.0, 0.0
	clip := func(v float64) float64 { return min(max(v, -2.5), 2.5) }
	for k := range f.radios {
		for j := range k {
			kin := f.radios[k].ap == f.radios[j].ap
			s := math.Sqrt(f.bands[f.radios[k].band].s2 * f.bands[f.radios[j].band].s2)
			for i := range r.n {
				p := clip(loo[k][i]) * clip(loo[j][i])
				switch {
				case math.IsNaN(p):
				case kin:
					same += p
					sameN++
				default:
					other += p * s
					otherN++
				}
			}
		}
	}
	f.kappa = .5
	if sameN >= leastPairs {
		f.kappa = min(max(same/sameN, 0), mostKinship)
	}
	f.shareDB = 1
	if otherN >= leastPairs {
		f.shareDB = math.Sqrt(min(max(other/otherN, .25), 9))
	}
}

// share is what one of m radios of an access point counts.
func (f *fit) share(ap int) float64 {
	m := 0.0
	for k := range f.radios {
		if f.radios[k].ap == ap && len(f.radios[k].rows) > 0 {
			m++
		}
	}
	return 1 / (1 + f.kappa*max(m-1, 0))
}
