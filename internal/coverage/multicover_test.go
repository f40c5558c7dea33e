package coverage_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"footrule/internal/coverage"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// circles is k-fold cover of the points x 0..4, y 0..3 by access points at
// (0, 2, 4) × (0, 1.5, 3) heard up to r.
func circles(r float64, k int) *coverage.Multicover {
	p := &coverage.Multicover{Rows: 20}
	for range p.Rows {
		p.Demand = append(p.Demand, k)
	}
	for _, y := range []float64{0, 1.5, 3} {
		for _, x := range []float64{0, 2, 4} {
			var rows []int
			for i := range 5 {
				for j := range 4 {
					if math.Hypot(float64(i)-x, float64(j)-y) <= r+1e-9 {
						rows = append(rows, i*4+j)
					}
				}
			}
			p.Columns = append(p.Columns, rows)
		}
	}
	return p
}

// The fewest by brute force over all 512 choices.
func TestMulticoverOfCircles(t *testing.T) {
	for _, c := range []struct {
		r      float64
		k, min int
	}{{2, 1, 3}, {2, 2, 6}, {2, 3, 9}, {2.5, 1, 1}, {2.5, 2, 3}, {2.5, 3, 5}, {3, 3, 5}, {3.2, 3, 5}, {3.7, 3, 3}} {
		p := circles(c.r, c.k)
		require.Equal(t, c.min, brute(p), "r %g, k %d", c.r, c.k)
		got := p.Solve(context.Background())
		require.NoError(t, check(p, got.Columns))
		assert.Equal(t, []int{c.min, c.min}, []int{len(got.Columns), got.LowerBound}, "r %g, k %d", c.r, c.k)
		assert.True(t, got.Optimal)
		assert.Empty(t, got.Short)
	}
}

// check reports whether the columns cover every row as demanded, but for short
// rows, which all columns that cover them must be chosen for.
func check(p *coverage.Multicover, columns []int) error {
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
		demand := 1
		if p.Demand != nil {
			demand = p.Demand[r]
		}
		if d := min(demand, could[r]); n < d {
			return fmt.Errorf("row %d is covered %d times of %d", r, n, d)
		}
	}
	return nil
}

// brute tries all choices.
func brute(p *coverage.Multicover) int {
	best := math.MaxInt
	for mask := range 1 << len(p.Columns) {
		var cols []int
		for c := range p.Columns {
			if mask>>c&1 == 1 {
				cols = append(cols, c)
			}
		}
		if len(cols) < best && check(p, cols) == nil {
			best = len(cols)
		}
	}
	return best
}

// Where greedy takes three, two do; and a set cover that is often printed with
// three sets has two.
func TestMulticoverBeatsGreedy(t *testing.T) {
	for _, c := range []struct {
		rows int
		cols [][]int
	}{
		{14, [][]int{{0, 7}, {1, 2, 8, 9}, {3, 4, 5, 6, 10, 11, 12, 13}, {0, 1, 2, 3, 4, 5, 6}, {7, 8, 9, 10, 11, 12, 13}}},
		{5, [][]int{{0, 1, 2}, {1, 3}, {2, 3}, {3, 4}}},
	} {
		p := &coverage.Multicover{Rows: c.rows, Columns: c.cols}
		got := p.Solve(context.Background())
		require.NoError(t, check(p, got.Columns))
		assert.Len(t, got.Columns, 2)
		assert.True(t, got.Optimal)
	}
}

// What cannot be covered as often as demanded is covered as often as can be.
func TestMulticoverShort(t *testing.T) {
	p := &coverage.Multicover{Rows: 3, Columns: [][]int{{0}, {0, 1}}, Demand: []int{3, 1, 1}}
	got := p.Solve(context.Background())
	assert.Equal(t, &coverage.Choice{Columns: []int{0, 1}, LowerBound: 2, Optimal: true, Short: []int{0, 2}}, got)
	none := (&coverage.Multicover{Rows: 2, Columns: [][]int{{0}}, Demand: []int{0, 0}}).Solve(context.Background())
	assert.Equal(t, &coverage.Choice{Optimal: true}, none)
}

// random draws an instance: access points and places strewn over a square, or no
// geometry at all.
func random(rng *rand.Rand, rows, cols, k int, plane bool) *coverage.Multicover {
	p := &coverage.Multicover{Rows: rows}
	reach, density := 0.18+0.2*rng.Float64(), 0.1+0.3*rng.Float64()
	at := make([][2]float64, rows)
	for i := range at {
		at[i] = [2]float64{rng.Float64(), rng.Float64()}
		p.Demand = append(p.Demand, 1+rng.IntN(k))
	}
	for range cols {
		x, y := rng.Float64(), rng.Float64()
		var rows []int
		for i, q := range at {
			if plane && math.Hypot(q[0]-x, q[1]-y) <= reach || !plane && rng.Float64() < density {
				rows = append(rows, i)
			}
		}
		p.Columns = append(p.Columns, rows)
	}
	return p
}

func TestMulticoverAgainstBruteForce(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 1))
	for i := range 60 {
		p := random(rng, 5+rng.IntN(30), 4+rng.IntN(8), 3, i%2 == 0)
		got := p.Solve(context.Background())
		require.NoError(t, check(p, got.Columns))
		want := brute(p)
		require.Equal(t, want, len(got.Columns), "case %d", i)
		require.True(t, got.Optimal)
	}
}

// Against general solvers of integer programmes, where they are installed (GLPK's
// glpsol, or cbc): within 5 % of the optimum always, equal in 9 of 10, and never
// a bound above it.
func TestMulticoverAgainstSolver(t *testing.T) {
	solve := reference(t)
	rng := rand.New(rand.NewPCG(12, 1))
	equal, all := 0, 40
	for i := range all {
		p := random(rng, 40+rng.IntN(160), 20+rng.IntN(40), 3, i%4 != 0)
		got := p.Solve(context.Background())
		require.NoError(t, check(p, got.Columns))
		want, ok := solve(p)
		if !ok {
			all--
			continue
		}
		require.LessOrEqual(t, got.LowerBound, want, "case %d", i)
		require.LessOrEqual(t, want, len(got.Columns), "case %d", i)
		require.LessOrEqual(t, float64(len(got.Columns)), 1.05*float64(want), "case %d", i)
		if len(got.Columns) == want {
			equal++
		}
	}
	t.Logf("%d of %d equal the optimum", equal, all)
	assert.GreaterOrEqual(t, 10*equal, 9*all)
	assert.Greater(t, all, 30)
}

// reference gives a solver of the distribution.
func reference(t *testing.T) func(*coverage.Multicover) (int, bool) {
	t.Helper()
	glpsol, err := exec.LookPath("glpsol")
	cbc, err2 := exec.LookPath("cbc")
	if err != nil && err2 != nil {
		t.Skip("neither glpsol nor cbc is installed (apt-get install glpk-utils or coinor-cbc): integer programmes are compared only where one is")
	}
	return func(p *coverage.Multicover) (int, bool) {
		dir := t.TempDir()
		model, answer := filepath.Join(dir, "model.lp"), filepath.Join(dir, "answer.txt")
		require.NoError(t, os.WriteFile(model, []byte(programme(p)), 0o600))
		cmd := exec.Command(cbc, model, "sec", "10", "solve", "solution", answer)
		status, value := regexp.MustCompile(`(?m)^Optimal`), regexp.MustCompile(`objective value\s+([0-9.]+)`)
		if glpsol != "" {
			cmd = exec.Command(glpsol, "--lp", model, "--tmlim", "10", "-o", answer)
			status, value = regexp.MustCompile(`(?m)^Status:\s+INTEGER OPTIMAL`), regexp.MustCompile(`(?m)^Objective:\s+\S+ = ([0-9.]+)`)
		}
		out, err := cmd.CombinedOutput()
		require.NoError(t, err, string(out))
		text, err := os.ReadFile(answer)
		require.NoError(t, err)
		if !status.Match(text) {
			return 0, false
		}
		m := value.FindSubmatch(text)
		require.NotNil(t, m, string(text))
		v, err := strconv.ParseFloat(string(m[1]), 64)
		require.NoError(t, err)
		return int(math.Round(v)), true
	}
}

// programme writes an instance in the LP format.
func programme(p *coverage.Multicover) string {
	var b strings.Builder
	b.WriteString("Minimize\n fewest:")
	for c := range p.Columns {
		fmt.Fprintf(&b, " + x%d", c)
		if c%10 == 9 {
			b.WriteString("\n ")
		}
	}
	b.WriteString("\nSubject To\n")
	could := make([][]int, p.Rows)
	for c, rows := range p.Columns {
		for _, r := range rows {
			could[r] = append(could[r], c)
		}
	}
	for r, cols := range could {
		d := min(p.Demand[r], len(cols))
		if d == 0 {
			continue
		}
		fmt.Fprintf(&b, " r%d:", r)
		for i, c := range cols {
			fmt.Fprintf(&b, " + x%d", c)
			if i%10 == 9 {
				b.WriteString("\n ")
			}
		}
		fmt.Fprintf(&b, " >= %d\n", d)
	}
	b.WriteString("Binary\n")
	for c := range p.Columns {
		fmt.Fprintf(&b, " x%d\n", c)
	}
	b.WriteString("End\n")
	return b.String()
}

func BenchmarkMulticover(b *testing.B) {
	for _, size := range [][2]int{{200, 50}, {1000, 200}, {4000, 400}} {
		b.Run(fmt.Sprintf("rows=%d/columns=%d", size[0], size[1]), func(b *testing.B) {
			rng := rand.New(rand.NewPCG(13, 1))
			p := random(rng, size[0], size[1], 3, true)
			var got *coverage.Choice
			for b.Loop() {
				got = p.Solve(context.Background())
			}
			b.ReportMetric(float64(len(got.Columns)), "columns")
			b.ReportMetric(float64(len(got.Columns)-got.LowerBound), "gap")
		})
	}
}
