package site_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
)

func walls(w ...site.Wall) *site.Site {
	return &site.Site{Floors: []site.Floor{{ID: "G", Walls: w}}}
}

func wall(material string, line ...orb.Point) site.Wall {
	return site.Wall{Material: material, Line: line}
}

func count(s *site.Site, a, b orb.Point) map[string]float64 {
	ix := site.NewWallIndex(s)
	out := make([]float64, len(ix.Materials()))
	ix.Count(0, a, b, out)
	named := map[string]float64{}
	for i, m := range ix.Materials() {
		if out[i] != 0 {
			named[m] = out[i]
		}
	}
	return named
}

// The laws are those of [site.WallIndex].
func TestCrossingLaws(t *testing.T) {
	type counts = map[string]float64
	for _, c := range []struct {
		law  string
		site *site.Site
		a, b orb.Point
		want counts
	}{
		{"1: one wall", walls(wall("brick", orb.Point{5, 0}, orb.Point{5, 10})), orb.Point{0, 5}, orb.Point{10, 6}, counts{"brick": 1}},
		{"1: the wall ends before the line", walls(wall("brick", orb.Point{5, 0}, orb.Point{5, 4})), orb.Point{0, 5}, orb.Point{10, 6}, counts{}},
		{"1: the line ends before the wall", walls(wall("brick", orb.Point{5, 0}, orb.Point{5, 10})), orb.Point{0, 5}, orb.Point{4, 6}, counts{}},
		{"1: a U is crossed twice", walls(wall("brick", orb.Point{2, 0}, orb.Point{2, 9}, orb.Point{7, 9}, orb.Point{7, 0})), orb.Point{0, 5}, orb.Point{10, 5}, counts{"brick": 2}},
		{"1: two walls at one spot", walls(wall("brick", orb.Point{5, 0}, orb.Point{5, 10}), wall("glass", orb.Point{0, 0}, orb.Point{10, 10})), orb.Point{0, 6}, orb.Point{10, 4}, counts{"brick": 1, "glass": 1}},
		{"2: a corner brushed from outside", walls(wall("brick", orb.Point{5, 0}, orb.Point{5, 5}, orb.Point{10, 5})), orb.Point{4, 4}, orb.Point{6, 6}, counts{}},
		{"2: through a corner", walls(wall("brick", orb.Point{5, 0}, orb.Point{5, 5}, orb.Point{10, 5})), orb.Point{4, 6}, orb.Point{7, 3}, counts{"brick": 1}},
		{"2: a corner of a polyline, side to side", walls(wall("brick", orb.Point{5, 0}, orb.Point{5, 5}, orb.Point{8, 9})), orb.Point{0, 5}, orb.Point{10, 5}, counts{"brick": 1}},
		{"2: the same as two walls", walls(wall("brick", orb.Point{5, 0}, orb.Point{5, 5}), wall("brick", orb.Point{8, 9}, orb.Point{5, 5})), orb.Point{0, 5}, orb.Point{10, 5}, counts{"brick": 1}},
		{"2: a V brushed at its tip", walls(wall("brick", orb.Point{3, 9}, orb.Point{5, 5}, orb.Point{7, 9})), orb.Point{0, 5}, orb.Point{10, 5}, counts{}},
		{"2: a closed room through two corners", walls(wall("brick", orb.Point{2, 2}, orb.Point{6, 2}, orb.Point{6, 6}, orb.Point{2, 6}, orb.Point{2, 2})), orb.Point{0, 0}, orb.Point{8, 8}, counts{"brick": 2}},
		{"2: a closed room brushed at a corner", walls(wall("brick", orb.Point{2, 2}, orb.Point{6, 2}, orb.Point{6, 6}, orb.Point{2, 6}, orb.Point{2, 2})), orb.Point{0, 4}, orb.Point{4, 0}, counts{}},
		{"2: a junction of three", walls(wall("brick", orb.Point{5, 0}, orb.Point{5, 5}, orb.Point{5, 9}), wall("brick", orb.Point{5, 5}, orb.Point{9, 6})), orb.Point{0, 5}, orb.Point{10, 5}, counts{"brick": 1}},
		{"2: a junction of four counts two, as two walls that cross", walls(wall("brick", orb.Point{5, 0}, orb.Point{5, 5}, orb.Point{5, 9}), wall("brick", orb.Point{0, 4}, orb.Point{5, 5}, orb.Point{10, 6})), orb.Point{0, 5}, orb.Point{10, 5}, counts{"brick": 2}},
		{"2: the free end of a wall", walls(wall("brick", orb.Point{5, 0}, orb.Point{5, 5})), orb.Point{0, 5}, orb.Point{10, 5}, counts{}},
		{"3: along a wall", walls(wall("brick", orb.Point{2, 5}, orb.Point{8, 5})), orb.Point{0, 5}, orb.Point{10, 5}, counts{}},
		{"3: along a part of it", walls(wall("brick", orb.Point{0, 5}, orb.Point{20, 5})), orb.Point{2, 5}, orb.Point{10, 5}, counts{}},
		{"3: a wall that comes and goes on one side", walls(wall("brick", orb.Point{2, 9}, orb.Point{3, 5}, orb.Point{6, 5}, orb.Point{7, 9})), orb.Point{0, 5}, orb.Point{10, 5}, counts{}},
		{"3: a wall that leaves on the other side", walls(wall("brick", orb.Point{2, 9}, orb.Point{3, 5}, orb.Point{6, 5}, orb.Point{7, 0})), orb.Point{0, 5}, orb.Point{10, 5}, counts{"brick": 1}},
		{"3: the same from three walls", walls(wall("brick", orb.Point{2, 9}, orb.Point{3, 5}), wall("brick", orb.Point{6, 5}, orb.Point{3, 5}), wall("brick", orb.Point{6, 5}, orb.Point{7, 0})), orb.Point{0, 5}, orb.Point{10, 5}, counts{"brick": 1}},
		{"4: the line ends on a wall", walls(wall("brick", orb.Point{5, 0}, orb.Point{5, 9})), orb.Point{0, 5}, orb.Point{5, 5}, counts{}},
		{"4: the line ends in a corner", walls(wall("brick", orb.Point{5, 0}, orb.Point{5, 5}, orb.Point{8, 9})), orb.Point{0, 5}, orb.Point{5, 5}, counts{}},
		{"4: the line starts along a wall that turns away", walls(wall("brick", orb.Point{0, 5}, orb.Point{5, 5}, orb.Point{6, 9})), orb.Point{2, 5}, orb.Point{9, 5}, counts{}},
		{"2: the line starts along a wall that forks", walls(wall("brick", orb.Point{0, 5}, orb.Point{5, 5}, orb.Point{6, 9}), wall("brick", orb.Point{5, 5}, orb.Point{6, 0})), orb.Point{2, 5}, orb.Point{9, 5}, counts{"brick": 1}},
		{"4: no length", walls(wall("brick", orb.Point{5, 0}, orb.Point{5, 9})), orb.Point{5, 5}, orb.Point{5, 5}, counts{}},
		{"8: a joint of two materials", walls(wall("brick", orb.Point{5, 0}, orb.Point{5, 5}), wall("glass", orb.Point{5, 5}, orb.Point{5, 9})), orb.Point{0, 5}, orb.Point{10, 5}, counts{"brick": 0.5, "glass": 0.5}},
		{"8: a stub of glass in a brick wall", walls(wall("brick", orb.Point{5, 0}, orb.Point{5, 5}, orb.Point{5, 9}), wall("glass", orb.Point{5, 5}, orb.Point{9, 6})), orb.Point{0, 5}, orb.Point{10, 5}, counts{"brick": 1}},
		{"8: brick against brick and glass", walls(wall("glass", orb.Point{5, 0}, orb.Point{5, 5}), wall("wood", orb.Point{4, 0}, orb.Point{5, 5}), wall("brick", orb.Point{5, 5}, orb.Point{5, 9})), orb.Point{0, 5}, orb.Point{10, 5}, counts{"brick": 0.5, "glass": 0.25, "wood": 0.25}},
	} {
		t.Run(c.law, func(t *testing.T) {
			assert.Equal(t, c.want, count(c.site, c.a, c.b))
			assert.Equal(t, c.want, count(c.site, c.b, c.a), "law 5")
			assert.Equal(t, len(c.want) > 0, site.NewWallIndex(c.site).Crosses(0, c.a, c.b), "Crosses")
			for _, deg := range []float64{30, 90, 133.7} {
				at := motion(deg, orb.Point{17.3, -4.1}, deg > 100)
				assert.Equal(t, c.want, count(moved(c.site, at), at(c.a), at(c.b)), "law 6, turned by %g°", deg)
			}
		})
	}
}

// motion turns by deg, moves by to, and mirrors first where told.
func motion(deg float64, to orb.Point, mirror bool) func(orb.Point) orb.Point {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	return func(p orb.Point) orb.Point {
		if mirror {
			p[0] = -p[0]
		}
		return orb.Point{cos*p[0] - sin*p[1] + to[0], sin*p[0] + cos*p[1] + to[1]}
	}
}

func moved(s *site.Site, at func(orb.Point) orb.Point) *site.Site {
	out := &site.Site{Floors: []site.Floor{{ID: "G"}}}
	for _, w := range s.Floors[0].Walls {
		line := make(orb.LineString, len(w.Line))
		for i, p := range w.Line {
			line[i] = at(p)
		}
		out.Floors[0].Walls = append(out.Floors[0].Walls, site.Wall{Material: w.Material, Line: line})
	}
	return out
}

// randomWalls draws walls on a coarse grid, so that corners, joints and walls
// along the line come up all the time.
func randomWalls(rng *rand.Rand, n int) *site.Site {
	materials := []string{"brick", "glass", "wood"}
	out := &site.Site{Floors: []site.Floor{{ID: "G"}}}
	for range n {
		line := make(orb.LineString, 2+rng.IntN(3))
		for i := range line {
			line[i] = gridPoint(rng)
		}
		out.Floors[0].Walls = append(out.Floors[0].Walls, site.Wall{Material: materials[rng.IntN(3)], Line: line})
	}
	return out
}

func gridPoint(rng *rand.Rand) orb.Point {
	return orb.Point{float64(rng.IntN(9)), float64(rng.IntN(9))}
}

func TestCrossingProperties(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	crossed := 0
	for i := range 3000 {
		s := randomWalls(rng, 1+rng.IntN(12))
		a, b := gridPoint(rng), gridPoint(rng)
		want := count(s, a, b)
		crossed += len(want)
		name := fmt.Sprintf("case %d: %v to %v among %v", i, a, b, s.Floors[0].Walls)

		assert.Equal(t, want, count(s, b, a), "law 5, %s", name)

		at := motion(360*rng.Float64(), orb.Point{100 * rng.Float64(), 100 * rng.Float64()}, i%2 == 0)
		assert.InDeltaMapValues(t, want, count(moved(s, at), at(a), at(b)), 1e-12, "law 6, %s", name)

		// Law 7: one wall becomes two at a corner, at a middle, and where the line is.
		w := s.Floors[0].Walls[rng.IntN(len(s.Floors[0].Walls))]
		k := rng.IntN(len(w.Line) - 1)
		p, q := w.Line[k], w.Line[k+1]
		for _, f := range []float64{0, 0.5, onLine(a, b, p, q)} {
			mid := orb.Point{p[0] + f*(q[0]-p[0]), p[1] + f*(q[1]-p[1])}
			split := &site.Site{Floors: []site.Floor{{ID: "G"}}}
			for _, v := range s.Floors[0].Walls {
				if &v.Line[0] != &w.Line[0] {
					split.Floors[0].Walls = append(split.Floors[0].Walls, v)
					continue
				}
				first := append(append(orb.LineString{}, v.Line[:k+1]...), mid)
				second := append(orb.LineString{mid}, v.Line[k+1:]...)
				split.Floors[0].Walls = append(split.Floors[0].Walls, site.Wall{Material: v.Material, Line: first}, site.Wall{Material: v.Material, Line: second})
			}
			assert.InDeltaMapValues(t, want, count(split, a, b), 1e-12, "law 7 at %g, %s", f, name)
		}
		if t.Failed() {
			return
		}
	}
	assert.Greater(t, crossed, 3000, "the cases are worth having")
}

// onLine is where along p to q the line through a and b crosses, within 0 to 1.
func onLine(a, b, p, q orb.Point) float64 {
	side := func(c orb.Point) float64 { return (b[0]-a[0])*(c[1]-a[1]) - (b[1]-a[1])*(c[0]-a[0]) }
	dp, dq := side(p), side(q)
	if dp == dq {
		return 0.25
	}
	return math.Min(1, math.Max(0, dp/(dp-dq)))
}

// In general position the count is that of the plain test of all segments by
// the signs of four triangles (de Berg and others, Computational Geometry, 2008,
// chapter 2).
func TestCountAgainstAllSegments(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	point := func() orb.Point { return orb.Point{60 * rng.Float64(), 24 * rng.Float64()} }
	var ws []site.Wall
	for i := range 300 {
		p := point()
		ws = append(ws, wall([]string{"brick", "glass"}[i%2], p, orb.Point{p[0] + 6*rng.NormFloat64(), p[1] + 6*rng.NormFloat64()}))
	}
	s := walls(ws...)
	ix := site.NewWallIndex(s)
	turn := func(a, b, c orb.Point) bool { return (b[0]-a[0])*(c[1]-a[1])-(b[1]-a[1])*(c[0]-a[0]) > 0 }
	for range 2000 {
		a, b := point(), point()
		want := make([]float64, 2)
		for i, w := range ws {
			p, q := w.Line[0], w.Line[1]
			if turn(a, b, p) != turn(a, b, q) && turn(p, q, a) != turn(p, q, b) {
				want[i%2]++
			}
		}
		got := make([]float64, 2)
		ix.Count(0, a, b, got)
		assert.Equal(t, want, got)
	}
}

func TestCountAllocatesNothing(t *testing.T) {
	ix, a, b := benchmarkWalls()
	out := make([]float64, len(ix.Materials()))
	assert.Zero(t, testing.AllocsPerRun(100, func() {
		for i := range a {
			ix.Count(0, a[i], b[i], out)
		}
	}))
}

// An office of 12 by 5 rooms with doors: 377 wall segments in 60 m by 25 m.
func benchmarkWalls() (ix *site.WallIndex, a, b []orb.Point) {
	var ws []site.Wall
	for x := range 13 {
		for y := range 5 {
			px, py := 5*float64(x), 5*float64(y)
			ws = append(ws, wall("plasterboard", orb.Point{px, py}, orb.Point{px, py + 2}, orb.Point{px, py + 3.5}),
				wall("glass", orb.Point{px, py + 4.5}, orb.Point{px, py + 5}))
		}
	}
	for y := range 6 {
		for x := range 12 {
			px, py := 5*float64(x), 5*float64(y)
			ws = append(ws, wall("brick", orb.Point{px, py}, orb.Point{px + 2, py}), wall("brick", orb.Point{px + 3, py}, orb.Point{px + 5, py}))
		}
	}
	rng := rand.New(rand.NewPCG(3, 3))
	for range 1024 {
		a = append(a, orb.Point{60 * rng.Float64(), 25 * rng.Float64()})
		b = append(b, orb.Point{math.Round(60 * rng.Float64()), math.Round(25 * rng.Float64())})
	}
	return site.NewWallIndex(walls(ws...)), a, b
}

func BenchmarkCount(b *testing.B) {
	ix, from, to := benchmarkWalls()
	out := make([]float64, len(ix.Materials()))
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		ix.Count(0, from[i%1024], to[i%1024], out)
	}
}
