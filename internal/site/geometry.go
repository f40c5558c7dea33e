package site

import (
	"math"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// MinDistanceM is the least distance that [Site.Distance3D] gives. Closer than
// that the antenna's near field and the box itself decide the level, and
// log10 d runs away.
const MinDistanceM = 0.5

// OnLineM is the distance within which a point counts as lying on a line: a
// micrometre, far below what anyone draws and far above rounding (some 1e-11 m
// at coordinates of 10 km).
const OnLineM = 1e-6

// Inside reports whether p lies within the outline. The outline itself belongs
// to the floor.
func (f *Floor) Inside(p orb.Point) bool { return within(f.Outline, p) }

// Walkable reports whether someone can stand at p: inside the outline and in
// no void. The edge of a void is walkable.
func (f *Floor) Walkable(p orb.Point) bool {
	if !within(f.Outline, p) {
		return false
	}
	for i := range f.Areas {
		a := &f.Areas[i]
		if a.Kind == Void && len(a.Polygon) > 2 && planar.RingContains(a.Polygon, p) && edgeDistance(a.Polygon, p) > OnLineM {
			return false
		}
	}
	return true
}

// Mountable reports whether an access point can be hung at p: inside the
// outline, and in no void nor a part kept free of mounts, edges included.
func (f *Floor) Mountable(p orb.Point) bool {
	if !within(f.Outline, p) {
		return false
	}
	for i := range f.Areas {
		if k := f.Areas[i].Kind; (k == Void || k == NoMount) && within(f.Areas[i].Polygon, p) {
			return false
		}
	}
	return true
}

// AreaAt gives the first zone that p lies in, nil where there is none.
func (f *Floor) AreaAt(p orb.Point) *Area {
	for i := range f.Areas {
		if f.Areas[i].Kind == Zone && within(f.Areas[i].Polygon, p) {
			return &f.Areas[i]
		}
	}
	return nil
}

// BoundingBox is the smallest box around the outline.
func (f *Floor) BoundingBox() orb.Bound { return f.Outline.Bound() }

// Area is the area in m² within the outline and outside of every void. Where
// voids overlap each other, the overlap is taken off once for each of them.
func (f *Floor) Area() float64 {
	sum := ringArea(f.Outline)
	for _, a := range f.Areas {
		if a.Kind == Void {
			sum -= ringArea(a.Polygon)
		}
	}
	return math.Max(sum, 0)
}

// Distance3D is the distance in metres between the antenna of radio r and that
// of a receiver held at the place at of floor, an index into Floors: the plan
// distance and the difference of elevation plus height, never below
// [MinDistanceM].
func (s *Site) Distance3D(r RadioRef, floor int, at orb.Point) float64 {
	ap := &s.AccessPoints[r.AP]
	dx, dy := at[0]-ap.At[0], at[1]-ap.At[1]
	dz := s.Floors[s.FloorIndex(ap.Floor)].ElevationM + ap.HeightM - s.Floors[floor].ElevationM - s.ReceiverHeightM
	return math.Max(MinDistanceM, math.Sqrt(dx*dx+dy*dy+dz*dz))
}

// within reports whether p is inside the ring or within OnLineM of its edge.
func within(r orb.Ring, p orb.Point) bool {
	if len(r) < 3 || math.IsNaN(p[0]+p[1]) {
		return false
	}
	return planar.RingContains(r, p) || edgeDistance(r, p) <= OnLineM
}

// edgeDistance is the distance in metres from p to the nearest edge of the
// ring, the edge from its last corner to its first included.
func edgeDistance(r orb.Ring, p orb.Point) float64 {
	d := math.Inf(1)
	for i := range r {
		d = min(d, planar.DistanceFromSegmentSquared(r[i], r[(i+1)%len(r)], p))
	}
	return math.Sqrt(d)
}

// ringArea is the area in m² of a ring without its closing corner, in either
// sense of rotation (shoelace, taken about the first corner).
func ringArea(r orb.Ring) float64 {
	sum := 0.0
	for i := 1; i+1 < len(r); i++ {
		sum += cross(minus(r[i], r[0]), minus(r[i+1], r[0]))
	}
	return math.Abs(sum) / 2
}

func minus(a, b orb.Point) orb.Point { return orb.Point{a[0] - b[0], a[1] - b[1]} }

func cross(a, b orb.Point) float64 { return a[0]*b[1] - a[1]*b[0] }

func dot(a, b orb.Point) float64 { return a[0]*b[0] + a[1]*b[1] }
