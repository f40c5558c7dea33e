package position_test

import (
	"context"
	"math/rand/v2"
	"slices"
	"testing"

	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb/planar"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// prospected is a hall with a walk of so many points, and what is to be expected.
func prospected(t testing.TB, seed uint64, points int, detail position.Detail) (*site.Site, *propagation.Data, *position.Prospect) {
	v := shadowed{width: 40, depth: 25, aps: 6, points: points, sigmaDB: 5, rangeM: 6, facings: 2, scans: 2}
	s, w := v.walk(seed)
	d := propagation.Observe(s, walk.Stays(s, []walk.Walk{w}, walk.ByVisit))
	f, err := propagation.Estimate(d, propagation.Options{})
	require.NoError(t, err)
	return s, d, position.NewProspect(position.NewGrid(s), d, f, position.Candidates(s, d, nil, detail.Candidates), detail)
}

// Law 1: a further stay never raises the error anywhere. Law 2: the order in
// which stays are added changes nothing. A millionth is left to rounding.
func TestProspectLaws(t *testing.T) {
	for seed := range uint64(4) {
		_, _, p := prospected(t, seed, 15, position.Coarse)
		rng := rand.New(rand.NewPCG(seed, 3))
		some := rng.Perm(len(p.Candidates))[:8]
		before := p.Targeted()
		for n := range some {
			after := p.Targeted(some[:n+1]...)
			for i := range after {
				require.LessOrEqual(t, after[i], before[i]*(1+1e-6))
			}
			require.Less(t, p.ErrorM(some[:n+1]...), p.ErrorM(some[:n]...))
			before = after
		}
		turned := slices.Clone(some)
		slices.Reverse(turned)
		assert.InDeltaSlice(t, before, p.Targeted(turned...), 1e-6)
	}
}

// Law 3: what further stays leave is what kriging leaves of a layout with them
// in it, worked out in another way.
func TestProspectIsKriging(t *testing.T) {
	_, _, p := prospected(t, 7, 15, position.Coarse)
	some := []int{0, 9, 4, 20}
	got, want := p.Unknown(0, some...), p.Kriged(0, some...)
	require.NotEmpty(t, got)
	require.Len(t, got, len(want))
	for k := range got {
		assert.InDeltaSlice(t, want[k], got[k], 1e-9)
	}
}

// From some of the places less is known; from all of them, this.
func TestProspectOfSome(t *testing.T) {
	_, d, p := prospected(t, 2, 30, position.Coarse)
	all := make([]int, len(d.Places))
	for i := range all {
		all[i] = i
	}
	assert.InDelta(t, p.ErrorM(), p.OfM(all), 1e-9)
	last := p.OfM(all[:1])
	for _, n := range []int{5, 10, 20, 30} {
		now := p.OfM(all[:n])
		assert.Less(t, now, last)
		last = now
	}
	left, err := p.LeftOutM(context.Background())
	require.NoError(t, err)
	require.Len(t, left, 30)
	for _, e := range left {
		assert.Greater(t, e, 0.0)
	}
}

// No exchange of one of the points chosen for another improves them, and each is
// told with the error that it and those before it leave.
func TestChoose(t *testing.T) {
	_, _, p := prospected(t, 5, 12, position.Detail{Targets: 60, Candidates: 40})
	steps, err := p.Choose(context.Background(), 3, nil)
	require.NoError(t, err)
	require.Len(t, steps, 3)
	var chosen []int
	for _, s := range steps {
		chosen = append(chosen, s.Candidate)
		assert.InDelta(t, p.ErrorM(chosen...), s.ErrorM, 1e-9)
	}
	least := p.Loss(3, chosen...)
	for i := range chosen {
		for c := range p.Candidates {
			if !slices.Contains(chosen, c) {
				other := slices.Clone(chosen)
				other[i] = c
				assert.GreaterOrEqual(t, p.Loss(3, other...), least*(1-2e-6))
			}
		}
	}
	none, err := p.Choose(context.Background(), 3, []int{7})
	require.NoError(t, err)
	assert.Empty(t, none)
	_, _, p = prospected(t, 5, 12, position.Detail{Targets: 30, Candidates: 6})
	more, err := p.Choose(context.Background(), 9, nil)
	require.NoError(t, err)
	assert.Len(t, more, len(p.Candidates))
	ctx, stop := context.WithCancel(context.Background())
	stop()
	_, err = p.Choose(ctx, 2, nil)
	assert.ErrorIs(t, err, context.Canceled)
}

// Candidates are places where somebody can stand and nobody stood, those that are
// preferred first.
func TestCandidates(t *testing.T) {
	s, d, _ := prospected(t, 1, 20, position.Coarse)
	s.Floors[0].Areas = []site.Area{{ID: "shaft", Kind: site.Void, Polygon: box(10, 5, 20, 15)}}
	prefer := []position.Spot{{At: d.At[3]}, {At: box(30, 20, 31, 21)[0]}, {At: box(15, 10, 16, 11)[0]}}
	got := position.Candidates(s, d, prefer, 100)
	assert.Equal(t, prefer[1], got[0])
	assert.Greater(t, len(got), 50)
	assert.LessOrEqual(t, len(got), 100)
	for i, c := range got {
		assert.True(t, s.Floors[0].Walkable(c.At))
		for _, at := range d.At {
			assert.GreaterOrEqual(t, planar.Distance(at, c.At), 1.0)
		}
		assert.Equal(t, i, slices.Index(got, c))
	}
	var many []position.Spot
	for x := range 39 {
		for y := range 24 {
			many = append(many, position.Spot{At: box(float64(x)+.5, float64(y)+.5, 0, 0)[0]})
		}
	}
	got = position.Candidates(s, d, many, 50)
	require.Len(t, got, 50)
	corners := 0
	for _, c := range got {
		require.Contains(t, many, c)
		if (c.At[0] < 6 || c.At[0] > 34) && (c.At[1] < 6 || c.At[1] > 19) {
			corners++
		}
	}
	assert.Greater(t, corners, 3, "those kept lie all over the floor")
}

func BenchmarkChoose(b *testing.B) {
	_, _, p := prospected(b, 1, 40, position.Fine)
	for b.Loop() {
		_, err := p.Choose(context.Background(), 5, nil)
		require.NoError(b, err)
	}
}
