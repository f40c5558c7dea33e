package position

import (
	"math"
	"slices"

	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// cells are the places of a site where people may walk as far as the plan tells:
// a square grid within each outline, without voids and walls.
type cells struct {
	site  *site.Site
	refs  []site.RadioRef
	stepM float64
	floor []int
	at    []orb.Point
	ways
}

// The cells are about mostCells over all floors, of no less than leastCellM:
// the finest map that a walk can support is some decimetres wide.
const (
	mostCells  = 2500
	leastCellM = 0.25
	// bodyM is how near to a wall the middle of a body may come (half of a body
	// depth of 0.3 to 0.4 m, from memory).
	bodyM = 0.2
)

func newCells(s *site.Site) *cells { return newCellsOf(s, mostCells) }

// newCellsOf lays about so many cells at most.
func newCellsOf(s *site.Site, most int) *cells {
	c := &cells{site: s, refs: s.Radios()}
	area := 0.0
	for i := range s.Floors {
		area += s.Floors[i].Area()
	}
	c.stepM = max(leastCellM, math.Sqrt(area/float64(most)))
	for f := range s.Floors {
		c.lay(f, bodyM)
		if !slices.Contains(c.floor, f) { // walls everywhere
			c.lay(f, 0)
		}
	}
	c.ways = waysTo(s, c.refs, c.floor, c.at)
	return c
}

// lay adds the cells of one floor that are so far from every wall.
func (c *cells) lay(floor int, fromWalls float64) {
	fl := &c.site.Floors[floor]
	box := fl.BoundingBox()
	nx := max(1, int(math.Ceil((box.Max[0]-box.Min[0])/c.stepM)))
	ny := max(1, int(math.Ceil((box.Max[1]-box.Min[1])/c.stepM)))
	dx, dy := (box.Max[0]-box.Min[0])/float64(nx), (box.Max[1]-box.Min[1])/float64(ny)
	for j := range ny {
		for i := range nx {
			p := orb.Point{box.Min[0] + (float64(i)+.5)*dx, box.Min[1] + (float64(j)+.5)*dy}
			if fl.Walkable(p) && !nearWall(fl, p, fromWalls) {
				c.at, c.floor = append(c.at, p), append(c.floor, floor)
			}
		}
	}
}

func nearWall(fl *site.Floor, p orb.Point, d float64) bool {
	for i := range fl.Walls {
		l := fl.Walls[i].Line
		for k := 1; k < len(l); k++ {
			if planar.DistanceFromSegmentSquared(l[k-1], l[k], p) < d*d {
				return true
			}
		}
	}
	return false
}

// spacingLeastM is the least spacing that counts as one: points closer than a
// step apart are one stop, or a walk recorded while moving.
const spacingLeastM = 1.0

// spacing is how far apart places of a walk are: the median distance from one to
// the next, once those closer than [spacingLeastM] to one before them are passed
// over. It is infinite for fewer than two.
func spacing(at []orb.Point, floor []int) float64 {
	var kept []int
	for i := range at {
		if !slices.ContainsFunc(kept, func(j int) bool {
			return floor[i] == floor[j] && planar.DistanceSquared(at[i], at[j]) < spacingLeastM*spacingLeastM
		}) {
			kept = append(kept, i)
		}
	}
	var next []float64
	for _, i := range kept {
		d := math.Inf(1)
		for _, j := range kept {
			if j != i && floor[j] == floor[i] {
				d = min(d, planar.DistanceSquared(at[i], at[j]))
			}
		}
		if !math.IsInf(d, 1) {
			next = append(next, math.Sqrt(d))
		}
	}
	if len(next) == 0 {
		return math.Inf(1)
	}
	slices.Sort(next)
	return Quantile(next, .5)
}

// reachSpacings is how far from a place of the walk people are thought to walk,
// in spacings of its places. On a square grid every place between four points is
// within 0.71 spacings of one, and with one point left out its own place within
// 1. Judged by leaving out places of two real walks, anything from 1 to 1.5 is
// alike.
const reachSpacings = 1.25

// unwalked is how likely, against a cell within reach of the walk, one beyond it
// is. A walk goes where people go, but not everywhere: with nothing left beyond
// its reach a fix could not get into a part of the floor that was passed over.
// Judged by leaving out places of two real walks, anything up to a twentieth costs
// nothing.
const unwalked = 0.05

// prior is the log of how likely the cells are before anything is heard, given the
// places that were walked: 0 within their reach, the log of [unwalked] beyond. A
// floor where nobody walked has 0 throughout: the walk says nothing of it.
func (c *cells) prior(at []orb.Point, floor []int) []float64 {
	reach := reachSpacings * spacing(at, floor)
	walked := make([]bool, len(c.site.Floors))
	for _, f := range floor {
		walked[f] = true
	}
	out := make([]float64, len(c.at))
	for i, p := range c.at {
		f := c.floor[i]
		ok := !walked[f]
		for j := 0; !ok && j < len(at); j++ {
			ok = floor[j] == f && planar.DistanceSquared(at[j], p) <= reach*reach
		}
		if !ok {
			out[i] = math.Log(unwalked)
		}
	}
	return out
}
