package position_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/radio"
	"footrule/internal/realsite"
	"footrule/internal/route"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// ground is a kind of simulated floor on which further points are chosen. The
// building has walls that the plan does not have, as plans often lack them.
type ground struct {
	name    string
	outline orb.Ring
	hidden  []orb.LineString // walls of 5 dB that the plan does not have
	hang    []orb.Ring       // access points hang in these, one after the other; nil for the outline
	aps     int
	sigmaDB float64 // of a field a radio, exponentially correlated over rangeM
	rangeM  float64
}

func grounds() []ground {
	var rooms []orb.LineString
	for x := 5.0; x < 45; x += 5 {
		rooms = append(rooms, orb.LineString{{x, 0}, {x, 7}}, orb.LineString{{x, 10}, {x, 17}})
	}
	rooms = append(rooms, orb.LineString{{0, 7}, {45, 7}}, orb.LineString{{0, 10}, {45, 10}})
	return []ground{
		{name: "hall", outline: box(0, 0, 40, 25), aps: 6, sigmaDB: 5, rangeM: 6},
		{name: "long hall", outline: box(0, 0, 60, 15), aps: 8, sigmaDB: 5, rangeM: 4},
		{name: "dense hall", outline: box(0, 0, 30, 30), aps: 12, sigmaDB: 4, rangeM: 8},
		{name: "L", outline: orb.Ring{{0, 0}, {45, 0}, {45, 14}, {14, 14}, {14, 40}, {0, 40}}, aps: 8, sigmaDB: 5, rangeM: 5},
		{name: "rooms", outline: box(0, 0, 45, 17), hidden: rooms, aps: 8, sigmaDB: 4, rangeM: 4},
		{name: "clustered", outline: box(0, 0, 50, 25), hang: []orb.Ring{box(0, 0, 18, 25)}, aps: 7, sigmaDB: 5, rangeM: 6},
	}
}

// draw makes a site of the kind, a walk of so many points where people could
// stand, and another of so many where errors count. One facing, two scans: n = 3,
// body and scatter 2 dB each, a tenth of all scans missed, floor at −88 dBm.
func (g *ground) draw(seed uint64, points, tests int) (*site.Site, walk.Walk, walk.Walk) {
	rng := rand.New(rand.NewPCG(seed, 41))
	fl := site.Floor{ID: "G", Outline: g.outline}
	truth := &site.Site{Floors: []site.Floor{{ID: "G", Outline: g.outline}}}
	for _, l := range g.hidden {
		truth.Floors[0].Walls = append(truth.Floors[0].Walls, site.Wall{Line: l})
	}
	inside := func(r orb.Ring, n int, apartM float64) []orb.Point {
		b := r.Bound()
		var out []orb.Point
		for tries := 0; len(out) < n; tries++ {
			p := orb.Point{b.Min[0] + rng.Float64()*(b.Max[0]-b.Min[0]), b.Min[1] + rng.Float64()*(b.Max[1]-b.Min[1])}
			if d := apartM * math.Exp(-float64(tries)/float64(20*n)); fl.Walkable(p) && !slices.ContainsFunc(out, func(q orb.Point) bool { return planar.Distance(p, q) < d }) {
				out = append(out, p)
			}
		}
		return out
	}
	s := &site.Site{Name: g.name, ReceiverHeightM: 1.2, Floors: []site.Floor{fl}}
	hang := g.hang
	if hang == nil {
		hang = []orb.Ring{g.outline}
	}
	for _, ring := range hang {
		for _, at := range inside(ring, g.aps/len(hang), math.Sqrt(planar.Area(ring)/float64(g.aps))) {
			n := len(s.AccessPoints) + 1
			s.AccessPoints = append(s.AccessPoints, site.AccessPoint{ID: fmt.Sprintf("AP-%02d", n), Floor: "G", At: at, HeightM: 3,
				Radios: []site.Radio{{Band: radio.Band5, BSSIDs: []radio.BSSID{{2, 0, 0, 0, 3, byte(n)}}}}})
		}
	}
	at := append(inside(g.outline, points, 2), inside(g.outline, tests, 1)...)
	cov := mat.NewSymDense(len(at), nil)
	for i := range at {
		for j := range i + 1 {
			cov.SetSym(i, j, g.sigmaDB*g.sigmaDB*math.Exp(-planar.Distance(at[i], at[j])/g.rangeM))
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(cov) {
		panic("position: two points in one place")
	}
	var root mat.TriDense
	chol.LTo(&root)
	refs := s.Radios()
	shadow := make([]mat.VecDense, len(refs))
	for k := range shadow {
		z := mat.NewVecDense(len(at), nil)
		for i := range at {
			z.SetVec(i, rng.NormFloat64())
		}
		shadow[k].MulVec(&root, z)
	}
	out := [2]walk.Walk{{Header: walk.Header{ID: "survey"}}, {Header: walk.Header{ID: "test"}}}
	now := time.Date(2024, 3, 1, 9, 0, 0, 0, time.UTC)
	for i, p := range at {
		v := walk.Visit{ID: fmt.Sprintf("V%03d", i), Point: fmt.Sprintf("P%03d", i), Floor: "G", At: p}
		body := make([]float64, len(refs))
		for k := range body {
			body[k] = 2 * rng.NormFloat64()
		}
		for range 2 {
			now = now.Add(3 * time.Second)
			sc := walk.Scan{Time: now, FacingDeg: walk.NoFacing}
			for k, r := range refs {
				ap := s.AccessPoints[r.AP].At
				l := -40 - 30*math.Log10(s.Distance3D(r, 0, p)) + shadow[k].AtVec(i) + body[k] + 2*rng.NormFloat64()
				for _, h := range truth.Floors[0].Walls {
					if cuts(h.Line, ap, p) {
						l -= 5
					}
				}
				if l = math.Round(l); l >= -88 && rng.Float64() >= .1 {
					sc.Readings = append(sc.Readings, radio.Reading{BSSID: radio.BSSID{2, 0, 0, 0, 3, byte(k + 1)}, FreqMHz: 5180, RSSIDBm: l})
				}
			}
			v.Scans = append(v.Scans, sc)
		}
		w := &out[0]
		if i >= points {
			w = &out[1]
		}
		w.Visits = append(w.Visits, v)
	}
	return s, out[0], out[1]
}

// cuts reports whether the straight way from a to b crosses the segment.
func cuts(l orb.LineString, a, b orb.Point) bool {
	side := func(p, q, r orb.Point) bool { return (q[0]-p[0])*(r[1]-p[1])-(q[1]-p[1])*(r[0]-p[0]) > 0 }
	return side(l[0], l[1], a) != side(l[0], l[1], b) && side(a, b, l[0]) != side(a, b, l[1])
}

// evenGrid is what people do: a square grid over the outline with a spacing that
// gives so many places, each taken to the nearest point that is free. Where no
// spacing gives as many, the next denser grid is thinned evenly.
func evenGrid(t testing.TB, fl *site.Floor, at []orb.Point, n int) []int {
	var grid []site.Point
	for side := 2 * math.Sqrt(math.Abs(planar.Area(orb.Ring(fl.Outline)))/float64(n)); len(grid) < n; side *= .99 {
		var err error
		grid, err = route.Lay(fl, side)
		require.NoError(t, err)
	}
	var out []int
	for k := range n {
		p, best := grid[k*len(grid)/n], -1
		for i := range at {
			if !slices.Contains(out, i) && (best < 0 || planar.DistanceSquared(at[i], p.At) < planar.DistanceSquared(at[best], p.At)) {
				best = i
			}
		}
		out = append(out, best)
	}
	return out
}

// means spreads n points by k-means over those there are, then takes the nearest
// point to every centre: the harder opponent.
func means(at []orb.Point, n int, seed uint64) []int {
	rng := rand.New(rand.NewPCG(seed, 1))
	best, cost := []int(nil), math.Inf(1)
	nearest := func(of []orb.Point, p orb.Point) int {
		k := 0
		for i := range of {
			if planar.DistanceSquared(of[i], p) < planar.DistanceSquared(of[k], p) {
				k = i
			}
		}
		return k
	}
	for range 10 {
		centres := make([]orb.Point, n)
		for i, k := range rng.Perm(len(at))[:n] {
			centres[i] = at[k]
		}
		for range 50 {
			sum, count := make([]orb.Point, n), make([]float64, n)
			for _, p := range at {
				k := nearest(centres, p)
				sum[k][0] += p[0]
				sum[k][1] += p[1]
				count[k]++
			}
			for k := range centres {
				if count[k] > 0 {
					centres[k] = orb.Point{sum[k][0] / count[k], sum[k][1] / count[k]}
				}
			}
		}
		total := 0.0
		for _, p := range at {
			total += planar.DistanceSquared(p, centres[nearest(centres, p)])
		}
		if total < cost {
			cost, best = total, nil
			for _, c := range centres {
				k := -1
				for i, p := range at {
					if !slices.Contains(best, i) && (k < 0 || planar.DistanceSquared(p, c) < planar.DistanceSquared(at[k], c)) {
						k = i
					}
				}
				best = append(best, k)
			}
		}
	}
	return best
}

func visitsOf(w walk.Walk, of []int) walk.Walk {
	out := walk.Walk{Header: w.Header}
	for _, i := range of {
		out.Visits = append(out.Visits, w.Visits[i])
	}
	return out
}

func standing(w walk.Walk) []orb.Point {
	var out []orb.Point
	for i := range w.Visits {
		out = append(out, w.Visits[i].At)
	}
	return out
}

// choose walks on from some points by what Prospect chooses, so many at a time.
func choose(t testing.TB, s *site.Site, w walk.Walk, start []int, n, batch int) []int {
	picked := slices.Clone(start)
	for len(picked) < n {
		d := propagation.Observe(s, walk.Stays(s, []walk.Walk{visitsOf(w, picked)}, walk.ByVisit))
		f, err := propagation.Estimate(d, propagation.Options{})
		require.NoError(t, err)
		var free []position.Spot
		var of []int
		for i, v := range w.Visits {
			if !slices.Contains(picked, i) {
				free, of = append(free, position.Spot{Floor: s.FloorIndex(v.Floor), At: v.At}), append(of, i)
			}
		}
		steps, err := position.NewProspect(position.NewGrid(s), d, f, free, position.Fine).Choose(context.Background(), min(batch, n-len(picked)), nil)
		require.NoError(t, err)
		for _, st := range steps {
			picked = append(picked, of[st.Candidate])
		}
	}
	return picked
}

// meanErrorOf is the mean error of radio-map fixes at the test points after some
// of the points were walked.
func meanErrorOf(t testing.TB, s *site.Site, w, test walk.Walk, of []int) float64 {
	e, err := position.Judge(context.Background(), s, []walk.Walk{visitsOf(w, of), test},
		position.Options{Method: position.RadioMap, Train: []string{w.ID}, Test: []string{test.ID}, Resamples: 100})
	require.NoError(t, err)
	return e.Statistics.MeanM
}

// contest is how sets of 20 points did, site by site: mean errors in metres.
type contest struct{ even, means, chosen []float64 }

// hold walks 20 points three ways: on an even grid, spread by k-means, and on a
// grid of 6 with 14 more that were chosen.
func (c *contest) hold(t testing.TB, s *site.Site, w, test walk.Walk, seed uint64) {
	at := standing(w)
	c.even = append(c.even, meanErrorOf(t, s, w, test, evenGrid(t, &s.Floors[0], at, 20)))
	c.means = append(c.means, meanErrorOf(t, s, w, test, means(at, 20, seed)))
	c.chosen = append(c.chosen, meanErrorOf(t, s, w, test, choose(t, s, w, evenGrid(t, &s.Floors[0], at, 6), 20, 14)))
}

// saved is by how much of the error of an even grid others are better, the mean
// over sites, and half of its 95 % interval.
func (c *contest) saved(other []float64) (mean, half float64) {
	n := float64(len(other))
	for i := range other {
		mean += (1 - other[i]/c.even[i]) / n
	}
	for i := range other {
		d := 1 - other[i]/c.even[i] - mean
		half += d * d / (n - 1) / n
	}
	return mean, 1.96 * math.Sqrt(half)
}

func (c *contest) report(t testing.TB, name string) {
	chosen, half := c.saved(c.chosen)
	other, otherHalf := c.saved(c.means)
	t.Logf("%-14s even grid %.2f m, k-means %.2f m, chosen %.2f m; chosen saves %.1f ± %.1f %%, k-means %.1f ± %.1f %%", name,
		stat.Mean(c.even, nil), stat.Mean(c.means, nil), stat.Mean(c.chosen, nil), 100*chosen, 100*half, 100*other, 100*otherHalf)
}

// studySites is how many sites of each kind are drawn: FOOTRULE_NEXT, or a few.
func studySites(few int) (sites uint64, all bool) {
	n, err := strconv.Atoi(os.Getenv("FOOTRULE_NEXT"))
	if err != nil || n < 2 {
		return uint64(few), false
	}
	return uint64(n), true
}

// Points that are chosen beat an even grid of as many: on simulated floors, by
// errors at places that no walk went to. The slice that always runs can only say
// that they are not far worse.
func TestStudyNext(t *testing.T) {
	sites, full := studySites(1)
	var all contest
	for i, g := range grounds() {
		if !full && i%3 > 0 {
			continue
		}
		var c contest
		for seed := range sites {
			s, w, test := g.draw(2000+seed, 150, 120)
			c.hold(t, s, w, test, seed)
		}
		c.report(t, g.name)
		all.even, all.means, all.chosen = append(all.even, c.even...), append(all.means, c.means...), append(all.chosen, c.chosen...)
	}
	all.report(t, "all")
	saved, half := all.saved(all.chosen)
	if full {
		assert.Greater(t, saved, half)
	} else {
		assert.Greater(t, saved, -.1)
	}
}

// The error to expect is that which is met, for walks of 10 and more points that
// are spread over the floor: within a quarter, before it is scaled by what leaving
// places out measures.
func TestStudyNextTracks(t *testing.T) {
	sites, full := studySites(2)
	counts := []int{10, 20, 45, 90}
	for i, g := range grounds() {
		if !full && i%3 > 0 {
			continue
		}
		met, expected := make([]float64, len(counts)), make([]float64, len(counts))
		for seed := range sites {
			s, w, test := g.draw(3000+seed, 150, 80)
			for i, n := range counts {
				of := means(standing(w), n, seed)
				d := propagation.Observe(s, walk.Stays(s, []walk.Walk{visitsOf(w, of)}, walk.ByVisit))
				f, err := propagation.Estimate(d, propagation.Options{})
				require.NoError(t, err)
				met[i] += meanErrorOf(t, s, w, test, of) / float64(sites)
				expected[i] += position.NewProspect(position.NewGrid(s), d, f, position.Candidates(s, d, nil, position.Fine.Candidates), position.Fine).ErrorM() / float64(sites)
			}
		}
		t.Logf("%-10s after %v points: met %.2f m, expected %.2f m", g.name, counts, met, expected)
		for i := range counts {
			assert.InEpsilon(t, met[i], expected[i], .25, "%s, %d points", g.name, counts[i])
		}
		assert.Less(t, expected[len(counts)-1], expected[0])
	}
}

// The same on real sites, the points of their surveys parted at random into those
// to choose from and those where errors count.
func TestStudyNextOnRealSites(t *testing.T) {
	sites, full := studySites(0)
	if !full {
		t.Skip("FOOTRULE_NEXT is not set")
	}
	for _, c := range []struct{ folder, survey string }{{"ble_tetam", "survey"}, {"rtt_library", "survey-300"}} {
		s, walks := realsite.Read(t, c.folder, c.survey)
		var k contest
		for seed := range sites {
			perm := rand.New(rand.NewPCG(seed, 9)).Perm(len(walks[0].Visits))
			w, test := visitsOf(walks[0], perm[:len(perm)/2]), visitsOf(walks[0], perm[len(perm)/2:])
			w.ID, test.ID = "survey", "test"
			k.hold(t, s, w, test, seed)
		}
		k.report(t, c.folder)
	}
}
