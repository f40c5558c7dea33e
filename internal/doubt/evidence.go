package doubt

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
)

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
