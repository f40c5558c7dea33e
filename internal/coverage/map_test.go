package coverage_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"footrule/internal/coverage"
	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/radio"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// works is an invented floor: an L with a slanted side, a void, walls, and
// access points of one and two bands, one of them outdoors.
func works() *site.Site {
	box := func(id string, x, y float64, bands ...radio.Band) site.AccessPoint {
		ap := site.AccessPoint{ID: id, Floor: "G", At: orb.Point{x, y}, HeightM: 2.8}
		for _, b := range bands {
			ap.Radios = append(ap.Radios, site.Radio{Band: b})
		}
		return ap
	}
	return &site.Site{
		Name: "Works", ReceiverHeightM: 1.2,
		Floors: []site.Floor{{
			ID: "G", Outline: orb.Ring{{0, 0}, {50, 0}, {50, 18}, {34.5, 20}, {34.5, 31}, {0, 31}},
			Walls: []site.Wall{
				{Material: "brick", Line: orb.LineString{{12, 0}, {12, 14}, {20, 14}}},
				{Material: "concrete", Line: orb.LineString{{30, 3}, {30, 19}}},
				{Material: "glass", Line: orb.LineString{{0, 22}, {22, 22}, {22, 31}}},
			},
			Areas: []site.Area{
				{ID: "shaft", Kind: site.Void, Polygon: orb.Ring{{14.2, 16.3}, {18.7, 16.3}, {18.7, 19.9}, {14.2, 19.9}}},
				{ID: "skylight", Kind: site.NoMount, Polygon: orb.Ring{{36, 4}, {46, 4}, {46, 12}, {36, 12}}},
			},
		}},
		AccessPoints: []site.AccessPoint{
			box("A", 5, 5, radio.Band2, radio.Band5), box("B", 25, 7, radio.Band5), box("C", 45, 14, radio.Band2),
			box("D", 8, 27, radio.Band5, radio.Band2), box("E", 33, 29, radio.Band5), box("F", 60, -4, radio.Band2),
		},
	}
}

func assumed(t testing.TB, s *site.Site, environment string) *propagation.Fit {
	t.Helper()
	e, err := propagation.EnvironmentOf(environment)
	require.NoError(t, err)
	f, _, err := e.Fit(s)
	require.NoError(t, err)
	return f
}

// The laws are those of [coverage.Cells].
func TestCells(t *testing.T) {
	s := works()
	f := &s.Floors[0]
	for _, size := range []float64{0.5, 1, 2.3, 7, 100} {
		c, err := coverage.LayCells(s, 0, size)
		require.NoError(t, err)
		sum := 0.0
		for i, p := range c.At {
			require.True(t, f.Walkable(p), "law 2: %v at %g", p, size)
			require.True(t, c.Box(i).Contains(p))
			sum += c.AreaM2[i]
		}
		assert.InEpsilon(t, f.Area(), sum, 0.001, "law 1: cells of %g m", size)
	}
	_, err := coverage.LayCells(s, 0, 0.01)
	assert.EqualError(t, err, `floor "G" has more than 1000000 cells of 0.01 m; give a larger size`)
	_, err = coverage.LayCells(s, 0, math.NaN())
	assert.ErrorContains(t, err, "give a size above 0")
}

// A map says of every cell what the fit says of its place.
func TestPredict(t *testing.T) {
	s := works()
	f := assumed(t, s, "rooms")
	o := coverage.Options{CellM: 0.7, ThresholdDBm: -67, Confidence: 0.8, Need: 2}
	m, err := coverage.Predict(context.Background(), s, f, o)
	require.NoError(t, err)
	fm := &m.Floors[0]
	refs := s.Radios()
	missing := 0.0
	for i, at := range fm.At {
		heard := map[int]bool{}
		p := make([]float64, len(s.AccessPoints))
		for k, ref := range refs {
			mu := f.Level(k, 0, at)
			require.InDelta(t, mu, fm.Level(k, i), 1e-4)
			sigma, _ := f.Spread(k)
			prob := math.Erfc((o.ThresholdDBm-mu)/sigma/math.Sqrt2) / 2
			p[ref.AP] = max(p[ref.AP], prob)
			if math.Abs(prob-0.8) < 1e-5 {
				t.Fatal("a level too close to the threshold to tell; move the scene")
			}
			if prob >= 0.8 {
				heard[ref.AP] = true
			}
		}
		require.Equal(t, len(heard), fm.Heard[i], "%v", at)
		for k := 1; k <= coverage.Reported; k++ {
			require.InDelta(t, bruteAtLeast(p, k), fm.AtLeast[k-1][i], 1e-4)
		}
		if len(heard) < 2 {
			missing += fm.AreaM2[i]
		}
	}
	assert.InDelta(t, missing, fm.Missing, 1e-6)
	sh := m.Shares()
	assert.InDelta(t, 1-missing/sh.AreaM2, sh.Need, 1e-9)
	assert.InDelta(t, sh.Heard[1], sh.Need, 1e-9)
	for k := 1; k < coverage.Reported; k++ {
		assert.GreaterOrEqual(t, sh.Heard[k-1], sh.Heard[k])
		assert.GreaterOrEqual(t, sh.AtLeast[k-1], sh.AtLeast[k])
	}
	again, err := coverage.Predict(context.Background(), s, f, o)
	require.NoError(t, err)
	assert.Equal(t, fm.Heard, again.Floors[0].Heard)

	stopped, stop := context.WithCancel(context.Background())
	stop()
	_, err = coverage.Predict(stopped, s, f, o)
	assert.ErrorIs(t, err, context.Canceled)
}

// bruteAtLeast sums over all outcomes.
func bruteAtLeast(p []float64, k int) float64 {
	sum := 0.0
	for mask := range 1 << len(p) {
		prob, n := 1.0, 0
		for i, v := range p {
			if mask>>i&1 == 1 {
				prob *= v
				n++
			} else {
				prob *= 1 - v
			}
		}
		if n >= k {
			sum += prob
		}
	}
	return sum
}

// A cell is inside the hull of the heard access points where it lies in a
// triangle of three of them, or between two.
func TestInHull(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	in := 0
	for round := range 60 {
		s := works()
		s.Floors[0].Walls = nil
		s.AccessPoints = s.AccessPoints[:0]
		for i := range 1 + rng.IntN(7) {
			s.AccessPoints = append(s.AccessPoints, site.AccessPoint{
				ID: fmt.Sprint(i), Floor: "G", HeightM: 2.8, Radios: []site.Radio{{Band: radio.Band5}},
				At: orb.Point{float64(rng.IntN(12)) * 4.5, float64(rng.IntN(8)) * 4.5},
			})
		}
		f := assumed(t, s, "rooms")
		m, err := coverage.Predict(context.Background(), s, f, coverage.Options{CellM: 2, ThresholdDBm: -72})
		require.NoError(t, err)
		fm := &m.Floors[0]
		for i, got := range m.InHull(fm) {
			var heard []orb.Point
			for k := range s.Radios() {
				if fm.Level(k, i) >= -72 {
					heard = append(heard, s.AccessPoints[k].At)
				}
			}
			require.Equal(t, bruteInHull(heard, fm.At[i]), got, "round %d: %v among %v", round, fm.At[i], heard)
			if got {
				in++
			}
		}
	}
	require.Greater(t, in, 1000)
}

func bruteInHull(pts []orb.Point, p orb.Point) bool {
	turn := func(a, b, c orb.Point) float64 { return (b[0]-a[0])*(c[1]-a[1]) - (b[1]-a[1])*(c[0]-a[0]) }
	for _, a := range pts {
		for _, b := range pts {
			if math.Abs(turn(a, b, p)) < 1e-9 && (p[0]-a[0])*(p[0]-b[0])+(p[1]-a[1])*(p[1]-b[1]) <= 1e-9 {
				return true
			}
			for _, c := range pts {
				if math.Abs(turn(a, b, c)) < 1e-9 {
					continue
				}
				x, y, z := turn(a, b, p), turn(b, c, p), turn(c, a, p)
				if x >= -1e-9 && y >= -1e-9 && z >= -1e-9 || x <= 1e-9 && y <= 1e-9 && z <= 1e-9 {
					return true
				}
			}
		}
	}
	return false
}

// The weights that maps take from a table are those of the bound.
func TestWeights(t *testing.T) {
	for _, never := range []float64{0, 1e-6, .01, .3} {
		for z := -6.0; z <= 6; z += .0137 {
			want := position.HeardWeight(z, 0, 1, never)
			require.InDelta(t, want, coverage.Weight(z, never), 1e-7*want+1e-9, "%g spreads, missed %g", z, never)
		}
	}
}

// The bound is that of [position.Grid.Bound].
func TestAccuracyIsTheBound(t *testing.T) {
	s := works()
	f := assumed(t, s, "rooms")
	m, err := coverage.Predict(context.Background(), s, f, coverage.Options{CellM: 1.7, Scans: 5})
	require.NoError(t, err)
	fm := &m.Floors[0]
	g := position.NewGrid(s)
	a := m.Accuracy(fm)
	for i, at := range fm.At {
		want := math.NaN()
		if c, ok := g.Bound(f, 0, at, 5); ok {
			want = c.RMS()
		}
		if math.IsNaN(want) {
			require.True(t, math.IsNaN(a.BoundM[i]), "%v", at)
			continue
		}
		require.InEpsilon(t, want, a.BoundM[i], 1e-4, "%v", at)
		require.Less(t, a.ErrorM[i], a.BoundM[i], "knowing the floor helps")
	}
}

// The expected error is what fixes of simulated stays have, in a hall without
// walls: to 20 % over the floor (trilateration reaches 1.0 to 1.1 of the bound).
func TestExpectedError(t *testing.T) {
	s := &site.Site{Name: "Hall", ReceiverHeightM: 1.2, Floors: []site.Floor{{ID: "G", Outline: orb.Ring{{0, 0}, {40, 0}, {40, 25}, {0, 25}}}}}
	for i, p := range []orb.Point{{2, 2}, {38, 3}, {37, 23}, {3, 22}, {20, 12}} {
		s.AccessPoints = append(s.AccessPoints, site.AccessPoint{ID: fmt.Sprint("A", i), Floor: "G", At: p, HeightM: 3, Radios: []site.Radio{{Band: radio.Band5}}})
	}
	f := assumed(t, s, "rooms")
	m, err := coverage.Predict(context.Background(), s, f, coverage.Options{CellM: 4, Scans: 4})
	require.NoError(t, err)
	fm := &m.Floors[0]
	a := m.Accuracy(fm)
	locate := position.NewTrilateration(position.NewGrid(s), f)
	rng := rand.New(rand.NewPCG(5, 5))
	var expected, got, n float64
	for i, at := range fm.At {
		for range 12 {
			st := walk.Stay{Floor: 0, At: at, Scans: 4, Levels: make([]walk.Level, len(f.Radios))}
			for k := range f.Radios {
				shadow, scatter := f.Spread(k)
				mu := f.Level(k, 0, at) + shadow*rng.NormFloat64()
				var l walk.Level
				for range st.Scans {
					v := math.Round(mu + scatter*rng.NormFloat64())
					if v < f.Group(k).FloorDBm || rng.Float64() < f.Radios[k].ScanMiss {
						continue
					}
					l.Heard++
					d := v - l.MeanDBm
					l.MeanDBm += d / float64(l.Heard)
					l.SumSqDB += d * (v - l.MeanDBm)
				}
				st.Levels[k] = l
			}
			fix := locate.Fix(&st)
			require.True(t, fix.Located, fix.Reason)
			expected += a.ErrorM[i]
			got += math.Hypot(fix.At[0]-at[0], fix.At[1]-at[1])
			n++
		}
	}
	t.Logf("expected %.2f m, simulated %.2f m over %g fixes", expected/n, got/n, n)
	assert.InEpsilon(t, got, expected, 0.2)
}

func TestHoles(t *testing.T) {
	s := works()
	f := assumed(t, s, "rooms")
	m, err := coverage.Predict(context.Background(), s, f, coverage.Options{CellM: 1, ThresholdDBm: -72, Need: 2})
	require.NoError(t, err)
	fm := &m.Floors[0]
	holes := m.Holes()
	require.Greater(t, len(holes), 1)
	in := map[int]int{}
	sum := 0.0
	for h, hole := range holes {
		area, least := 0.0, 99
		for _, c := range hole.Cells {
			_, twice := in[c]
			require.False(t, twice)
			in[c] = h
			area += fm.AreaM2[c]
			least = min(least, fm.Heard[c])
		}
		assert.InDelta(t, area, hole.AreaM2, 1e-9)
		assert.Equal(t, least, hole.Heard)
		if h > 0 {
			assert.LessOrEqual(t, hole.AreaM2, holes[h-1].AreaM2)
		}
		sum += area
	}
	assert.InDelta(t, fm.Missing, sum, 1e-6)
	for i := range fm.Heard {
		_, inHole := in[i]
		require.Equal(t, fm.Heard[i] < 2, inHole)
		for j := range fm.Heard { // cells side by side are in one hole
			d := math.Abs(fm.Box(i).Center()[0]-fm.Box(j).Center()[0]) + math.Abs(fm.Box(i).Center()[1]-fm.Box(j).Center()[1])
			if inHole && fm.Heard[j] < 2 && d < 1.2 {
				require.Equal(t, in[i], in[j])
			}
		}
	}

	// The one access point that closes most of a hole does what it says.
	e, _ := propagation.EnvironmentOf("rooms")
	source := func(s *site.Site) (*propagation.Fit, []string, error) { return e.Fit(s) }
	box := coverage.LikeThose(s)
	assert.Equal(t, coverage.Box{Bands: []radio.Band{radio.Band2, radio.Band5}, HeightM: 2.8}, box)
	require.NoError(t, m.Close(context.Background(), holes[:1], source, box, 3))
	add := holes[0].Added
	require.NotNil(t, add)
	more := s.Clone()
	more.AccessPoints = append(more.AccessPoints, site.AccessPoint{ID: "new", Floor: "G", At: add.At, HeightM: 2.8, Radios: []site.Radio{{Band: radio.Band2}, {Band: radio.Band5}}})
	assert.True(t, s.Floors[0].Mountable(add.At))
	after, err := coverage.Predict(context.Background(), more, assumed(t, more, "rooms"), m.Options)
	require.NoError(t, err)
	closed := 0.0
	for _, c := range holes[0].Cells {
		if after.Floors[0].Heard[c] >= 2 {
			closed += fm.AreaM2[c]
		}
	}
	assert.Greater(t, closed, 0.0)
	assert.InDelta(t, closed, add.ClosesM2, 2.1) // cells cut by an edge are looked at in their middle
}

func TestMeasured(t *testing.T) {
	s := &site.Site{Name: "Hall", Floors: []site.Floor{{ID: "G", Outline: orb.Ring{{0, 0}, {20, 0}, {20, 10}, {0, 10}}}},
		AccessPoints: []site.AccessPoint{
			{ID: "A", Floor: "G", Radios: []site.Radio{{Band: radio.Band2}, {Band: radio.Band5}}},
			{ID: "B", Floor: "G", Radios: []site.Radio{{Band: radio.Band5}}}}}
	level := func(heard int, mean float64) walk.Level { return walk.Level{Heard: heard, MeanDBm: mean, MinDBm: mean} }
	stays := []walk.Stay{
		{Point: "W", At: orb.Point{5, 5}, Scans: 4, Levels: []walk.Level{level(4, -60), level(4, -70), level(1, -70)}},  // B in too few scans
		{Point: "W", At: orb.Point{5, 5}, Scans: 2, Levels: []walk.Level{level(2, -60), level(0, 0), level(2, -71)}},    // B in 3 of 6 now
		{Point: "E", At: orb.Point{13, 5}, Scans: 4, Levels: []walk.Level{level(4, -78), level(4, -80), level(4, -74)}}, // A too weak
	}
	m, err := coverage.Measured(s, stays, coverage.Options{Need: 2}, 6)
	require.NoError(t, err)
	fm := &m.Floors[0]
	for i, p := range fm.At {
		w, e := math.Hypot(p[0]-5, p[1]-5), math.Hypot(p[0]-13, p[1]-5)
		require.LessOrEqual(t, min(w, e), 6.0)
		want := 2
		if e < w {
			want = 1
		}
		require.Equal(t, want, fm.Heard[i], "%v", p)
	}
	assert.Less(t, m.Shares().AreaM2, 200.0)
	assert.True(t, math.IsNaN(m.Shares().AtLeast[0]))

	// Against a prediction that hears both everywhere.
	power := 30.0
	s.AccessPoints[0].Radios[0].TxPowerDBm, s.AccessPoints[1].Radios[0].TxPowerDBm = &power, &power
	p, err := coverage.Predict(context.Background(), s, assumed(t, s, "rooms"), coverage.Options{Need: 2})
	require.NoError(t, err)
	require.Equal(t, 1.0, p.Shares().Heard[1])
	d := coverage.Compare(p, m)
	assert.Equal(t, 1.0, d.Predicted.Need)
	assert.Zero(t, d.MoreM2)
	assert.InDelta(t, d.FewerM2, (1-d.Measured.Need)*d.Measured.AreaM2, 1e-9)
	assert.InDelta(t, d.Measured.Need, d.NeedAgrees, 1e-9)
	assert.Greater(t, d.FewerM2, 10.0)
}

// BenchmarkPredict grows in cells, access points and walls.
func BenchmarkPredict(b *testing.B) {
	for _, c := range []struct {
		cell       float64
		aps, walls int
	}{{1, 60, 200}, {0.5, 60, 200}, {0.2, 60, 200}, {0.2, 15, 200}, {0.2, 60, 50}, {0.2, 60, 800}} {
		s := large(c.aps, c.walls)
		f := assumed(b, s, "rooms")
		b.Run(fmt.Sprintf("cells=%d/aps=%d/walls=%d", int(80*50/c.cell/c.cell), c.aps, c.walls), func(b *testing.B) {
			for b.Loop() {
				_, err := coverage.Predict(context.Background(), s, f, coverage.Options{CellM: c.cell})
				require.NoError(b, err)
			}
		})
	}
}

// large is an invented floor of 80 by 50 m with rooms and one band.
func large(aps, walls int) *site.Site {
	rng := rand.New(rand.NewPCG(9, 9))
	s := &site.Site{Name: "Large", ReceiverHeightM: 1.2, Floors: []site.Floor{{ID: "G", Outline: orb.Ring{{0, 0}, {80, 0}, {80, 50}, {0, 50}}}}}
	for range walls {
		p := orb.Point{math.Floor(75 * rng.Float64()), math.Floor(45 * rng.Float64())}
		q := orb.Point{p[0] + 5, p[1]}
		if rng.IntN(2) == 0 {
			q = orb.Point{p[0], p[1] + 5}
		}
		s.Floors[0].Walls = append(s.Floors[0].Walls, site.Wall{Material: "plasterboard", Line: orb.LineString{p, q}})
	}
	for i := range aps {
		s.AccessPoints = append(s.AccessPoints, site.AccessPoint{ID: fmt.Sprint("A", i), Floor: "G", HeightM: 2.8,
			At: orb.Point{80 * rng.Float64(), 50 * rng.Float64()}, Radios: []site.Radio{{Band: radio.Band5}}})
	}
	return s
}
