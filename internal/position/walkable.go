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
	first []int // per floor, its first cell, and the end
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
		c.first = append(c.first, len(c.at))
		c.lay(f, bodyM)
		if len(c.at) == c.first[f] { // walls everywhere
			c.lay(f, 0)
		}
	}
	c.first = append(c.first, len(c.at))
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
	for i, p := range at {
		alone := true
		for _, j := range kept {
			x, y := at[j][0]-p[0], at[j][1]-p[1]
			if x*x+y*y < spacingLeastM*spacingLeastM && floor[i] == floor[j] {
				alone = false
				break
			}
		}
		if alone {
			kept = append(kept, i)
		}
	}
	var next []float64
	for _, i := range kept {
		d := math.Inf(1)
		for _, j := range kept {
			x, y := at[j][0]-at[i][0], at[j][1]-at[i][1]
			if s := x*x + y*y; s < d && j != i && floor[j] == floor[i] {
				d = s
			}
		}
		if !math.IsInf(d, 1) {
			next = append(next, math.Sqrt(d))
		}
	}
	return medianOf(next)
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

// ground is a walk over the cells: which of its spots are near which cell.
type ground struct {
	cells *cells
	at    []orb.Point
	floor []int
	near  [][nearSpots]nearSpot // per cell, from near to far
	stops bool                  // no two spots are so close that they are one
	apart [][nearSpots]nearSpot // per spot, the others from near to far
}

// nearSpots is how many spots a cell knows: one of them is left mostly.
const nearSpots = 4

type nearSpot struct {
	of     int // −1 for none
	square float64
}

func newGround(c *cells, at []orb.Point, floor []int) *ground {
	g := &ground{cells: c, at: at, floor: floor, stops: true}
	for i, p := range c.at {
		g.near = append(g.near, g.nearTo(p, c.floor[i], -1))
	}
	for j, p := range at {
		near := g.nearTo(p, floor[j], j)
		g.apart = append(g.apart, near)
		g.stops = g.stops && near[0].square >= spacingLeastM*spacingLeastM
	}
	return g
}

// nearTo lists the spots near a place, but for one.
func (g *ground) nearTo(p orb.Point, floor, but int) (near [nearSpots]nearSpot) {
	for n := range near {
		near[n] = nearSpot{-1, math.Inf(1)}
	}
	for j, q := range g.at {
		x, y := q[0]-p[0], q[1]-p[1]
		d := nearSpot{j, x*x + y*y}
		if d.square >= near[nearSpots-1].square || g.floor[j] != floor || j == but {
			continue
		}
		for n := range near {
			if d.square < near[n].square {
				d, near[n] = near[n], d
			}
		}
	}
	return near
}

// nearest is the squared distance of the nearest of the spots that are left, but for
// one, from a place with such a list.
func (g *ground) nearest(list *[nearSpots]nearSpot, p orb.Point, floor, but int, left []bool) float64 {
	for _, n := range list {
		if n.of < 0 || left[n.of] {
			return n.square
		}
	}
	least := math.Inf(1)
	for j, q := range g.at {
		if left[j] && g.floor[j] == floor && j != but {
			least = min(least, planar.DistanceSquared(q, p))
		}
	}
	return least
}

// spacing is that of the spots that are left.
func (g *ground) spacing(left []bool) float64 {
	var at []orb.Point
	var floor []int
	var next []float64
	for j, ok := range left {
		switch {
		case !ok:
		case !g.stops:
			at, floor = append(at, g.at[j]), append(floor, g.floor[j])
		default:
			if d := g.nearest(&g.apart[j], g.at[j], g.floor[j], j, left); !math.IsInf(d, 1) {
				next = append(next, math.Sqrt(d))
			}
		}
	}
	if !g.stops {
		return spacing(at, floor)
	}
	return medianOf(next)
}

// medianOf is the median, +Inf of nothing.
func medianOf(values []float64) float64 {
	if len(values) == 0 {
		return math.Inf(1)
	}
	slices.Sort(values)
	return Quantile(values, .5)
}

// prior is the log of how likely the cells are before anything is heard, given the
// spots of the walk that are left: 0 within their reach, the log of [unwalked] beyond. A
// floor where nobody walked has 0 throughout: the walk says nothing of it.
func (g *ground) prior(left []bool) []float64 {
	walked := make([]bool, len(g.cells.site.Floors))
	for j, ok := range left {
		walked[g.floor[j]] = walked[g.floor[j]] || ok
	}
	reach := reachSpacings * g.spacing(left)
	beyond := math.Log(unwalked)
	out := make([]float64, len(g.cells.at))
	for i, p := range g.cells.at {
		f := g.cells.floor[i]
		if walked[f] && !(g.nearest(&g.near[i], p, f, -1, left) <= reach*reach) {
			out[i] = beyond
		}
	}
	return out
}
