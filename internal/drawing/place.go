package drawing

import (
	"math"

	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// ToPlan gives the map from a drawing's own coordinates to metres on the plan.
func ToPlan(d *site.Drawing) func(orb.Point) orb.Point {
	s, c := math.Sincos(d.TurnDeg * math.Pi / 180)
	rotate := func(p orb.Point) orb.Point { return orb.Point{p[0]*c + p[1]*s, p[1]*c - p[0]*s} }
	if d.Kind == site.DrawingWGS84 {
		t := newTangent(d.Origin)
		return func(p orb.Point) orb.Point { return rotate(t.plane(p)) }
	}
	up := d.MetresPerUnit
	if d.Kind == site.DrawingSVG || d.Kind == site.DrawingPicture {
		up = -up
	}
	return func(p orb.Point) orb.Point {
		return rotate(orb.Point{(p[0] - d.Origin[0]) * d.MetresPerUnit, (p[1] - d.Origin[1]) * up})
	}
}

// FromPlan is the inverse of [ToPlan].
func FromPlan(d *site.Drawing) func(orb.Point) orb.Point {
	s, c := math.Sincos(d.TurnDeg * math.Pi / 180)
	back := func(p orb.Point) orb.Point { return orb.Point{p[0]*c - p[1]*s, p[1]*c + p[0]*s} }
	if d.Kind == site.DrawingWGS84 {
		t := newTangent(d.Origin)
		return func(p orb.Point) orb.Point { return t.degrees(back(p)) }
	}
	up := d.MetresPerUnit
	if d.Kind == site.DrawingSVG || d.Kind == site.DrawingPicture {
		up = -up
	}
	return func(p orb.Point) orb.Point {
		p = back(p)
		return orb.Point{p[0]/d.MetresPerUnit + d.Origin[0], p[1]/up + d.Origin[1]}
	}
}

// The ellipsoid of WGS 84 (NIMA TR8350.2).
const (
	semiMajorM = 6378137.0
	flattening = 1 / 298.257223563
	ecc2       = flattening * (2 - flattening)
)

// tangent is the plane that touches the ellipsoid at an origin, x east and y
// north, seen along its normal. A place at the distance d from the origin comes
// out some d·(d/R)²/6 short: 4 mm at 10 km.
type tangent struct {
	lon, lat   float64 // radians
	x, y, z    float64 // of the origin, in earth-centred metres
	slon, clon float64
	slat, clat float64
}

func newTangent(origin orb.Point) tangent {
	t := tangent{lon: origin[0] * math.Pi / 180, lat: origin[1] * math.Pi / 180}
	t.slon, t.clon = math.Sincos(t.lon)
	t.slat, t.clat = math.Sincos(t.lat)
	t.x, t.y, t.z = earth(t.lon, t.lat)
	return t
}

// earth gives earth-centred coordinates of a place on the ellipsoid.
func earth(lon, lat float64) (x, y, z float64) {
	s, c := math.Sincos(lat)
	n := semiMajorM / math.Sqrt(1-ecc2*s*s)
	return n * c * math.Cos(lon), n * c * math.Sin(lon), n * (1 - ecc2) * s
}

func (t *tangent) plane(p orb.Point) orb.Point {
	x, y, z := earth(p[0]*math.Pi/180, p[1]*math.Pi/180)
	x, y, z = x-t.x, y-t.y, z-t.z
	return orb.Point{-t.slon*x + t.clon*y, -t.slat*t.clon*x - t.slat*t.slon*y + t.clat*z}
}

// degrees inverts plane by steps along the radii of curvature.
func (t *tangent) degrees(p orb.Point) orb.Point {
	w := 1 - ecc2*t.slat*t.slat
	perLon := semiMajorM / math.Sqrt(w) * math.Max(t.clat, 1e-9) * math.Pi / 180
	perLat := semiMajorM * (1 - ecc2) / (w * math.Sqrt(w)) * math.Pi / 180
	q := orb.Point{t.lon * 180 / math.Pi, t.lat * 180 / math.Pi}
	for range 8 {
		at := t.plane(q)
		q[0] += (p[0] - at[0]) / perLon
		q[1] += (p[1] - at[1]) / perLat
	}
	return q
}
