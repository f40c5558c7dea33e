package propagation

import (
	"footrule/internal/parallel"

	"gonum.org/v1/gonum/floats"
)

// triangle is the upper factor R of A = QR, row by row in a full square. Where A
// is a design with the observations as its last column, that column of R is Qᵀy,
// and forward and backward solve for the columns before it.
type triangle struct {
	n int
	r []float64
}

func (t *triangle) at(i, j int) float64 { return t.r[i*t.n+j] }

// triangleOf factors columns of one length. A run of rows is factored by itself,
// by the modified process of Gram and Schmidt, whose R has no more rounding in it
// than Householder's (Björck and Paige, SIAM J. Matrix Anal. Appl. 13, 1992); and
// then the triangles of all runs, stacked.
func triangleOf(columns [][]float64) *triangle {
	n, rows := len(columns), len(columns[0])
	run := max(chunkRows, 4*n) // stacked there are a quarter of the rows at most
	runs := make([]*triangle, (rows+run-1)/run)
	parallel.Do(len(runs), func(c int) {
		lo, hi := c*run, min((c+1)*run, rows)
		room := runRooms.Get().(*room)
		defer room.leave(runRooms)
		q := make([][]float64, n)
		for j := range q {
			q[j] = room.float(hi - lo)
			copy(q[j], columns[j][lo:hi])
		}
		runs[c] = gramSchmidt(q)
	})
	if len(runs) == 1 {
		return runs[0]
	}
	stacked := make([][]float64, n)
	for j := range stacked {
		for _, t := range runs {
			for i := range n {
				stacked[j] = append(stacked[j], t.at(i, j))
			}
		}
	}
	return triangleOf(stacked)
}

// gramSchmidt makes columns orthonormal in place; a column that is zero when its
// turn comes stays zero.
func gramSchmidt(q [][]float64) *triangle {
	n := len(q)
	t := &triangle{n, make([]float64, n*n)}
	for j := range q {
		length := norm2(q[j])
		t.r[j*n+j] = length
		if length == 0 {
			continue
		}
		floats.Scale(1/length, q[j])
		for k := j + 1; k < n; k++ {
			s := floats.Dot(q[j], q[k])
			t.r[j*n+k] = s
			floats.AddScaled(q[k], -s, q[j])
		}
	}
	return t
}

// forward solves Rᵀx = b in place, for the first columns of R.
func (t *triangle) forward(b []float64) {
	for i := range b {
		for k := range i {
			b[i] -= t.at(k, i) * b[k]
		}
		b[i] /= t.at(i, i)
	}
}

// backward solves Rx = b in place, for the first columns of R.
func (t *triangle) backward(b []float64) {
	for i := len(b) - 1; i >= 0; i-- {
		for k := i + 1; k < len(b); k++ {
			b[i] -= t.at(i, k) * b[k]
		}
		b[i] /= t.at(i, i)
	}
}
