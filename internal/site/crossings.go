package site

import (
	"math"
	"slices"

	"github.com/paulmach/orb"
)

// WallIndex answers which walls a straight line crosses. It is built once per
// site, holds a copy of the walls, and is safe for use by several goroutines.
//
// The line from a to b on a floor crosses walls by these laws:
//
//  1. Where it crosses one wall between its ends, that material counts one;
//     where it crosses two walls at one spot, both count.
//  2. Through a corner, a joint or a junction it counts min(l, r): l and r are
//     the walls that leave the spot to the left and to the right of the line.
//     So a corner passed through counts one, not two, whether it was drawn as
//     one polyline or as two walls; a corner that the line only brushes counts
//     none, and so does the free end of a wall.
//  3. Along a wall it counts none. What law 2 leaves unmatched in the spots of
//     a stretch along walls is matched over the stretch: a wall that runs along
//     the line and leaves it on the other side is crossed once.
//  4. A crossing within [OnLineM] of a or of b does not count: a line that
//     starts or ends on a wall does not cross it, and a line of no length
//     crosses nothing.
//  5. The count from b to a equals that from a to b.
//  6. It does not change when the plan is turned, moved or mirrored.
//  7. It does not change when a wall is split in two at any place.
//  8. Walls of one material are matched first; where the line passes between a
//     wall of one material on its left and one of another on its right, half a
//     crossing is counted for each.
type WallIndex struct {
	materials []string
	floors    []segmentTree
}

// Any says whether a floor, an index into Site.Floors, has walls.
func (ix *WallIndex) Any(floor int) bool { return len(ix.floors[floor].segs) > 0 }

// NewWallIndex indexes the walls of a site.
func NewWallIndex(s *Site) *WallIndex {
	ix := &WallIndex{materials: s.Materials(), floors: make([]segmentTree, len(s.Floors))}
	number := make(map[string]int32, len(ix.materials))
	for i, m := range ix.materials {
		number[m] = int32(i)
	}
	for i := range s.Floors {
		var segs []segment
		for _, w := range s.Floors[i].Walls {
			for k := 1; k < len(w.Line); k++ {
				if w.Line[k-1] != w.Line[k] {
					segs = append(segs, segment{w.Line[k-1], w.Line[k], number[w.Material]})
				}
			}
		}
		ix.floors[i] = newSegmentTree(segs)
	}
	return ix
}

// Materials lists the wall materials, in the order of [Site.Materials].
func (ix *WallIndex) Materials() []string { return ix.materials }

// Count adds to out[m] the crossings of material m by the straight line from a
// to b on floor, an index into Floors. The length of out is at least that of
// [WallIndex.Materials]. It allocates nothing, short of lines that touch more
// than 32 walls in their corners.
func (ix *WallIndex) Count(floor int, a, b orb.Point, out []float64) {
	ix.floors[floor].cross(a, b, out)
}

// Crosses reports whether the straight line from a to b crosses any wall of
// the floor, by the laws of [WallIndex].
func (ix *WallIndex) Crosses(floor int, a, b orb.Point) bool {
	return ix.floors[floor].cross(a, b, nil)
}

type segment struct {
	a, b     orb.Point
	material int32
}

// leafSegments is how many segments a leaf of the tree holds: testing some four
// costs about as much as one more level of boxes (see BenchmarkCount).
const leafSegments = 4

// segmentTree is a hierarchy of bounding boxes in one slice: the first child of
// a node follows it, the second is at next. Leaves have n > 0 segments from next.
type segmentTree struct {
	nodes []boxNode
	segs  []segment
}

type boxNode struct {
	box     orb.Bound
	next, n int32
}

func newSegmentTree(segs []segment) segmentTree {
	t := segmentTree{segs: segs}
	if len(segs) > 0 {
		t.build(0, len(segs))
	}
	return t
}

func (t *segmentTree) build(lo, hi int) {
	part := t.segs[lo:hi]
	box := orb.MultiPoint{part[0].a, part[0].b}.Bound()
	for _, s := range part[1:] {
		box = box.Extend(s.a).Extend(s.b)
	}
	at := len(t.nodes)
	t.nodes = append(t.nodes, boxNode{box: box})
	if hi-lo <= leafSegments {
		t.nodes[at].next, t.nodes[at].n = int32(lo), int32(hi-lo)
		return
	}
	axis := 0
	if box.Max[1]-box.Min[1] > box.Max[0]-box.Min[0] {
		axis = 1
	}
	slices.SortStableFunc(part, func(p, q segment) int {
		switch mp, mq := p.a[axis]+p.b[axis], q.a[axis]+q.b[axis]; {
		case mp < mq:
			return -1
		case mp > mq:
			return 1
		}
		return 0
	})
	mid := (lo + hi) / 2
	t.build(lo, mid)
	t.nodes[at].next = int32(len(t.nodes))
	t.build(mid, hi)
}

// touch is a wall that meets the line in a corner: t0 to t1 in metres from the
// start, equal unless the wall runs along; side is +1 where the wall leaves to
// the left, −1 to the right, 0 where it runs along.
type touch struct {
	t0, t1   float64
	side     int8
	material int32
}

// cross adds the crossings to out, or with out nil stops at the first. It
// reports whether there was any.
func (t *segmentTree) cross(a, b orb.Point, out []float64) bool {
	if len(t.nodes) == 0 || a == b {
		return false
	}
	// One sense for both, so that law 5 holds to the last bit.
	if b[0] < a[0] || (b[0] == a[0] && b[1] < a[1]) {
		a, b = b, a
	}
	d := minus(b, a)
	length := math.Hypot(d[0], d[1])
	u := orb.Point{d[0] / length, d[1] / length}
	ux, uy := math.Abs(u[0]), math.Abs(u[1])
	loX, hiX := a[0]-OnLineM, b[0]+OnLineM
	loY, hiY := min(a[1], b[1])-OnLineM, max(a[1], b[1])+OnLineM

	found := false
	var touchBuf [32]touch
	touches := touchBuf[:0]
	var stack [64]int32 // depth of the tree is below 32: halves of an int32 count
	top := 1
	for top > 0 {
		top--
		i := stack[top]
		n := &t.nodes[i]
		if n.box.Max[0] < loX || n.box.Min[0] > hiX || n.box.Max[1] < loY || n.box.Min[1] > hiY {
			continue
		}
		cx, cy := (n.box.Min[0]+n.box.Max[0])/2-a[0], (n.box.Min[1]+n.box.Max[1])/2-a[1]
		hx, hy := (n.box.Max[0]-n.box.Min[0])/2, (n.box.Max[1]-n.box.Min[1])/2
		if math.Abs(u[0]*cy-u[1]*cx) > uy*hx+ux*hy+OnLineM {
			continue
		}
		if n.n == 0 {
			stack[top], stack[top+1] = n.next, i+1
			top += 2
			continue
		}
		for k := n.next; k < n.next+n.n; k++ {
			s := &t.segs[k]
			p, q := minus(s.a, a), minus(s.b, a)
			dp, dq := cross(u, p), cross(u, q)
			onP, onQ := math.Abs(dp) <= OnLineM, math.Abs(dq) <= OnLineM
			switch {
			case !onP && !onQ:
				if (dp > 0) == (dq > 0) {
					continue
				}
				at := (dot(u, p)*dq - dot(u, q)*dp) / (dq - dp)
				if at <= OnLineM || at >= length-OnLineM {
					continue
				}
				if out == nil {
					return true
				}
				out[s.material]++
				found = true
			case onP && onQ:
				tp, tq := dot(u, p), dot(u, q)
				touches = append(touches, touch{min(tp, tq), max(tp, tq), 0, s.material})
			case onP:
				tp := dot(u, p)
				touches = append(touches, touch{tp, tp, side(dq), s.material})
			default:
				tq := dot(u, q)
				touches = append(touches, touch{tq, tq, side(dp), s.material})
			}
		}
	}
	if len(touches) > 1 && pass(touches, length, out) {
		found = true
	}
	return found
}

func side(d float64) int8 {
	if d > 0 {
		return 1
	}
	return -1
}

// pass applies laws 2, 3, 4 and 8 to the walls that meet the line in corners.
func pass(touches []touch, length float64, out []float64) bool {
	for i := 1; i < len(touches); i++ { // few, so an insertion sort
		for j := i; j > 0 && touches[j].t0 < touches[j-1].t0; j-- {
			touches[j], touches[j-1] = touches[j-1], touches[j]
		}
	}
	found := false
	for i := range touches { // walls of one material in one spot
		w := &touches[i]
		if w.side == 0 || w.t0 <= OnLineM || w.t0 >= length-OnLineM {
			continue
		}
		for j := i + 1; j < len(touches) && touches[j].t0 <= w.t0+OnLineM; j++ {
			if v := &touches[j]; v.side == -w.side && v.material == w.material {
				w.side, v.side = 0, 0
				found = true
				if out == nil {
					return true
				}
				out[w.material]++
				break
			}
		}
	}
	for i := 0; i < len(touches); { // what is left, in one spot or stretch
		j, end := i+1, touches[i].t1
		for j < len(touches) && touches[j].t0 <= end+OnLineM {
			end = max(end, touches[j].t1)
			j++
		}
		if touches[i].t0 > OnLineM && end < length-OnLineM && passStretch(touches[i:j], out) {
			found = true
		}
		i = j
	}
	return found
}

// passStretch counts the crossings in one spot or stretch of the line.
func passStretch(spot []touch, out []float64) bool {
	left, right := 0, 0
	for _, w := range spot {
		switch w.side {
		case 1:
			left++
		case -1:
			right++
		}
	}
	total := float64(min(left, right))
	if total == 0 || out == nil {
		return total > 0
	}
	var restLeft, restRight float64
	each := func(add func(m int32, l, r float64)) {
		for i, w := range spot {
			if w.side == 0 || slices.ContainsFunc(spot[:i], func(v touch) bool { return v.side != 0 && v.material == w.material }) {
				continue
			}
			var l, r float64
			for _, v := range spot[i:] {
				if v.material == w.material {
					switch v.side {
					case 1:
						l++
					case -1:
						r++
					}
				}
			}
			add(w.material, l, r)
		}
	}
	each(func(m int32, l, r float64) {
		both := min(l, r)
		out[m] += both
		restLeft += l - both
		restRight += r - both
	})
	if rest := min(restLeft, restRight); rest > 0 {
		each(func(m int32, l, r float64) {
			both := min(l, r)
			out[m] += rest * ((l-both)/restLeft + (r-both)/restRight) / 2
		})
	}
	return true
}
