package coverage

import (
	"fmt"
	"math"

	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/clip"
	"github.com/paulmach/orb/planar"
)

// Cells is the walkable part of one floor cut into equal cells.
//
//  1. The areas add up to the floor's, but for crumbs (leastShare).
//  2. Every place is walkable.
type Cells struct {
	Floor   int // index into Site.Floors
	Lattice site.Lattice
	Index   []int       // of every cell, its place in the lattice
	At      []orb.Point // where the cell is looked at: its centre, or for a cell cut by an edge a place in what is left of it
	AreaM2  []float64   // of its walkable part
	cellAt  []int32     // per place of the lattice, the cell there, −1 for none
	moved   []int       // cells that are not looked at in their centre
}

// DefaultCellM is the size of a cell where nothing else is said.
const DefaultCellM = 1.0

// MaxCells is the most that is mapped at once, over all floors: larger maps take
// gigabytes, and no propagation model knows more.
const MaxCells = 1_000_000

// leastShare is the share of a cell below which a part cut off by an edge is
// passed over.
const leastShare = 0.01

// LayCells cuts a floor into cells of about cellM metres: as many as fit its
// bounding box, of equal size.
func LayCells(s *site.Site, floor int, cellM float64) (*Cells, error) {
	if !(cellM > 0) || math.IsInf(cellM, 0) {
		return nil, fmt.Errorf("cells of %g m; give a size above 0", cellM)
	}
	f := &s.Floors[floor]
	box := f.BoundingBox()
	w, h := box.Max[0]-box.Min[0], box.Max[1]-box.Min[1]
	if w/cellM*(h/cellM) > MaxCells {
		return nil, fmt.Errorf("floor %q has more than %d cells of %g m; give a larger size", f.ID, MaxCells, cellM)
	}
	nx, ny := max(1, int(math.Ceil(w/cellM-1e-9))), max(1, int(math.Ceil(h/cellM-1e-9)))
	dx, dy := w/float64(nx), h/float64(ny)
	c := &Cells{Floor: floor, Lattice: site.Lattice{Origin: orb.Point{box.Min[0] + dx/2, box.Min[1] + dy/2}, DX: dx, DY: dy, NX: nx, NY: ny}}
	c.cellAt = make([]int32, c.Lattice.Len())
	edge := c.touched(f)
	c.Index, c.At, c.AreaM2 = make([]int, 0, len(edge)), make([]orb.Point, 0, len(edge)), make([]float64, 0, len(edge))
	within := false // what the cell before was, which is what this one is where no edge is near either
	for n := range c.cellAt {
		c.cellAt[n] = -1
		at, area := c.Lattice.At(n), dx*dy
		if edge[n] {
			b := orb.Bound{Min: orb.Point{at[0] - dx/2, at[1] - dy/2}, Max: orb.Point{at[0] + dx/2, at[1] + dy/2}}
			if area = walkableArea(f, b); area < leastShare*dx*dy {
				continue
			}
			centre := at
			var ok bool
			if at, ok = standIn(f, b); !ok {
				continue
			}
			if at != centre {
				c.moved = append(c.moved, len(c.At))
			}
		} else {
			if n%nx == 0 || edge[n-1] {
				within = f.Walkable(at)
			}
			if !within {
				continue
			}
		}
		c.cellAt[n] = int32(len(c.At))
		c.Index, c.At, c.AreaM2 = append(c.Index, n), append(c.At, at), append(c.AreaM2, area)
	}
	return c, nil
}

// Len is how many cells there are.
func (c *Cells) Len() int { return len(c.At) }

// Box is the cell's rectangle, walkable or not.
func (c *Cells) Box(i int) orb.Bound {
	at := c.Lattice.At(c.Index[i])
	dx, dy := c.Lattice.DX/2, c.Lattice.DY/2
	return orb.Bound{Min: orb.Point{at[0] - dx, at[1] - dy}, Max: orb.Point{at[0] + dx, at[1] + dy}}
}

// neighbours calls for each cell that shares a side with cell i.
func (c *Cells) neighbours(i int, each func(j int)) {
	n := c.Index[i]
	x, y := n%c.Lattice.NX, n/c.Lattice.NX
	for _, d := range [4][2]int{{-1, 0}, {1, 0}, {0, -1}, {0, 1}} {
		u, v := x+d[0], y+d[1]
		if u < 0 || v < 0 || u >= c.Lattice.NX || v >= c.Lattice.NY {
			continue
		}
		if j := c.cellAt[v*c.Lattice.NX+u]; j >= 0 {
			each(int(j))
		}
	}
}

// touched marks the places of the lattice whose cells an edge of the outline or
// of a void may cut.
func (c *Cells) touched(f *site.Floor) []bool {
	out := make([]bool, c.Lattice.Len())
	l := c.Lattice
	left, low := l.Origin[0]-l.DX/2, l.Origin[1]-l.DY/2
	clampX := func(v float64) int { return max(0, min(l.NX-1, int(math.Floor(v)))) }
	clampY := func(v float64) int { return max(0, min(l.NY-1, int(math.Floor(v)))) }
	mark := func(r orb.Ring) {
		for i, a := range r {
			b := r[(i+1)%len(r)]
			if a[1] > b[1] {
				a, b = b, a
			}
			const slack = 1e-6
			for j := clampY((a[1] - low - slack) / l.DY); j <= clampY((b[1]-low+slack)/l.DY); j++ {
				// The edge's stretch within the row.
				y0, y1 := low+float64(j)*l.DY-slack, low+float64(j+1)*l.DY+slack
				x0, x1 := a[0], b[0]
				if b[1] > a[1] {
					t0, t1 := max(0, (y0-a[1])/(b[1]-a[1])), min(1, (y1-a[1])/(b[1]-a[1]))
					x0, x1 = a[0]+t0*(b[0]-a[0]), a[0]+t1*(b[0]-a[0])
				}
				for i := clampX((min(x0, x1) - left - slack) / l.DX); i <= clampX((max(x0, x1)-left+slack)/l.DX); i++ {
					out[j*l.NX+i] = true
				}
			}
		}
	}
	mark(f.Outline)
	for i := range f.Areas {
		if f.Areas[i].Kind == site.Void {
			mark(f.Areas[i].Polygon)
		}
	}
	return out
}

// walkableArea is the area of a rectangle within the outline less that in voids.
// Where voids overlap each other it counts the overlap once for each, as
// [site.Floor.Area] does.
func walkableArea(f *site.Floor, b orb.Bound) float64 {
	sum := clippedArea(f.Outline, b)
	for i := range f.Areas {
		if f.Areas[i].Kind == site.Void {
			sum -= clippedArea(f.Areas[i].Polygon, b)
		}
	}
	return max(sum, 0)
}

func clippedArea(r orb.Ring, b orb.Bound) float64 {
	closed := append(append(orb.Ring{}, r...), r[0])
	part := clip.Ring(b, closed)
	if len(part) < 3 {
		return 0
	}
	return math.Abs(planar.Area(part))
}

// standIn finds a walkable place in a rectangle: its centre, or that of the
// ninth nearest to it that is walkable.
func standIn(f *site.Floor, b orb.Bound) (orb.Point, bool) {
	c := b.Center()
	if f.Walkable(c) {
		return c, true
	}
	const n = 9
	best, found := orb.Point{}, false
	for j := range n {
		for i := range n {
			p := orb.Point{b.Min[0] + (float64(i)+.5)/n*(b.Max[0]-b.Min[0]), b.Min[1] + (float64(j)+.5)/n*(b.Max[1]-b.Min[1])}
			if f.Walkable(p) && (!found || planar.DistanceSquared(p, c) < planar.DistanceSquared(best, c)-1e-12) {
				best, found = p, true
			}
		}
	}
	return best, found
}
