package propagation_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"footrule/internal/propagation"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// spoil lets stays have been recorded somewhere else: their levels are those of
// another place.
func spoil(stays []walk.Stay, seed uint64, n int) {
	rng := rand.New(rand.NewPCG(seed, 5))
	order := rng.Perm(len(stays))
	for i := range n {
		a, b := order[2*i], order[2*i+1]
		stays[a].Levels = append([]walk.Level(nil), stays[b].Levels...)
	}
}

// block takes dB away from a share of all levels, as a body or a door does.
func block(stays []walk.Stay, seed uint64, share, loss, floor float64) {
	rng := rand.New(rand.NewPCG(seed, 6))
	for i := range stays {
		for k := range stays[i].Levels {
			l := &stays[i].Levels[k]
			if rng.Float64() >= share || l.Heard == 0 {
				continue
			}
			if l.MeanDBm -= loss; l.MeanDBm < floor {
				*l = walk.Level{}
				continue
			}
			l.MinDBm = math.Max(l.MinDBm-loss, floor)
		}
	}
}

// TestRobustHolds: what wrong points and blocked ways do to n, against the same
// walk without them, over four sites with n = 3.3.
func TestRobustHolds(t *testing.T) {
	const sites = 4
	near := func() hall { h := bigHall(); h.width, h.depth, h.floor = 60, 40, -130; return h }
	for _, c := range []struct {
		name  string
		scene hall
		do    func(stays []walk.Stay, seed uint64)
		part  float64 // of what least squares loses, at most
	}{
		{"two wrong points of seventy", near(), func(st []walk.Stay, seed uint64) { spoil(st, seed, 2) }, 0.65},
		{"one level in ten blocked by 20 dB", near(), func(st []walk.Stay, seed uint64) { block(st, seed, 0.1, 20, -130) }, 0.8},
	} {
		t.Run(c.name, func(t *testing.T) {
			moved := map[propagation.Model]float64{}
			for seed := range uint64(sites) {
				s, stays := c.scene.simulate(seed)
				clean := exponents(t, s, stays)
				c.do(stays, seed)
				for m, n := range exponents(t, s, stays) {
					moved[m] += math.Abs(n-clean[m]) / sites
				}
			}
			t.Logf("n moved by %v", moved)
			assert.Less(t, moved[propagation.Robust], c.part*moved[propagation.OLS])
		})
	}
}

func exponents(t *testing.T, s *site.Site, stays []walk.Stay) map[propagation.Model]float64 {
	t.Helper()
	out := map[propagation.Model]float64{}
	for _, m := range []propagation.Model{propagation.OLS, propagation.Robust} {
		f, err := propagation.EstimateFrom(propagation.Observe(s, stays), propagation.Options{Model: m}, nil)
		require.NoError(t, err)
		out[m] = f.Groups[0].Exponent.Est
	}
	return out
}

// TestRobustSilence: with a third of the pairs unheard n comes out as low as any
// likelihood of mean levels has it, which take the lucky scans of a stay for its
// level, but not as low as where silence is left out, with and without misses
// that have nothing to do with the level; and the scale is not that of the lucky.
func TestRobustSilence(t *testing.T) {
	for _, miss := range []float64{0, 0.15} {
		var n, s, ignored float64
		for seed := range uint64(5) {
			h := bigHall()
			h.width, h.depth, h.missStay = 105, 70, miss
			st, stays := h.simulate(seed)
			f, err := propagation.Estimate(propagation.Observe(st, stays), propagation.Options{Model: propagation.Robust})
			require.NoError(t, err)
			n += f.Groups[0].Exponent.Est / 5
			s += f.Groups[0].SigmaDB.Est / 5
			o, err := propagation.EstimateFrom(propagation.Observe(st, stays), propagation.Options{Model: propagation.OLS}, nil)
			require.NoError(t, err)
			ignored += o.Groups[0].Exponent.Est / 5
		}
		t.Logf("miss %.2f: n %.2f, scale %.2f; silence left out %.2f", miss, n, s, ignored)
		assert.InDelta(t, 3.3, n, 0.45)
		assert.Greater(t, n, ignored+0.1)
		assert.InDelta(t, 5, s, 0.6)
	}
}

// TestRobustIsADensity: what a robust fit says of a level and of silence is a
// distribution, and its slope is the derivative.
func TestRobustIsADensity(t *testing.T) {
	s, stays := bigHall().simulate(3)
	miss := 0.07
	f, err := propagation.Estimate(propagation.Observe(s, stays), propagation.Options{Model: propagation.Robust, MissRate: &miss})
	require.NoError(t, err)
	g := f.Groups[0]
	for _, mu := range []float64{g.FloorDBm - 15, g.FloorDBm, g.FloorDBm + 6, g.FloorDBm + 30} {
		total := math.Exp(f.LogLik(0, mu, walk.Level{}, 4))
		const step = 0.01
		for y := g.FloorDBm + step/2; y < mu+120; y += step {
			total += step * math.Exp(f.LogLik(0, mu, walk.Level{Heard: 4, MeanDBm: y, MinDBm: y}, 4))
		}
		assert.InDelta(t, 1, total, 1e-4, "at %g dBm", mu)
		for _, l := range []walk.Level{{}, {Heard: 2, MeanDBm: mu + 3, MinDBm: mu + 3}, {Heard: 2, MeanDBm: mu - 19, MinDBm: mu - 20}} {
			_, slope := f.LogLikGrad(0, mu, l, 4)
			assert.InDelta(t, (f.LogLik(0, mu+1e-4, l, 4)-f.LogLik(0, mu-1e-4, l, 4))/2e-4, slope, 1e-6)
		}
	}
}
