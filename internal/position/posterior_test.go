package position_test

import (
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

// The fix in a room of known parameters is where a plain sum over squares of 5 cm
// has the least expected distance, by the density of the normal as in any
// textbook; and the covariance is the expected square around it.
func TestPosteriorIsTheSum(t *testing.T) {
	c := scene{outline: box(0, 0, 12, 9), aps: []orb.Point{{1, 1}, {11, 2}, {5, 8}}, n: 3, level1m: -40, sigma: 4, floor: -95, model: propagation.OLS}
	s := c.site()
	f := c.fit(t, s)
	levels := []float64{-62, -66, -58}
	st := walk.Stay{Scans: 4}
	for _, l := range levels {
		st.Levels = append(st.Levels, walk.Level{Heard: 4, MeanDBm: l, MinDBm: l})
	}
	// One stay of the walk at each end of the room: a spacing that reaches everywhere.
	d := propagation.Observe(s, []walk.Stay{{Point: "A", At: orb.Point{0, 0}}, {Point: "B", At: orb.Point{12, 9}}})
	l := position.NewLocator(position.Posterior, position.NewGrid(s), d, f)
	got := l.Fix(&st)
	require.True(t, got.Located)

	// expect gives E|p − at| and E(p − at)(p − at)ᵀ.
	expect := func(at orb.Point) (distance, xx, xy, yy float64) {
		const step = .05
		sum := 0.0
		for x := step / 2; x < 12; x += step {
			for y := step / 2; y < 9; y += step {
				q := 0.0
				for k, a := range c.aps {
					e := levels[k] + 40 + 30*math.Log10(math.Max(.5, math.Hypot(x-a[0], y-a[1])))
					q += e * e / (2 * 16)
				}
				w, dx, dy := math.Exp(-q), x-at[0], y-at[1]
				sum += w
				distance += w * math.Hypot(dx, dy)
				xx, xy, yy = xx+w*dx*dx, xy+w*dx*dy, yy+w*dy*dy
			}
		}
		return distance / sum, xx / sum, xy / sum, yy / sum
	}
	here, xx, xy, yy := expect(got.At)
	for _, d := range []orb.Point{{.05, 0}, {-.05, 0}, {0, .05}, {0, -.05}} {
		there, _, _, _ := expect(orb.Point{got.At[0] + d[0], got.At[1] + d[1]})
		assert.Less(t, here, there, "%v", d)
	}
	assert.InEpsilon(t, xx, got.Covariance.XX, .02)
	assert.InEpsilon(t, yy, got.Covariance.YY, .02)
	assert.InDelta(t, xy, got.Covariance.XY, .05)
	assert.True(t, got.Sure)
	assert.Equal(t, 3, got.Heard)
}

// Two storeys with access points on each: the floor is that with the mass.
func TestPosteriorFindsTheFloor(t *testing.T) {
	s := &site.Site{Name: "invented", ReceiverHeightM: 1.2, Floors: []site.Floor{{ID: "G", Outline: box(0, 0, 20, 20)}, {ID: "1", ElevationM: 4, Outline: box(0, 0, 20, 20)}}}
	for i, at := range []orb.Point{{5, 5}, {15, 5}, {10, 15}, {5, 5}, {15, 5}, {10, 15}} {
		s.AccessPoints = append(s.AccessPoints, site.AccessPoint{ID: string(rune('A' + i)), Floor: []string{"G", "1"}[i/3], At: at, HeightM: 2.5,
			Radios: []site.Radio{{Band: radio.Band5, BSSIDs: []radio.BSSID{{2, 0, 0, 0, 3, byte(i + 1)}}}}})
	}
	v := func(x float64) propagation.Value { return propagation.Value{Est: x} }
	radios := make([]propagation.RadioFit, 6)
	for k := range radios {
		radios[k] = propagation.RadioFit{InFit: true, Level1m: v(-40)}
	}
	f, err := propagation.Assume(s, propagation.Options{Model: propagation.OLS},
		[]propagation.Group{{Band: radio.Band5, Exponent: v(3), SigmaDB: v(3), ShadowDB: 3, FloorDBm: -95}}, radios,
		[]propagation.WallLoss{{Material: propagation.Storey, Band: radio.Band5, LossDB: v(15)}})
	require.NoError(t, err)
	g := position.NewGrid(s)
	d := propagation.Observe(s, nil)
	l := position.NewLocator(position.Posterior, g, d, f)
	for floor := range 2 {
		at := orb.Point{7, 9}
		st := walk.Stay{Scans: 1}
		for k := range 6 {
			st.Levels = append(st.Levels, walk.Level{Heard: 1, MeanDBm: f.Level(k, floor, at)})
		}
		fix := l.Fix(&st)
		assert.Equal(t, floor, fix.Floor)
		assert.Less(t, math.Hypot(fix.At[0]-at[0], fix.At[1]-at[1]), 1.0)
	}
}

// Cells stay within the outline, out of voids and off walls, and near the walk.
func TestCells(t *testing.T) {
	s := &site.Site{Name: "invented", Floors: []site.Floor{{ID: "G", Outline: box(0, 0, 20, 10),
		Walls: []site.Wall{{Material: "brick", Line: orb.LineString{{10, 0}, {10, 6}}}},
		Areas: []site.Area{{ID: "shaft", Kind: site.Void, Polygon: box(2, 2, 5, 6)}}}, {ID: "1", ElevationM: 4, Outline: box(0, 0, 10, 10)}}}
	g := position.NewGrid(s)
	floor, at, step := position.Cells(g)
	area := [2]float64{}
	for i, p := range at {
		area[floor[i]] += step * step
		if floor[i] == 0 {
			assert.True(t, s.Floors[0].Walkable(p))
			assert.False(t, p[1] < 6 && math.Abs(p[0]-10) < .2, "%v is in the wall", p)
		}
	}
	assert.InEpsilon(t, 20*10-3*4-6*.4, area[0], .05)
	assert.InEpsilon(t, 100, area[1], .05)

	// A square grid of 2 m over a part of the ground floor: its spacing is 2 m, and
	// 2.5 m from it people walk. Nobody walked upstairs, of which that says nothing.
	var walked []orb.Point
	for x := 1.0; x <= 7; x += 2 {
		for y := 1.0; y <= 9; y += 2 {
			walked = append(walked, orb.Point{x, y}, orb.Point{x + .3, y}) // twice at each, a step apart
		}
	}
	on := make([]int, len(walked))
	assert.InDelta(t, 2, position.Spacing(walked, on), 1e-9)
	for i, l := range position.Prior(g, walked, on) {
		switch p := at[i]; {
		case floor[i] == 1 || p[0] <= 7.3:
			assert.Zero(t, l, "%v", p)
		case p[0] > 7.3+2.5:
			assert.InDelta(t, math.Log(1./20), l, 1e-12, "%v", p)
		}
	}
	// One place has no spacing, and reaches everywhere.
	assert.True(t, math.IsInf(position.Spacing(walked[:2], on[:2]), 1))
	for _, l := range position.Prior(g, walked[:1], on[:1]) {
		assert.Zero(t, l)
	}
}

// What places left out leave is what a walk without them has, near and far apart,
// one out or many.
func TestPriorOfWhatIsLeft(t *testing.T) {
	s := &site.Site{Name: "invented", Floors: []site.Floor{{ID: "G", Outline: box(0, 0, 30, 20)}, {ID: "1", ElevationM: 4, Outline: box(0, 0, 20, 20)}}}
	g := position.NewGrid(s)
	rng := rand.New(rand.NewPCG(3, 3))
	for _, jitter := range []float64{.4, 2} { // no two within a metre, and some
		var at []orb.Point
		var floor []int
		for i := range 60 {
			at = append(at, orb.Point{2 + 2.5*float64(i%10) + jitter*rng.Float64(), 2 + 2.5*float64(i/10) + jitter*rng.Float64()})
			floor = append(floor, i/50)
		}
		prior := position.PriorOf(g, at, floor)
		for _, out := range []int{1, 5, 30, 55, 59, 60} {
			left := make([]bool, len(at))
			var atLeft []orb.Point
			var floorLeft []int
			for i, j := range rng.Perm(len(at)) {
				left[j] = i >= out
			}
			for j, ok := range left {
				if ok {
					atLeft, floorLeft = append(atLeft, at[j]), append(floorLeft, floor[j])
				}
			}
			reach := 1.25 * position.Spacing(atLeft, floorLeft)
			cellFloor, cells, _ := position.Cells(g)
			got := prior(left)
			for i, p := range cells {
				want, walked := math.Log(.05), false
				for j, q := range atLeft {
					if floorLeft[j] == cellFloor[i] {
						walked = true
						if math.Hypot(p[0]-q[0], p[1]-q[1]) <= reach {
							want = 0
						}
					}
				}
				if !walked {
					want = 0
				}
				require.InDelta(t, want, got[i], 1e-12, "%d out, %v on %d", out, p, cellFloor[i])
			}
		}
	}
}
