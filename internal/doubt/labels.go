package doubt

import (
	"math"

	"footrule/internal/parallel"
)

// labels looks for access points that hang at each other's places. M[k][m] is L
// of what is heard as k if it hangs at the place of m; the permutation that
// maximises Σ M[k][π(k)] is that of the assignment problem. Each of its cycles
// of length c is one fault among C(K, c)(c−1)!, so that
//
//	lbf = Σ_cycle (M[k][π(k)] − M[k][k]) − log(C(K, c)(c−1)!)
func (f *fit) labels() []Finding {
	var heard []int
	for ap := range f.v.spots {
		if f.heardRows(ap) >= 3 {
			heard = append(heard, ap)
		}
	}
	n := len(heard)
	if n < 2 {
		return nil
	}
	gain := make([][]float64, n)
	parallel.Do(n, func(a int) {
		ll := f.likely(heard[a], f.plan)
		gain[a] = make([]float64, n)
		for b := range heard {
			gain[a][b] = ll[heard[b]] - ll[heard[a]]
		}
	})
	to := assign(gain)
	var out []Finding
	seen := make([]bool, n)
	for a := range to {
		if seen[a] || to[a] == a {
			continue
		}
		fd := Finding{Kind: Labels, Effect: math.NaN(), SE: math.NaN(), Threshold: thresholds[Labels]}
		for b := a; !seen[b]; b = to[b] {
			seen[b] = true
			fd.APs, fd.AtPlaceOf = append(fd.APs, heard[b]), append(fd.AtPlaceOf, heard[to[b]])
			s := f.v.spots[heard[to[b]]]
			fd.Seems = append(fd.Seems, Place{Floor: s.floor, At: s.at, SDM: math.NaN()})
			fd.LBF += gain[b][to[b]]
		}
		c := len(fd.APs)
		fd.LBF -= logChoose(n, c) + lgamma(c)
		out = append(out, fd)
	}
	return out
}

// lgamma is log (n−1)!.
func lgamma(n int) float64 { v, _ := math.Lgamma(float64(n)); return v }

func logChoose(n, k int) float64 { return lgamma(n+1) - lgamma(k+1) - lgamma(n-k+1) }

// assign gives the permutation that maximises Σ gain[i][to[i]], by shortest
// augmenting paths with potentials (Kuhn 1955, Munkres 1957), in n³ steps. The
// identity wins a tie.
func assign(gain [][]float64) []int {
	n := len(gain)
	cost := func(i, j int) float64 {
		if i == j {
			return -gain[i][j] - 1e-9
		}
		return -gain[i][j]
	}
	u, v := make([]float64, n+1), make([]float64, n+1)
	owner, way := make([]int, n+1), make([]int, n+1) // of columns, from 1
	for i := 1; i <= n; i++ {
		owner[0] = i
		j0 := 0
		least, used := make([]float64, n+1), make([]bool, n+1)
		for j := range least {
			least[j] = math.Inf(1)
		}
		for {
			used[j0] = true
			i0, j1, delta := owner[j0], 0, math.Inf(1)
			for j := 1; j <= n; j++ {
				if used[j] {
					continue
				}
				if c := cost(i0-1, j-1) - u[i0] - v[j]; c < least[j] {
					least[j], way[j] = c, j0
				}
				if least[j] < delta {
					delta, j1 = least[j], j
				}
			}
			for j := range n + 1 {
				if used[j] {
					u[owner[j]] += delta
					v[j] -= delta
				} else {
					least[j] -= delta
				}
			}
			if j0 = j1; owner[j0] == 0 {
				break
			}
		}
		for j0 != 0 {
			owner[j0] = owner[way[j0]]
			j0 = way[j0]
		}
	}
	to := make([]int, n)
	for j := 1; j <= n; j++ {
		to[owner[j]-1] = j - 1
	}
	return to
}
