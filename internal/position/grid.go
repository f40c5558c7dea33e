package position

import (
	"math"
	"sync"

	"footrule/internal/propagation"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// Grid is the places of a site from which a search for a fix sets out: a square
// grid within each outline, the outline itself, and the feet of the access
// points. It holds the ways from every radio, which no fit changes; it is built
// once per site and safe for use by several goroutines.
type Grid struct {
	site  *site.Site
	refs  []site.RadioRef
	stepM float64
	spanM float64 // longest diagonal of a floor

	floor []int
	at    []orb.Point
	cell  []float64 // per place, m² of the floor that it stands for; 0 for those on the outline and under access points
	near  [][]int32 // per place, the places of its floor within 1.5 steps

	ways

	foot  []orb.Point // per radio, on the plan
	rise  [][]float64 // per radio and floor, height above the receiver's antenna
	walls bool        // levels jump somewhere, or fall otherwise than with distance

	cells func() *cells // where people may walk, laid when first asked for
}

// The grid has about gridPlaces places, but steps of no less than leastStepM:
// a likelihood over places is some metres wide, half as wide as the distance
// of the nearest access point.
const (
	gridPlaces = 1500
	leastStepM = 0.5
)

// NewGrid lays the grid.
func NewGrid(s *site.Site) *Grid {
	g := &Grid{site: s, refs: s.Radios()}
	area := 0.0
	for i := range s.Floors {
		area += s.Floors[i].Area()
		box := s.Floors[i].BoundingBox()
		g.spanM = max(g.spanM, planar.Distance(box.Min, box.Max))
		g.walls = g.walls || len(s.Floors[i].Walls) > 0
	}
	g.stepM = max(leastStepM, math.Sqrt(area/gridPlaces))
	for _, r := range g.refs {
		g.walls = g.walls || s.AccessPoints[r.AP].Radios[r.Radio].Antenna.Directional()
	}
	for _, r := range g.refs {
		ap := &s.AccessPoints[r.AP]
		g.foot = append(g.foot, ap.At)
		rise := make([]float64, len(s.Floors))
		base := s.Floors[s.FloorIndex(ap.Floor)].ElevationM + ap.HeightM - s.ReceiverHeightM
		for f := range rise {
			rise[f] = base - s.Floors[f].ElevationM
		}
		g.rise = append(g.rise, rise)
	}
	for f := range s.Floors {
		g.lay(f)
	}
	g.ways = waysTo(s, g.refs, g.floor, g.at)
	g.cells = sync.OnceValue(func() *cells { return newCells(s) })
	return g
}

// lay adds the places of one floor.
func (g *Grid) lay(floor int) {
	fl := &g.site.Floors[floor]
	first := len(g.at)
	add := func(p orb.Point, cell float64) {
		g.at, g.floor, g.cell = append(g.at, p), append(g.floor, floor), append(g.cell, cell)
	}
	box := fl.BoundingBox()
	nx := max(1, int(math.Ceil((box.Max[0]-box.Min[0])/g.stepM)))
	ny := max(1, int(math.Ceil((box.Max[1]-box.Min[1])/g.stepM)))
	dx, dy := (box.Max[0]-box.Min[0])/float64(nx), (box.Max[1]-box.Min[1])/float64(ny)
	for j := range ny {
		for i := range nx {
			p := orb.Point{box.Min[0] + (float64(i)+.5)*dx, box.Min[1] + (float64(j)+.5)*dy}
			if fl.Inside(p) {
				add(p, dx*dy)
			}
		}
	}
	n := len(fl.Outline)
	for i, a := range fl.Outline {
		b := fl.Outline[(i+1)%n]
		k := max(1, int(math.Ceil(planar.Distance(a, b)/g.stepM)))
		for j := range k {
			t := float64(j) / float64(k)
			add(orb.Point{a[0] + t*(b[0]-a[0]), a[1] + t*(b[1]-a[1])}, 0)
		}
	}
	for i := range g.site.AccessPoints {
		ap := &g.site.AccessPoints[i]
		if ap.Floor != fl.ID {
			continue
		}
		for _, o := range []orb.Point{{0, 0}, {.5, 0}, {-.5, 0}, {0, .5}, {0, -.5}} {
			p := orb.Point{ap.At[0] + o[0]*g.stepM, ap.At[1] + o[1]*g.stepM}
			if fl.Inside(p) {
				add(p, 0)
			}
		}
	}
	g.link(first)
}

// link finds the neighbours of the places from first on.
func (g *Grid) link(first int) {
	reach := 1.5 * g.stepM
	cell := func(p orb.Point) [2]int {
		return [2]int{int(math.Floor(p[0] / reach)), int(math.Floor(p[1] / reach))}
	}
	bins := map[[2]int][]int32{}
	for i := first; i < len(g.at); i++ {
		c := cell(g.at[i])
		bins[c] = append(bins[c], int32(i))
	}
	for i := first; i < len(g.at); i++ {
		c := cell(g.at[i])
		var near []int32
		for x := c[0] - 1; x <= c[0]+1; x++ {
			for y := c[1] - 1; y <= c[1]+1; y++ {
				for _, j := range bins[[2]int{x, y}] {
					if int(j) != i && planar.Distance(g.at[i], g.at[j]) <= reach {
						near = append(near, j)
					}
				}
			}
		}
		g.near = append(g.near, near)
	}
}

// slope gives ∂μ/∂p and ∂²μ/∂p² of radio k with exponent n, apart from walls:
// with b = 10 n/ln 10 and r = p − a,
//
//	∂μ = −b r/d²,  ∂²μ = −b (I/d² − 2 r rᵀ/d⁴)
//
// and nothing where the distance is clamped.
func (g *Grid) slope(k, floor int, p orb.Point, n float64) (gx, gy, hxx, hxy, hyy float64) {
	x, y, z := p[0]-g.foot[k][0], p[1]-g.foot[k][1], g.rise[k][floor]
	d2 := x*x + y*y + z*z
	if d2 <= site.MinDistanceM*site.MinDistanceM {
		return
	}
	b := 10 * n / math.Ln10
	c := -b / d2
	e := 2 * b / (d2 * d2)
	return c * x, c * y, c + e*x*x, e * x * y, c + e*y*y
}

// Bound is [Bound] at a place under a fit, for a stay of so many scans: σ is the
// spread of the mean of so many, and a radio counts by [HeardWeight] of its
// predicted level, so that those below the floor of hearing count next to
// nothing. There is none (ok is false) where it would exceed the longest
// diagonal of a floor: levels that say less than the outline make no fix.
//
// The outline is not in the bound. Fixes are kept within it, and where the bound
// is no longer small against the floor their errors may be below the bound.
func (g *Grid) Bound(f *propagation.Fit, floor int, at orb.Point, scans int) (c Covariance, ok bool) {
	c, ok = Bound(g.Terms(f, floor, at, scans))
	if !ok || c.RMS() > g.spanM {
		return Covariance{}, false
	}
	return c, true
}

// Terms lists the radios of a fit as they count at a place, for [Bound].
func (g *Grid) Terms(f *propagation.Fit, floor int, at orb.Point, scans int) []Term {
	var out []Term
	m := float64(max(scans, 1))
	levels := make([]float64, len(g.refs))
	f.Levels(floor, at, levels)
	for k := range g.refs {
		r := &f.Radios[k]
		if !r.InFit {
			continue
		}
		shadow, scatter := f.Spread(k)
		sigma := math.Sqrt(shadow*shadow + scatter*scatter/m)
		never := r.StayMiss + (1-r.StayMiss)*math.Pow(r.ScanMiss, m)
		x, y, z := at[0]-g.foot[k][0], at[1]-g.foot[k][1], g.rise[k][floor]
		d := math.Sqrt(x*x + y*y + z*z)
		if d <= site.MinDistanceM { // the level is flat there and tells no direction
			continue
		}
		out = append(out, Term{
			Offset: orb.Point{x, y}, DistanceM: d, Exponent: r.Exponent.Est, SigmaDB: sigma,
			Weight: HeardWeight(levels[k], f.Group(k).FloorDBm, sigma, never),
		})
	}
	return out
}
