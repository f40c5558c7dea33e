package kriging

import (
	"errors"
	"math"

	"github.com/paulmach/orb"
	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/floats"
	lapack "gonum.org/v1/gonum/lapack/gonum"
	"gonum.org/v1/gonum/mat"
)

// Layout is where the rows are and how noisy they are.
type Layout struct {
	At    []orb.Point // metres
	Noise []float64   // w, relative: 1/m for the mean of m values
}

// System is the covariance of the rows of a layout over s²:
//
//	K = C + ρ W,  C_ij = exp(−|p_i − p_j|/ℓ),  W = diag w
//
// with the inverse of its factor. It is safe for use by several goroutines.
type System struct {
	Layout  Layout
	LengthM float64 // ℓ
	Ratio   float64 // ρ, above 0

	root   []float64 // R = L⁻¹ of K = LLᵀ, so that K⁻¹ = RᵀR; lower, row by row in a square
	diag   []float64 // of K⁻¹
	logDet float64
}

// ErrSingular is the answer where rows at one place have next to no noise.
var ErrSingular = errors.New("kriging: the covariance of the rows can't be inverted; give them more noise")

// NewSystem factors the covariance of a layout: n³/3 steps for n rows, once.
func NewSystem(l Layout, lengthM, ratio float64) (*System, error) {
	n := len(l.At)
	s := &System{Layout: l, LengthM: lengthM, Ratio: ratio}
	if n == 0 {
		return s, nil
	}
	// Some hundred rows factor faster unblocked.
	k := make([]float64, n*n)
	for i := range n {
		s.correlations(l.At[i], l.At[:i], k[i*n:])
		k[i*n+i] = 1 + ratio*l.Noise[i]
	}
	if !(lapack.Implementation{}).Dpotf2(blas.Lower, n, k, n) {
		return nil, ErrSingular
	}
	s.root, s.diag = make([]float64, n*n), make([]float64, n)
	for i := range n {
		row, own := s.root[i*n:i*n+i+1], k[i*n+i]
		for j, v := range k[i*n : i*n+i] {
			floats.AddScaled(row[:j+1], -v, s.root[j*n:j*n+j+1])
		}
		row[i] = 1
		floats.Scale(1/own, row)
		for j, v := range row {
			s.diag[j] += v * v
		}
		s.logDet += 2 * math.Log(own)
	}
	return s, nil
}

// correlations sets dst to those of a place with others.
func (s *System) correlations(p orb.Point, of []orb.Point, dst []float64) {
	for i, q := range of {
		x, y := p[0]-q[0], p[1]-q[1]
		dst[i] = math.Exp(-math.Sqrt(x*x+y*y) / s.LengthM)
	}
}

// Rows is how many rows there are.
func (s *System) Rows() int { return len(s.Layout.At) }

func (s *System) triangle() blas64.Triangular {
	n := s.Rows()
	return blas64.Triangular{Uplo: blas.Lower, Diag: blas.NonUnit, N: n, Stride: n, Data: s.root}
}

// Solve sets dst to K⁻¹y: n² steps.
func (s *System) Solve(y, dst []float64) {
	if len(y) == 0 {
		return
	}
	copy(dst, y)
	v := blas64.Vector{N: len(y), Inc: 1, Data: dst}
	blas64.Trmv(blas.NoTrans, s.triangle(), v)
	blas64.Trmv(blas.Trans, s.triangle(), v)
}

// inverse is (K⁻¹)_ij.
func (s *System) inverse(i, j int) float64 {
	if i == j {
		return s.diag[i]
	}
	n, sum := s.Rows(), 0.0
	for r := max(i, j); r < n; r++ {
		sum += s.root[r*n+i] * s.root[r*n+j]
	}
	return sum
}

// Evidence is what the marginal likelihood of y needs:
//
//	log p(y) = −½ (n log 2πs² + LogDet + Square/s²)
type Evidence struct {
	N      int
	LogDet float64 // log |K|
	Square float64 // yᵀK⁻¹y
}

// Block is some rows of a system, to be left out.
type Block struct {
	rows  []int
	upper []float64 // U of (K⁻¹)_PP = UᵀU, row by row in a square
}

// Block prepares to leave out rows, each named once.
func (s *System) Block(rows []int) *Block {
	n := len(rows)
	b := &Block{rows, make([]float64, n*n)}
	for i := range n {
		for j := i; j < n; j++ {
			b.upper[i*n+j] = s.inverse(rows[i], rows[j])
		}
	}
	if n == 1 {
		b.upper[0] = math.Sqrt(b.upper[0])
	} else if n > 1 && !(lapack.Implementation{}).Dpotf2(blas.Upper, n, b.upper, n) {
		panic("kriging: a part of a positive matrix is not positive") // rows named twice
	}
	return b
}

// half solves Uᵀx = v in place.
func (b *Block) half(v []float64) {
	n := len(v)
	for i := range v {
		for k := range i {
			v[i] -= b.upper[k*n+i] * v[k]
		}
		v[i] /= b.upper[i*n+i]
	}
}

// solve solves (K⁻¹)_PP x = v in place.
func (b *Block) solve(v []float64) {
	b.half(v)
	n := len(v)
	for i := n - 1; i >= 0; i-- {
		for k := i + 1; k < n; k++ {
			v[i] -= b.upper[i*n+k] * v[k]
		}
		v[i] /= b.upper[i*n+i]
	}
}

// pick is z_P.
func (b *Block) pick(z []float64) []float64 {
	v := make([]float64, len(b.rows))
	for a, i := range b.rows {
		v[a] = z[i]
	}
	return v
}

// of is z_P for coefficients.
func (b *Block) of(v *Solved, coef []float64) []float64 {
	z := make([]float64, len(b.rows))
	for a, i := range b.rows {
		z[a] = v.At(coef, i)
	}
	return z
}

// evidence takes a block out of what all rows say, with z = K⁻¹y; z_P is written over:
//
//	log |K₋P| = log |K| + log |(K⁻¹)_PP|,  y₋Pᵀ K₋P⁻¹ y₋P = yᵀz − z_Pᵀ ((K⁻¹)_PP)⁻¹ z_P
func (b *Block) evidence(e Evidence, zP []float64) Evidence {
	n := len(b.rows)
	for i := range n {
		e.LogDet += 2 * math.Log(b.upper[i*n+i])
	}
	b.half(zP)
	e.N -= n
	e.Square = max(0, e.Square-floats.Dot(zP, zP))
	return e
}

// LeaveOneOut gives, for every row, its value less what the other rows predict,
// and the variance of that over s², the noise of the row included:
//
//	residual_i = z_i/(K⁻¹)_ii,  variance_i = s²/(K⁻¹)_ii
//
// (Dubrule, Math. Geol. 15, 1983; Rasmussen and Williams eq. 5.12). z is K⁻¹y.
func (s *System) LeaveOneOut(z, residual, variance []float64) {
	for i := range z {
		d := s.diag[i]
		residual[i], variance[i] = z[i]/d, 1/d
	}
}

// LeaveOut gives the values of the rows of a block less what the rows outside of
// it predict, and their covariance over s², noise included:
//
//	residual = ((K⁻¹)_PP)⁻¹ z_P,  covariance = s² ((K⁻¹)_PP)⁻¹
func (s *System) LeaveOut(z []float64, b *Block) (residual []float64, covariance *mat.SymDense) {
	n := len(b.rows)
	covariance = mat.NewSymDense(n, nil)
	for i := range n {
		row := make([]float64, n)
		row[i] = 1
		b.solve(row)
		for j := i; j < n; j++ {
			covariance.SetSym(i, j, row[j])
		}
	}
	residual = b.pick(z)
	b.solve(residual)
	return residual, covariance
}
