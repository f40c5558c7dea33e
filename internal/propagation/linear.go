package propagation

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/mat"
)

// collinear is the part of a column's length that must be left after the
// earlier columns are taken out of it. Levels and distances carry four digits
// or so; a column that agrees with others to ten is the same column.
const collinear = 1e-10

// RankError says which columns of a design are linear combinations of the
// columns before them, so that their coefficients cannot be told.
type RankError struct {
	Columns []string // names of the columns, in the order of the design
	Rows    int
}

func (e *RankError) Error() string {
	return fmt.Sprintf("%s cannot be told from %d rows: no information beyond the other columns", strings.Join(e.Columns, ", "), e.Rows)
}

// Linear is a least-squares fit.
type Linear struct {
	Coef     []float64
	SE       []float64 // classical: independent errors of one variance
	Residual []float64
	Leverage []float64 // diagonal of the hat matrix; LOO residual is Residual/(1−Leverage)
	RSS      float64
	DF       int     // rows less columns
	Sigma    float64 // √(RSS/DF)
	LogLik   float64 // with the maximum-likelihood variance RSS/rows
}

// LeastSquares minimises |y − Xb|² by Householder QR. X is given by its
// columns, each as long as y; names serve errors only. Dependent columns are a
// [*RankError]; no rows, or fewer rows than columns, are one as well.
func LeastSquares(columns [][]float64, names []string, y []float64) (*Linear, error) {
	n, p := len(y), len(columns)
	if n < p || n == 0 {
		return nil, &RankError{Columns: names, Rows: n}
	}
	x := mat.NewDense(n, p, nil)
	for j, c := range columns {
		x.SetCol(j, c)
	}
	var qr mat.QR
	qr.Factorize(x)
	var r mat.Dense
	qr.RTo(&r)
	var bad []string
	for j, c := range columns {
		if math.Abs(r.At(j, j)) <= collinear*norm2(c) {
			bad = append(bad, names[j])
		}
	}
	if bad != nil {
		return nil, &RankError{Columns: bad, Rows: n}
	}
	rt := mat.NewTriDense(p, mat.Upper, nil)
	for i := range p {
		for j := i; j < p; j++ {
			rt.SetTri(i, j, r.At(i, j))
		}
	}
	var rinv mat.TriDense
	if err := rinv.InverseTri(rt); err != nil {
		if _, ok := err.(mat.Condition); !ok {
			return nil, &RankError{Columns: names, Rows: n}
		}
	}
	// Two rounds: the second solves for the rounding of the first.
	f := &Linear{Coef: make([]float64, p), SE: make([]float64, p), Residual: make([]float64, n), Leverage: make([]float64, n), DF: n - p}
	copy(f.Residual, y)
	for range 2 {
		var b mat.VecDense
		if err := qr.SolveVecTo(&b, false, mat.NewVecDense(n, f.Residual)); err != nil {
			if _, ok := err.(mat.Condition); !ok {
				return nil, &RankError{Columns: names, Rows: n}
			}
		}
		for j := range p {
			f.Coef[j] += b.AtVec(j)
		}
		for i := range n {
			e := y[i]
			for j, c := range columns {
				e -= c[i] * f.Coef[j]
			}
			f.Residual[i] = e
		}
	}
	for _, e := range f.Residual {
		f.RSS += e * e
	}
	f.Sigma = math.Sqrt(f.RSS / float64(f.DF))
	f.LogLik = -float64(n) / 2 * (math.Log(2*math.Pi*f.RSS/float64(n)) + 1)
	for j := range p {
		s := 0.0
		for k := j; k < p; k++ {
			s += rinv.At(j, k) * rinv.At(j, k)
		}
		f.SE[j] = f.Sigma * math.Sqrt(s)
	}
	for i := range n { // h = |row · R⁻¹|²
		for k := range p {
			s := 0.0
			for j := 0; j <= k; j++ {
				s += columns[j][i] * rinv.At(j, k)
			}
			f.Leverage[i] += s * s
		}
	}
	return f, nil
}

func norm2(c []float64) float64 {
	s := 0.0
	for _, v := range c {
		s += v * v
	}
	return math.Sqrt(s)
}
