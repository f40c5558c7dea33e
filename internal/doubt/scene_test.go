package doubt_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"footrule/internal/radio"
	"footrule/internal/radio/synthetic"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/require"
)

// scene is an invented site with its truth, and how it is walked.
type scene struct {
	rng      *rand.Rand
	seed     uint64
	site     *site.Site // what the fit is told
	building *site.Site // with the walls that really stand
	truth    synthetic.Truth
	order    []int // places of the points as they are visited, in turn
	spacing  float64
	offsetDB float64            // of a second receiver
	scanner  *synthetic.Scanner // to ask for the truth
	second   func(n int) bool   // which visits it makes
	stood    []site.Point       // where the surveyor stood, where that is not where it is recorded
}

// kind is a kind of site.
type kind struct {
	walls    bool    // three walls of 5 to 10 dB across the floor, with doors
	unknown  bool    // and the fit is not told of them
	exponent float64 // sd of exponents from AP to AP
	bands    int
	points   [2]int // from, below
}

var (
	clean      = kind{bands: 1, exponent: .1, points: [2]int{30, 81}}
	twoBands   = kind{bands: 2, exponent: .1, points: [2]int{30, 81}}
	withWalls  = kind{bands: 1, exponent: .1, walls: true, points: [2]int{30, 81}}
	hard       = kind{bands: 1, exponent: .3, walls: true, unknown: true, points: [2]int{30, 81}}
	underway   = kind{bands: 1, exponent: .1, points: [2]int{8, 25}}
	allDensity = []float64{8, 11, 15}
)

// every is the time from visit to visit.
const every = 30 * time.Second

// newScene draws a site of 6 to 20 access points some spacing metres apart and
// 30 to 80 points on a serpentine: exponents 2.3 to 3.5, shadowing of 3 to 6 dB
// correlated over 3 to 8 m, 10 % of scans missed, floor of hearing −88 dBm.
func newScene(seed uint64, k kind) *scene {
	rng := rand.New(rand.NewPCG(seed, 0x5ce9e))
	sc := &scene{rng: rng, seed: seed, spacing: allDensity[seed%3]}
	aps := []int{6, 8, 10, 12, 15, 20}[rng.IntN(6)]
	area := float64(aps) * sc.spacing * sc.spacing
	ratio := 1 + 1.5*rng.Float64()
	w, h := math.Sqrt(area*ratio), math.Sqrt(area/ratio)
	f := site.Floor{ID: "G", Outline: orb.Ring{{0, 0}, {w, 0}, {w, h}, {0, h}}}
	n := k.points[0] + rng.IntN(k.points[1]-k.points[0])
	for i, p := range jittered(rng, n, w, h, .25) {
		f.Points = append(f.Points, site.Point{ID: fmt.Sprintf("P%02d", i+1), At: p})
		sc.order = append(sc.order, i)
	}
	if k.walls {
		for range 3 {
			f.Walls = append(f.Walls, wall(rng, w, h))
		}
	}
	s := &site.Site{Name: "Invented", ReceiverHeightM: 1.2, Floors: []site.Floor{f}}
	for i, p := range jittered(rng, aps, w, h, .3) {
		ap := site.AccessPoint{ID: fmt.Sprintf("AP-%02d", i+1), Floor: "G", At: p, HeightM: 2.8}
		for b := range k.bands {
			band := []radio.Band{radio.Band5, radio.Band2}[b]
			ap.Radios = append(ap.Radios, site.Radio{Band: band, BSSIDs: []radio.BSSID{{2, 0, 0x5e, 0x20, byte(i), byte(b)}}})
		}
		s.AccessPoints = append(s.AccessPoints, ap)
	}
	e := synthetic.Office()
	e.Exponent = map[radio.Band]float64{radio.Band5: 2.4 + 1.1*rng.Float64(), radio.Band2: 2.3 + rng.Float64()}
	e.ExponentSD = k.exponent
	e.Level1mSD = 2
	e.SystemLossDB = 7 + 8*rng.Float64()
	sigma := 3 + 3*rng.Float64()
	e.SigmaDB = map[radio.Band]float64{radio.Band5: sigma, radio.Band2: sigma}
	e.Rest.ShadowLengthM = 3 + 5*rng.Float64()
	e.Rest.FloorDBm = map[radio.Band]float64{radio.Band5: -88, radio.Band2: -88}
	e.Rest.StaleRate = 0
	e.Neighbours = 0
	loss := 5 + 5*rng.Float64()
	e.Wall = map[string]map[radio.Band]float64{"brick": {radio.Band5: loss, radio.Band2: .8 * loss}}
	sc.building = s
	sc.truth = e.Truth(s, seed)
	sc.site = s.Clone()
	if k.unknown {
		sc.site.Floors[0].Walls = nil
	}
	return sc
}

// jittered lays n places on a serpentine of near-square cells.
func jittered(rng *rand.Rand, n int, w, h, by float64) []orb.Point {
	rows := max(1, int(math.Round(math.Sqrt(float64(n)*h/w))))
	var out []orb.Point
	for r := range rows {
		m := n*(r+1)/rows - n*r/rows
		for c := range m {
			x := (float64(c) + .5 + by*(2*rng.Float64()-1)) / float64(m) * w
			y := (float64(r) + .5 + by*(2*rng.Float64()-1)) / float64(rows) * h
			if r%2 == 1 {
				x = w - x
			}
			out = append(out, orb.Point{math.Round(x*100) / 100, math.Round(y*100) / 100})
		}
	}
	return out
}

// wall crosses most of a floor, with a door.
func wall(rng *rand.Rand, w, h float64) site.Wall {
	if rng.IntN(2) == 0 {
		x, door := w*(.15+.7*rng.Float64()), h*rng.Float64()*.8
		return site.Wall{Material: "brick", Line: orb.LineString{{x, door + 1.2}, {x, h}}}
	}
	y, door := h*(.15+.7*rng.Float64()), w*rng.Float64()*.8
	return site.Wall{Material: "brick", Line: orb.LineString{{door + 1.2, y}, {w, y}}}
}

// at is the moment just before visit n starts.
func at(n int) time.Duration { return time.Duration(n)*every - every/2 }

// walked takes the walk of a scene: four facings of two scans a visit.
func (sc *scene) walked(t testing.TB) (*site.Site, []walk.Walk) {
	clock := synthetic.NewSimulatedClock(time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC))
	start := clock.Now()
	scanner, err := synthetic.New(sc.building, sc.truth, sc.seed, clock)
	require.NoError(t, err)
	walks := []walk.Walk{{Header: walk.Header{ID: "first", Receiver: "one"}}, {Header: walk.Header{ID: "second", Receiver: "two"}}}
	for n, p := range sc.order {
		_ = clock.Sleep(context.Background(), start.Add(time.Duration(n)*every).Sub(clock.Now()))
		point := sc.site.Floors[0].Points[p]
		v := walk.Visit{ID: fmt.Sprintf("V%03d", n+1), Seq: n + 1, Point: point.ID, Floor: "G", At: point.At}
		second := sc.second != nil && sc.second(n)
		stood := point.At
		if sc.stood != nil {
			stood = sc.stood[p].At
		}
		for facing := 0.0; facing < 360; facing += 90 {
			scanner.Place("G", stood, facing)
			for range 2 {
				sweep, err := scanner.Scan(context.Background(), radio.Request{})
				require.NoError(t, err)
				s := walk.Scan{Time: sweep.Started, FacingDeg: facing, Readings: sweep.Readings()}
				if second {
					for i := range s.Readings {
						s.Readings[i].RSSIDBm += sc.offsetDB
					}
				}
				v.Scans = append(v.Scans, s)
			}
		}
		if second {
			walks[1].Visits = append(walks[1].Visits, v)
		} else {
			walks[0].Visits = append(walks[0].Visits, v)
		}
	}
	if len(walks[1].Visits) == 0 {
		walks = walks[:1]
	}
	return sc.site, walks
}

// inside reports whether a place is within the outline.
func (sc *scene) inside(p orb.Point) bool { return sc.site.Floors[0].Inside(p) }

// away draws a place a distance from p, within the outline; ok is false where
// there is none.
func (sc *scene) away(p orb.Point, d float64) (orb.Point, bool) {
	for range 60 {
		sin, cos := math.Sincos(2 * math.Pi * sc.rng.Float64())
		if q := (orb.Point{p[0] + d*cos, p[1] + d*sin}); sc.inside(q) {
			return q, true
		}
	}
	return p, false
}

// model is the level of a radio at a place by the truth, without shadowing.
func (sc *scene) model(k int, p orb.Point) float64 {
	if sc.scanner == nil {
		sc.scanner, _ = synthetic.New(sc.building, sc.truth, sc.seed, synthetic.NewSimulatedClock(time.Unix(0, 0)))
	}
	return sc.scanner.Model(k, "G", p)
}
