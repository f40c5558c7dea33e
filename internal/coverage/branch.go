package coverage

import (
	"math"
	"slices"
)

// lagrange climbs the bound of a part of a problem.
type lagrange struct {
	s      *solver
	demand []int // what is still lacking, by row
	free   []bool

	bestU []float64
	rc    []float64 // reduced costs at bestU
}

// climb changes u by subgradients for so many steps and gives the best bound,
// beside which target (the fewest columns known) makes the step.
func (l *lagrange) climb(u []float64, steps int, target func(step int, u []float64) int) float64 {
	best := math.Inf(-1)
	theta, still := 2.0, 0
	g := make([]float64, len(u))
	way := make([]float64, len(u)) // g, and what is left of the steps before
	rc := make([]float64, len(l.s.cols))
	for step := range steps {
		if step > 0 && l.s.ctx.Err() != nil {
			break
		}
		value := 0.0
		for r, d := range l.demand {
			value += u[r] * float64(max(d, 0))
			g[r] = float64(max(d, 0))
		}
		for c := range l.s.cols {
			if l.free != nil && !l.free[c] {
				continue
			}
			cost := 1.0
			for _, r := range l.s.cols[c] {
				cost -= u[r]
			}
			rc[c] = cost
			if cost < 0 {
				value += cost
				for _, r := range l.s.cols[c] {
					g[r]--
				}
			}
		}
		if value > best+1e-9 {
			if value > best+1e-4 {
				still = 0
			}
			best = value
			l.bestU, l.rc = slices.Clone(u), slices.Clone(rc)
		} else if still++; still >= 30 {
			theta, still = theta*0.7, 0
		}
		goal := target(step, u)
		if whole(best) >= goal || theta < 1e-4 {
			break
		}
		// Where the last way points back, part of it stays, so that the steps do not
		// zigzag (Camerini, Fratta and Maffioli 1975).
		back, length := 0.0, 0.0
		for r, v := range g {
			if l.demand[r] <= 0 || u[r] <= 0 && v < 0 {
				g[r], way[r] = 0, 0
				continue
			}
			back += v * way[r]
			length += way[r] * way[r]
		}
		share := 0.0
		if back < 0 && length > 0 {
			share = -1.5 * back / length
		}
		norm := 0.0
		for r, v := range g {
			way[r] = v + share*way[r]
			norm += way[r] * way[r]
		}
		if norm == 0 {
			break
		}
		t := theta * (float64(goal) + 0.05 - value) / norm
		for r, v := range way {
			u[r] = max(0, u[r]+t*v)
		}
	}
	return best
}

// brancher searches all that may be better than the best known choice.
type brancher struct {
	*solver
	work   int // entries that may still be looked at
	demand []int
	free   []bool
	taken  []int
	open   []int // bounds of nodes that were given up for want of work
}

// nodeSteps is how far the bound is climbed in a node: its start, that of the
// node above, is near.
const nodeSteps = 25

// branch improves best and bound.
func (s *solver) branch(budget int) {
	b := &brancher{solver: s, work: budget, demand: slices.Clone(s.demand), free: make([]bool, len(s.cols))}
	for c := range b.free {
		b.free[c] = len(s.cols[c]) > 0
	}
	b.node(slices.Clone(s.u), s.bound)
	bound := len(s.best)
	for _, v := range b.open {
		bound = min(bound, v)
	}
	s.bound = max(s.bound, bound)
}

// node searches below what is taken and free; above is the bound that the node
// over it has.
func (b *brancher) node(u []float64, above int) {
	if b.work <= 0 || b.ctx.Err() != nil {
		b.open = append(b.open, above)
		return
	}
	lacking := false
	for r, d := range b.demand {
		if d <= 0 {
			continue
		}
		lacking = true
		n := 0
		for _, c := range b.rows[r] {
			if b.free[c] {
				n++
			}
		}
		if n < d {
			return // cannot be
		}
	}
	if !lacking {
		if len(b.taken) < len(b.best) {
			b.best = slices.Clone(b.taken)
		}
		return
	}
	if len(b.taken)+1 >= len(b.best) {
		return
	}
	l := &lagrange{s: b.solver, demand: b.demand, free: b.free}
	goal := len(b.best) - len(b.taken)
	value := l.climb(u, nodeSteps, func(step int, _ []float64) int {
		b.work -= b.nnz
		return goal
	})
	bound := max(above, len(b.taken)+whole(value))
	if bound >= len(b.best) {
		return
	}
	b.keep(b.greedy(b.taken, b.free, l.bestU))
	if bound >= len(b.best) {
		return
	}
	// Columns that the bound rules out or in.
	limit := float64(len(b.best)-len(b.taken)-1) + wholeSlack
	var out, in []int
	for c, free := range b.free {
		if !free {
			continue
		}
		switch rc := l.rc[c]; {
		case rc > 0 && value+rc > limit:
			out = append(out, c)
		case rc < 0 && value-rc > limit:
			in = append(in, c)
		}
	}
	for _, c := range out {
		b.free[c] = false
	}
	for _, c := range in {
		b.take(c)
	}
	if len(in) > 0 {
		b.node(slices.Clone(l.bestU), bound)
	} else if c := b.pick(l); c >= 0 {
		b.take(c)
		b.node(slices.Clone(l.bestU), bound)
		b.drop(c)
		b.node(slices.Clone(l.bestU), bound)
		b.free[c] = true
	}
	for _, c := range in {
		b.drop(c)
		b.free[c] = true
	}
	for _, c := range out {
		b.free[c] = true
	}
}

// pick gives the column to branch on: of the row with the least choice beyond its
// demand, the one that the multipliers like most.
func (b *brancher) pick(l *lagrange) int {
	row, least := -1, math.MaxInt
	for r, d := range b.demand {
		if d <= 0 {
			continue
		}
		n := -d
		for _, c := range b.rows[r] {
			if b.free[c] {
				n++
			}
		}
		if n < least || n == least && l.bestU[r] > l.bestU[row] {
			row, least = r, n
		}
	}
	best := -1
	for _, c := range b.rows[row] {
		if b.free[c] && (best < 0 || l.rc[c] < l.rc[best]) {
			best = int(c)
		}
	}
	return best
}

func (b *brancher) take(c int) {
	b.taken = append(b.taken, c)
	b.free[c] = false
	for _, r := range b.cols[c] {
		b.demand[r]--
	}
}

// drop takes back the column that is on top, or any other, and leaves it not free.
func (b *brancher) drop(c int) {
	i := slices.Index(b.taken, c)
	b.taken = slices.Delete(b.taken, i, i+1)
	for _, r := range b.cols[c] {
		b.demand[r]++
	}
}
