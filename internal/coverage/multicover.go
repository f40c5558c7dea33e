package coverage

import (
	"context"
	"fmt"
	mathbits "math/bits"
	"slices"
)

// Multicover asks for the fewest columns such that every row is in as many of
// the chosen ones as it demands.
type Multicover struct {
	Rows    int
	Columns [][]int // per column, the rows it covers, ascending
	Demand  []int   // per row; nil is 1 everywhere
}

// Choice is an answer to a [Multicover].
type Choice struct {
	Columns    []int // chosen, ascending
	LowerBound int   // proven: no choice has fewer columns
	Optimal    bool  // len(Columns) == LowerBound
	Short      []int // rows that all columns together do not cover as often as demanded; they were covered as often as can be
}

// Solve finds a small choice and a bound that proves how small. By itself:
//
//  1. greedily, taking what covers most of what is still lacking, weighted by the
//     multipliers of the bound;
//  2. by exchange: drops what is not needed, puts one for two, and takes out and
//     fills up again at random (seeded);
//  3. the bound is that of Lagrange: for any multipliers u ≥ 0
//     Σ u_r d_r + Σ_c min(0, 1 − Σ_{r in c} u_r), climbed by subgradients
//     (Held, Wolfe and Crowder 1974), which nears that of the relaxed linear
//     programme; rounded up, since choices are whole;
//  4. where the two still differ, by branch and bound, as far as a budget of work
//     goes. Small instances are solved exactly by that.
//
// It is deterministic. Once ctx is done it gives the best choice so far.
func (p *Multicover) Solve(ctx context.Context) *Choice {
	s := newSolver(p)
	s.ctx = ctx
	out := &Choice{Short: s.short}
	if len(s.demand) > 0 {
		s.root()
		if s.bound < len(s.best) {
			s.branch(solverBudget)
		}
		out.Columns, out.LowerBound = s.best, s.bound
	}
	out.Columns, out.LowerBound = append(out.Columns, s.forced...), out.LowerBound+len(s.forced)
	slices.Sort(out.Columns)
	out.Optimal = len(out.Columns) == out.LowerBound
	return out
}

// solverBudget is the work of branch and bound in entries looked at: less than a
// second.
const solverBudget = 250_000_000

func (p *Multicover) demand(r int) int {
	if p.Demand == nil {
		return 1
	}
	return p.Demand[r]
}

// bits is a set of small integers.
type bits []uint64

func newBits(n int) bits      { return make(bits, (n+63)/64) }
func (b bits) set(i int)      { b[i/64] |= 1 << (i % 64) }
func (b bits) has(i int) bool { return b[i/64]>>(i%64)&1 == 1 }
func (b bits) within(c bits) bool { // every element of b is in c
	for i, w := range b {
		if w&^c[i] != 0 {
			return false
		}
	}
	return true
}

// solver works on the rows that matter: of rows in the same columns the most
// demanding, and none that another implies.
type solver struct {
	ctx    context.Context
	cols   [][]int32 // per column, its rows
	rows   [][]int32 // per row, its columns
	demand []int
	sets   []bits // per column, its rows
	short  []int
	forced []int // columns of every choice; the rest is without them
	nnz    int

	best  []int
	bound int
	u     []float64 // multipliers of the best bound at the root
}

// mostImplied is the number of rows up to which implied ones are looked for.
const mostImplied = 6000

func newSolver(p *Multicover) *solver {
	s := &solver{}
	member := make([]bits, p.Rows)
	count := make([]int, p.Rows)
	for r := range member {
		member[r] = newBits(len(p.Columns))
	}
	for c, rows := range p.Columns {
		for _, r := range rows {
			if !member[r].has(c) {
				member[r].set(c)
				count[r]++
			}
		}
	}
	type row struct {
		set    bits
		size   int
		demand int
	}
	// A row that demands all of its columns forces them. With these out of the
	// way every row has more columns left than it demands, or demands none.
	demand := make([]int, p.Rows)
	forced := newBits(len(p.Columns))
	for r := range member {
		if demand[r] = p.demand(r); demand[r] > count[r] {
			s.short = append(s.short, r)
			demand[r] = count[r]
		}
		if demand[r] > 0 && demand[r] == count[r] {
			for i, w := range member[r] {
				forced[i] |= w
			}
		}
	}
	for c := range p.Columns {
		if forced.has(c) {
			s.forced = append(s.forced, c)
		}
	}
	var kept []row
	seen := map[string]int{}
	for r := range member {
		d := demand[r]
		for i, w := range forced {
			n := mathbits.OnesCount64(member[r][i] & w)
			d, count[r] = d-n, count[r]-n
			member[r][i] &^= w
		}
		if d <= 0 {
			continue
		}
		key := fmt.Sprint(member[r])
		if k, ok := seen[key]; ok {
			kept[k].demand = max(kept[k].demand, d)
			continue
		}
		seen[key] = len(kept)
		kept = append(kept, row{member[r], count[r], d})
	}
	// A row whose columns include all of another's, which demands no less, holds
	// by itself.
	implied := make([]bool, len(kept))
	if len(kept) <= mostImplied {
		for i := range kept {
			for j := range kept {
				if i != j && !implied[j] && kept[j].demand >= kept[i].demand && kept[j].size <= kept[i].size && kept[j].set.within(kept[i].set) {
					implied[i] = true
					break
				}
			}
		}
	}
	s.cols = make([][]int32, len(p.Columns))
	for i, k := range kept {
		if implied[i] {
			continue
		}
		r := len(s.demand)
		s.demand = append(s.demand, k.demand)
		s.rows = append(s.rows, nil)
		for c := range p.Columns {
			if k.set.has(c) {
				s.cols[c] = append(s.cols[c], int32(r))
				s.rows[r] = append(s.rows[r], int32(c))
				s.nnz++
			}
		}
	}
	s.sets = make([]bits, len(s.cols))
	for c, rows := range s.cols {
		s.sets[c] = newBits(len(s.demand))
		for _, r := range rows {
			s.sets[c].set(int(r))
		}
	}
	return s
}
