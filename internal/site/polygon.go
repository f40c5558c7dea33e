package site

import (
	"math"
	"slices"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// segmentsMeet reports whether p1–p2 and q1–q2 cross, or come within OnLineM
// of each other.
func segmentsMeet(p1, p2, q1, q2 orb.Point) bool {
	if max(p1[0], p2[0])+OnLineM < min(q1[0], q2[0]) || max(q1[0], q2[0])+OnLineM < min(p1[0], p2[0]) ||
		max(p1[1], p2[1])+OnLineM < min(q1[1], q2[1]) || max(q1[1], q2[1])+OnLineM < min(p1[1], p2[1]) {
		return false
	}
	p, q := minus(p2, p1), minus(q2, q1)
	if cross(p, minus(q1, p1))*cross(p, minus(q2, p1)) < 0 && cross(q, minus(p1, q1))*cross(q, minus(p2, q1)) < 0 {
		return true
	}
	d := min(planar.DistanceFromSegmentSquared(p1, p2, q1), planar.DistanceFromSegmentSquared(p1, p2, q2),
		planar.DistanceFromSegmentSquared(q1, q2, p1), planar.DistanceFromSegmentSquared(q1, q2, p2))
	return d <= OnLineM*OnLineM
}

// edgesThatMeet finds two edges of a ring that cross, touch, or fold back on
// each other: i < j, edge i runs from corner i to the next. The last result is
// false for a simple ring.
func edgesThatMeet(r orb.Ring) (i, j int, found bool) {
	n := len(r)
	for j := range n {
		q1, q2 := r[j], r[(j+1)%n]
		for i := range j {
			p1, p2 := r[i], r[(i+1)%n]
			switch {
			case j == i+1: // edge j follows edge i
				found = foldsBack(p1, p2, q2)
			case i == 0 && j == n-1: // edge i follows edge j
				found = foldsBack(q1, q2, p2)
			default:
				found = segmentsMeet(p1, p2, q1, q2)
			}
			if found {
				return i, j, true
			}
		}
	}
	return 0, 0, false
}

// foldsBack reports whether the way a–b–c turns around by 180° at b.
func foldsBack(a, b, c orb.Point) bool {
	return dot(minus(a, b), minus(c, b)) > 0 &&
		min(planar.DistanceFromSegmentSquared(a, b, c), planar.DistanceFromSegmentSquared(b, c, a)) <= OnLineM*OnLineM
}

// straight reports whether all corners lie on one line, to a millimetre.
func straight(r orb.Ring) bool {
	far := r[0]
	for _, p := range r {
		if planar.Distance(r[0], p) > planar.Distance(r[0], far) {
			far = p
		}
	}
	d := minus(far, r[0])
	for _, p := range r {
		if math.Abs(cross(d, minus(p, r[0]))) > 0.001*math.Hypot(d[0], d[1]) {
			return false
		}
	}
	return true
}

// leaves finds a place on the line a–b that is outside the ring by more than
// slackM. It looks at both ends, and where the line crosses edges at the
// quarters of every stretch between crossings.
func leaves(r orb.Ring, a, b orb.Point, slackM float64) (orb.Point, bool) {
	out := func(p orb.Point) bool { return !within(r, p) && edgeDistance(r, p) > slackM+OnLineM }
	for _, p := range []orb.Point{a, b} {
		if out(p) {
			return p, true
		}
	}
	d := minus(b, a)
	cuts := []float64{0, 1}
	for i := range r {
		p, q := minus(r[i], a), minus(r[(i+1)%len(r)], a)
		sp, sq := cross(d, p), cross(d, q)
		if sp == sq || (sp > 0 && sq > 0) || (sp < 0 && sq < 0) {
			continue
		}
		f := sp / (sp - sq)
		t := (dot(p, d) + f*(dot(q, d)-dot(p, d))) / dot(d, d)
		if t > 0 && t < 1 {
			cuts = append(cuts, t)
		}
	}
	if len(cuts) == 2 {
		return orb.Point{}, false
	}
	slices.Sort(cuts)
	for i := 1; i < len(cuts); i++ {
		for _, f := range []float64{0.5, 0.25, 0.75} {
			t := cuts[i-1] + f*(cuts[i]-cuts[i-1])
			if p := (orb.Point{a[0] + t*d[0], a[1] + t*d[1]}); out(p) {
				return orb.Point{centimetres(p[0]), centimetres(p[1])}, true
			}
		}
	}
	return orb.Point{}, false
}

// centimetres rounds for a message.
func centimetres(v float64) float64 { return math.Round(v*100) / 100 }

// Straight reports whether the straight line from a to b stays where someone
// can stand: within the outline and outside of every void, edges allowed.
// Walls are not looked at; see [WallIndex.Crosses].
func (f *Floor) Straight(a, b orb.Point) bool {
	d := minus(b, a)
	cuts := []float64{0, 1}
	cut := func(r orb.Ring) {
		for i := range r {
			p, q := minus(r[i], a), minus(r[(i+1)%len(r)], a)
			sp, sq := cross(d, p), cross(d, q)
			if (sp > 0 && sq > 0) || (sp < 0 && sq < 0) {
				continue
			}
			// An edge that crosses cuts once, one along the line at both ends.
			ends := []float64{dot(p, d) / dot(d, d), dot(q, d) / dot(d, d)}
			if sp != sq {
				ends = []float64{ends[0] + sp/(sp-sq)*(ends[1]-ends[0])}
			}
			for _, t := range ends {
				if t > 0 && t < 1 {
					cuts = append(cuts, t)
				}
			}
		}
	}
	cut(f.Outline)
	for i := range f.Areas {
		if f.Areas[i].Kind == Void {
			cut(f.Areas[i].Polygon)
		}
	}
	slices.Sort(cuts)
	for i := 1; i < len(cuts); i++ {
		t := (cuts[i-1] + cuts[i]) / 2
		if !f.Walkable(orb.Point{a[0] + t*d[0], a[1] + t*d[1]}) {
			return false
		}
	}
	return f.Walkable(a) && f.Walkable(b)
}
