package doubt

import (
	"math"
	"slices"

	"github.com/paulmach/orb"
	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
)

// Constants of a point at the wrong place.
const (
	pointNu     = 8.0 // degrees of freedom of a single level
	worstRows   = 16  // rows that are looked at closely, the worst predicted
	exchangeTop = 6   // rows among which exchanges are tried
	exchangeGap = 5.0 // metres between points that can be told from each other
	leastPointM = 4.0
)

// spotted is a row (or all rows of its place) with what it says of where it was
// made.
type spotted struct {
	rows []int
	lbf  float64
	at   Place
}

// points looks for visits that were made elsewhere. The level of each radio is
// kriged from the rows of other places at every place q where someone can stand;
// radios are summed as t(8) about an offset that all of the row share, with
// log P(unheard) of those it did not hear, and
//
//	lbf = log mean_q exp(l(q) − l(recorded))
func (f *fit) points() []spotted {
	units := f.units()
	worth := make([]float64, len(units))
	each(len(units), func(u int) { worth[u] = f.misfit(units[u]) })
	order := make([]int, len(units))
	for i := range order {
		order[i] = i
	}
	sortBy(order, func(u int) float64 { return -worth[u] })
	order = order[:min(len(order), worstRows)]
	var out []spotted
	r := f.v.rows
	for fl := range r.site.Floors {
		var here [][]int
		for _, u := range order {
			if r.floor[units[u][0]] == fl {
				here = append(here, units[u])
			}
		}
		if len(here) > 0 {
			out = append(out, f.pointsOn(fl, here)...)
		}
	}
	slices.SortStableFunc(out, func(a, b spotted) int {
		switch {
		case a.lbf > b.lbf:
			return -1
		case a.lbf < b.lbf:
			return 1
		}
		return 0
	})
	return out
}

// units are the rows one by one, and together where several were made at one place.
func (f *fit) units() [][]int {
	r := f.v.rows
	by := map[int][]int{}
	var out [][]int
	for i := range r.n {
		if !r.out[i] {
			out = append(out, []int{i})
			by[r.place[i]] = append(by[r.place[i]], i)
		}
	}
	for i := range r.n {
		if rows := by[r.place[i]]; len(rows) > 1 && rows[0] == i {
			out = append(out, rows)
		}
	}
	return out
}

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

// misfit is how badly a unit is predicted from the others, per radio heard: the
// units worth a closer look come first.
func (f *fit) misfit(unit []int) float64 {
	var z []float64
	for k := range f.radios {
		if h, ok := f.leaveOut(k, unit); ok {
			z = append(z, (h.mean-h.mu)/math.Sqrt(h.v*f.bands[f.radios[k].band].s2))
		}
	}
	mid := median(z)
	sum := 0.0
	for _, v := range z {
		v -= mid
		sum += min(v*v, 16) - 1
	}
	return sum
}

// pointsOn looks at units of one floor closely.
func (f *fit) pointsOn(floor int, units [][]int) []spotted {
	g := f.levelsOn(floor, units)
	if len(g.cells) == 0 {
		return nil
	}
	out := make([]spotted, len(units))
	each(len(units), func(u int) { out[u] = f.pointAt(u, units[u], floor, g) })
	return slices.DeleteFunc(out, func(s spotted) bool { return s.rows == nil })
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
	each(r.n, func(i int) {
		if r.floor[i] != floor {
			return
		}
		for c := range n {
			near[i*n+c] = (1 - f.rho) * math.Exp(-distance(r.at[i], g.at[c])/f.ell)
		}
	})
	w := ground.measure(f.v.spots, floors, g.at)
	g.maps = make([]kriging, len(f.radios))
	each(len(f.radios), func(k int) { g.maps[k] = f.mapOf(k, floor, g.at, near, w, units) })
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

// pointAt gives what a unit says of where it was made.
func (f *fit) pointAt(u int, unit []int, floor int, g *levels) spotted {
	r, n, maps := f.v.rows, len(g.cells), g.maps
	type obs struct {
		res, v []float64 // per cell, then at the recorded place; dB, dB²
		share  float64
	}
	var heard []obs
	quiet := make([]float64, n+1)
	m := float64(len(unit))
	for k := range f.radios {
		rf := &f.radios[k]
		b := &f.bands[rf.band]
		h, ok := f.leaveOut(k, unit)
		switch {
		case ok && maps[k].u[u] != nil:
			o := obs{make([]float64, n+1), make([]float64, n+1), f.share(rf.ap)}
			y := 0.0 // their mean level
			for _, a := range h.idx {
				y += f.y(k, rf.rows[a]) / float64(len(h.idx))
			}
			fewer := f.rho * (1 - 1/float64(len(h.idx))) // a mean has less of the nugget
			for c := range n {
				o.res[c] = y - (maps[k].mean[c] - maps[k].u[u][c])
				o.v[c] = max(maps[k].v[c]+maps[k].uu[u][c]-fewer, .05) * b.s2
			}
			o.res[n], o.v[n] = h.mean-h.mu, max(h.v, .05)*b.s2
			heard = append(heard, o)
		case len(rf.rows) >= 3 && len(h.idx) == 0:
			share := f.share(rf.ap)
			for _, i := range unit {
				c := k*r.n + i
				if r.listened[c] == 0 {
					continue
				}
				pm, fl := f.odds(r.listened[c]), r.floorDBm[c]
				for q := range n {
					quiet[q] += share * unheard(pm, maps[k].mean[q], math.Sqrt(max(maps[k].v[q], .05)*b.s2), fl) / m
				}
				mu, sd := f.predict(k, i, rf.rows, &f.krigs[k])
				quiet[n] += share * unheard(pm, mu, sd, fl) / m
			}
		}
	}
	if len(heard) < 3 {
		return spotted{}
	}
	ll := make([]float64, n+1)
	s2 := f.shareDB * f.shareDB
	for q := range ll {
		s0, s1 := 1/s2, 0.0
		for i := range heard {
			s0 += heard[i].share / heard[i].v[q]
			s1 += heard[i].share * heard[i].res[q] / heard[i].v[q]
		}
		off := s1 / s0
		l := quiet[q] - .5*off*off/s2 - .5*math.Log(s2*s0)
		for i := range heard {
			d := heard[i].res[q] - off
			l -= .5 * heard[i].share * (math.Log(heard[i].v[q]) + (pointNu+1)*math.Log1p(d*d/(heard[i].v[q]*pointNu)))
		}
		ll[q] = l
	}
	rel := make([]float64, n)
	for c := range rel {
		rel[c] = ll[c] - ll[n]
	}
	full := make([]float64, len(f.v.ground.cells[floor]))
	for c := range full {
		full[c] = math.Inf(-1)
	}
	for c, cell := range g.cells {
		full[cell] = rel[c]
	}
	out := spotted{rows: unit, lbf: logMean(rel), at: f.place(full, floor)}
	if distance(out.at.At, r.at[unit[0]]) < leastPointM {
		out.lbf = min(out.lbf, 0)
	}
	return out
}

// exchanges tries every two of the worst rows in each other's places, by the
// likelihood of the site.
func (f *fit) exchanges(worst []spotted, before float64) []Finding {
	r := f.v.rows
	var top []spotted
	for _, s := range worst {
		if s.lbf > exchangeLeast && len(top) < exchangeTop && !slices.ContainsFunc(top, func(o spotted) bool { return r.place[o.rows[0]] == r.place[s.rows[0]] }) {
			top = append(top, s)
		}
	}
	var pairs [][2]int
	for a := range top {
		for b := range a {
			i, j := top[a].rows[0], top[b].rows[0]
			if r.floor[i] == r.floor[j] && distance(r.at[i], r.at[j]) >= exchangeGap {
				pairs = append(pairs, [2]int{b, a})
			}
		}
	}
	gain := make([]float64, len(pairs))
	each(len(pairs), func(p int) {
		gain[p] = f.again(f.v.with(exchanged(r, top[pairs[p][0]].rows, top[pairs[p][1]].rows), f.v.spots, true)).total() - before
	})
	var out []Finding
	for p, g := range gain {
		a, b := &top[pairs[p][0]], &top[pairs[p][1]]
		fd := Finding{Kind: Exchange, Effect: distance(r.at[a.rows[0]], r.at[b.rows[0]]), SE: math.NaN(), Unit: "m",
			LBF: g, Threshold: max(thresholds[Exchange], max(a.lbf, 0)+max(b.lbf, 0)), row: a.rows[0], partner: b.rows[0], sets: [2][]int{a.rows, b.rows}}
		fd.Visits = []Visit{*f.visit(a.rows[0]), *f.visit(b.rows[0])}
		out = append(out, fd)
	}
	return out
}

// exchangeLeast is the evidence below which a row is not worth an exchange.
const exchangeLeast = 1.0

// exchanged gives rows with the places of two sets of them exchanged.
func exchanged(r *rows, a, b []int) *rows {
	out := r.clone()
	pa, pb := r.at[a[0]], r.at[b[0]]
	for _, i := range a {
		out.at[i] = pb
	}
	for _, i := range b {
		out.at[i] = pa
	}
	return out
}
