package propagation_test

import (
	"math"
	"strings"
	"testing"

	"footrule/internal/propagation"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// warned gives the warnings of a fit as "radio: text".
func warned(t *testing.T, s *site.Site, stays []walk.Stay, o propagation.Options) []string {
	t.Helper()
	f, err := propagation.Estimate(propagation.Observe(s, stays), o)
	require.NoError(t, err)
	var out []string
	for _, w := range f.Warnings {
		out = append(out, w.Radio+": "+w.Text)
	}
	return out
}

func has(list []string, part string) bool {
	for _, w := range list {
		if strings.Contains(w, part) {
			return true
		}
	}
	return false
}

// quiet is a hall that gives nothing to doubt.
func quiet() hall {
	h := bigHall()
	h.width, h.depth, h.aps, h.points = 50, 35, 6, 40
	return h
}

func TestWarnings(t *testing.T) {
	ols := propagation.Options{Model: propagation.OLS}
	s, stays := quiet().simulate(3)
	assert.Empty(t, warned(t, s, stays, propagation.Options{}), "nothing to doubt")

	steep := quiet()
	steep.n, steep.floor, steep.level1m = 7, -119, 0
	s, stays = steep.simulate(3)
	assert.True(t, has(warned(t, s, stays, ols), "outside 1.5 to 6"))

	wild := quiet()
	wild.shadow, wild.floor = 15, -200
	s, stays = wild.simulate(3)
	assert.True(t, has(warned(t, s, stays, ols), "above 12 dB"))

	s, stays = quiet().simulate(3)
	for i := range stays {
		stays[i].Levels[2] = walk.Level{}
		if i >= 5 {
			stays[i].Levels[4] = walk.Level{}
		}
	}
	w := warned(t, s, stays, ols)
	assert.Contains(t, w, "AP-03/5: never heard in 40 stays; it stays out of the fit: check its power, its BSSIDs and where it hangs")
	assert.Contains(t, w, "AP-05/5: heard at 4 places, fewer than 8; walk more points near it")

	s, stays = quiet().simulate(3)
	for i := range stays {
		stays[i].At = orb.Point{float64(i), 10}
	}
	for k := range s.AccessPoints {
		s.AccessPoints[k].At = orb.Point{7 * float64(k), 10.2}
	}
	assert.True(t, has(warned(t, s, stays, ols), "lie on one line"))

	s, stays = quiet().simulate(3)
	for i := range stays {
		a := float64(i)
		stays[i].At = orb.Point{25 + 10*math.Cos(a), 17 + 10*math.Sin(a)}
	}
	s.AccessPoints[0].At = orb.Point{25.3, 17}
	w = warned(t, s, stays, ols)
	assert.True(t, has(w, "places that heard it are at nearly one distance (largest 1.06 times the smallest)"), w)
}

func TestOwnExponents(t *testing.T) {
	o := propagation.Options{Model: propagation.Censored, PerAP: true}
	s, stays := quiet().simulate(8)
	for i := range stays {
		if i != 4 {
			stays[i].Levels[1] = walk.Level{} // heard at one place
		}
		// Rises with distance.
		d := s.Distance3D(site.RadioRef{AP: 3}, 0, stays[i].At)
		stays[i].Levels[3] = levelOf([]float64{math.Round(-70 + 8*math.Log10(d))})
	}
	f, err := propagation.Estimate(propagation.Observe(s, stays), o)
	require.NoError(t, err)
	var texts []string
	for _, w := range f.Warnings {
		texts = append(texts, w.Radio+": "+w.Text)
	}
	assert.True(t, has(texts, "AP-02/5: heard at 1 place, so it has no exponent of its own"), texts)
	assert.True(t, has(texts, "AP-04/5: level does not fall with distance"), texts)
	assert.Zero(t, f.Radios[3].Exponent.Est)
	assert.True(t, math.IsNaN(f.Radios[3].Exponent.SE))
	assert.True(t, math.IsNaN(f.Radios[1].Exponent.SE))

	common, err := propagation.Estimate(propagation.Observe(s, stays), propagation.Options{Model: propagation.Censored})
	require.NoError(t, err)
	assert.InDelta(t, common.Groups[0].Exponent.Est, f.Radios[1].Exponent.Est, 1e-9, "the band's exponent stands in")
}

func TestWallLosses(t *testing.T) {
	h := quiet()
	h.loss, h.floor = 6, -200
	s, stays := h.simulate(2)
	f, err := propagation.Estimate(propagation.Observe(s, stays), propagation.Options{})
	require.NoError(t, err)
	require.Len(t, f.Walls, 1)
	assert.InDelta(t, 6, f.Walls[0].LossDB.Est, 4*f.Walls[0].LossDB.SE)

	// A wall that is not there gets what chance gives it, and never less than 0;
	// one that nothing crosses gets nothing, and is named.
	below := 0
	for seed := range uint64(12) {
		h.loss = 0
		s, stays = h.simulate(seed)
		s.Floors[0].Walls = []site.Wall{{Material: "board", Line: orb.LineString{{20, 0}, {20, 35}}}}
		f, err = propagation.Estimate(propagation.Observe(s, stays), propagation.Options{Model: propagation.OLS})
		require.NoError(t, err)
		require.GreaterOrEqual(t, f.Walls[0].LossDB.Est, 0.0)
		if f.Walls[0].LossDB.Est == 0 {
			below++
			assert.Contains(t, f.Warnings, propagation.Warning{Text: "the loss of board at 5 GHz came out below zero and was set to 0 dB; check where the walls stand"})
		}
	}
	assert.Greater(t, below, 1)
	assert.Less(t, below, 11)

	// Two materials that are always crossed together cannot be told apart.
	s.Floors[0].Walls = append(s.Floors[0].Walls, site.Wall{Material: "film", Line: orb.LineString{{20.001, 0}, {20.001, 35}}})
	w := warned(t, s, stays, propagation.Options{Model: propagation.OLS})
	assert.True(t, has(w, "the loss of film at 5 GHz cannot be told"), w)
}

// Radios whose exponents differ are named as such, and radios that only look so
// because shadowing hangs together are not.
func TestDifferingExponents(t *testing.T) {
	said := func(edit func(*hall)) (n int) {
		for seed := range uint64(8) {
			h := quiet()
			h.aps, h.floor, h.corrM = 10, -200, 3
			edit(&h)
			s, stays := h.simulate(seed)
			if has(warned(t, s, stays, propagation.Options{Model: propagation.OLS}), "the exponents of the radios at 5 GHz differ by 0.") {
				n++
			}
		}
		return n
	}
	assert.GreaterOrEqual(t, said(func(h *hall) { h.exponentSD = 0.7 }), 6)
	assert.LessOrEqual(t, said(func(h *hall) {}), 1)
}
