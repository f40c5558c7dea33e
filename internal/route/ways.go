package route

import (
	"cmp"
	"container/heap"
	"math"
	"slices"

	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

const (
	// ClearanceM is how far from the end of a wall or from a corner a way
	// turns. It keeps ways off the walls and adds some centimetres a corner.
	ClearanceM = 0.05
	// SealM is the width of gap that counts as closed, twice the clearance:
	// walls traced by hand miss each other by less, and no door is that narrow.
	SealM = 2 * ClearanceM
)

// Leg is how to get from one place to another.
type Leg struct {
	DistM      float64     // length of the walkable way, metres
	Via        []orb.Point // where it turns, in order
	BearingDeg float64     // first direction, clockwise from the plan's +y, 0 to 360; 0 for no way to go
}

// Ways is the visibility graph of a floor: its nodes stand ClearanceM off the
// ends of walls and off the corners that stick out into the floor, and two of
// them are joined where the straight line between them crosses no wall and
// stays on the floor. A shortest way among obstacles turns only at such nodes
// (de Berg and others, Computational Geometry, 2008, lemma 15.1), so lengths
// are exact but for some centimetres a corner. A place on a wall can be left
// to both of its sides.
//
// Ways is not safe for use by several goroutines: it remembers what it worked out.
type Ways struct {
	floor *site.Floor
	walls *site.WallIndex // walls, outline, voids and seals of the one floor
	nodes []turn
	edges [][]edge
	trees []*tree // shortest ways from each node, nil where nobody asked
}

// turn is a node at the vertex of an obstacle. arms are the vertices next to
// it where there are two of them.
type turn struct {
	at, vertex orb.Point
	arms       []orb.Point
}

type edge struct {
	to   int32
	dist float64
}

// tree holds, for each node, the distance from the root and the node before it,
// final where done. It grows as far as it is asked for.
type tree struct {
	dist   []float64
	before []int32
	done   []bool
	todo   queue
}

// NewWays builds the graph in about V² visibility tests, V the number of wall
// ends and outstanding corners: some 20 ms for an office floor of 60 rooms.
func NewWays(f *site.Floor) *Ways {
	lines := obstacles(f)
	blocked := &site.Site{Floors: []site.Floor{{Walls: make([]site.Wall, 0, len(lines))}}}
	for _, l := range lines {
		blocked.Floors[0].Walls = append(blocked.Floors[0].Walls, site.Wall{Line: l})
	}
	w := &Ways{floor: f, walls: site.NewWallIndex(blocked)}
	for _, t := range turns(lines) {
		if f.Walkable(t.at) && !w.walls.Crosses(0, t.vertex, t.at) {
			w.nodes = append(w.nodes, t)
		}
	}
	w.edges = make([][]edge, len(w.nodes))
	w.trees = make([]*tree, len(w.nodes))
	for i := range w.nodes {
		p := w.nodes[i].at
		for j := range i {
			q := w.nodes[j].at
			if w.nodes[j].useful(p) && w.nodes[i].useful(q) && !w.walls.Crosses(0, p, q) {
				d := planar.Distance(p, q)
				w.edges[i] = append(w.edges[i], edge{int32(j), d})
				w.edges[j] = append(w.edges[j], edge{int32(i), d})
			}
		}
	}
	return w
}

// obstacles gives all lines that nobody walks through: walls, the outline,
// voids, and seals across gaps below SealM.
func obstacles(f *site.Floor) []orb.LineString {
	var lines []orb.LineString
	for _, w := range f.Walls {
		lines = append(lines, w.Line)
	}
	ring := func(r orb.Ring) {
		lines = append(lines, append(orb.LineString(slices.Clone(r)), r[0]))
	}
	ring(f.Outline)
	for _, a := range f.Areas {
		if a.Kind == site.Void {
			ring(a.Polygon)
		}
	}
	drawn := len(lines)
	for i := range drawn {
		for _, v := range lines[i] {
			for j := range drawn {
				for k := 1; k < len(lines[j]); k++ {
					a, b := lines[j][k-1], lines[j][k]
					if a == v || b == v {
						continue
					}
					p := foot(a, b, v)
					if d := planar.Distance(p, v); d > 0 && d < SealM && !(i == j && next(lines[i], v, a, b)) {
						lines = append(lines, orb.LineString{v, p})
					}
				}
			}
		}
	}
	return lines
}

// next reports whether v is joined to a or to b by one edge of the line: a
// bend is not a gap.
func next(line orb.LineString, v, a, b orb.Point) bool {
	for k := 1; k < len(line); k++ {
		p, q := line[k-1], line[k]
		if (p == v && (q == a || q == b)) || (q == v && (p == a || p == b)) {
			return true
		}
	}
	return false
}

// foot is the point of the segment a–b that is closest to p.
func foot(a, b, p orb.Point) orb.Point {
	dx, dy := b[0]-a[0], b[1]-a[1]
	l := dx*dx + dy*dy
	if l == 0 {
		return a
	}
	t := math.Max(0, math.Min(1, ((p[0]-a[0])*dx+(p[1]-a[1])*dy)/l))
	return orb.Point{a[0] + t*dx, a[1] + t*dy}
}

// turns gives the places to turn at: where more than half of the surroundings
// of a vertex are free in one piece, ClearanceM off it along the bisector.
func turns(lines []orb.LineString) []turn {
	arms := map[orb.Point][]orb.Point{}
	var order []orb.Point
	add := func(v, arm orb.Point) {
		if _, seen := arms[v]; !seen {
			order = append(order, v)
		}
		if v != arm && !slices.Contains(arms[v], arm) {
			arms[v] = append(arms[v], arm)
		}
	}
	for _, l := range lines {
		for k := 1; k < len(l); k++ {
			add(l[k-1], l[k])
			add(l[k], l[k-1])
		}
	}
	for _, v := range order { // a vertex on a line of its own or of another: a junction
		for _, l := range lines {
			for k := 1; k < len(l); k++ {
				if a, b := l[k-1], l[k]; a != v && b != v && planar.DistanceFromSegment(a, b, v) <= site.OnLineM {
					add(v, a)
					add(v, b)
				}
			}
		}
	}
	var out []turn
	for _, v := range order {
		var angles []float64
		for _, a := range arms[v] {
			angles = append(angles, math.Atan2(a[1]-v[1], a[0]-v[0]))
		}
		slices.Sort(angles)
		for i, a := range angles {
			width := 2 * math.Pi
			if len(angles) > 1 {
				width = math.Mod(angles[(i+1)%len(angles)]-a+2*math.Pi, 2*math.Pi)
			}
			if width > math.Pi+1e-9 {
				sin, cos := math.Sincos(a + width/2)
				t := turn{at: orb.Point{v[0] + ClearanceM*cos, v[1] + ClearanceM*sin}, vertex: v}
				if len(arms[v]) == 2 {
					t.arms = arms[v]
				}
				out = append(out, t)
			}
		}
	}
	return out
}

// useful reports whether a shortest way from p can turn at the node: not where
// the two arms of its vertex lie on different sides of the line from p.
func (t *turn) useful(p orb.Point) bool {
	if len(t.arms) != 2 {
		return true
	}
	dx, dy := t.vertex[0]-p[0], t.vertex[1]-p[1]
	slack := 2 * ClearanceM * math.Hypot(dx, dy)
	a := dx*(t.arms[0][1]-t.vertex[1]) - dy*(t.arms[0][0]-t.vertex[0])
	b := dx*(t.arms[1][1]-t.vertex[1]) - dy*(t.arms[1][0]-t.vertex[0])
	return !(a > slack && b < -slack) && !(a < -slack && b > slack)
}

// place is somewhere on the floor, with the nodes that it sees.
type place struct {
	at       orb.Point
	walkable bool
	onEdge   bool
	sees     []edge
}

func (w *Ways) place(p orb.Point) place {
	out := place{at: p, walkable: w.floor.Walkable(p), onEdge: w.onEdge(p)}
	if !out.walkable {
		return out
	}
	for i := range w.nodes {
		if q := w.nodes[i].at; w.nodes[i].useful(p) && w.clear(p, q, out.onEdge) {
			out.sees = append(out.sees, edge{int32(i), planar.Distance(p, q)})
		}
	}
	slices.SortStableFunc(out.sees, func(a, b edge) int { return cmp.Compare(a.dist, b.dist) })
	return out
}

// onEdge reports whether p lies on the outline or on the edge of a void, where
// the crossings of a line do not tell whether it leaves the floor.
func (w *Ways) onEdge(p orb.Point) bool {
	on := func(r orb.Ring) bool {
		for i := range r {
			if planar.DistanceFromSegment(r[i], r[(i+1)%len(r)], p) <= site.OnLineM {
				return true
			}
		}
		return false
	}
	for _, a := range w.floor.Areas {
		if a.Kind == site.Void && on(a.Polygon) {
			return true
		}
	}
	return on(w.floor.Outline)
}

// clear reports whether the straight line p–q is walkable.
func (w *Ways) clear(p, q orb.Point, onEdge bool) bool {
	return !w.walls.Crosses(0, p, q) && (!onEdge || w.floor.Straight(p, q))
}

// between is the length of the way between two places, and the nodes where it
// leaves the one and reaches the other, −1 for a straight line. It is +Inf
// where there is no way.
func (w *Ways) between(p, q *place) (distM float64, first, last int32) {
	if p.walkable && q.walkable && w.clear(p.at, q.at, p.onEdge || q.onEdge) {
		return planar.Distance(p.at, q.at), -1, -1
	}
	distM, first, last = math.Inf(1), -1, -1
	for _, a := range p.sees {
		if a.dist+planar.Distance(w.nodes[a.to].at, q.at) >= distM {
			continue
		}
		for _, b := range q.sees {
			if d := a.dist + w.along(a.to, b.to, distM-a.dist-b.dist) + b.dist; d < distM {
				distM, first, last = d, a.to, b.to
			}
		}
	}
	return distM, first, last
}

// along is the length of the shortest way from one node to another (Dijkstra
// 1959), +Inf where there is none shorter than limit.
func (w *Ways) along(from, to int32, limit float64) float64 {
	if planar.Distance(w.nodes[from].at, w.nodes[to].at) >= limit {
		return math.Inf(1)
	}
	t := w.trees[from]
	if t == nil {
		n := len(w.nodes)
		t = &tree{dist: make([]float64, n), before: make([]int32, n), done: make([]bool, n), todo: queue{{from, 0}}}
		for i := range t.dist {
			t.dist[i], t.before[i] = math.Inf(1), -1
		}
		t.dist[from] = 0
		w.trees[from] = t
	}
	for !t.done[to] && len(t.todo) > 0 && t.todo[0].dist < limit {
		e := heap.Pop(&t.todo).(edge)
		if t.done[e.to] {
			continue
		}
		t.done[e.to] = true
		for _, n := range w.edges[e.to] {
			if d := e.dist + n.dist; d < t.dist[n.to] {
				t.dist[n.to], t.before[n.to] = d, e.to
				heap.Push(&t.todo, edge{n.to, d})
			}
		}
	}
	if !t.done[to] {
		return math.Inf(1)
	}
	return t.dist[to]
}

type queue []edge

func (q queue) Len() int           { return len(q) }
func (q queue) Less(i, j int) bool { return q[i].dist < q[j].dist }
func (q queue) Swap(i, j int)      { q[i], q[j] = q[j], q[i] }
func (q *queue) Push(x any)        { *q = append(*q, x.(edge)) }
func (q *queue) Pop() any {
	last := (*q)[len(*q)-1]
	*q = (*q)[:len(*q)-1]
	return last
}

// Leg finds the shortest walkable way; false where there is none.
func (w *Ways) Leg(from, to orb.Point) (Leg, bool) {
	p, q := w.place(from), w.place(to)
	d, first, last := w.between(&p, &q)
	if math.IsInf(d, 1) {
		return Leg{}, false
	}
	leg := Leg{DistM: d}
	if first >= 0 {
		for n := last; n >= 0; n = w.trees[first].before[n] {
			leg.Via = append(leg.Via, w.nodes[n].at)
		}
		slices.Reverse(leg.Via)
		to = leg.Via[0]
	}
	if from != to {
		leg.BearingDeg = math.Mod(math.Atan2(to[0]-from[0], to[1]-from[1])*180/math.Pi+360, 360)
	}
	return leg, true
}
