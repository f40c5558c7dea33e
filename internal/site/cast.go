package site

import (
	"math"

	"github.com/paulmach/orb"
)

// Lattice is a rectangular grid of places: column i and row j stand at Origin +
// (i·DX, j·DY), at index j·NX + i. DX and DY are above 0.
type Lattice struct {
	Origin orb.Point
	DX, DY float64
	NX, NY int
}

// Len is how many places there are.
func (l Lattice) Len() int { return l.NX * l.NY }

// At gives a place by its index.
func (l Lattice) At(n int) orb.Point {
	return orb.Point{l.Origin[0] + float64(n%l.NX)*l.DX, l.Origin[1] + float64(n/l.NX)*l.DY}
}

// Towards gives the places that lie at share t of the way from a to those of l.
func (l Lattice) Towards(a orb.Point, t float64) Lattice {
	l.Origin = orb.Point{a[0] + t*(l.Origin[0]-a[0]), a[1] + t*(l.Origin[1]-a[1])}
	l.DX, l.DY = t*l.DX, t*l.DY
	return l
}

// Cast adds to out, for every place of a lattice, sign times the loss of the
// walls that the straight line from a to it crosses: what [WallIndex.Count]
// counts, times loss[m] dB a crossing of material m. It takes every wall's shadow
// as seen from a, row by row, so that its cost grows with the rows that shadows
// fall on and with the places, and not with walls times places.
//
// Where a line comes near the end of a wall or ends near a wall, the laws of
// [WallIndex] want a closer look: such places are marked in doubt, and what they
// got is to be replaced by a count. out and doubt hold l.Len() values.
//
//  1. A place that is not in doubt got the sum of Count times loss, but for
//     rounding.
//  2. A place in doubt is marked whatever the losses are.
func (ix *WallIndex) Cast(floor int, a orb.Point, l Lattice, sign float64, loss []float64, out []float64, doubt []bool) {
	c := caster{a: a, l: l, step: make([]float64, l.NX+1), doubt: doubt}
	segs := ix.floors[floor].segs
	byRow := make([][]int32, l.NY)
	for n := range segs {
		lo, hi := c.rows(&segs[n])
		for j := lo; j < hi; j++ {
			byRow[j] = append(byRow[j], int32(n))
		}
	}
	for j := range l.NY {
		if len(byRow[j]) == 0 {
			continue
		}
		clear(c.step)
		for _, n := range byRow[j] {
			s := &segs[n]
			c.shadow(s, j, sign*loss[s.material])
		}
		sum, row := 0.0, out[j*l.NX:(j+1)*l.NX]
		for i := range row {
			sum += c.step[i]
			row[i] += sum
		}
	}
}

type caster struct {
	a     orb.Point
	l     Lattice
	step  []float64 // loss that begins (or ends, below 0) at a column
	doubt []bool
}

// Tolerances in metres. Count takes what is within OnLineM as touching; a cast
// looks twice as far, plus what rounding may add. A wall whose line passes a by
// less than edgeOnM is seen edge on, and throws no shadow but for its ends.
const (
	castSlackM = 2*OnLineM + 1e-9
	edgeOnM    = 1e-4
)

func (c *caster) y(j int) float64 { return c.l.Origin[1] + float64(j)*c.l.DY }

// rows gives the rows on which the shadow of a wall, or a line by one of its
// ends, may fall.
func (c *caster) rows(s *segment) (lo, hi int) {
	up, down := max(s.a[1], s.b[1])-c.a[1], min(s.a[1], s.b[1])-c.a[1]
	below, above := math.Inf(-1), math.Inf(1)
	switch {
	case down > castSlackM:
		below = c.a[1] + down - castSlackM
	case up < -castSlackM:
		above = c.a[1] + up + castSlackM
	}
	lo, hi = 0, c.l.NY
	if !math.IsInf(below, 0) {
		lo = max(0, min(c.l.NY, int(math.Ceil((below-c.l.Origin[1])/c.l.DY))-1))
	}
	if !math.IsInf(above, 0) {
		hi = min(c.l.NY, max(0, int(math.Floor((above-c.l.Origin[1])/c.l.DY))+2))
	}
	return lo, hi
}

// shadow enters what a wall does on row j: the places p beyond the line of the
// wall and between the lines from a through its ends, which is a stretch of
// the row.
func (c *caster) shadow(s *segment, j int, loss float64) {
	y := c.y(j) - c.a[1]
	p, q := minus(s.a, c.a), minus(s.b, c.a)
	turn := cross(p, q)
	if turn < 0 {
		p, q, turn = q, p, -turn
	}
	d := minus(q, p)
	away := turn / math.Hypot(d[0], d[1]) // of a from the line of the wall
	if math.Abs(y) <= castSlackM {
		// The row runs through a: left and right of it there are two directions only.
		if min(p[1], q[1]) <= castSlackM && max(p[1], q[1]) >= -castSlackM {
			c.mark(j, math.Inf(-1), math.Inf(1))
		}
		return
	}
	c.markRay(j, y, p, away)
	c.markRay(j, y, q, away)
	if away <= edgeOnM {
		// Seen edge on. From a place on the wall itself it is left at once (law
		// 4); one a hair beside it is looked at place by place.
		if away > 1e-11 && dot(d, p) < edgeOnM && dot(d, q) > -edgeOnM {
			c.mark(j, math.Inf(-1), math.Inf(1))
		}
		return
	}
	// Left of the line through p, right of that through q: with x to be found on
	// the row, cross(p, (x, y)) > 0 and cross((x, y), q) > 0.
	lo, hi := math.Inf(-1), math.Inf(1)
	half := func(k, rest, slack float64) { // k x + rest > 0
		switch {
		case k > 0:
			lo = max(lo, -rest/k)
		case k < 0:
			hi = min(hi, -rest/k)
		case rest <= 0:
			hi = math.Inf(-1)
		}
		if k != 0 && slack > 0 {
			w := slack / math.Abs(k)
			c.mark(j, -rest/k-w, -rest/k+w)
		}
	}
	half(-p[1], p[0]*y, 0)
	half(q[1], -q[0]*y, 0)
	// Beyond the wall: cross(d, x − p) on the side away from a, which is the
	// right of p→q where turn is above 0.
	length := math.Hypot(d[0], d[1])
	if math.Abs(d[1]) < 1e-9*length {
		if off := (y - p[1]); math.Abs(off) <= 2*castSlackM {
			c.mark(j, min(p[0], q[0])-castSlackM, max(p[0], q[0])+castSlackM)
		}
	}
	k, rest := d[1], -d[0]*(y-p[1])-d[1]*p[0]
	half(k, rest, 0)
	if k != 0 {
		at := -rest / k
		w := castSlackM * length / math.Abs(k)
		c.mark(j, max(at-w, min(p[0], q[0])-castSlackM), min(at+w, max(p[0], q[0])+castSlackM))
	}
	if !(lo < hi) {
		return
	}
	i0, i1 := c.columns(lo, hi)
	if i0 < i1 {
		c.step[i0] += loss
		c.step[i1] -= loss
	}
}

// markRay marks the places of row j that lie so near to the line from a through
// the end of a wall, e, that it touches the end.
func (c *caster) markRay(j int, y float64, e orb.Point, away float64) {
	if math.Hypot(e[0], e[1]) <= 2*castSlackM { // a stands at the end of the wall
		return
	}
	if e[1]*y < 0 || math.Abs(e[1]) < 1e-12 {
		return
	}
	t := y / e[1]
	if t < 1-1e-3 && math.Abs(y-e[1]) > castSlackM { // before the end
		return
	}
	// castSlackM beside the line at e is t times as much at the row, and seen
	// along the row longer by the slope.
	r := math.Hypot(e[0], e[1])
	w := castSlackM * max(t, 1) * r / math.Abs(e[1])
	if away <= edgeOnM {
		w += 1e-4 * t * r * r / math.Abs(e[1])
	}
	c.mark(j, t*e[0]-w, t*e[0]+w)
}

// columns gives the columns that lie between two places of a row, from a.
func (c *caster) columns(lo, hi float64) (i0, i1 int) {
	n := float64(c.l.NX)
	f := func(x float64) int {
		return int(math.Ceil(min(max((x+c.a[0]-c.l.Origin[0])/c.l.DX, 0), n)))
	}
	return f(lo), f(hi)
}

// mark puts the columns between two places of a row in doubt, both included.
func (c *caster) mark(j int, lo, hi float64) {
	i0, i1 := c.columns(lo-castSlackM, hi+castSlackM)
	for i := i0; i < i1; i++ {
		c.doubt[j*c.l.NX+i] = true
	}
}
