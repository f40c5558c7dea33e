package position_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/radio"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// scene is an invented site of one room with access points at the receiver's
// height and known parameters.
type scene struct {
	outline orb.Ring
	aps     []orb.Point
	n       float64
	level1m float64
	sigma   float64
	floor   float64
	model   propagation.Model
	walls   []site.Wall
	loss    float64
}

func box(x0, y0, x1, y1 float64) orb.Ring { return orb.Ring{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}} }

func (c scene) site() *site.Site {
	s := &site.Site{Name: "invented", ReceiverHeightM: 1.2, Floors: []site.Floor{{ID: "G", Outline: c.outline, Walls: c.walls}}}
	for i, at := range c.aps {
		s.AccessPoints = append(s.AccessPoints, site.AccessPoint{ID: fmt.Sprintf("AP-%02d", i+1), Floor: "G", At: at, HeightM: 1.2,
			Radios: []site.Radio{{Band: radio.Band5, BSSIDs: []radio.BSSID{{2, 0, 0, 0, 1, byte(i + 1)}}}}})
	}
	return s
}

func (c scene) fit(t testing.TB, s *site.Site) *propagation.Fit {
	t.Helper()
	v := func(x float64) propagation.Value { return propagation.Value{Est: x} }
	radios := make([]propagation.RadioFit, len(s.Radios()))
	for k := range radios {
		radios[k] = propagation.RadioFit{InFit: true, Level1m: v(c.level1m)}
	}
	var walls []propagation.WallLoss
	for _, m := range s.Materials() {
		walls = append(walls, propagation.WallLoss{Material: m, Band: radio.Band5, LossDB: v(c.loss)})
	}
	f, err := propagation.Assume(s, propagation.Options{Model: c.model},
		[]propagation.Group{{Band: radio.Band5, Exponent: v(c.n), SigmaDB: v(c.sigma), ShadowDB: c.sigma, FloorDBm: c.floor}}, radios, walls)
	require.NoError(t, err)
	return f
}

// stay makes a stay of one scan; NaN stands for not heard.
func stay(levels ...float64) *walk.Stay {
	st := &walk.Stay{Scans: 1}
	for _, l := range levels {
		if math.IsNaN(l) {
			st.Levels = append(st.Levels, walk.Level{})
		} else {
			st.Levels = append(st.Levels, walk.Level{Heard: 1, MeanDBm: l})
		}
	}
	return st
}

var unheard = math.NaN()

// The reference scene: five access points, P0 = −40 dBm, n = 3, σ = 6 dB. Fixes
// by R 4.2.2 and SciPy 1.10.1, which agree.
func reference() (scene, []float64) {
	return scene{outline: box(-5, -5, 70, 50), aps: []orb.Point{{0, 0}, {30, 0}, {30, 20}, {0, 20}, {15, 10}},
		n: 3, level1m: -40, sigma: 6, floor: -120, model: propagation.OLS}, []float64{-68.2, -79.1, -81.3, -72.4, -69.0}
}

func TestFixAgainstReference(t *testing.T) {
	c, levels := reference()
	s := c.site()
	f := c.fit(t, s)
	tri := position.NewTrilateration(position.NewGrid(s), f)
	fix := tri.Fix(stay(levels...))
	require.True(t, fix.Located, fix.Reason)
	assert.Equal(t, 5, fix.Heard)
	assert.False(t, fix.OnOutline)
	assert.InDelta(t, 6.1387600335783, fix.At[0], 1e-8)
	assert.InDelta(t, 7.5243918662970, fix.At[1], 1e-8)
	rss := -2 * 36 * (fix.LogLik + 5*math.Log(6*math.Sqrt(2*math.Pi)))
	assert.InDelta(t, 16.2951422937895, rss, 1e-9)
	for k, l := range levels { // maximum-likelihood ranges
		want := []float64{8.70963590, 20.10635440, 23.80491673, 12.02264434, 9.26118729}[k]
		assert.InDelta(t, want, math.Pow(10, (c.level1m-l)/(10*c.n)), 1e-8)
	}
	// The bound at the estimate, and the curvature there, which is the same.
	bound, ok := position.Bound(terms(fix.At, 3, 6, c.aps...))
	require.True(t, ok)
	require.True(t, fix.Sure)
	for _, cov := range []position.Covariance{bound, fix.Covariance} {
		assert.InDelta(t, 3.71472935, math.Sqrt(cov.XX), 1e-7)
		assert.InDelta(t, 4.67605789, math.Sqrt(cov.YY), 1e-7)
		assert.InDelta(t, -7.36774509, cov.XY, 1e-7)
		assert.InDelta(t, 5.97199560, cov.RMS(), 1e-7)
	}
	for k, want := range []orb.Point{{6.49785388, 9.28719313}, {5.48650003, 8.0384508}, {5.93782443, 7.43585949}, {8.75247614, 3.17487879}, {6.22487104, 7.52023193}} {
		less := append([]float64(nil), levels...)
		less[k] = unheard
		fix := tri.Fix(stay(less...))
		require.True(t, fix.Located)
		assert.InDelta(t, want[0], fix.At[0], 1e-7, "without access point %d", k+1)
		assert.InDelta(t, want[1], fix.At[1], 1e-7, "without access point %d", k+1)
	}
}

// A sixth access point that is not heard (floor −85 dBm) pushes the fix away;
// the reference's likelihood leaves the constants of the heard out.
func TestFixWithSilenceAgainstReference(t *testing.T) {
	c, levels := reference()
	c.aps = append(c.aps, orb.Point{60, 40})
	c.floor, c.model = -85, propagation.Censored
	s := c.site()
	fix := position.NewTrilateration(position.NewGrid(s), c.fit(t, s)).Fix(stay(append(levels, unheard)...))
	require.True(t, fix.Located)
	assert.InDelta(t, 6.10089962, fix.At[0], 1e-7)
	assert.InDelta(t, 7.49788247, fix.At[1], 1e-7)
	assert.InDelta(t, .2963221363656213, -fix.LogLik-5*math.Log(6*math.Sqrt(2*math.Pi)), 1e-9)
}

// Exact ranges 5, √65, √45 from (0,0), (10,0), (0,10) meet in (3, 4).
func TestFixFromExactRanges(t *testing.T) {
	c := scene{outline: box(-20, -20, 30, 30), aps: []orb.Point{{0, 0}, {10, 0}, {0, 10}}, n: 2, level1m: -40, sigma: 3, floor: -120, model: propagation.OLS}
	s := c.site()
	fix := position.NewTrilateration(position.NewGrid(s), c.fit(t, s)).
		Fix(stay(-40-20*math.Log10(5), -40-10*math.Log10(65), -40-10*math.Log10(45)))
	require.True(t, fix.Located)
	assert.InDelta(t, 3, fix.At[0], 1e-8)
	assert.InDelta(t, 4, fix.At[1], 1e-8)
}

func TestNoFix(t *testing.T) {
	c, levels := reference()
	s := c.site()
	tri := position.NewTrilateration(position.NewGrid(s), c.fit(t, s))
	none := tri.Fix(stay(unheard, unheard, unheard, unheard, unheard))
	assert.Equal(t, position.Fix{Reason: "no access point of the fit was heard"}, none)
	two := tri.Fix(stay(levels[0], unheard, levels[2], unheard, unheard))
	assert.Equal(t, position.Fix{Heard: 2, Reason: "2 of the 3 access points needed were heard"}, two)
	// (0,0), (30,20) and (15,10) are on one line.
	line := tri.Fix(stay(-75, unheard, -80, unheard, -72))
	assert.False(t, line.Located)
	assert.Contains(t, line.Reason, "the 3 access points heard stand on one line: (")
	assert.Equal(t, 3, line.Heard)
}

// With the access points along the outline there is nothing behind the mirror.
func TestFixBesideALineOfAccessPoints(t *testing.T) {
	c := scene{outline: box(0, 0, 40, 15), aps: []orb.Point{{2, 0}, {20, 0}, {38, 0}}, n: 3, level1m: -40, sigma: 4, floor: -120, model: propagation.OLS}
	s := c.site()
	at := orb.Point{12, 6}
	fix := position.NewTrilateration(position.NewGrid(s), c.fit(t, s)).Fix(stay(exact(c, at)...))
	require.True(t, fix.Located, fix.Reason)
	assert.InDelta(t, at[0], fix.At[0], 1e-6)
	assert.InDelta(t, at[1], fix.At[1], 1e-6)
}

// exact gives the levels that a scene without walls predicts.
func exact(c scene, at orb.Point) []float64 {
	var out []float64
	for _, a := range c.aps {
		out = append(out, c.level1m-10*c.n*math.Log10(math.Max(.5, math.Hypot(at[0]-a[0], at[1]-a[1]))))
	}
	return out
}

// Levels from outside end on the outline, in its most likely place. The L-shaped
// outline has a corner that points inwards.
func TestFixStaysWithinTheOutline(t *testing.T) {
	ell := orb.Ring{{0, 0}, {40, 0}, {40, 10}, {15, 10}, {15, 30}, {0, 30}}
	c := scene{outline: ell, aps: []orb.Point{{1, 1}, {39, 1}, {1, 29}, {14, 12}, {25, 25}}, n: 3, level1m: -40, sigma: 5, floor: -120, model: propagation.OLS}
	s := c.site()
	f := c.fit(t, s)
	tri := position.NewTrilateration(position.NewGrid(s), f)
	rng := rand.New(rand.NewPCG(5, 5))
	outside := 0
	for range 60 {
		at := orb.Point{-10 + 60*rng.Float64(), -10 + 50*rng.Float64()}
		levels := exact(c, at)
		fix := tri.Fix(stay(levels...))
		require.True(t, fix.Located)
		require.True(t, s.Floors[0].Inside(fix.At))
		if s.Floors[0].Inside(at) {
			assert.InDelta(t, 0, math.Hypot(fix.At[0]-at[0], fix.At[1]-at[1]), 1e-6)
			continue
		}
		outside++
		assert.True(t, fix.OnOutline, "%v", at)
		logLik := func(p orb.Point) float64 {
			l := 0.0
			for k := range levels {
				l += f.LogLik(k, f.Level(k, 0, p), walk.Level{Heard: 1, MeanDBm: levels[k]}, 1)
			}
			return l
		}
		assert.InDelta(t, logLik(fix.At), fix.LogLik, 1e-9)
		// No place of a fine walk along the outline is likelier.
		for i, a := range ell {
			b := ell[(i+1)%len(ell)]
			for j := range 400 {
				u := float64(j) / 400
				q := orb.Point{a[0] + u*(b[0]-a[0]), a[1] + u*(b[1]-a[1])}
				require.LessOrEqual(t, logLik(q), fix.LogLik+1e-9, "%v beats %v for %v", q, fix.At, at)
			}
		}
	}
	assert.Greater(t, outside, 20)
}

// levelsAt is what the fit expects of so many radios at a place of the first floor.
func levelsAt(f *propagation.Fit, radios int, at orb.Point) []float64 {
	var out []float64
	for k := range radios {
		out = append(out, f.Level(k, 0, at))
	}
	return out
}

// Walls make the level jump: the fix is as likely as the best of a fine grid.
func TestFixAmongWalls(t *testing.T) {
	c := scene{outline: box(0, 0, 30, 20), aps: []orb.Point{{2, 2}, {28, 3}, {27, 18}, {3, 17}, {15, 10}}, n: 2.5, level1m: -42, sigma: 5, floor: -120, model: propagation.OLS, loss: 7,
		walls: []site.Wall{{Material: "brick", Line: orb.LineString{{10, 0}, {10, 12}}}, {Material: "brick", Line: orb.LineString{{20, 20}, {20, 8}, {30, 8}}}}}
	s := c.site()
	f := c.fit(t, s)
	tri := position.NewTrilateration(position.NewGrid(s), f)
	rng := rand.New(rand.NewPCG(6, 5))
	var grid [][]float64
	for x := .05; x < 30; x += .1 {
		for y := .05; y < 20; y += .1 {
			grid = append(grid, levelsAt(f, len(c.aps), orb.Point{x, y}))
		}
	}
	worse := 0
	const fixes = 60
	for range fixes {
		at := orb.Point{30 * rng.Float64(), 20 * rng.Float64()}
		var levels []float64
		for k := range c.aps {
			levels = append(levels, f.Level(k, 0, at)+c.sigma*rng.NormFloat64())
		}
		fix := tri.Fix(stay(levels...))
		require.True(t, fix.Located)
		best := math.Inf(-1)
		for _, mu := range grid {
			l := 0.0
			for k := range levels {
				l += f.LogLik(k, mu[k], walk.Level{Heard: 1, MeanDBm: levels[k]}, 1)
			}
			best = math.Max(best, l)
		}
		if best > fix.LogLik+.02 {
			worse++
		}
	}
	assert.LessOrEqual(t, worse, fixes/20, "a finer search is better")
}

// With four or more access points heard, trilateration reaches 1.00 to 1.10 of
// the Cramér-Rao bound inside their hull (Patwari et al. 2003 for the bound). As
// σ shrinks the levels become linear over the error, and the ratio must be 1.
func TestFixReachesTheBound(t *testing.T) {
	deep := []orb.Point{{5, 5}, {30, 4}, {55, 5}, {55, 35}, {30, 36}, {5, 35}, {18, 20}, {42, 20}}
	dense := append(deep[:8:8], orb.Point{5, 20}, orb.Point{55, 20}, orb.Point{30, 20}, orb.Point{18, 5})
	for _, c := range []struct {
		name   string
		aps    []orb.Point
		sigma  float64
		lo, hi float64
	}{
		{"4 in the corners", []orb.Point{{0, 0}, {60, 0}, {60, 40}, {0, 40}}, .3, .95, 1.05},
		{"8 on a staggered grid", deep, .3, .95, 1.05},
		{"4 in the corners", []orb.Point{{0, 0}, {60, 0}, {60, 40}, {0, 40}}, 3, .9, 1.12},
		{"8 on a staggered grid", deep, 3, .95, 1.12},
		// At 4 dB the range to each is known to 31 %: the levels bend over the error.
		{"12 on a staggered grid", dense, 4, 1, 1.2},
	} {
		sc := scene{outline: box(0, 0, 60, 40), aps: c.aps, n: 3, level1m: -40, sigma: c.sigma, floor: -120, model: propagation.OLS}
		s := sc.site()
		tri := position.NewTrilateration(position.NewGrid(s), sc.fit(t, s))
		rng := rand.New(rand.NewPCG(7, 7))
		var sq, bound float64
		const fixes = 800
		for range fixes {
			at := orb.Point{8 + 44*rng.Float64(), 8 + 24*rng.Float64()}
			b, ok := position.Bound(terms(at, sc.n, sc.sigma, c.aps...))
			require.True(t, ok)
			bound += b.XX + b.YY
			levels := exact(sc, at)
			for k := range levels {
				levels[k] += sc.sigma * rng.NormFloat64()
			}
			fix := tri.Fix(stay(levels...))
			require.True(t, fix.Located)
			dx, dy := fix.At[0]-at[0], fix.At[1]-at[1]
			sq += dx*dx + dy*dy
		}
		ratio := math.Sqrt(sq / bound)
		t.Logf("%s, σ %g dB: %.3f of the bound %.2f m", c.name, c.sigma, ratio, math.Sqrt(bound/fixes))
		assert.GreaterOrEqual(t, ratio, c.lo, c.name)
		assert.LessOrEqual(t, ratio, c.hi, c.name)
	}
}

// No place of a fine grid is likelier than the fix: what is above the bound is
// the estimator, not the search.
func TestFixIsTheBestPlace(t *testing.T) {
	sc := scene{outline: box(0, 0, 40, 25), aps: []orb.Point{{5, 5}, {30, 4}, {38, 22}, {5, 22}, {18, 12}, {-6, 30}, {55, 10}},
		n: 3, level1m: -40, sigma: 5, floor: -80, model: propagation.Censored}
	s := sc.site()
	f := sc.fit(t, s)
	tri := position.NewTrilateration(position.NewGrid(s), f)
	rng := rand.New(rand.NewPCG(11, 7))
	var grid [][]float64
	for x := 0.0; x <= 40; x += .25 {
		for y := 0.0; y <= 25; y += .25 {
			grid = append(grid, levelsAt(f, len(sc.aps), orb.Point{x, y}))
		}
	}
	silent := 0
	for range 60 {
		levels := exact(sc, orb.Point{40 * rng.Float64(), 25 * rng.Float64()})
		for k := range levels {
			if levels[k] += sc.sigma * rng.NormFloat64(); levels[k] < sc.floor {
				levels[k] = unheard
				silent++
			}
		}
		st := stay(levels...)
		fix := tri.Fix(st)
		if !fix.Located {
			continue
		}
		for _, mu := range grid {
			l := 0.0
			for k := range levels {
				l += f.LogLik(k, mu[k], st.Levels[k], 1)
			}
			if l > fix.LogLik+1e-9 {
				require.Fail(t, "a place of the grid beats the fix", "%v: %g, %g", fix.At, fix.LogLik, l)
			}
		}
	}
	assert.Greater(t, silent, 60)
}

// On two storeys the levels say on which the receiver is: the slab costs 15 dB.
func TestFixFindsTheFloor(t *testing.T) {
	s := &site.Site{Name: "invented", ReceiverHeightM: 1.2, Floors: []site.Floor{
		{ID: "0", Outline: box(0, 0, 40, 20)},
		{ID: "1", ElevationM: 3.5, Outline: box(0, 0, 25, 20)},
	}}
	for i, at := range []orb.Point{{3, 3}, {37, 4}, {36, 17}, {4, 16}, {20, 10}} {
		for f, id := range []string{"0", "1"} {
			if f == 1 && at[0] > 25 {
				continue
			}
			s.AccessPoints = append(s.AccessPoints, site.AccessPoint{ID: fmt.Sprintf("AP-%s%d", id, i), Floor: id, At: at, HeightM: 2.8,
				Radios: []site.Radio{{Band: radio.Band5, BSSIDs: []radio.BSSID{{2, 0, 0, 0, byte(f), byte(i)}}}}})
		}
	}
	v := func(x float64) propagation.Value { return propagation.Value{Est: x} }
	radios := make([]propagation.RadioFit, len(s.Radios()))
	for k := range radios {
		radios[k] = propagation.RadioFit{InFit: true, Level1m: v(-40)}
	}
	f, err := propagation.Assume(s, propagation.Options{Model: propagation.OLS},
		[]propagation.Group{{Band: radio.Band5, Exponent: v(3), SigmaDB: v(4), ShadowDB: 4, FloorDBm: -95}}, radios,
		[]propagation.WallLoss{{Material: propagation.Storey, Band: radio.Band5, LossDB: v(15)}})
	require.NoError(t, err)
	tri := position.NewTrilateration(position.NewGrid(s), f)
	for floor, at := range map[int]orb.Point{0: {12, 7}, 1: {9, 13}} {
		var levels []float64
		for k := range radios {
			levels = append(levels, f.Level(k, floor, at))
		}
		fix := tri.Fix(stay(levels...))
		require.True(t, fix.Located)
		assert.Equal(t, floor, fix.Floor)
		assert.InDelta(t, at[0], fix.At[0], 1e-6)
		assert.InDelta(t, at[1], fix.At[1], 1e-6)
	}
}

// The bound of a fit: radios below the floor of hearing count next to nothing,
// more scans lower the scatter, and a strong scene has the plain bound.
func TestGridBound(t *testing.T) {
	c := scene{outline: box(0, 0, 40, 20), aps: hall, n: 3, level1m: -40, sigma: 6, floor: -200, model: propagation.OLS}
	s := c.site()
	g := position.NewGrid(s)
	b, ok := g.Bound(c.fit(t, s), 0, orb.Point{5, 5}, 1)
	require.True(t, ok)
	assert.InDelta(t, 8.139652703362183, b.RMS(), 1e-9) // the hall of TestBoundAgainstPatwari

	c.floor = -30 // far above every level
	b, ok = g.Bound(c.fit(t, s), 0, orb.Point{20, 10}, 1)
	assert.False(t, ok, "nothing can be heard")
	assert.Equal(t, position.Covariance{}, b)
	c.floor = -70
	weak, ok := g.Bound(c.fit(t, s), 0, orb.Point{5, 5}, 1)
	require.True(t, ok)
	assert.Greater(t, weak.RMS(), 8.5)
}
