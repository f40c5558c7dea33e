package drawing

import (
	"math"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// Curves become chords that stay within a tolerance of them. A tolerance of
// zero means that nobody will look closely (a listing): then a chord spans
// coarseStep.
const (
	coarseStep = math.Pi / 12
	finestStep = math.Pi / 720 // a quarter of a degree: finer shows nowhere
	mostChords = 2000
)

// chords is how many chords an arc takes. A chord over the angle θ leaves a
// circle of radius r by r(1 − cos θ/2).
func chords(r, sweep, tol float64) int {
	step := coarseStep
	if tol > 0 && r > 0 {
		step = math.Pi / 4
		if tol < r {
			step = min(step, max(finestStep, 2*math.Acos(1-tol/r)))
		}
	}
	n := math.Ceil(math.Abs(sweep)/step - 1e-9)
	if !(n >= 1) {
		return 1
	}
	return int(min(n, mostChords))
}

// arc gives the places on the ellipse c + u cos t + v sin t from t0 over sweep,
// both ends included.
func arc(c, u, v orb.Point, t0, sweep, tol float64) []orb.Point {
	n := chords(max(math.Hypot(u[0], u[1]), math.Hypot(v[0], v[1])), sweep, tol)
	out := make([]orb.Point, n+1)
	for i := range out {
		s, k := math.Sincos(t0 + sweep*float64(i)/float64(n))
		out[i] = orb.Point{c[0] + u[0]*k + v[0]*s, c[1] + u[1]*k + v[1]*s}
	}
	return out
}

// bulge appends the arc from p to q, p left out. The bulge is the tangent of a
// quarter of the included angle, positive where the arc runs counterclockwise
// (DXF reference, group code 42).
func bulge(out []orb.Point, p, q orb.Point, b, tol float64) []orb.Point {
	dx, dy := q[0]-p[0], q[1]-p[1]
	chord := math.Hypot(dx, dy)
	if math.Abs(b) < 1e-9 || chord == 0 {
		return append(out, q)
	}
	sweep := 4 * math.Atan(b)
	// The centre lies on the bisector, chord/2 · (1 − b²)/(2b) left of the chord.
	h := (1 - b*b) / (4 * b)
	c := orb.Point{(p[0]+q[0])/2 - dy*h, (p[1]+q[1])/2 + dx*h}
	u := orb.Point{p[0] - c[0], p[1] - c[1]}
	pts := arc(c, u, orb.Point{-u[1], u[0]}, 0, sweep, tol)
	pts[len(pts)-1] = q
	return append(out, pts[1:]...)
}

// cubic appends the Bézier curve p0 p1 p2 p3, p0 left out. Its second
// derivative is at most 6 times the larger second difference of the points.
func cubic(out []orb.Point, p0, p1, p2, p3 orb.Point, tol float64) []orb.Point {
	l := 6 * math.Max(math.Hypot(p0[0]-2*p1[0]+p2[0], p0[1]-2*p1[1]+p2[1]), math.Hypot(p1[0]-2*p2[0]+p3[0], p1[1]-2*p2[1]+p3[1]))
	n := curveChords(l, tol)
	for i := 1; i < n; i++ {
		t := float64(i) / float64(n)
		s := 1 - t
		a, b, c, d := s*s*s, 3*s*s*t, 3*s*t*t, t*t*t
		out = append(out, orb.Point{a*p0[0] + b*p1[0] + c*p2[0] + d*p3[0], a*p0[1] + b*p1[1] + c*p2[1] + d*p3[1]})
	}
	return append(out, p3)
}

// quadratic appends the Bézier curve p0 p1 p2, p0 left out.
func quadratic(out []orb.Point, p0, p1, p2 orb.Point, tol float64) []orb.Point {
	n := curveChords(2*math.Hypot(p0[0]-2*p1[0]+p2[0], p0[1]-2*p1[1]+p2[1]), tol)
	for i := 1; i < n; i++ {
		t := float64(i) / float64(n)
		a, b, c := (1-t)*(1-t), 2*t*(1-t), t*t
		out = append(out, orb.Point{a*p0[0] + b*p1[0] + c*p2[0], a*p0[1] + b*p1[1] + c*p2[1]})
	}
	return append(out, p2)
}

// curveChords is the number of chords that keep within tol of a curve whose
// second derivative is at most l over the parameter from 0 to 1: n chords of
// equal parameter leave it by at most l/(8n²) (Filip, Magedson and Markot 1986).
func curveChords(l, tol float64) int {
	if tol <= 0 {
		return 8
	}
	n := math.Ceil(math.Sqrt(l / (8 * tol)))
	if !(n >= 1) {
		return 1
	}
	return int(min(n, mostChords))
}

// spline gives places on a B-spline by de Boor's algorithm, rational where
// there are weights; nil where knots, degree and control points don't agree.
func spline(degree int, knots, weights []float64, ctrl []orb.Point, tol float64) []orb.Point {
	n := len(ctrl)
	if degree < 1 || degree > 11 || n <= degree || len(knots) != n+degree+1 || (len(weights) > 0 && len(weights) != n) {
		return nil
	}
	for i := 1; i < len(knots); i++ {
		if knots[i] < knots[i-1] {
			return nil
		}
	}
	var out []orb.Point
	for k := degree; k < n; k++ {
		lo, hi := knots[k], knots[k+1]
		if !(hi > lo) {
			continue
		}
		at := func(t float64) orb.Point { return deBoor(degree, k, knots, weights, ctrl, t) }
		p := at(lo)
		if len(out) == 0 {
			out = append(out, p)
		}
		out = halve(out, at, lo, hi, p, at(hi), tol, mostHalvings)
	}
	return out
}

// mostHalvings of a span of a spline: 256 chords.
const mostHalvings = 8

// halve appends chords to the curve from a to b, a left out: one where the
// curve at the quarters of the way is within tol of it, else those of both
// halves. Without a tolerance four chords do.
func halve(out []orb.Point, at func(float64) orb.Point, ta, tb float64, a, b orb.Point, tol float64, most int) []orb.Point {
	tm := (ta + tb) / 2
	m := at(tm)
	flat := most <= mostHalvings-2
	if tol > 0 {
		flat = most < mostHalvings && // a symmetric S passes through the middle of its chord
			max(planar.DistanceFromSegment(a, b, m), planar.DistanceFromSegment(a, b, at((ta+tm)/2)), planar.DistanceFromSegment(a, b, at((tm+tb)/2))) <= tol
	}
	if flat || most == 0 {
		return append(out, b)
	}
	out = halve(out, at, ta, tm, a, m, tol, most-1)
	return halve(out, at, tm, tb, m, b, tol, most-1)
}

func deBoor(p, k int, knots, weights []float64, ctrl []orb.Point, t float64) orb.Point {
	var d [12][3]float64
	for j := 0; j <= p; j++ {
		i := k - p + j
		w := 1.0
		if len(weights) > 0 {
			w = weights[i]
		}
		d[j] = [3]float64{ctrl[i][0] * w, ctrl[i][1] * w, w}
	}
	for r := 1; r <= p; r++ {
		for j := p; j >= r; j-- {
			i := k - p + j
			a := 0.0
			if den := knots[i+p-r+1] - knots[i]; den > 0 {
				a = (t - knots[i]) / den
			}
			for c := range 3 {
				d[j][c] = (1-a)*d[j-1][c] + a*d[j][c]
			}
		}
	}
	return orb.Point{d[p][0] / d[p][2], d[p][1] / d[p][2]}
}
