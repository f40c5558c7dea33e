package validation

import (
	"cmp"
	"slices"

	"github.com/paulmach/orb"
)

// convexHull is the hull of three or more points, counter-clockwise and closed
// (Andrew's monotone chain, Inf. Process. Lett. 9, 1979).
func convexHull(points []orb.Point) orb.Ring {
	ps := slices.Clone(points)
	slices.SortFunc(ps, func(a, b orb.Point) int { return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1])) })
	lower := rightmost(ps)
	slices.Reverse(ps)
	ring := append(orb.Ring(lower), rightmost(ps)...)
	return append(ring, ring[0])
}

// rightmost is the chain of points that turns left only, without its last one.
func rightmost(ps []orb.Point) (out []orb.Point) {
	for _, p := range ps {
		for len(out) > 1 {
			a, b := out[len(out)-2], out[len(out)-1]
			if (b[0]-a[0])*(p[1]-a[1])-(b[1]-a[1])*(p[0]-a[0]) > 0 {
				break
			}
			out = out[:len(out)-1]
		}
		out = append(out, p)
	}
	return out[:len(out)-1]
}
