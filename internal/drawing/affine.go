package drawing

import (
	"math"

	"github.com/paulmach/orb"
)

// affine maps (x, y) to (ax+cy+e, bx+dy+f), in the order of SVG's matrix().
type affine struct{ a, b, c, d, e, f float64 }

var identity = affine{a: 1, d: 1}

func (m affine) at(p orb.Point) orb.Point {
	return orb.Point{m.a*p[0] + m.c*p[1] + m.e, m.b*p[0] + m.d*p[1] + m.f}
}

// after gives the map that does n first and m after it.
func (m affine) after(n affine) affine {
	return affine{
		a: m.a*n.a + m.c*n.b, b: m.b*n.a + m.d*n.b,
		c: m.a*n.c + m.c*n.d, d: m.b*n.c + m.d*n.d,
		e: m.a*n.e + m.c*n.f + m.e, f: m.b*n.e + m.d*n.f + m.f,
	}
}

// stretch bounds by how much lengths grow: the Frobenius norm, at most √2 above
// the largest singular value and never below it.
func (m affine) stretch() float64 {
	return math.Sqrt(m.a*m.a + m.b*m.b + m.c*m.c + m.d*m.d)
}

func translate(x, y float64) affine { return affine{1, 0, 0, 1, x, y} }

func scale(x, y float64) affine { return affine{a: x, d: y} }

// turn rotates counterclockwise where y runs up.
func turn(rad float64) affine {
	s, c := math.Sincos(rad)
	return affine{a: c, b: s, c: -s, d: c}
}

func finite(p orb.Point) bool {
	return !math.IsNaN(p[0]+p[1]) && math.Abs(p[0]) <= maxNumber && math.Abs(p[1]) <= maxNumber
}
