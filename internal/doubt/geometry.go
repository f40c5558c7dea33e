package doubt

import (
	"math"
	"sync"

	"footrule/internal/parallel"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// spot is where a box hangs, or may hang.
type spot struct {
	floor  int
	at     orb.Point
	height float64
}

// view is a state of belief: the rows and where every access point hangs, after
// the corrections so far.
type view struct {
	rows  *rows
	spots []spot
	dead  []bool // access points that are known never to have been heard

	ground *ground
	mu     sync.Mutex
	fields map[field]*ways // from the cells of a floor at a height to all rows
}

// ground is what does not change with a correction: the walls and the cells.
type ground struct {
	site      *site.Site
	walls     *site.WallIndex
	materials int // walls, then the slab of a storey where there are several floors
	cells     [][]orb.Point
	stepM     []float64
}

// Limits of the search for places.
const (
	cellM     = 2.0  // between candidate places
	beyondM   = 4.0  // outside the outline, where a box may hang
	mostCells = 1500 // a floor; larger ones have larger cells
)

func newGround(s *site.Site) *ground {
	g := &ground{site: s, walls: site.NewWallIndex(s)}
	g.materials = len(g.walls.Materials())
	if len(s.Floors) > 1 {
		g.materials++
	}
	for f := range s.Floors {
		floor := &s.Floors[f]
		box := floor.BoundingBox().Pad(beyondM)
		step := cellM
		if n := (box.Max[0] - box.Min[0]) * (box.Max[1] - box.Min[1]) / (step * step); n > mostCells {
			step *= math.Sqrt(n / mostCells)
		}
		ring := append(append(orb.Ring{}, floor.Outline...), floor.Outline[0])
		var cells []orb.Point
		for y := box.Min[1] + step/2; y < box.Max[1]; y += step {
			for x := box.Min[0] + step/2; x < box.Max[0]; x += step {
				p := orb.Point{x, y}
				if floor.Inside(p) || planar.DistanceFrom(orb.LineString(ring), p) <= beyondM {
					cells = append(cells, p)
				}
			}
		}
		g.cells, g.stepM = append(g.cells, cells), append(g.stepM, step)
	}
	return g
}

func newView(r *rows) *view {
	v := &view{rows: r, ground: newGround(r.site), dead: make([]bool, len(r.site.AccessPoints)), fields: map[field]*ways{}}
	for _, ap := range r.site.AccessPoints {
		v.spots = append(v.spots, spot{r.site.FloorIndex(ap.Floor), ap.At, ap.HeightM})
	}
	return v
}

// with gives the view after a correction. Where no row moved, ways stay measured.
func (v *view) with(r *rows, spots []spot, moved bool) *view {
	out := &view{rows: r, spots: spots, dead: v.dead, ground: v.ground, fields: map[field]*ways{}}
	if !moved {
		v.mu.Lock()
		defer v.mu.Unlock()
		for k, w := range v.fields {
			out.fields[k] = w
		}
	}
	return out
}

// way gives x = −10 log10 d from a spot to a receiver, and adds the crossings to
// c. Between storeys only the slabs count.
func (g *ground) way(s spot, floor int, at orb.Point, c []float64) float64 {
	dz := s.height - g.site.ReceiverHeightM
	if s.floor == floor {
		g.walls.Count(floor, s.at, at, c)
	} else {
		a, b := g.site.Floors[s.floor].ElevationM, g.site.Floors[floor].ElevationM
		dz += a - b
		for f := range g.site.Floors {
			if e := g.site.Floors[f].ElevationM; e > min(a, b) && e <= max(a, b) {
				c[len(c)-1]++
			}
		}
	}
	d := math.Sqrt((s.at[0]-at[0])*(s.at[0]-at[0]) + (s.at[1]-at[1])*(s.at[1]-at[1]) + dz*dz)
	return -10 * math.Log10(max(d, site.MinDistanceM))
}

// ways are those from spots to places: place i and spot g at i*spots+g, the
// crossings of material m likewise in c[m].
type ways struct {
	spots int
	from  []spot
	x     []float64
	c     [][]float64
}

func (g *ground) measure(spots []spot, floors []int, at []orb.Point) *ways {
	w := &ways{spots: len(spots), from: spots, x: make([]float64, len(spots)*len(at)), c: make([][]float64, g.materials)}
	for m := range w.c {
		w.c[m] = make([]float64, len(w.x))
	}
	parallel.Do(len(at), func(i int) {
		c := make([]float64, g.materials)
		for s := range spots {
			clear(c)
			w.x[i*w.spots+s] = g.way(spots[s], floors[i], at[i], c)
			for m, n := range c {
				w.c[m][i*w.spots+s] = n
			}
		}
	})
	return w
}

// aimed is what the antenna of radio k lacks in the direction from a spot to a
// receiver, in dB, 0 or less; its axis stays as the plan has it.
func (v *view) aimed(k int, s spot, floor int, at orb.Point) float64 {
	a := v.rows.antenna(k)
	if !a.Directional() {
		return 0
	}
	floors := v.rows.site.Floors
	dz := floors[floor].ElevationM + v.rows.site.ReceiverHeightM - floors[s.floor].ElevationM - s.height
	return a.PatternDB(at[0]-s.at[0], at[1]-s.at[1], dz)
}

// field is the candidate places of one floor at one height.
type field struct {
	floor  int
	height float64
}

// from gives the ways from every candidate place of a field to every row.
func (v *view) from(f field) *ways {
	v.mu.Lock()
	defer v.mu.Unlock()
	if w := v.fields[f]; w != nil {
		return w
	}
	cells := v.ground.cells[f.floor]
	spots := make([]spot, len(cells))
	for i, p := range cells {
		spots[i] = spot{f.floor, p, f.height}
	}
	w := v.ground.measure(spots, v.rows.floor, v.rows.at)
	v.fields[f] = w
	return w
}
