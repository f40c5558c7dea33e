package doubt

import (
	"math"
	"slices"

	"footrule/internal/parallel"

	"github.com/paulmach/orb"
	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
)

// held is what a radio says of a unit left out: the block of S⁻¹ over its rows.
type held struct {
	idx  []int // places in radioFit.rows
	w    []float64
	mu   float64 // what they are predicted to read at their recorded place, less the band's mean
	v    float64 // its variance, units of s²
	mean float64 // what they read, less the band's mean there
}

// leaveOut gives what the other rows say of the mean level of rows idx of a
// radio, by the block of S⁻¹.
func (f *fit) leaveOut(k int, unit []int) (held, bool) {
	rf, kr := &f.radios[k], &f.krigs[k]
	var h held
	for _, i := range unit {
		if a, ok := slices.BinarySearch(rf.rows, i); ok {
			h.idx = append(h.idx, a)
		}
	}
	m := len(h.idx)
	if m == 0 || len(rf.rows)-m < 3 {
		return h, false
	}
	// Residual of rows I from the others is (K_II)⁻¹ α_I with K = S⁻¹, its
	// covariance (K_II)⁻¹; of their mean, wᵀ of both.
	block, rhs := make([]float64, m*m), make([]float64, 2*m)
	for a, i := range h.idx {
		for b, j := range h.idx {
			block[a*m+b] = kr.inv[i*kr.n+j]
		}
		rhs[2*a], rhs[2*a+1] = kr.alpha[i], 1/float64(m)
		h.mean += kr.e[i] / float64(m)
	}
	sol := solveSym(block, rhs, 2)
	h.w = make([]float64, m)
	res := 0.0
	for a := range m {
		res += sol[2*a] / float64(m)
		h.v += sol[2*a+1] / float64(m)
		h.w[a] = sol[2*a]
	}
	h.mu = h.mean - res
	return h, true
}

// solveSym solves A X = B, A symmetric positive definite.
func solveSym(a, b []float64, columns int) []float64 {
	n := len(b) / columns
	for j := range n {
		d := a[j*n+j]
		for k := range j {
			d -= a[j*n+k] * a[j*n+k]
		}
		d = math.Sqrt(max(d, 1e-12))
		a[j*n+j] = d
		for i := j + 1; i < n; i++ {
			s := a[i*n+j]
			for k := range j {
				s -= a[i*n+k] * a[j*n+k]
			}
			a[i*n+j] = s / d
		}
	}
	for c := range columns {
		for i := range n {
			s := b[i*columns+c]
			for k := range i {
				s -= a[i*n+k] * b[k*columns+c]
			}
			b[i*columns+c] = s / a[i*n+i]
		}
		for i := n - 1; i >= 0; i-- {
			s := b[i*columns+c]
			for k := i + 1; k < n; k++ {
				s -= a[k*n+i] * b[k*columns+c]
			}
			b[i*columns+c] = s / a[i*n+i]
		}
	}
	return b
}

// levels is what every radio is expected to read where someone can stand on a floor.
type levels struct {
	cells []int // of the ground, those where someone can stand
	at    []orb.Point
	maps  []kriging // per radio
}

// levelsOn kriges the radios over a floor, ready to leave units out.
func (f *fit) levelsOn(floor int, units [][]int) *levels {
	r, ground := f.v.rows, f.v.ground
	g := &levels{}
	var floors []int
	for c, p := range ground.cells[floor] {
		if r.site.Floors[floor].Walkable(p) {
			g.cells, g.at, floors = append(g.cells, c), append(g.at, p), append(floors, floor)
		}
	}
	n := len(g.cells)
	if n == 0 {
		return g
	}
	near := make([]float64, r.n*n) // C between rows and cells
	parallel.Do(r.n, func(i int) {
		if r.floor[i] != floor {
			return
		}
		for c := range n {
			near[i*n+c] = (1 - f.rho) * math.Exp(-distance(r.at[i], g.at[c])/f.ell)
		}
	})
	w := ground.measure(f.v.spots, floors, g.at)
	g.maps = make([]kriging, len(f.radios))
	parallel.Do(len(f.radios), func(k int) { g.maps[k] = f.mapOf(k, floor, g.at, near, w, units) })
	return g
}

// kriging is the level of one radio at every cell from all rows that heard it.
type kriging struct {
	mean []float64   // dBm
	v    []float64   // units of s²
	u    [][]float64 // per unit: Σ_i w_i (S⁻¹ k(q))_i over its rows; nil where it did not hear
	uu   [][]float64 // per unit: (S⁻¹k)_I (K_II)⁻¹ (S⁻¹k)_I
}

func (f *fit) mapOf(k, floor int, at []orb.Point, near []float64, w *ways, units [][]int) kriging {
	n := len(at)
	rf, kr := &f.radios[k], &f.krigs[k]
	b := &f.bands[rf.band]
	out := kriging{mean: make([]float64, n), v: make([]float64, n), u: make([][]float64, len(units)), uu: make([][]float64, len(units))}
	if len(rf.rows) < 3 {
		return out
	}
	va, vn := f.priors(rf)
	x := make([]float64, n)
	for c := range n {
		x[c] = w.x[c*w.spots+rf.ap]
		out.mean[c] = b.level + b.exponent*x[c]
		for m, loss := range b.loss {
			out.mean[c] -= loss * w.c[m][c*w.spots+rf.ap]
		}
		out.mean[c] += f.v.aimed(k, f.v.spots[rf.ap], floor, at[c])
		out.v[c] = 1 + va + vn*x[c]*x[c]
	}
	t := make([]float64, len(rf.rows)*n) // Uᵀ \ k
	for a, i := range rf.rows {
		row, xi := t[a*n:(a+1)*n], f.x(rf, i)
		copy(row, near[i*n:(i+1)*n])
		for c := range row {
			row[c] += va + vn*xi*x[c]
			out.mean[c] += row[c] * kr.alpha[a]
		}
	}
	whiten(kr.chol, t, n)
	for a := range rf.rows {
		for c, v := range t[a*n : (a+1)*n] {
			out.v[c] -= v * v
		}
	}
	for u, unit := range units {
		h, ok := f.leaveOut(k, unit)
		if !ok {
			continue
		}
		// (S⁻¹ k(q))_i = row i of U⁻¹ t.
		m := len(h.idx)
		rows := make([]float64, m*n)
		for j, a := range h.idx {
			col := make([]float64, kr.n) // Uᵀ⁻¹ e_a
			col[a] = 1
			blas64.Trsv(blas.Trans, kr.chol, blas64.Vector{N: kr.n, Inc: 1, Data: col})
			row := rows[j*n : (j+1)*n]
			for b, v := range col {
				if v != 0 {
					blas64.Axpy(v, blas64.Vector{N: n, Inc: 1, Data: t[b*n : (b+1)*n]}, blas64.Vector{N: n, Inc: 1, Data: row})
				}
			}
		}
		out.u[u], out.uu[u] = make([]float64, n), make([]float64, n)
		for j := range h.idx {
			for c := range n {
				out.u[u][c] += h.w[j] * rows[j*n+c]
			}
		}
		block := make([]float64, m*m)
		for p, i := range h.idx {
			for q, j := range h.idx {
				block[p*m+q] = kr.inv[i*kr.n+j]
			}
		}
		sol := solveSym(block, slices.Clone(rows), n)
		for j := range rows {
			out.uu[u][j%n] += rows[j] * sol[j]
		}
	}
	return out
}
