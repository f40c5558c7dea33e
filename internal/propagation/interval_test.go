package propagation_test

import (
	"math"
	"os"
	"strconv"
	"testing"

	"footrule/internal/propagation"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestIntervalsCoverTheTruth counts how often the 95 % intervals for n, for the
// spread, for a wall loss and under pooled for a level at 1 m hold the truth of
// simulated sites, with independent and with spatially correlated shadowing, and
// how far the spread is off in the mean. FOOTRULE_SITES sets how many of each; the default is a quick look
// whose tolerance is four standard errors of a share of 0.95.
func TestIntervalsCoverTheTruth(t *testing.T) {
	sites := 10
	if v := os.Getenv("FOOTRULE_SITES"); v != "" {
		n, err := strconv.Atoi(v)
		require.NoError(t, err)
		sites = n
	}
	small := func(h *hall) { h.width, h.depth, h.aps, h.points = 40, 25, 6, 40 }
	two := propagation.TwoLevel
	for _, c := range []struct {
		name  string
		model propagation.Model
		edit  func(*hall)
	}{
		{"independent", two, func(h *hall) {}},
		{"correlated over 3 m", two, func(h *hall) { h.corrM = 3 }},
		{"correlated over 8 m", two, func(h *hall) { h.corrM = 8 }},
		{"small, independent", two, small},
		{"small, correlated over 8 m", two, func(h *hall) { small(h); h.corrM = 8 }},
		{"misses", two, func(h *hall) { h.corrM, h.missScan, h.missStay = 5, .1, .05 }},
		{"walls", two, func(h *hall) { h.corrM, h.loss, h.width, h.depth = 5, 5, 60, 40 }},
		{"four facings", two, func(h *hall) { h.corrM, h.facings, h.scans = 5, 4, 3 }},
		{"exponents differ by 0.3", two, func(h *hall) { h.exponentSD, h.corrM = 0.3, 4 }},
		{"robust", propagation.Robust, func(h *hall) { small(h); h.corrM, h.floor = 4, -200 }},
		{"pooled, exponents differ by 0.3", propagation.Pooled, func(h *hall) { small(h); h.aps, h.exponentSD, h.corrM, h.floor, h.levelSD = 10, 0.3, 4, -200, 0 }},
	} {
		t.Run(c.name, func(t *testing.T) {
			var hit, walls, wallHit, spread, levels, levelHit, off, offSq float64
			for seed := range uint64(sites) {
				h := bigHall()
				c.edit(&h)
				s, stays := h.simulate(seed + 5000)
				f, err := propagation.Estimate(propagation.Observe(s, stays), propagation.Options{Model: c.model})
				require.NoError(t, err)
				if n := f.Groups[0].Exponent; n.Lo <= h.n && h.n <= n.Hi {
					hit++
				}
				g := f.Groups[0] // rounding adds 1/12 to the variance of a reading
				sigma := math.Sqrt(h.shadow*h.shadow + (h.scatter*h.scatter+1./12)*float64(g.Stays)/float64(g.Readings))
				off, offSq = off+g.SigmaDB.Est-sigma, offSq+(g.SigmaDB.Est-sigma)*(g.SigmaDB.Est-sigma)
				for _, r := range f.Radios {
					if h.levelSD == 0 {
						levels++
						if r.Level1m.Lo <= h.level1m && h.level1m <= r.Level1m.Hi {
							levelHit++
						}
					}
				}
				if g.SigmaDB.Lo <= sigma && sigma <= g.SigmaDB.Hi {
					spread++
				}
				for _, w := range f.Walls {
					walls++
					if w.LossDB.Lo <= h.loss && h.loss <= w.LossDB.Hi {
						wallHit++
					}
				}
			}
			share := hit / float64(sites)
			n := float64(sites)
			off /= n
			sd := math.Sqrt(offSq/n - off*off)
			t.Logf("n covered in %.3f of %d sites, σ in %.3f, walls in %.3f, levels in %.3f; σ off by %.2f ± %.2f dB", share, sites, spread/n, wallHit/max(walls, 1), levelHit/max(levels, 1), off, sd/math.Sqrt(n))
			if c.model == two {
				assert.InDelta(t, 0, off, 4*sd/math.Sqrt(n-1), "σ is biased")
			}
			if levels > 0 { // those of a site hang together, as half of their number
				assert.GreaterOrEqual(t, levelHit/levels, 0.95-4*0.218/math.Sqrt(levels/2))
			}
			assert.GreaterOrEqual(t, spread/float64(sites), 0.95-4*0.218/sqrt(sites))
			assert.GreaterOrEqual(t, share, 0.95-4*0.218/sqrt(sites))
			if walls > 0 {
				assert.GreaterOrEqual(t, wallHit/walls, 0.95-4*0.218/sqrt(sites))
			}
		})
	}
}
