package drawing

import (
	"math"
	"slices"

	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// slackM is how far beyond the outline a wall may reach: a little less than a
// site allows, for rounding to millimetres comes after.
const slackM = site.WallSlackM - 0.002

// fence is an outline that lines are held to.
type fence struct {
	floor *site.Floor
	box   orb.Bound
}

func newFence(outline orb.Ring) *fence {
	return &fence{&site.Floor{Outline: outline}, outline.Bound()}
}

func (f *fence) out(p orb.Point) bool {
	if f.floor.Inside(p) {
		return false
	}
	r := f.floor.Outline
	for i := range r {
		if planar.DistanceFromSegment(r[i], r[(i+1)%len(r)], p) <= slackM {
			return false
		}
	}
	return true
}

// keep gives the parts of a line that are inside, by the slack, and the length
// that is not.
func (f *fence) keep(l orb.LineString) (in []orb.LineString, outM float64) {
	var now orb.LineString
	flush := func() {
		if len(now) > 1 {
			in = append(in, now)
		}
		now = nil
	}
	for i := 1; i < len(l); i++ {
		a, b := l[i-1], l[i]
		cuts := f.cuts(a, b)
		for k := 1; k < len(cuts); k++ {
			p, q := between(a, b, cuts[k-1]), between(a, b, cuts[k])
			bad := false
			for _, t := range []float64{0, 0.25, 0.5, 0.75, 1} {
				bad = bad || f.out(between(p, q, t))
			}
			if bad {
				outM += apart(p, q)
				flush()
				continue
			}
			if now == nil {
				now = orb.LineString{p}
			}
			now = append(now, q)
		}
	}
	flush()
	for i := range in {
		in[i] = straighten(in[i])
	}
	return in, outM
}

// cuts gives the shares of the way from a to b at which it crosses the outline.
func (f *fence) cuts(a, b orb.Point) []float64 {
	out := []float64{0, 1}
	d := orb.Point{b[0] - a[0], b[1] - a[1]}
	r := f.floor.Outline
	for i := range r {
		p, q := r[i], r[(i+1)%len(r)]
		sp := d[0]*(p[1]-a[1]) - d[1]*(p[0]-a[0])
		sq := d[0]*(q[1]-a[1]) - d[1]*(q[0]-a[0])
		if sp == sq || (sp > 0 && sq > 0) || (sp < 0 && sq < 0) {
			continue
		}
		s := sp / (sp - sq)
		c := orb.Point{p[0] + s*(q[0]-p[0]), p[1] + s*(q[1]-p[1])}
		t := ((c[0]-a[0])*d[0] + (c[1]-a[1])*d[1]) / (d[0]*d[0] + d[1]*d[1])
		if t > 1e-9 && t < 1-1e-9 {
			out = append(out, t)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func between(a, b orb.Point, t float64) orb.Point {
	if t == 1 {
		return b
	}
	return orb.Point{a[0] + t*(b[0]-a[0]), a[1] + t*(b[1]-a[1])}
}

// straighten leaves out corners that repeat or lie on the straight way between
// their neighbours, to a tenth of a millimetre.
func straighten(l orb.LineString) orb.LineString {
	var out orb.LineString
	for _, p := range l {
		if len(out) > 0 && out[len(out)-1] == p {
			continue
		}
		for len(out) > 1 && onWay(out[len(out)-2], out[len(out)-1], p) {
			out = out[:len(out)-1]
		}
		out = append(out, p)
	}
	return out
}

// onWay reports whether b lies between a and c.
func onWay(a, b, c orb.Point) bool {
	return planar.DistanceFromSegment(a, c, b) < 1e-4 && apart(a, b) <= apart(a, c) && apart(b, c) <= apart(a, c)
}

// millimetres rounds a place as it is written.
func millimetres(p orb.Point) orb.Point {
	return orb.Point{math.Round(p[0]*1000)/1000 + 0, math.Round(p[1]*1000)/1000 + 0}
}
