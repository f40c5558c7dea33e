package coverage

import (
	"math"

	"github.com/paulmach/orb"
)

// Contours gives the lines along which a value of the cells comes to a level, by
// linear interpolation between the places of neighbouring cells (marching squares).
// Closed lines end where they begin. A saddle is cut by the mean of its corners.
// No line runs where a cell is missing or its value is unknown (NaN).
func (c *Cells) Contours(value []float64, level float64) []orb.LineString {
	nx, ny := c.Lattice.NX, c.Lattice.NY
	t := &tracer{next: map[edge][]edge{}, at: map[edge]orb.Point{}}
	for j := range ny - 1 {
		for i := range nx - 1 {
			n := j*nx + i
			q := [4]int32{c.cellAt[n], c.cellAt[n+1], c.cellAt[n+nx+1], c.cellAt[n+nx]}
			t.square(c, q, value, level)
		}
	}
	return t.lines()
}

// edge joins two neighbouring cells, the smaller first.
type edge [2]int32

type tracer struct {
	next  map[edge][]edge
	at    map[edge]orb.Point
	order []edge
}

// square crosses the four edges of one square of cells.
func (t *tracer) square(c *Cells, q [4]int32, value []float64, level float64) {
	var v [4]float64
	for k, cell := range q {
		if cell < 0 {
			return
		}
		if v[k] = value[cell]; math.IsNaN(v[k]) || math.IsInf(v[k], 0) {
			return
		}
	}
	above := func(k int) bool { return v[k%4] >= level }
	var crossed []int
	for k := range 4 {
		if above(k) != above(k+1) {
			crossed = append(crossed, k)
		}
	}
	switch len(crossed) {
	case 2:
		t.join(c, q, v, level, crossed[0], crossed[1])
	case 4:
		if (v[0]+v[1]+v[2]+v[3])/4 >= level == above(0) { // the corners 1 and 3 are cut off
			t.join(c, q, v, level, 0, 1)
			t.join(c, q, v, level, 2, 3)
		} else {
			t.join(c, q, v, level, 3, 0)
			t.join(c, q, v, level, 1, 2)
		}
	}
}

// join makes the step of a line from one side of a square to another.
func (t *tracer) join(c *Cells, q [4]int32, v [4]float64, level float64, k, l int) {
	a, b := t.cross(c, q, v, level, k), t.cross(c, q, v, level, l)
	t.next[a], t.next[b] = append(t.next[a], b), append(t.next[b], a)
}

func (t *tracer) cross(c *Cells, q [4]int32, v [4]float64, level float64, k int) edge {
	m := (k + 1) % 4
	a, b, va, vb := q[k], q[m], v[k], v[m]
	if a > b {
		a, b, va, vb = b, a, vb, va
	}
	e := edge{a, b}
	if _, there := t.at[e]; !there {
		s := (level - va) / (vb - va)
		p, r := c.At[a], c.At[b]
		t.at[e] = orb.Point{p[0] + s*(r[0]-p[0]), p[1] + s*(r[1]-p[1])}
		t.order = append(t.order, e)
	}
	return e
}

// lines strings the steps together: first lines with ends, then closed ones.
func (t *tracer) lines() []orb.LineString {
	done := map[edge]bool{}
	var out []orb.LineString
	follow := func(e edge, closed bool) {
		line := orb.LineString{}
		for more := true; more; {
			line = append(line, t.at[e])
			done[e], more = true, false
			for _, n := range t.next[e] {
				if !done[n] {
					e, more = n, true
					break
				}
			}
		}
		if closed {
			line = append(line, line[0])
		}
		out = append(out, line)
	}
	for _, ends := range []int{1, 2} {
		for _, e := range t.order {
			if len(t.next[e]) == ends && !done[e] {
				follow(e, ends == 2)
			}
		}
	}
	return out
}
