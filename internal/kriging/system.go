package kriging

import (
	"errors"
	"math"

	"github.com/paulmach/orb"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/floats"
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
// with its inverse. It is safe for use by several goroutines.
type System struct {
	Layout  Layout
	LengthM float64 // ℓ
	Ratio   float64 // ρ, above 0

	inv    *mat.SymDense
	logDet float64
}

// ErrSingular is the answer where rows at one place have next to no noise.
var ErrSingular = errors.New("kriging: the covariance of the rows can't be inverted; give them more noise")

// NewSystem factors the covariance of a layout: n³ steps for n rows, once.
func NewSystem(l Layout, lengthM, ratio float64) (*System, error) {
	n := len(l.At)
	s := &System{Layout: l, LengthM: lengthM, Ratio: ratio}
	if n == 0 {
		return s, nil
	}
	k := mat.NewSymDense(n, nil)
	for i := range n {
		k.SetSym(i, i, 1+ratio*l.Noise[i])
		for j := range i {
			k.SetSym(j, i, s.correlation(l.At[i], l.At[j]))
		}
	}
	var ch mat.Cholesky
	if !ch.Factorize(k) {
		return nil, ErrSingular
	}
	s.logDet = ch.LogDet()
	if err := ch.InverseTo(k); err != nil {
		return nil, ErrSingular
	}
	s.inv = k
	return s, nil
}

func (s *System) correlation(p, q orb.Point) float64 {
	return math.Exp(-math.Hypot(p[0]-q[0], p[1]-q[1]) / s.LengthM)
}

// Rows is how many rows there are.
func (s *System) Rows() int { return len(s.Layout.At) }

// Solve sets dst to K⁻¹y: n² steps.
func (s *System) Solve(y, dst []float64) {
	if len(y) == 0 {
		return
	}
	blas64.Symv(1, s.inv.RawSymmetric(), blas64.Vector{N: len(y), Inc: 1, Data: y}, 0, blas64.Vector{N: len(dst), Inc: 1, Data: dst})
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
	rows []int
	inv  *mat.SymDense // (K⁻¹)_PP
	ch   mat.Cholesky  // of it
}

// Block prepares to leave out rows, each named once.
func (s *System) Block(rows []int) *Block {
	b := &Block{rows: rows}
	if len(rows) == 0 {
		return b
	}
	b.inv = mat.NewSymDense(len(rows), nil)
	for a, i := range rows {
		for c, j := range rows[:a+1] {
			b.inv.SetSym(c, a, s.inv.At(i, j))
		}
	}
	if !b.ch.Factorize(b.inv) {
		panic("kriging: a part of a positive matrix is not positive") // rows named twice
	}
	return b
}

// Evidence is that of y without the rows of a block, from z = K⁻¹y:
//
//	log |K₋P| = log |K| + log |(K⁻¹)_PP|,  y₋Pᵀ K₋P⁻¹ y₋P = yᵀz − z_Pᵀ ((K⁻¹)_PP)⁻¹ z_P
func (s *System) Evidence(y, z []float64, without *Block) Evidence {
	e := Evidence{N: len(y), LogDet: s.logDet, Square: floats.Dot(y, z)}
	if without == nil || len(without.rows) == 0 {
		return e
	}
	p := without.pick(z)
	e.N -= len(without.rows)
	e.LogDet += without.ch.LogDet()
	e.Square = max(0, e.Square-mat.Dot(p, without.solve(p)))
	return e
}

func (b *Block) pick(z []float64) *mat.VecDense {
	v := mat.NewVecDense(len(b.rows), nil)
	for a, i := range b.rows {
		v.SetVec(a, z[i])
	}
	return v
}

func (b *Block) solve(v *mat.VecDense) *mat.VecDense {
	out := mat.NewVecDense(len(b.rows), nil)
	if err := b.ch.SolveVecTo(out, v); err != nil && !errors.As(err, new(mat.Condition)) {
		panic(err)
	}
	return out
}

// LeaveOneOut gives, for every row, its value less what the other rows predict,
// and the variance of that over s², the noise of the row included:
//
//	residual_i = z_i/(K⁻¹)_ii,  variance_i = s²/(K⁻¹)_ii
//
// (Dubrule, Math. Geol. 15, 1983; Rasmussen and Williams eq. 5.12). z is K⁻¹y.
func (s *System) LeaveOneOut(z, residual, variance []float64) {
	for i := range z {
		d := s.inv.At(i, i)
		residual[i], variance[i] = z[i]/d, 1/d
	}
}

// LeaveOut gives the values of the rows of a block less what the rows outside of
// it predict, and their covariance over s², noise included:
//
//	residual = ((K⁻¹)_PP)⁻¹ z_P,  covariance = s² ((K⁻¹)_PP)⁻¹
func (s *System) LeaveOut(z []float64, b *Block) (residual []float64, covariance *mat.SymDense) {
	covariance = mat.NewSymDense(len(b.rows), nil)
	if err := b.ch.InverseTo(covariance); err != nil && !errors.As(err, new(mat.Condition)) {
		panic(err)
	}
	return b.solve(b.pick(z)).RawVector().Data, covariance
}
