package infra

// cost is what an assignment is judged by, the first that differs decides.
// Costs of one kind add up, so they order as numbers do.
type cost [5]float64

// The kinds of cost.
const (
	without   = iota // access points that get no port
	shortfall        // what would fail
	doubt            // what would be doubtful
	unknown          // what would not be known
	metres           // of cable
)

func (a cost) plus(b cost) cost {
	for i := range a {
		a[i] += b[i]
	}
	return a
}

func (a cost) minus(b cost) cost {
	for i := range a {
		a[i] -= b[i]
	}
	return a
}

func (a cost) less(b cost) bool {
	for i := range a {
		if a[i] != b[i] {
			return a[i] < b[i]
		}
	}
	return false
}

// assign gives each of n rows a column of its own so that the sum of costs is
// least, by shortest augmenting paths with potentials (Kuhn 1955, Munkres 1957;
// in the form of Jonker and Volgenant 1987), in O(n² m). at gives the cost of a
// row and a column; it is ok only where they may go together. There are at
// least as many columns as rows, and at least one way to assign them all.
func assign(n, m int, at func(row, col int) (c cost, ok bool)) []int {
	const free = -1
	u, v := make([]cost, n), make([]cost, m) // potentials: at(i, j) − u[i] − v[j] ≥ 0
	rowOf := make([]int, m)
	for j := range rowOf {
		rowOf[j] = free
	}
	for start := range n {
		dist, from := make([]cost, m), make([]int, m) // of the shortest path to a column, and the column before
		reached, done := make([]bool, m), make([]bool, m)
		row, last := start, free
		var far cost
		for {
			for j := range m {
				if done[j] {
					continue
				}
				c, ok := at(row, j)
				if !ok {
					continue
				}
				if d := far.plus(c).minus(u[row]).minus(v[j]); !reached[j] || d.less(dist[j]) {
					dist[j], from[j], reached[j] = d, last, true
				}
			}
			last = free
			for j := range m {
				if reached[j] && !done[j] && (last == free || dist[j].less(dist[last])) {
					last = j
				}
			}
			if last == free {
				panic("infra: a row that no column is left for")
			}
			far, done[last] = dist[last], true
			if rowOf[last] == free {
				break
			}
			row = rowOf[last]
		}
		for j := range m {
			if done[j] {
				slack := far.minus(dist[j])
				v[j] = v[j].minus(slack)
				if rowOf[j] != free {
					u[rowOf[j]] = u[rowOf[j]].plus(slack)
				}
			}
		}
		u[start] = u[start].plus(far)
		for j := last; j != free; j = from[j] {
			if from[j] == free {
				rowOf[j] = start
			} else {
				rowOf[j] = rowOf[from[j]]
			}
		}
	}
	out := make([]int, n)
	for j, i := range rowOf {
		if i != free {
			out[i] = j
		}
	}
	return out
}
