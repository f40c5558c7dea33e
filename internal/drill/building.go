package drill

import (
	"fmt"
	"math"
	"math/rand/v2"

	"footrule/internal/radio"
	"footrule/internal/radio/synthetic"
	"footrule/internal/route"
	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// manner is what a level is like. The spreads, sd of levels at 1 m and of
// exponents are invented, about those of synthetic.Office.
type manner struct {
	bands      []radio.Band
	sigmaDB    float64
	exponentSD float64
	level1mSD  float64
	missRate   float64
	neighbours int
	brick      bool // some inner walls are of brick
	spacingM   float64
}

var manners = map[Level]manner{
	Plain:  {bands: []radio.Band{radio.Band5}, sigmaDB: 3, exponentSD: .03, level1mSD: 1, missRate: .05, neighbours: 2, spacingM: 5},
	Middle: {bands: []radio.Band{radio.Band5, radio.Band2}, sigmaDB: 3.5, exponentSD: .08, level1mSD: 1.5, missRate: .08, neighbours: 4, brick: true, spacingM: 5},
	Hard:   {bands: []radio.Band{radio.Band5, radio.Band2}, sigmaDB: 4.5, exponentSD: .12, level1mSD: 2, missRate: .1, neighbours: 6, brick: true, spacingM: 5},
}

// truth draws how the building really is.
func (m *manner) truth(s *site.Site, seed uint64) synthetic.Truth {
	e := synthetic.Office()
	for _, b := range radio.Bands() {
		e.SigmaDB[b] = m.sigmaDB
	}
	e.ExponentSD, e.Level1mSD, e.MissRate, e.Neighbours = m.exponentSD, m.level1mSD, m.missRate, m.neighbours
	e.Rest.StaleRate = 0 // stale results are a fault of their own here
	return e.Truth(s, seed)
}

// storeyM is how high a storey is.
const storeyM = 3.5

// draw invents a building: floors with rooms on both sides of a corridor, access
// points spread over them or, on a line, along the corridor, and a grid of points.
func (m *manner) draw(rng *rand.Rand, name string, floors int, line bool) (*site.Site, error) {
	w, h := float64(42+2*rng.IntN(8)), float64(22+2*rng.IntN(4))
	low := math.Round(h/2 - 1.5)
	high, notch := low+3, 0.0
	outline := orb.Ring{{0, 0}, {w, 0}, {w, h}, {0, h}}
	if rng.IntN(2) == 0 {
		notch = float64(8 + 2*rng.IntN(3))
		outline = orb.Ring{{0, 0}, {w, 0}, {w, high}, {w - notch, high}, {w - notch, h}, {0, h}}
	}
	s := &site.Site{Name: name, ReceiverHeightM: site.DefaultReceiverHeightM}
	var places []orb.Point
	var on []string // the floor of each
	for i := range floors {
		f := site.Floor{ID: "G", Name: "Ground", Outline: outline.Clone(), ElevationM: storeyM * float64(i)}
		if i > 0 {
			f.ID, f.Name = fmt.Sprint(i), fmt.Sprintf("Floor %d", i)
		}
		m.rooms(rng, &f, low, 0, w)
		m.rooms(rng, &f, high, h, w-notch)
		var here []orb.Point
		if line {
			here = along(rng, w, low+1.5)
		} else {
			here = spread(rng, w, h, low, notch, floors)
		}
		for _, p := range here {
			places, on = append(places, p), append(on, f.ID)
		}
		s.Floors = append(s.Floors, f)
	}
	numbers := rng.Perm(len(places))
	s.AccessPoints = make([]site.AccessPoint, len(places))
	for i, p := range places {
		n := numbers[i]
		ap := site.AccessPoint{ID: fmt.Sprintf("AP-%02d", n+1), Floor: on[i], At: p, HeightM: 2.8}
		for b, band := range m.bands {
			ap.Radios = append(ap.Radios, site.Radio{Band: band, BSSIDs: []radio.BSSID{{2, 0, 0x5e, 0x30, byte(n), byte(b)}}})
		}
		s.AccessPoints[n] = ap
	}
	var taken []string
	for i := range s.Floors {
		f, spacing := &s.Floors[i], m.spacingM
		if floors > 1 { // a walk of the whole building, of the same length about
			spacing *= math.Sqrt2
		}
		pts, err := route.Lay(f, spacing, taken...)
		if err != nil {
			return nil, err
		}
		for _, p := range pts {
			taken = append(taken, p.ID)
		}
		f.Points = pts
	}
	return s, s.Validate()
}

// rooms parts a side of the corridor, whose edge is at y, from there to the outer
// wall, into rooms with a door each.
func (m *manner) rooms(rng *rand.Rand, f *site.Floor, y, outer, to float64) {
	const door = 1.5
	material := func() string {
		if m.brick && rng.IntN(4) == 0 {
			return "brick"
		}
		return "plasterboard"
	}
	for x := 0.0; x < to; {
		next := x + float64(8+rng.IntN(6))
		if to-next < 7 {
			next = to
		}
		at := x + 2 + math.Round(rng.Float64()*(next-x-4-door))
		f.Walls = append(f.Walls,
			site.Wall{Material: "plasterboard", Line: orb.LineString{{x, y}, {at, y}}},
			site.Wall{Material: "plasterboard", Line: orb.LineString{{at + door, y}, {next, y}}})
		if next < to {
			f.Walls = append(f.Walls, site.Wall{Material: material(), Line: orb.LineString{{next, y}, {next, outer}}})
		}
		x = next
	}
}

// spread lays eight to ten places, two fewer where there are several floors, on
// both sides of the corridor by turns, off the walls, which stand on whole metres.
func spread(rng *rand.Rand, w, h, low, notch float64, floors int) []orb.Point {
	n := 8 + rng.IntN(3)
	if floors > 1 {
		n -= 2
	}
	var out []orb.Point
	for i := range n {
		x := math.Floor((float64(i)+.3+.4*rng.Float64())/float64(n)*w) + .5
		y := math.Floor(low*(.3+.4*rng.Float64())) + .5
		if i%2 == 1 {
			y = h - y
			if x > w-notch-1 {
				y = low + 1.5
			}
		}
		out = append(out, orb.Point{x, y})
	}
	return out
}

// along lays places on a line.
func along(rng *rand.Rand, w, y float64) []orb.Point {
	n := 7 + rng.IntN(2)
	var out []orb.Point
	for i := range n {
		out = append(out, orb.Point{math.Floor((float64(i)+.4+.2*rng.Float64())/float64(n)*w) + .5, y})
	}
	return out
}
