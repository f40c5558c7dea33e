package coverage

import "slices"

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
