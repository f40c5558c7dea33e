package route

import (
	"math/rand/v2"
	"slices"
	"testing"

	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Sees the inside: what the moves say they gained is what the tour lost in
// length, every place stays in it once, and a kick never lengthens it.
func TestSearchKeepsItsBooks(t *testing.T) {
	f := &site.Floor{Outline: orb.Ring{{0, 0}, {30, 0}, {30, 20}, {0, 20}},
		Walls: []site.Wall{{Line: orb.LineString{{10, 0}, {10, 15}}}, {Line: orb.LineString{{20, 5}, {20, 20}}}}}
	for seed := range uint64(12) {
		rng := rand.New(rand.NewPCG(seed, 0))
		m := &metric{ways: NewWays(f)}
		for range 10 + 15*int(seed) {
			m.places = append(m.places, m.ways.place(orb.Point{30 * rng.Float64(), 20 * rng.Float64()}))
		}
		m.remember()
		home := -1
		if seed%2 == 0 {
			home = 3
		}
		s := newSearch(m, home)
		rng.Shuffle(len(s.tour), func(i, j int) { s.tour[i], s.tour[j] = s.tour[j], s.tour[i] })
		if home >= 0 { // a shuffled tour still starts at its home
			i := slices.Index(s.tour, s.gap)
			s.tour[0], s.tour[i] = s.tour[i], s.tour[0]
			i = slices.Index(s.tour, s.home)
			s.tour[1], s.tour[i] = s.tour[i], s.tour[1]
		}
		for i, c := range s.tour {
			s.pos[c] = int32(i)
			s.push(c)
		}
		before := length(s)
		gain := s.improve()
		after := length(s)
		require.InDelta(t, before-after, gain, 1e-4)
		require.Greater(t, gain, 0.0)
		for times := range 40 {
			s.kick(times)
			now := length(s)
			require.LessOrEqual(t, now, after+1e-6)
			after = now
		}
		sorted := slices.Sorted(slices.Values(s.tour))
		for i, c := range sorted {
			require.Equal(t, int32(i), c)
			assert.Equal(t, c, s.tour[s.pos[c]])
		}
		if home >= 0 {
			assert.True(t, s.after(s.gap) == s.home || s.before(s.gap) == s.home, "the tour starts at its home")
		}
	}
}

func length(s *search) float64 {
	sum := 0.0
	for _, c := range s.tour {
		if d := s.dist(c, s.after(c)); d > -heldM/2 {
			sum += d
		}
	}
	return sum
}
