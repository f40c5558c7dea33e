package route_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"footrule/internal/route"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func hall(w, h float64) *site.Floor {
	return &site.Floor{ID: "G", Outline: orb.Ring{{0, 0}, {w, 0}, {w, h}, {0, h}}}
}

func wall(line ...orb.Point) site.Wall { return site.Wall{Material: "brick", Line: line} }

// office is rooms of 5 by 5 m, nx by ny, with a door of 1 m from each to the next.
func office(nx, ny int) *site.Floor {
	f := hall(5*float64(nx), 5*float64(ny))
	for x := 1; x < nx; x++ {
		for y := range ny {
			px, py := 5*float64(x), 5*float64(y)
			f.Walls = append(f.Walls, wall(orb.Point{px, py}, orb.Point{px, py + 3}), wall(orb.Point{px, py + 4}, orb.Point{px, py + 5}))
		}
	}
	for y := 1; y < ny; y++ {
		for x := range nx {
			px, py := 5*float64(x), 5*float64(y)
			f.Walls = append(f.Walls, wall(orb.Point{px, py}, orb.Point{px + 2, py}), wall(orb.Point{px + 3, py}, orb.Point{px + 5, py}))
		}
	}
	return f
}

func scatter(f *site.Floor, n int, seed uint64) []site.Point {
	rng := rand.New(rand.NewPCG(seed, 1))
	box := f.BoundingBox()
	var pts []site.Point
	for len(pts) < n {
		p := orb.Point{box.Max[0] * rng.Float64(), box.Max[1] * rng.Float64()}
		if f.Walkable(p) {
			pts = append(pts, site.Point{ID: fmt.Sprint(len(pts)), At: p})
		}
	}
	return pts
}

// requireTour holds that every point is there once and that the length is that
// of the legs.
func requireTour(t *testing.T, f *site.Floor, pts []site.Point, start *orb.Point, tour route.Tour) {
	t.Helper()
	sorted := slices.Sorted(slices.Values(tour.Order))
	for i := range pts {
		require.Equal(t, i, sorted[i])
	}
	require.Len(t, tour.Order, len(pts))
	ways := route.NewWays(f)
	sum, noWay := 0.0, 0
	at := pts[tour.Order[0]].At
	if start != nil {
		at = *start
	}
	for _, i := range tour.Order {
		leg, ok := ways.Leg(at, pts[i].At)
		if !ok {
			leg.DistM = planar.Distance(at, pts[i].At)
			noWay++
		}
		sum += leg.DistM
		at = pts[i].At
	}
	require.InDelta(t, sum, tour.LengthM, 1e-9*math.Max(1, sum))
	require.Equal(t, noWay, tour.NoWay)
}

// shortest is the length of the best open tour by dynamic programming (Held and
// Karp, J. SIAM 10, 1962): an answer from outside of the search.
func shortest(f *site.Floor, pts []site.Point, start *orb.Point) float64 {
	ways := route.NewWays(f)
	n := len(pts)
	d := make([][]float64, n)
	for i := range d {
		d[i] = make([]float64, n)
		for j := range d {
			if leg, ok := ways.Leg(pts[i].At, pts[j].At); ok {
				d[i][j] = leg.DistM
			} else {
				d[i][j] = math.Inf(1)
			}
		}
	}
	best := make([][]float64, 1<<n)
	for set := range best {
		best[set] = make([]float64, n)
		for last := range n {
			best[set][last] = math.Inf(1)
			if set == 1<<last {
				best[set][last] = 0
				if start != nil {
					leg, _ := ways.Leg(*start, pts[last].At)
					best[set][last] = leg.DistM
				}
			} else if set>>last&1 == 1 {
				for from := range n {
					if from != last && set>>from&1 == 1 {
						best[set][last] = min(best[set][last], best[set&^(1<<last)][from]+d[from][last])
					}
				}
			}
		}
	}
	return slices.Min(best[1<<n-1])
}

func TestOrderAgainstHeldKarp(t *testing.T) {
	worst := 1.0
	for seed := range uint64(40) {
		f := office(3, 2)
		if seed%2 == 0 {
			f = hall(15, 10)
		}
		pts := scatter(f, 1+int(seed)%10, seed)
		var start *orb.Point
		if seed%3 == 0 {
			start = &orb.Point{1, 1}
		}
		tour := route.Order(f, pts, start)
		requireTour(t, f, pts, start, tour)
		want := shortest(f, pts, start)
		assert.GreaterOrEqual(t, tour.LengthM, want-1e-9)
		assert.LessOrEqual(t, tour.LengthM, 1.05*want+1e-9, "seed %d", seed)
		if want > 0 {
			worst = max(worst, tour.LengthM/want)
		}
	}
	t.Logf("longest against the best: %.4f", worst)
}

// The best closed tour of n points on a circle is the polygon, 2nR sin(π/n) (the
// best tour of points in convex position is their hull: Flood 1956); an open one
// leaves out one side.
func TestOrderOnARing(t *testing.T) {
	for _, n := range []int{3, 10, 100, 500} {
		const r = 20.0
		f := hall(50, 50)
		rng := rand.New(rand.NewPCG(uint64(n), 0))
		var pts []site.Point
		for _, i := range rng.Perm(n) {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			pts = append(pts, site.Point{At: orb.Point{25 + r*cos, 25 + r*sin}})
		}
		tour := route.Order(f, pts, nil)
		requireTour(t, f, pts, nil, tour)
		assert.InDelta(t, 2*float64(n-1)*r*math.Sin(math.Pi/float64(n)), tour.LengthM, 1e-6, "%d points", n)
	}
}

// The best open tour of a full grid of k×k points goes along neighbours only:
// k²−1 steps.
func TestOrderOnAGrid(t *testing.T) {
	f := hall(30, 30)
	var pts []site.Point
	for x := range 10 {
		for y := range 10 {
			pts = append(pts, site.Point{At: orb.Point{1.5 + 3*float64(x), 1.5 + 3*float64(y)}})
		}
	}
	tour := route.Order(f, pts, &orb.Point{1.5, 1.5})
	requireTour(t, f, pts, &orb.Point{1.5, 1.5}, tour)
	assert.InEpsilon(t, 3*99.0, tour.LengthM, 0.05)
}

// The best closed tours of 1,000 random points in a square of area A have a mean
// length of 0.7313 √(nA) with a spread of some 1 % (Johnson and McGeoch 1997,
// table of random uniform instances; from memory). An open tour leaves out the
// longest of its legs, which is less than the slack of 5 %.
func TestOrderOfManyRandomPoints(t *testing.T) {
	f := hall(100, 100)
	pts := scatter(f, 1000, 5)
	tour := route.Order(f, pts, nil)
	requireTour(t, f, pts, nil, tour)
	ratio := tour.LengthM / math.Sqrt(1000*100*100)
	assert.Greater(t, ratio, 0.7313*0.95)
	assert.Less(t, ratio, 0.7313*1.05)
}

func TestOrderIsDeterministic(t *testing.T) {
	f := office(6, 4)
	pts := scatter(f, 150, 3)
	assert.Equal(t, route.Order(f, pts, nil), route.Order(f, pts, nil))
}

func TestOrderOddCases(t *testing.T) {
	f := hall(10, 10)
	assert.Equal(t, route.Tour{}, route.Order(f, nil, nil))
	assert.Equal(t, route.Tour{}, route.Order(f, nil, &orb.Point{1, 1}))
	one := []site.Point{{At: orb.Point{4, 5}}}
	assert.Equal(t, route.Tour{Order: []int{0}}, route.Order(f, one, nil))
	assert.Equal(t, route.Tour{Order: []int{0}, LengthM: 5}, route.Order(f, one, &orb.Point{1, 1}))
	same := make([]site.Point, 30)
	for i := range same {
		same[i].At = orb.Point{4, 5}
	}
	tour := route.Order(f, same, nil)
	requireTour(t, f, same, nil, tour)
	assert.Zero(t, tour.LengthM, "all in one place")

	f.Walls = []site.Wall{wall(orb.Point{5, 0}, orb.Point{5, 10})}
	pts := scatter(f, 40, 9)
	tour = route.Order(f, pts, nil)
	requireTour(t, f, pts, nil, tour)
	assert.Equal(t, 1, tour.NoWay, "two halves without a door: one leg has no way")

	pts[7].At = orb.Point{20, 20}
	tour = route.Order(f, pts, nil)
	requireTour(t, f, pts, nil, tour)
	assert.Equal(t, 2, tour.NoWay, "and one point outside")
}

func BenchmarkOrder(b *testing.B) {
	for _, n := range []int{200, 2000} {
		for name, f := range map[string]*site.Floor{"hall": hall(60, 25), "office": office(12, 5)} {
			pts := scatter(f, n, 2)
			b.Run(fmt.Sprintf("%s/%d", name, n), func(b *testing.B) {
				for b.Loop() {
					route.Order(f, pts, nil)
				}
			})
		}
	}
}

func BenchmarkNewWays(b *testing.B) {
	f := office(12, 5)
	for b.Loop() {
		route.NewWays(f)
	}
}
