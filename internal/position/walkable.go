package position

import (
	"math"
	"slices"

	"footrule/internal/propagation"
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
	mostCells  = 4000
	leastCellM = 0.25
	// bodyM is how near to a wall the middle of a body may come (half of a body
	// depth of 0.3 to 0.4 m, from memory).
	bodyM = 0.2
)

func newCells(s *site.Site) *cells {
	c := &cells{site: s, refs: s.Radios()}
	area := 0.0
	for i := range s.Floors {
		area += s.Floors[i].Area()
	}
	c.stepM = max(leastCellM, math.Sqrt(area/mostCells))
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

// reached lists the cells within reach of places that were walked. A floor where
// nobody walked keeps all of its cells: the walk says nothing of it.
func (c *cells) reached(at []orb.Point, floor []int) []int {
	return c.within(reachSpacings, at, floor)
}

// within lists the cells so many spacings from places, as reached does.
func (c *cells) within(spacings float64, at []orb.Point, floor []int) []int {
	reach := spacings * spacing(at, floor)
	out := make([]int, 0, len(c.at))
	walked := make([]bool, len(c.site.Floors))
	for _, f := range floor {
		walked[f] = true
	}
	for i, p := range c.at {
		f := c.floor[i]
		ok := !walked[f]
		for j := 0; !ok && j < len(at); j++ {
			ok = floor[j] == f && planar.DistanceSquared(at[j], p) <= reach*reach
		}
		if ok {
			out = append(out, i)
		}
	}
	if len(out) == 0 { // all of them stood where the plan says that nobody can
		for i := range c.at {
			out = append(out, i)
		}
	}
	return out
}

// spans are the levels of every radio of a fit at some of the cells.
func (c *cells) spans(f *propagation.Fit, of []int) []span {
	all := c.ways.spans(f)
	for k := range all {
		if all[k].at == nil || len(of) == len(c.at) {
			continue
		}
		at := make([]float64, len(of))
		for i, j := range of {
			at[i] = all[k].at[j]
		}
		all[k] = newSpan(at)
	}
	return all
}
