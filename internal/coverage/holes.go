package coverage

import (
	"cmp"
	"math"
	"slices"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// Hole is a connected part of a floor, cell to cell over their sides, where
// fewer access points are heard than needed.
type Hole struct {
	Floor  int // index into Site.Floors
	Cells  []int
	AreaM2 float64
	Centre orb.Point // the place of its cell nearest to its centre of area
	Heard  int       // the fewest heard anywhere in it
	Added  *Added    // the one access point that closes most of it; see [Map.Close]
}

// Holes lists the holes of the map, the largest first.
func (m *Map) Holes() []Hole {
	var out []Hole
	for f := range m.Floors {
		fm := &m.Floors[f]
		seen := make([]bool, fm.Len())
		for i := range seen {
			if seen[i] || fm.Heard[i] >= m.Options.Need {
				continue
			}
			h := Hole{Floor: fm.Floor, Heard: fm.Heard[i]}
			seen[i] = true
			for queue := []int{i}; len(queue) > 0; {
				c := queue[len(queue)-1]
				queue = queue[:len(queue)-1]
				h.Cells = append(h.Cells, c)
				h.AreaM2 += fm.AreaM2[c]
				h.Heard = min(h.Heard, fm.Heard[c])
				fm.neighbours(c, func(j int) {
					if !seen[j] && fm.Heard[j] < m.Options.Need {
						seen[j] = true
						queue = append(queue, j)
					}
				})
			}
			slices.Sort(h.Cells)
			h.Centre = fm.middle(h.Cells)
			out = append(out, h)
		}
	}
	slices.SortStableFunc(out, func(a, b Hole) int { return cmp.Compare(b.AreaM2, a.AreaM2) })
	return out
}

// middle gives the place, among cells, nearest to their centre of area.
func (c *Cells) middle(cells []int) orb.Point {
	var x, y, area float64
	for _, i := range cells {
		area += c.AreaM2[i]
		x += c.AreaM2[i] * c.At[i][0]
		y += c.AreaM2[i] * c.At[i][1]
	}
	centre := orb.Point{x / area, y / area}
	best, least := c.At[cells[0]], math.Inf(1)
	for _, i := range cells {
		if d := planar.DistanceSquared(c.At[i], centre); d < least-1e-9 {
			best, least = c.At[i], d
		}
	}
	return best
}
