package drawing

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"footrule/internal/input"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
	"github.com/paulmach/orb/simplify"
)

// outline makes the outline, and the voids that are drawn with it: rings inside
// of the largest.
func (k *maker) outline(s *sorted) (orb.Ring, []orb.Ring, error) {
	if len(s.outline) == 0 {
		return k.box(s)
	}
	if err := k.from(s.outline); err != nil {
		return nil, nil, err
	}
	rings, open := k.rings(s.outline, "outline")
	slices.SortStableFunc(rings, func(a, b orb.Ring) int { return cmp.Compare(size(b), size(a)) })
	if len(rings) == 0 && len(open) == 0 {
		return nil, nil, &input.Error{What: "the layer of the outline holds nothing that has a size", Want: "name another layer"}
	}
	if len(rings) == 0 {
		return nil, nil, k.gap(open)
	}
	ring := k.slim(rings[0])
	if err := k.sound(fmt.Sprintf("the outline of floor %q", k.m.ID), ring); err != nil {
		return nil, nil, err
	}
	fence := newFence(ring)
	var stray []orb.LineString
	for _, l := range open {
		if slices.ContainsFunc(l, fence.out) {
			stray = append(stray, l)
		} else {
			k.leave("open line of the outline's layer", l[0], length(l))
		}
	}
	if len(stray) > 0 {
		return nil, nil, k.gap(stray)
	}
	var voids []orb.Ring
	for _, r := range rings[1:] {
		if slices.ContainsFunc(r, fence.out) {
			p := r[0]
			return nil, nil, &input.Error{What: fmt.Sprintf("the layer of the outline holds two rings beside each other, the second at %s", k.where(p)), Want: "make one floor of each, with --window \"x1,y1 x2,y2\""}
		}
		if size(r) < site.MinAreaM2 {
			k.leave("ring of no size in the outline", r[0], 0)
			continue
		}
		voids = append(voids, r)
	}
	return ring, voids, nil
}

// rings closes shapes into rings and joins the open ones.
func (k *maker) rings(shapes []ruled, what string) (rings []orb.Ring, open []orb.LineString) {
	var lines []orb.LineString
	seen := map[string]bool{}
	for _, s := range shapes {
		c := k.corners(s.shape)
		if n := len(c); n > 3 && c[0] == c[n-1] {
			c = c[:n-1]
			rings = append(rings, orb.Ring(c))
			continue
		}
		if k.d.Shapes[s.shape].Kind == Ring && len(c) > 2 {
			rings = append(rings, orb.Ring(c))
			continue
		}
		if len(c) < 2 {
			k.leave(what+" of no length", k.plan(k.d.Shapes[s.shape].At[0]), 0)
			continue
		}
		if key := lineKey(c); seen[key] {
			k.leave(what+" drawn twice", c[0], length(c))
			continue
		} else {
			seen[key] = true
		}
		lines = append(lines, orb.LineString(c))
	}
	more, open := join(lines, k.m.JoinM)
	return append(rings, more...), open
}

// gap is the error of an outline that does not close.
func (k *maker) gap(open []orb.LineString) error {
	a, b := gap(open)
	what := fmt.Sprintf("the outline is open: %.2f m are missing between %s and %s", apart(a, b), k.where(a), k.where(b))
	if len(open) > 1 {
		what = fmt.Sprintf("the outline is open in %d places: %.2f m are missing between %s and %s", len(open), apart(a, b), k.where(a), k.where(b))
	}
	if d := apart(a, b); d < 1 {
		return &input.Error{What: what, Want: fmt.Sprintf("close it in the drawing, or join ends with --join %.2fm", math.Ceil(d*100+1)/100)}
	}
	return &input.Error{What: what, Want: "close it in the drawing, or take --box for the box around it"}
}

// where says a place on the plan and in the drawing.
func (k *maker) where(p orb.Point) string {
	q := FromPlan(&k.place)(p)
	return fmt.Sprintf("(%.2f, %.2f) m, in the drawing (%.8g, %.8g)", p[0], p[1], q[0], q[1])
}

// sound checks a polygon, and where it crosses itself says the place.
func (k *maker) sound(what string, r orb.Ring) error {
	err := site.Polygon(what, r)
	if err == nil {
		return nil
	}
	if len(r) <= site.MaxCorners && size(r) >= 0 {
		if at, found := site.Crossing(r); found {
			return &input.Error{What: fmt.Sprintf("%s crosses itself at %s", what, k.where(at)), Want: "correct it in the drawing"}
		}
	}
	return err
}

// slim drops corners on straight ways and, of a ring that has too many, those
// that matter least.
func (k *maker) slim(r orb.Ring) orb.Ring {
	l := straighten(append(orb.LineString(slices.Clone(r)), r[0]))
	if n := len(l); n > 4 && onWay(l[n-2], l[0], l[1]) {
		l = append(l[1:n-1:n-1], l[1])
	}
	for tol := 0.01; len(l) > site.MaxCorners && tol < 0.5; tol *= 2 {
		k.out.Notes = append(k.out.Notes, fmt.Sprintf("an outline of %d corners is drawn to %g m", len(l)-1, tol))
		l = simplify.DouglasPeucker(tol).LineString(l)
	}
	return dedupe(orb.Ring(l[:len(l)-1]))
}

// dedupe leaves out a corner that is next to nothing from the one before it.
func dedupe(r orb.Ring) orb.Ring {
	var out orb.Ring
	for _, p := range r {
		if len(out) == 0 || apart(out[len(out)-1], p) >= 0.001 {
			out = append(out, p)
		}
	}
	for len(out) > 3 && apart(out[0], out[len(out)-1]) < 0.001 {
		out = out[:len(out)-1]
	}
	return out
}

// box is the outline where none is drawn.
func (k *maker) box(s *sorted) (orb.Ring, []orb.Ring, error) {
	all := slices.Concat(s.walls, s.zones)
	for _, i := range slices.Concat(s.points, s.aps) {
		all = append(all, ruled{shape: i})
	}
	if len(all) == 0 {
		return nil, nil, &input.Error{What: "the layers that were named hold nothing to draw a box around", Want: "name the layers with walls, such as --layer " + k.example() + "=plasterboard"}
	}
	if err := k.from(all); err != nil {
		return nil, nil, err
	}
	b := orb.Bound{Min: orb.Point{math.Inf(1), math.Inf(1)}, Max: orb.Point{math.Inf(-1), math.Inf(-1)}}
	for _, s := range all {
		for _, p := range k.d.Shapes[s.shape].At {
			b = b.Extend(millimetres(k.plan(p)))
		}
	}
	ring := orb.Ring{b.Min, {b.Max[0], b.Min[1]}, b.Max, {b.Min[0], b.Max[1]}}
	return ring, nil, k.sound(fmt.Sprintf("the outline of floor %q", k.m.ID), ring)
}

func size(r orb.Ring) float64 {
	return math.Abs(planar.Area(append(slices.Clone(r), r[0])))
}

func length(l []orb.Point) float64 { return planar.Length(orb.LineString(l)) }

// lineKey is equal for a line and the same line drawn backwards.
func lineKey(c []orb.Point) string {
	n := len(c)
	if c[0][0] < c[n-1][0] || c[0][0] == c[n-1][0] && c[0][1] < c[n-1][1] {
		return fmt.Sprint(c)
	}
	b := slices.Clone(c)
	slices.Reverse(b)
	return fmt.Sprint(b)
}
