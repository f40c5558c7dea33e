package site_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/require"
)

// castAgrees holds law 1 of Cast: what is not in doubt is what Count counts.
// It gives the share of places in doubt.
func castAgrees(t *testing.T, s *site.Site, a orb.Point, l site.Lattice, name string) float64 {
	t.Helper()
	ix := site.NewWallIndex(s)
	loss := make([]float64, len(ix.Materials()))
	for m := range loss {
		loss[m] = 1 + 0.37*float64(m)
	}
	out, doubt := make([]float64, l.Len()), make([]bool, l.Len())
	ix.Cast(0, a, l, 1, loss, out, doubt)
	doubts := 0
	for n := range out {
		if doubt[n] {
			doubts++
			continue
		}
		counts := make([]float64, len(loss))
		ix.Count(0, a, l.At(n), counts)
		want := 0.0
		for m, c := range counts {
			want += c * loss[m]
		}
		require.InDelta(t, want, out[n], 1e-9, "%s: from %v to %v among %v", name, a, l.At(n), s.Floors[0].Walls)
	}
	return float64(doubts) / float64(len(out))
}

// On a coarse grid lines run along walls and through corners all the time; off
// it hardly ever, and hardly a place is in doubt.
func TestCast(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 1))
	offDoubt := 0.0
	const rounds = 1500
	for i := range rounds {
		s := randomWalls(rng, 1+rng.IntN(12))
		onGrid := site.Lattice{Origin: orb.Point{-1, -1}, DX: 0.5, DY: 0.5, NX: 22, NY: 21}
		castAgrees(t, s, gridPoint(rng), onGrid, fmt.Sprintf("grid %d", i))
		off := site.Lattice{Origin: orb.Point{-1 + rng.Float64(), -1 + rng.Float64()}, DX: 0.3 + rng.Float64(), DY: 0.3 + rng.Float64(), NX: 17, NY: 13}
		a := orb.Point{9 * rng.Float64(), 9 * rng.Float64()}
		offDoubt += castAgrees(t, s, a, off, fmt.Sprintf("free %d", i)) / rounds
		castAgrees(t, s, gridPoint(rng), off, fmt.Sprintf("grid to free %d", i))
		castAgrees(t, s, a, onGrid, fmt.Sprintf("free to grid %d", i))
	}
	require.Less(t, offDoubt, 0.01)
}

// The sender may stand on a wall, or a hair beside it.
func TestCastFromAWall(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 1))
	for i := range 600 {
		s := randomWalls(rng, 1+rng.IntN(6))
		line := s.Floors[0].Walls[0].Line
		f := rng.Float64()
		a := orb.Point{line[0][0] + f*(line[1][0]-line[0][0]), line[0][1] + f*(line[1][1]-line[0][1])}
		for _, aside := range []float64{0, 1e-12, 1e-8, 1e-6, 1e-5, 1e-3} {
			p := orb.Point{a[0] + aside, a[1] - aside/2}
			l := site.Lattice{Origin: orb.Point{-0.25, -0.5}, DX: 0.5, DY: 0.75, NX: 20, NY: 14}
			castAgrees(t, s, p, l, fmt.Sprintf("case %d, %g aside", i, aside))
		}
	}
}

func TestLatticeTowards(t *testing.T) {
	l := site.Lattice{Origin: orb.Point{2, 4}, DX: 2, DY: 4, NX: 3, NY: 2}
	require.Equal(t, 6, l.Len())
	require.Equal(t, orb.Point{6, 8}, l.At(5))
	require.Equal(t, orb.Point{3.5, 4.5}, l.Towards(orb.Point{1, 1}, 0.5).At(5))
}
