package coverage

import (
	"fmt"
	"math"
	mathbits "math/bits"
	"math/rand/v2"
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
// It is deterministic.
func (p *Multicover) Solve() *Choice { return p.solve(solverBudget) }

// solverBudget is the work of branch and bound in entries looked at: less than a
// second.
const solverBudget = 250_000_000

func (p *Multicover) solve(budget int) *Choice {
	s := newSolver(p)
	out := &Choice{Short: s.short}
	if len(s.demand) > 0 {
		s.root()
		if s.bound < len(s.best) {
			s.branch(budget)
		}
		out.Columns, out.LowerBound = s.best, s.bound
	}
	out.Columns, out.LowerBound = append(out.Columns, s.forced...), out.LowerBound+len(s.forced)
	slices.Sort(out.Columns)
	out.Optimal = len(out.Columns) == out.LowerBound
	return out
}

// Check reports whether the columns cover every row as demanded, but for short
// rows, which all columns that cover them must be chosen for.
func (p *Multicover) Check(columns []int) error {
	have, could := make([]int, p.Rows), make([]int, p.Rows)
	for c, rows := range p.Columns {
		for _, r := range rows {
			could[r]++
			if slices.Contains(columns, c) {
				have[r]++
			}
		}
	}
	for r, n := range have {
		if d := min(p.demand(r), could[r]); n < d {
			return fmt.Errorf("row %d is covered %d times of %d", r, n, d)
		}
	}
	return nil
}

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

// greedy chooses from the free columns, beside those taken, by the weight of the
// rows still lacking; nil where that does not do.
func (s *solver) greedy(taken []int, free []bool, weight []float64) []int {
	lack := slices.Clone(s.demand)
	left := 0
	in := make([]bool, len(s.cols))
	for _, c := range taken {
		in[c] = true
		for _, r := range s.cols[c] {
			lack[r]--
		}
	}
	gain := make([]float64, len(s.cols))
	for r, n := range lack {
		if n > 0 {
			left += n
			for _, c := range s.rows[r] {
				gain[c] += weight[r]
			}
		}
	}
	out := slices.Clone(taken)
	for left > 0 {
		best := -1
		for c := range s.cols {
			if !in[c] && (free == nil || free[c]) && gain[c] > 1e-12 && (best < 0 || gain[c] > gain[best]+1e-12) {
				best = c
			}
		}
		if best < 0 {
			return nil
		}
		in[best] = true
		out = append(out, best)
		for _, r := range s.cols[best] {
			if lack[r]--; lack[r] >= 0 {
				left--
				if lack[r] == 0 {
					for _, c := range s.rows[r] {
						gain[c] -= weight[r]
					}
				}
			}
		}
	}
	return s.thinned(out)
}

// thinned drops columns that are not needed, those that cover least first.
func (s *solver) thinned(cols []int) []int {
	have := make([]int, len(s.demand))
	for _, c := range cols {
		for _, r := range s.cols[c] {
			have[r]++
		}
	}
	order := slices.Clone(cols)
	slices.SortStableFunc(order, func(a, b int) int { return len(s.cols[a]) - len(s.cols[b]) })
	var out []int
	for _, c := range order {
		needed := false
		for _, r := range s.cols[c] {
			if have[r] <= s.demand[r] {
				needed = true
				break
			}
		}
		if needed {
			out = append(out, c)
			continue
		}
		for _, r := range s.cols[c] {
			have[r]--
		}
	}
	return out
}

// exchange looks for one column in the place of two, until there is none.
func (s *solver) exchange(cols []int) []int {
	for {
		shorter := s.twoForOne(cols)
		if shorter == nil {
			return cols
		}
		cols = s.thinned(shorter)
	}
}

func (s *solver) twoForOne(cols []int) []int {
	have := make([]int, len(s.demand))
	in := make([]bool, len(s.cols))
	for _, c := range cols {
		in[c] = true
		for _, r := range s.cols[c] {
			have[r]++
		}
	}
	gap := newBits(len(s.demand))
	for i, a := range cols {
		for _, b := range cols[i+1:] {
			clear(gap)
			wide, first := false, int32(-1)
			for _, r := range s.cols[a] {
				over := have[r] - s.demand[r]
				both := s.sets[b].has(int(r))
				if both && over == 0 {
					wide = true
					break
				}
				if over == 0 || both && over == 1 {
					gap.set(int(r))
					first = r
				}
			}
			if wide {
				continue
			}
			for _, r := range s.cols[b] {
				if have[r] == s.demand[r] {
					gap.set(int(r))
					first = r
				}
			}
			if first < 0 {
				continue // thinned would have seen it
			}
			for _, c := range s.rows[first] {
				if !in[c] && gap.within(s.sets[c]) {
					out := []int{int(c)}
					for _, k := range cols {
						if k != a && k != b {
							out = append(out, k)
						}
					}
					return out
				}
			}
		}
	}
	return nil
}

// keep takes a choice if it is the smallest so far.
func (s *solver) keep(cols []int) {
	if cols == nil {
		return
	}
	if s.best == nil || len(cols) < len(s.best) {
		cols = s.exchange(cols)
	}
	if s.best == nil || len(cols) < len(s.best) {
		s.best = slices.Clone(cols)
	}
}

// Slack under which a bound is rounded up all the same.
const wholeSlack = 1e-6

func whole(v float64) int { return int(math.Ceil(v - wholeSlack)) }

// rootSteps is how far the bound is climbed at first; it stops by itself once it
// gains no more.
const rootSteps = 3000

// root climbs the bound from scratch and builds choices by its multipliers.
func (s *solver) root() {
	ones := make([]float64, len(s.demand))
	scarce := make([]float64, len(s.demand))
	for r := range ones {
		ones[r] = 1
		scarce[r] = float64(s.demand[r]) / float64(len(s.rows[r]))
	}
	s.keep(s.greedy(nil, nil, ones))
	s.keep(s.greedy(nil, nil, scarce))
	u := make([]float64, len(s.demand))
	for r := range u { // feasible to begin with: no column is paid more than 1
		u[r] = math.Inf(1)
		for _, c := range s.rows[r] {
			u[r] = min(u[r], 1/float64(len(s.cols[c])))
		}
	}
	l := &lagrange{s: s, demand: s.demand}
	value := l.climb(u, rootSteps, func(step int, now []float64) int {
		if step%20 == 19 {
			s.keep(s.greedy(nil, nil, now))
		}
		return len(s.best)
	})
	s.u, s.bound = l.bestU, whole(value)
	s.keep(s.greedy(nil, nil, l.bestU))
	s.shake()
}

// shakes is how often shake tries, and shakeWork the entries that it looks at, at
// most.
const (
	shakes    = 200
	shakeWork = 60_000_000
)

// shake takes out a part of the best choice at random and fills up again, by
// weights a little off, until the bound is met or the work is done.
func (s *solver) shake() {
	rng := rand.New(rand.NewPCG(1, 2))
	now := slices.Clone(s.best)
	weight := make([]float64, len(s.demand))
	for range min(shakes, shakeWork/(3*s.nnz+1)) {
		if s.bound == len(s.best) {
			return
		}
		share := 0.1 + 0.4*rng.Float64()
		var left []int
		for _, c := range now {
			if rng.Float64() >= share {
				left = append(left, c)
			}
		}
		for r := range weight {
			weight[r] = (s.u[r] + 0.01) * (0.3 + rng.Float64())
		}
		if next := s.exchange(s.greedy(left, nil, weight)); len(next) <= len(now) {
			now = next
			s.keep(now)
		}
	}
}
