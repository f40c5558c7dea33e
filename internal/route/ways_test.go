package route_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"footrule/internal/route"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// around is how much longer a way may be than the taut string, for n turns: a
// node stands ClearanceM off its corner, so each turn adds at most twice that.
func around(n int) float64 { return 2 * route.ClearanceM * float64(n) }

func TestWays(t *testing.T) {
	door := hall(10, 10) // a wall across, with a door from y = 6 to 7
	door.Walls = []site.Wall{wall(orb.Point{5, 0}, orb.Point{5, 6}), wall(orb.Point{5, 7}, orb.Point{5, 10})}
	pillar := hall(10, 10)
	pillar.Areas = []site.Area{{ID: "p", Kind: site.Void, Polygon: orb.Ring{{4, 3}, {6, 3}, {6, 7}, {4, 7}}}}
	ell := &site.Floor{ID: "G", Outline: orb.Ring{{0, 0}, {10, 0}, {10, 10}, {6, 10}, {6, 4}, {0, 4}}}
	shut := hall(10, 10)
	shut.Walls = []site.Wall{wall(orb.Point{5, 0}, orb.Point{5, 10})}
	slit := hall(10, 10) // 5 cm open: a slip of the pen
	slit.Walls = []site.Wall{wall(orb.Point{5, 0}, orb.Point{5, 9.95})}
	joint := hall(10, 10) // two walls that meet in (5, 5)
	joint.Walls = []site.Wall{wall(orb.Point{5, 0}, orb.Point{5, 5}), wall(orb.Point{5, 5}, orb.Point{5, 10})}
	narrow := hall(10, 10) // 20 cm open: a way
	narrow.Walls = []site.Wall{wall(orb.Point{5, 0}, orb.Point{5, 9.8})}
	room := hall(10, 10) // a cell inside, shut
	room.Walls = []site.Wall{wall(orb.Point{2, 2}, orb.Point{4, 2}, orb.Point{4, 4}, orb.Point{2, 4}, orb.Point{2, 2})}

	for _, c := range []struct {
		why      string
		f        *site.Floor
		from, to orb.Point
		ok       bool
		turns    int
		distM    float64 // of the taut string
		bearing  float64 // of the taut string's first piece
	}{
		{"straight to the north", hall(10, 10), orb.Point{2, 2}, orb.Point{2, 9}, true, 0, 7, 0},
		{"straight to the east", hall(10, 10), orb.Point{2, 2}, orb.Point{9, 2}, true, 0, 7, 90},
		{"straight to the south-west", hall(10, 10), orb.Point{9, 9}, orb.Point{2, 2}, true, 0, 7 * math.Sqrt2, 225},
		{"nowhere to go", hall(10, 10), orb.Point{2, 2}, orb.Point{2, 2}, true, 0, 0, 0},
		{"straight through the door", door, orb.Point{2, 6.5}, orb.Point{8, 6.5}, true, 0, 6, 90},
		{"through the door, around its post", door, orb.Point{1, 3}, orb.Point{9, 3}, true, 1, 10, 90 - 36.8699},
		{"through the door, askew", door, orb.Point{2, 2}, orb.Point{8, 2}, true, 1, 10, 36.8699},
		{"around the pillar", pillar, orb.Point{1, 4.5}, orb.Point{9, 4.5}, true, 2, 2*math.Hypot(3, 1.5) + 2, 90 + 26.5651},
		{"around the inner corner", ell, orb.Point{2, 1}, orb.Point{9, 8}, true, 1, 5 + 5, 90 - 36.8699},
		{"from the outline, along it", ell, orb.Point{0, 4}, orb.Point{6, 4}, true, 0, 6, 90},
		{"from the outline around the corner", ell, orb.Point{2, 4}, orb.Point{6, 8}, true, 1, 4 + 4, 90},
		{"no door", shut, orb.Point{2, 5}, orb.Point{8, 5}, false, 0, 0, 0},
		{"a slit", slit, orb.Point{2, 9}, orb.Point{8, 9}, false, 0, 0, 0},
		{"a slit, aimed through", slit, orb.Point{4, 9.98}, orb.Point{6, 9.98}, false, 0, 0, 0},
		{"a narrow gap", narrow, orb.Point{2, 9.8}, orb.Point{8, 9.8}, true, 0, 6, 90},
		{"a joint of two walls", joint, orb.Point{2, 5}, orb.Point{8, 5}, false, 0, 0, 0},
		{"into a shut cell", room, orb.Point{1, 1}, orb.Point{3, 3}, false, 0, 0, 0},
		{"within a shut cell", room, orb.Point{2.5, 2.5}, orb.Point{3.5, 2.5}, true, 0, 1, 90},
		{"from a wall to both of its sides", shut, orb.Point{5, 5}, orb.Point{8, 5}, true, 0, 3, 90},
		{"from a wall to the other side", shut, orb.Point{5, 5}, orb.Point{2, 5}, true, 0, 3, 270},
		{"from outside", hall(10, 10), orb.Point{-1, 5}, orb.Point{5, 5}, false, 0, 0, 0},
		{"into a void", pillar, orb.Point{1, 5}, orb.Point{5, 5}, false, 0, 0, 0},
	} {
		t.Run(c.why, func(t *testing.T) {
			ways := route.NewWays(c.f)
			leg, ok := ways.Leg(c.from, c.to)
			require.Equal(t, c.ok, ok)
			assert.Len(t, leg.Via, c.turns)
			assert.GreaterOrEqual(t, leg.DistM, c.distM-1e-9)
			assert.LessOrEqual(t, leg.DistM, c.distM+around(c.turns)+1e-9)
			assert.InDelta(t, c.bearing, leg.BearingDeg, 3*float64(min(c.turns, 1))+1e-9)

			back, ok := ways.Leg(c.to, c.from)
			require.Equal(t, c.ok, ok)
			assert.InDelta(t, leg.DistM, back.DistM, 1e-9)
		})
	}
}

// Laws of a shortest way, on an office with doors: it is as long as its pieces,
// no piece crosses a wall, it is never shorter than the straight line, and a
// way by a third place is never shorter.
func TestWaysLaws(t *testing.T) {
	f := office(4, 3)
	f.Areas = []site.Area{{ID: "shaft", Kind: site.Void, Polygon: orb.Ring{{6, 6}, {7.5, 6}, {7.5, 8}, {6, 8}}}}
	ways, walls := route.NewWays(f), site.NewWallIndex(&site.Site{Floors: []site.Floor{*f}})
	pts := scatter(f, 60, 8)
	rng := rand.New(rand.NewPCG(4, 4))
	bent := 0
	for range 800 {
		a, b, c := pts[rng.IntN(60)].At, pts[rng.IntN(60)].At, pts[rng.IntN(60)].At
		leg, ok := ways.Leg(a, b)
		require.True(t, ok)
		sum, at := 0.0, a
		for _, p := range append(append([]orb.Point{}, leg.Via...), b) {
			assert.False(t, walls.Crosses(0, at, p), "from %v to %v", a, b)
			assert.True(t, f.Straight(at, p), "from %v to %v", a, b)
			sum += planar.Distance(at, p)
			at = p
		}
		bent += len(leg.Via)
		assert.InDelta(t, sum, leg.DistM, 1e-9)
		assert.GreaterOrEqual(t, leg.DistM, planar.Distance(a, b)-1e-9)
		ac, _ := ways.Leg(a, c)
		cb, _ := ways.Leg(c, b)
		assert.LessOrEqual(t, leg.DistM, ac.DistM+cb.DistM+around(4))
	}
	assert.Greater(t, bent, 800, "ways do turn")
}

// A second opinion on the lengths: breadth of a fine raster, where a way of
// straight and diagonal steps is between 1 and 1.0824 times as long as the true
// one (1/cos 22.5°).
func TestWaysAgainstARaster(t *testing.T) {
	f := office(3, 2)
	f.Areas = []site.Area{{ID: "shaft", Kind: site.Void, Polygon: orb.Ring{{6.1, 6.1}, {7.4, 6.6}, {8.1, 7.9}, {6.6, 8.4}}}}
	f.Walls = append(f.Walls, wall(orb.Point{1.1, 6.4}, orb.Point{3.1, 6.4}, orb.Point{3.1, 8.1}, orb.Point{2.1, 8.6}))
	ways, walls := route.NewWays(f), site.NewWallIndex(&site.Site{Floors: []site.Floor{*f}})
	const step = 0.25
	nx, ny := int(15/step), int(10/step)
	at := func(i int) orb.Point { return orb.Point{(float64(i%nx) + 0.5) * step, (float64(i/nx) + 0.5) * step} }
	from := 3*nx + 5
	dist := make([]float64, nx*ny)
	done := make([]bool, nx*ny)
	for i := range dist {
		dist[i] = math.Inf(1)
	}
	dist[from] = 0
	for {
		best := -1
		for i, d := range dist {
			if !done[i] && !math.IsInf(d, 1) && (best < 0 || d < dist[best]) {
				best = i
			}
		}
		if best < 0 {
			break
		}
		done[best] = true
		for dy := -1; dy <= 1; dy++ {
			for dx := -1; dx <= 1; dx++ {
				x, y := best%nx+dx, best/nx+dy
				if x < 0 || y < 0 || x >= nx || y >= ny {
					continue
				}
				j := y*nx + x
				if !walls.Crosses(0, at(best), at(j)) && f.Straight(at(best), at(j)) {
					dist[j] = min(dist[j], dist[best]+planar.Distance(at(best), at(j)))
				}
			}
		}
	}
	reached := 0
	for i, d := range dist {
		if math.IsInf(d, 1) {
			assert.False(t, f.Walkable(at(i)), "%v", at(i))
			continue
		}
		reached++
		leg, ok := ways.Leg(at(from), at(i))
		require.True(t, ok)
		assert.LessOrEqual(t, leg.DistM, d+around(len(leg.Via))+1e-9)
		assert.GreaterOrEqual(t, leg.DistM*1.0824+step*float64(1+2*len(leg.Via)), d)
	}
	assert.Greater(t, reached, nx*ny-60)
}
