package drawing

import (
	"fmt"
	"math"

	"footrule/internal/input"
	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// widestDeg is how far degrees may be apart: a plane touches the earth only
// around one place.
const widestDeg = 5

// near refuses longitudes and latitudes that are far apart or far from the
// origin.
func (k *maker) near(shapes []ruled) error {
	if k.d.Kind != site.DrawingWGS84 {
		return nil
	}
	from := k.d.Shapes[shapes[0].shape].At[0]
	if k.m.Origin != nil {
		from = *k.m.Origin
	}
	for _, s := range shapes {
		for _, p := range k.d.Shapes[s.shape].At {
			if !(math.Abs(p[0]-from[0]) <= widestDeg && math.Abs(p[1]-from[1]) <= widestDeg) {
				return &input.Error{What: fmt.Sprintf("(%v, %v) and (%v, %v) are more than %d degrees apart", from[0], from[1], p[0], p[1], widestDeg), Want: k.guess(0)}
			}
		}
	}
	return nil
}

// believable refuses a size that no floor has: the unit is wrong.
func (k *maker) believable(shapes []ruled) error {
	lo, hi := orb.Point{math.Inf(1), math.Inf(1)}, orb.Point{math.Inf(-1), math.Inf(-1)}
	for _, s := range shapes {
		for _, p := range k.d.Shapes[s.shape].At {
			q := k.plan(p)
			lo, hi = orb.Point{min(lo[0], q[0]), min(lo[1], q[1])}, orb.Point{max(hi[0], q[0]), max(hi[1], q[1])}
		}
	}
	w, h := hi[0]-lo[0], hi[1]-lo[1]
	far := max(math.Abs(lo[0]), math.Abs(lo[1]), math.Abs(hi[0]), math.Abs(hi[1]))
	switch {
	case !(max(w, h) <= site.MaxCoordinateM):
		return &input.Error{What: fmt.Sprintf("the floor would be %.6g by %.6g m", w, h), Want: "is the unit right? " + k.guess(max(w, h))}
	case max(w, h) < smallestM:
		return &input.Error{What: fmt.Sprintf("the floor would be %.3g by %.3g m", w, h), Want: "is the unit right? " + k.guess(max(w, h))}
	case far > site.MaxCoordinateM:
		return &input.Error{What: fmt.Sprintf("the floor would reach to (%.6g, %.6g)", hi[0], hi[1]), Want: "give the --origin in the drawing's own coordinates, or leave it out"}
	}
	if max(w, h) > wideM || max(w, h) < narrowM {
		k.out.Notes = append(k.out.Notes, fmt.Sprintf("the floor is %.4g by %.4g m: is the unit right? %s", w, h, k.guess(max(w, h))))
	}
	return nil
}

// A floor below smallestM is refused; below narrowM or above wideM is asked about.
const (
	smallestM = 0.5
	narrowM   = 4.0
	wideM     = 1000.0
)

// guess names a unit in which the floor has the size of a building.
func (k *maker) guess(sizeM float64) string {
	if k.d.Kind == site.DrawingWGS84 {
		return "coordinates are taken for longitude and latitude; if they are metres, say --unit m"
	}
	for _, u := range []string{"mm", "cm", "m", "in", "ft"} {
		if v := sizeM / k.d.MetresPerUnit * units[u]; v >= 10 && v <= 200 {
			return fmt.Sprintf("with --unit %s it is %.4g m", u, v)
		}
	}
	return "say it with --unit, or a known distance with --scale"
}
