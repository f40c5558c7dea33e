package kriging

import (
	"github.com/paulmach/orb"
	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// Map carries a system onto a list of places: the weights B = K⁻¹ C(rows, places),
// found once. It is safe for use by several goroutines.
type Map struct {
	System *System
	At     []orb.Point

	weights []float64 // n × places, row by row
	share   []float64 // per place, variance over s²
}

// Onto prepares predictions at places: n² steps for each of them, once.
func (s *System) Onto(at []orb.Point) *Map {
	n, c := s.Rows(), len(at)
	m := &Map{System: s, At: at, weights: make([]float64, n*c), share: make([]float64, c)}
	for j := range m.share {
		m.share[j] = 1
	}
	if n == 0 || c == 0 {
		return m
	}
	for i, p := range s.Layout.At {
		s.correlations(p, at, m.weights[i*c:(i+1)*c])
	}
	// With K⁻¹ = RᵀR the variance explained is the square of RC.
	w := blas64.General{Rows: n, Cols: c, Stride: c, Data: m.weights}
	blas64.Trmm(blas.Left, blas.NoTrans, 1, s.triangle(), w)
	for i := range n {
		for j, v := range m.weights[i*c : (i+1)*c] {
			m.share[j] -= v * v
		}
	}
	for j, v := range m.share {
		m.share[j] = max(v, 0)
	}
	blas64.Trmm(blas.Left, blas.Trans, 1, s.triangle(), w)
	return m
}

// Mean sets dst to the prediction of g at every place from y:
//
//	m(x) = C(x, rows) K⁻¹ y
func (m *Map) Mean(y, dst []float64) {
	clear(dst)
	c := len(m.At)
	for i, v := range y {
		if v != 0 {
			floats.AddScaled(dst, v, m.weights[i*c:(i+1)*c])
		}
	}
}

// Variance sets dst to the variance over s² of g at every place given the rows,
// without the noise of a value there.
func (m *Map) Variance(dst []float64) { copy(dst, m.share) }

// drop adds to mean and variance what leaving out a block changes; with b the rows
// P of the weights at x,
//
//	m₋P(x) = m(x) − bᵀ ((K⁻¹)_PP)⁻¹ z_P,  v₋P(x) = v(x) + bᵀ ((K⁻¹)_PP)⁻¹ b
//
// z_P is written over.
func (m *Map) drop(b *Block, zP, mean, variance []float64) {
	// With (K⁻¹)_PP = UᵀU both are of the rows U⁻ᵀb: their products with U⁻ᵀz_P, and
	// their squares.
	n, c := len(b.rows), len(m.At)
	b.half(zP)
	var rows []float64
	if n > 1 {
		rows = make([]float64, n*c)
	}
	for a, i := range b.rows {
		row, scale := m.weights[i*c:(i+1)*c], 1/b.upper[a*n+a]
		if n > 1 {
			row = rows[a*c : (a+1)*c]
			copy(row, m.weights[i*c:(i+1)*c])
			for d := range a {
				floats.AddScaled(row, -b.upper[d*n+a], rows[d*c:(d+1)*c])
			}
			floats.Scale(scale, row)
			scale = 1
		}
		by, square := -zP[a]*scale, scale*scale
		mean, variance := mean[:len(row)], variance[:len(row)]
		for j, v := range row {
			mean[j] += by * v
			variance[j] += square * v * v
		}
	}
}

// Carried is a map of values that are linear in coefficients, with further columns
// at the places that have the same coefficients: the mean function there, as a rule.
type Carried struct {
	Map    *Map
	solved *Solved
	means  [][]float64 // per column, over places: what is added and what is predicted
}

// Carry prepares means Σ c_b (x_b + C K⁻¹ y_b): rows × columns steps for every place,
// once, and then columns. The map has to be of the system that solved.
func (m *Map) Carry(l *Linear, solved *Solved, further [][]float64) *Carried {
	c := &Carried{Map: m, solved: solved}
	for b, y := range l.Columns {
		mean := make([]float64, len(m.At))
		m.Mean(y, mean)
		floats.Add(mean, further[b])
		c.means = append(c.means, mean)
	}
	return c
}

// Without sets mean, that of the further columns in it, and variance to those of
// the rows outside of a block.
func (c *Carried) Without(coef []float64, rows []int, mean, variance []float64) {
	clear(mean)
	for b, v := range c.means {
		floats.AddScaled(mean, coef[b], v)
	}
	c.Map.Variance(variance)
	if len(rows) > 0 {
		b := c.solved.System.Block(rows)
		c.Map.drop(b, b.of(c.solved, coef), mean, variance)
	}
}

// Covariance sets dst to the covariance over s² of g at another place with g at
// every place, given the rows.
func (m *Map) Covariance(at orb.Point, dst []float64) {
	s, c := m.System, len(m.At)
	s.correlations(at, m.At, dst)
	rows := make([]float64, s.Rows())
	s.correlations(at, s.Layout.At, rows)
	for i, v := range rows {
		floats.AddScaled(dst, -v, m.weights[i*c:(i+1)*c])
	}
}

// After sets dst to the variance over s² of g at every place once further rows
// were there too, whatever they say: the variance does not depend on values.
func (m *Map) After(further Layout, dst []float64) error {
	s, n, c := m.System, len(further.At), len(m.At)
	m.Variance(dst)
	if n == 0 {
		return nil
	}
	// The covariance of the further rows given the rows.
	given := mat.NewSymDense(n, nil)
	z, k := make([]float64, s.Rows()), make([][]float64, n)
	for a, p := range further.At {
		k[a] = make([]float64, s.Rows())
		s.correlations(p, s.Layout.At, k[a])
		s.Solve(k[a], z)
		own := make([]float64, a+1)
		s.correlations(p, further.At[:a+1], own)
		for b, v := range own {
			v -= floats.Dot(z, k[b])
			if a == b {
				v += s.Ratio * further.Noise[a]
			}
			given.SetSym(b, a, v)
		}
	}
	var ch mat.Cholesky
	if !ch.Factorize(given) {
		return ErrSingular
	}
	var u mat.TriDense
	ch.UTo(&u)
	half := make([]float64, n*c)
	for a, p := range further.At {
		row := half[a*c : (a+1)*c]
		m.Covariance(p, row)
		for d := range a {
			floats.AddScaled(row, -u.At(d, a), half[d*c:(d+1)*c])
		}
		floats.Scale(1/u.At(a, a), row)
		for j, v := range row {
			dst[j] = max(0, dst[j]-v*v)
		}
	}
	return nil
}
