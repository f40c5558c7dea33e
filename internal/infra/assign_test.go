package infra

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize/convex/lp"
)

// total adds up an assignment and checks that it is one.
func total(t *testing.T, cols []int, at func(i, j int) (cost, bool)) cost {
	t.Helper()
	var sum cost
	seen := map[int]bool{}
	for i, j := range cols {
		require.False(t, seen[j], "column %d twice", j)
		seen[j] = true
		c, ok := at(i, j)
		require.True(t, ok, "row %d may not have column %d", i, j)
		sum = sum.plus(c)
	}
	return sum
}

// cheapest tries every assignment of the rows from i on.
func cheapest(n, m, i int, used []bool, at func(i, j int) (cost, bool)) (cost, bool) {
	if i == n {
		return cost{}, true
	}
	var best cost
	found := false
	for j := range m {
		c, ok := at(i, j)
		if used[j] || !ok {
			continue
		}
		used[j] = true
		if rest, ok := cheapest(n, m, i+1, used, at); ok {
			if c = c.plus(rest); !found || c.less(best) {
				best, found = c, true
			}
		}
		used[j] = false
	}
	return best, found
}

func TestAssignIsTheLeastOfAll(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 5))
	done := 0
	for done < 400 {
		n := 1 + rnd.IntN(5)
		m := n + rnd.IntN(3)
		costs, may := make([][]cost, n), make([][]bool, n)
		for i := range n {
			costs[i], may[i] = make([]cost, m), make([]bool, m)
			for j := range m {
				costs[i][j] = cost{float64(rnd.IntN(2)), float64(rnd.IntN(3)), 0, float64(rnd.IntN(2)), float64(rnd.IntN(50)) / 4}
				may[i][j] = rnd.IntN(5) > 0
			}
		}
		at := func(i, j int) (cost, bool) { return costs[i][j], may[i][j] }
		want, possible := cheapest(n, m, 0, make([]bool, m), at)
		if !possible {
			assert.Panics(t, func() { assign(n, m, at) })
			continue
		}
		done++
		assert.Equal(t, want, total(t, assign(n, m, at), at))
	}
}

// The linear programme of the same problem has a corner of whole numbers as its
// optimum (Birkhoff, von Neumann), so gonum's simplex finds the same sum.
func TestAssignAgainstLinearProgramming(t *testing.T) {
	rnd := rand.New(rand.NewPCG(8, 13))
	const n, m = 7, 9
	for range 5 {
		c := make([]float64, n*m+m) // a slack for each column
		for k := range n * m {
			c[k] = 1 + rnd.Float64()*90
		}
		a, b := mat.NewDense(n+m, n*m+m, nil), make([]float64, n+m)
		for i := range n {
			for j := range m {
				a.Set(i, i*m+j, 1)
				a.Set(n+j, i*m+j, 1)
			}
		}
		for k := range n + m {
			b[k] = 1
			if k >= n {
				a.Set(k, n*m+k-n, 1)
			}
		}
		want, _, err := lp.Simplex(c, a, b, 1e-10, nil)
		require.NoError(t, err)
		at := func(i, j int) (cost, bool) { return cost{metres: c[i*m+j]}, true }
		assert.InDelta(t, want, total(t, assign(n, m, at), at)[metres], 1e-8)
	}
}

func BenchmarkAssign(b *testing.B) {
	rnd := rand.New(rand.NewPCG(1, 2))
	const n, m = 50, 96
	var costs [n][m]cost
	for i := range n {
		for j := range m {
			costs[i][j] = cost{metres: rnd.Float64() * 90}
		}
	}
	for b.Loop() {
		assign(n, m, func(i, j int) (cost, bool) { return costs[i][j], true })
	}
}
