package coverage

import "github.com/paulmach/orb"

// wedge grows over directions as long as they fit into less than half a turn.
type wedge struct {
	right, left orb.Point // the directions at its sides, left counterclockwise from right
	any, around bool
}

// flat is the size of a cross product of two ways in metres that counts as
// none: a micrometre times a millimetre.
const flat = 1e-9

func cross(a, b orb.Point) float64 { return a[0]*b[1] - a[1]*b[0] }

// take adds a direction.
func (w *wedge) take(v orb.Point) {
	if w.around {
		return
	}
	if v[0]*v[0]+v[1]*v[1] < flat { // overhead
		w.around = true
		return
	}
	if !w.any {
		w.right, w.left, w.any = v, v, true
		return
	}
	beforeRight, beyondLeft := cross(w.right, v) < -flat, cross(v, w.left) < -flat
	opposite := func(a orb.Point) bool {
		c := cross(a, v)
		return c <= flat && c >= -flat && a[0]*v[0]+a[1]*v[1] < 0
	}
	switch {
	case opposite(w.right) || opposite(w.left) || beforeRight && beyondLeft:
		w.around = true
	case beforeRight:
		if cross(v, w.left) <= flat && w.left != w.right {
			w.around = true
			return
		}
		w.right = v
	case beyondLeft:
		if cross(w.right, v) <= flat && w.left != w.right {
			w.around = true
			return
		}
		w.left = v
	}
}

// InHull reports for every cell whether it lies inside the convex hull, on the
// plan, of the access points heard there; its edge counts as inside. Outside of
// the hull all heard access points stand on one side, and errors grow.
func (m *Map) InHull(fm *FloorMap) []bool {
	aps := radiosByAP(m.Site)
	bars := make([]float32, len(m.Fit.Radios))
	for k := range bars {
		sigma, _ := m.Fit.Spread(k)
		bars[k] = float32(m.Options.bar(sigma))
	}
	out := make([]bool, fm.Len())
	for i := range out {
		var w wedge
		for a, radios := range aps {
			for _, k := range radios {
				if fm.levels[k] != nil && fm.levels[k][i] >= bars[k] {
					at := m.Site.AccessPoints[a].At
					w.take(orb.Point{at[0] - fm.At[i][0], at[1] - fm.At[i][1]})
					break
				}
			}
		}
		out[i] = w.around && fm.Heard[i] > 0
	}
	return out
}
