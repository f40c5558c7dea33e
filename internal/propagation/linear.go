package propagation

import (
	"fmt"
	"math"
	"strings"

	"footrule/internal/parallel"

	"gonum.org/v1/gonum/floats"
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

// LeastSquares minimises |y − Xb|² by QR. X is given by its columns, each as
// long as y; names serve errors only. Dependent columns are a [*RankError]; no
// rows, or fewer rows than columns, are one as well.
func LeastSquares(columns [][]float64, names []string, y []float64) (*Linear, error) {
	b, r, err := leastSquares(columns, names, y)
	if err != nil {
		return nil, err
	}
	n, p := len(y), len(columns)
	f := &Linear{Coef: b, SE: make([]float64, p), Residual: make([]float64, n), Leverage: make([]float64, n), DF: n - p}
	x := make([]float64, p)
	for i := range n { // h = |row · R⁻¹|²
		e := y[i]
		for j, c := range columns {
			x[j] = c[i]
			e -= c[i] * b[j]
		}
		f.Residual[i] = e
		r.forward(x)
		f.Leverage[i] = floats.Dot(x, x)
	}
	f.RSS = floats.Dot(f.Residual, f.Residual)
	f.Sigma = math.Sqrt(f.RSS / float64(f.DF))
	f.LogLik = -float64(n) / 2 * (math.Log(2*math.Pi*f.RSS/float64(n)) + 1)
	for j := range p { // the length of row j of R⁻¹
		clear(x)
		x[j] = 1
		r.forward(x)
		f.SE[j] = f.Sigma * floats.Norm(x, 2)
	}
	return f, nil
}

// leastSquares gives b and the triangle of X.
func leastSquares(columns [][]float64, names []string, y []float64) ([]float64, *triangle, error) {
	n, p := len(y), len(columns)
	if n < p || n == 0 {
		return nil, nil, &RankError{Columns: names, Rows: n}
	}
	r := triangleOf(append(columns[:p:p], y))
	var bad []string
	for j, c := range columns {
		if math.Abs(r.at(j, j)) <= collinear*norm2(c) {
			bad = append(bad, names[j])
		}
	}
	if bad != nil {
		return nil, nil, &RankError{Columns: bad, Rows: n}
	}
	b := make([]float64, p)
	for j := range b {
		b[j] = r.at(j, p)
	}
	r.backward(b)
	// Once more for the rounding of the first: RᵀR δ = Xᵀ(y − Xb).
	d := crossResidual(columns, y, b)
	r.forward(d)
	r.backward(d)
	floats.Add(b, d)
	return b, r, nil
}

// crossResidual is Xᵀ(y − Xb).
func crossResidual(columns [][]float64, y, b []float64) []float64 {
	parts := make([][]float64, (len(y)+chunkRows-1)/chunkRows)
	parallel.Do(len(parts), func(c int) {
		lo, hi := c*chunkRows, min((c+1)*chunkRows, len(y))
		room := runRooms.Get().(*room)
		defer room.leave(runRooms)
		e := room.float(hi - lo)
		copy(e, y[lo:hi])
		for j, x := range columns {
			floats.AddScaled(e, -b[j], x[lo:hi])
		}
		parts[c] = make([]float64, len(columns))
		for j, x := range columns {
			parts[c][j] = floats.Dot(e, x[lo:hi])
		}
	})
	out := make([]float64, len(columns))
	for _, v := range parts {
		floats.Add(out, v)
	}
	return out
}

func norm2(c []float64) float64 { return math.Sqrt(floats.Dot(c, c)) }
