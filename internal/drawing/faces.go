package drawing

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// MaxFacesM is the thickest wall that two lines may be the faces of.
const MaxFacesM = 1.0

// parallelRad is how much two faces of a wall may differ in direction.
const parallelRad = 0.02

// face is a straight piece of a wall line.
type face struct {
	a, b     orb.Point
	l        float64
	u        orb.Point // from a to b, of length 1
	material string
	used     [][2]float64 // stretches from a that became the middle of a wall
}

// along gives how far p is along the face, and how far to its left.
func (f *face) along(p orb.Point) (s, off float64) {
	d := orb.Point{p[0] - f.a[0], p[1] - f.a[1]}
	return f.u[0]*d[0] + f.u[1]*d[1], f.u[0]*d[1] - f.u[1]*d[0]
}

func (f *face) at(s float64) orb.Point { return orb.Point{f.a[0] + s*f.u[0], f.a[1] + s*f.u[1]} }

func newFace(a, b orb.Point, material string) *face {
	l := apart(a, b)
	return &face{a: a, b: b, l: l, u: orb.Point{(b[0] - a[0]) / l, (b[1] - a[1]) / l}, material: material}
}

// beside gives the stretch of f that g runs alongside, and how far apart they
// are in its middle; false where they are not parallel or not beside each other.
func (f *face) beside(g *face, thickest float64) (lo, hi, apartM float64, ok bool) {
	if math.Abs(f.u[0]*g.u[1]-f.u[1]*g.u[0]) > parallelRad {
		return 0, 0, 0, false
	}
	s0, o0 := f.along(g.a)
	s1, o1 := f.along(g.b)
	lo, hi = max(0, min(s0, s1)), min(f.l, max(s0, s1))
	if hi <= lo || s0 == s1 {
		return 0, 0, 0, false
	}
	apartM = math.Abs(o0 + (o1-o0)*((lo+hi)/2-s0)/(s1-s0))
	return lo, hi, apartM, apartM >= thinnestM && apartM <= thickest
}

// facesOf lists the straight pieces of walls, by their left ends.
func facesOf(walls []site.Wall) []*face {
	var out []*face
	for _, w := range walls {
		for i := 1; i < len(w.Line); i++ {
			if w.Line[i-1] != w.Line[i] {
				out = append(out, newFace(w.Line[i-1], w.Line[i], w.Material))
			}
		}
	}
	slices.SortStableFunc(out, func(p, q *face) int { return cmp.Compare(p.left(), q.left()) })
	return out
}

func (f *face) left() float64  { return min(f.a[0], f.b[0]) }
func (f *face) right() float64 { return max(f.a[0], f.b[0]) }

// couples calls pair for every two faces of one material that are beside each
// other.
func couples(faces []*face, thickest float64, pair func(f, g *face, lo, hi, apartM float64)) {
	for i, f := range faces {
		for _, g := range faces[i+1:] {
			if g.left() > f.right()+thickest {
				break
			}
			if f.material != g.material {
				continue
			}
			if lo, hi, d, ok := f.beside(g, thickest); ok {
				pair(f, g, lo, hi, d)
			}
		}
	}
}

// middles puts one line in the middle where two lines of a material run beside
// each other as the faces of one wall, the nearest first. What is left of a
// face beyond a corner, and the short lines that close the end of a wall, go;
// other lines stay. Ends are drawn on to the lines they would meet.
func (k *maker) middles() {
	thick := k.m.FacesM
	faces := facesOf(k.out.Floor.Walls)
	if len(faces) > mostFaces {
		k.out.Notes = append(k.out.Notes, fmt.Sprintf("more than %d pieces of walls: their faces were not looked at", mostFaces))
		return
	}
	type couple struct {
		f, g      *face
		lo, hi, d float64
	}
	var all []couple
	couples(faces, thick, func(f, g *face, lo, hi, d float64) {
		if hi-lo >= d/2 {
			all = append(all, couple{f, g, lo, hi, d})
		}
	})
	slices.SortStableFunc(all, func(p, q couple) int { return cmp.Compare(p.d, q.d) })
	var mid []*face
	for _, c := range all {
		for _, s := range c.f.free(c.lo, c.hi, thick/4) {
			p, q := c.f.at(s[0]), c.f.at(s[1])
			t0, _ := c.g.along(p)
			t1, _ := c.g.along(q)
			for _, t := range c.g.free(min(t0, t1), max(t0, t1), thick/4) {
				g0, g1 := c.g.at(t[0]), c.g.at(t[1])
				s0, _ := c.f.along(g0)
				s1, _ := c.f.along(g1)
				f0, f1 := c.f.at(s0), c.f.at(s1)
				c.f.used = append(c.f.used, [2]float64{min(s0, s1), max(s0, s1)})
				c.g.used = append(c.g.used, t)
				mid = append(mid, newFace(between(f0, g0, 0.5), between(f1, g1, 0.5), c.f.material))
			}
		}
	}
	if len(mid) == 0 {
		return
	}
	paired := len(mid)
	for _, f := range faces {
		short := f.l <= 1.05*thick // it closes the end of a wall
		for _, s := range f.free(0, f.l, 0.001) {
			if len(f.used) > 0 && s[1]-s[0] <= 1.5*thick || len(f.used) == 0 && short {
				continue
			}
			mid = append(mid, newFace(f.at(s[0]), f.at(s[1]), f.material))
		}
	}
	fence := newFence(k.out.Floor.Outline)
	var walls []site.Wall
	for i, m := range mid {
		line := orb.LineString{m.a, m.b}
		if i < paired {
			line = orb.LineString{reach(m.b, m.a, i, mid, thick), reach(m.a, m.b, i, mid, thick)}
		}
		in, _ := fence.keep(line)
		for _, l := range in {
			for j := range l {
				l[j] = millimetres(l[j])
			}
			if length(l) >= 0.001 {
				walls = append(walls, site.Wall{Material: m.material, Line: l})
			}
		}
	}
	k.out.Notes = append(k.out.Notes, fmt.Sprintf("%d pieces of walls were drawn by both faces and became lines in their middle", paired))
	k.out.Floor.Walls = walls
}

// free gives what of a stretch is not used yet, in pieces longer than least.
func (f *face) free(lo, hi, least float64) [][2]float64 {
	slices.SortFunc(f.used, func(a, b [2]float64) int { return cmp.Compare(a[0], b[0]) })
	var out [][2]float64
	for _, u := range f.used {
		if u[0] >= hi {
			break
		}
		if u[0]-lo > least {
			out = append(out, [2]float64{lo, u[0]})
		}
		lo = max(lo, u[1])
	}
	if hi-lo > least {
		out = append(out, [2]float64{lo, hi})
	}
	return out
}

// reach draws the way from a to b on beyond b, by at most far, to the first
// line that it meets when that is drawn on as well.
func reach(a, b orb.Point, own int, lines []*face, far float64) orb.Point {
	f := newFace(a, b, "")
	best := far
	for j, g := range lines {
		cross := f.u[0]*g.u[1] - f.u[1]*g.u[0]
		if j == own || math.Abs(cross) < 0.2 || min(g.a[0], g.b[0]) > b[0]+2*far || max(g.a[0], g.b[0]) < b[0]-2*far {
			continue
		}
		d := orb.Point{g.a[0] - b[0], g.a[1] - b[1]}
		t := (d[0]*g.u[1] - d[1]*g.u[0]) / cross // along f beyond b
		s := (d[0]*f.u[1] - d[1]*f.u[0]) / cross // along g
		if t > -far && t < best && s >= -far && s <= g.l+far {
			best = t
		}
	}
	if best == far {
		return b
	}
	return f.at(f.l + best)
}
