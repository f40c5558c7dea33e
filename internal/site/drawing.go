package site

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"

	"footrule/internal/input"

	"github.com/paulmach/orb"
)

// DrawingKind is the format of a drawing and so the meaning of its coordinates.
type DrawingKind string

// Of these, svg and picture count y downwards; wgs84 has longitude and latitude
// in degrees, which become metres on the plane that touches the ellipsoid at
// the origin; a unit of a picture is a pixel, counted from its upper left
// corner.
const (
	DrawingDXF     DrawingKind = "dxf"
	DrawingSVG     DrawingKind = "svg"
	DrawingGeoJSON DrawingKind = "geojson"
	DrawingWGS84   DrawingKind = "wgs84"
	DrawingPicture DrawingKind = "picture"
)

var drawingKinds = []DrawingKind{DrawingDXF, DrawingSVG, DrawingGeoJSON, DrawingWGS84, DrawingPicture}

// Limits of a drawing's transform.
const (
	MinMetresPerUnit  = 1e-7
	MaxMetresPerUnit  = 1e4
	MaxDrawingOrigin  = 1e12
	MaxFileNameLength = 255
)

// Drawing says which file a floor was drawn from, and how: the drawing is moved
// so that Origin comes to 0, 0, made metres, and turned clockwise by TurnDeg.
type Drawing struct {
	File          string
	Kind          DrawingKind
	Origin        orb.Point // in the drawing's own coordinates
	MetresPerUnit float64   // 1 for wgs84
	TurnDeg       float64
	Picture       string `cbor:",omitempty"` // SHA-256 of the bytes of a picture in hexadecimal; empty where not known
}

// Taped is a distance measured in the building along the floor. It is what
// tells that a plan's scale is right: levels can't.
type Taped struct {
	From, To  Spot
	DistanceM float64
}

// Spot is a point or an access point of the floor by its ID or, where ID is
// empty, a place on the plan.
type Spot struct {
	ID string `cbor:",omitempty"`
	At orb.Point
}

// MaxTapedM is the longest distance that is believed to have been taped.
const MaxTapedM = 1000.0

// String is the ID, or x, y.
func (p Spot) String() string {
	if p.ID != "" {
		return p.ID
	}
	return fmt.Sprintf("%v,%v", p.At[0], p.At[1])
}

// toml is the value of a key.
func (p Spot) toml() string {
	if p.ID != "" {
		return quote(p.ID)
	}
	return place(p.At)
}

// Spot finds the place of an end of a taped distance on a floor. A point goes
// before an access point of the same ID.
func (s *Site) Spot(f *Floor, p Spot) (orb.Point, bool) {
	if p.ID == "" {
		return p.At, true
	}
	if q := f.Point(p.ID); q != nil {
		return q.At, true
	}
	for i := range s.AccessPoints {
		if ap := &s.AccessPoints[i]; ap.ID == p.ID && ap.Floor == f.ID {
			return ap.At, true
		}
	}
	return orb.Point{}, false
}

func (d *decoder) drawing(t *table, floor int) *Drawing {
	n := t.take("drawing")
	if n == nil {
		return nil
	}
	if n.kind != aTable {
		d.slip(t.r.with("drawing"), n.at, fmt.Sprintf("drawing is %s", n.kind), "write it as a table under [floor.drawing]")
		return nil
	}
	dt := d.table(n, ref{table: "drawing", floor: floor, elem: -1}, "[floor.drawing]")
	out := &Drawing{File: dt.text("file", true), Kind: DrawingKind(dt.text("kind", true)), Origin: dt.place("origin"), MetresPerUnit: 1}
	if v, ok := dt.number("metres_per_unit", out.Kind != DrawingWGS84); ok {
		out.MetresPerUnit = v
	}
	out.TurnDeg, _ = dt.number("turn_deg", false)
	out.Picture = dt.text("sha256", false)
	dt.done()
	return out
}

func (d *decoder) taped(t *table, floor int) []Taped {
	var out []Taped
	for k, n := range t.tables("taped", "[[floor.taped]]") {
		t := d.table(n, ref{table: "taped", floor: floor, item: k, elem: -1}, "[[floor.taped]]")
		tp := Taped{From: t.spot("from"), To: t.spot("to")}
		tp.DistanceM, _ = t.number("distance_m", true)
		t.done()
		out = append(out, tp)
	}
	return out
}

// spot reads an ID or a place.
func (t *table) spot(key string) Spot {
	if e := t.n.get(key); e != nil && e.value.kind == anArray {
		return Spot{At: t.place(key)}
	}
	return Spot{ID: t.text(key, true)}
}

func (c *checker) drawing(floor int, of string, d *Drawing) {
	if d == nil {
		return
	}
	r := ref{table: "drawing", floor: floor, elem: -1}
	if bad := printable(d.File, MaxFileNameLength, true); bad != "" {
		c.at(r.with("file"), fmt.Sprintf("the file of the drawing of %s %s", of, bad), "name the file of the drawing")
	}
	known := false
	for _, k := range drawingKinds {
		known = known || k == d.Kind
	}
	if !known {
		c.at(r.with("kind"), fmt.Sprintf("the kind of the drawing of %s is %q", of, clip(string(d.Kind))), `write "dxf", "svg", "geojson", "wgs84" or "picture"`)
	}
	if hash, err := hex.DecodeString(d.Picture); d.Picture != "" && (err != nil || len(hash) != sha256.Size || d.Kind != DrawingPicture) {
		c.at(r.with("sha256"), fmt.Sprintf("sha256 of the drawing of %s is %q", of, clip(d.Picture)), "write the 64 hexadecimal digits of a picture, or leave the key out")
	}
	for _, v := range d.Origin {
		if !(math.Abs(v) <= MaxDrawingOrigin) {
			c.at(r.with("origin"), fmt.Sprintf("the origin of the drawing of %s is %s", of, coords(d.Origin)), "write two finite numbers in the drawing's own units")
			return
		}
	}
	if d.Kind == DrawingWGS84 && (math.Abs(d.Origin[0]) > 180 || math.Abs(d.Origin[1]) > 90) {
		c.at(r.with("origin"), fmt.Sprintf("the origin of the drawing of %s is %s", of, coords(d.Origin)), "write longitude and latitude in degrees")
	}
	if !(d.MetresPerUnit >= MinMetresPerUnit && d.MetresPerUnit <= MaxMetresPerUnit) {
		c.at(r.with("metres_per_unit"), fmt.Sprintf("metres_per_unit of the drawing of %s is %v", of, d.MetresPerUnit), "write how many metres one unit of the drawing is, such as 0.001 for millimetres")
	}
	if !(d.TurnDeg > -360 && d.TurnDeg < 360) {
		c.at(r.with("turn_deg"), fmt.Sprintf("turn_deg of the drawing of %s is %v", of, d.TurnDeg), "write degrees clockwise, between -360 and 360")
	}
}

// taped checks the taped distances of all floors, after points and access
// points.
func (c *checker) taped() {
	for i := range c.site.Floors {
		f := &c.site.Floors[i]
		for k := range f.Taped {
			tp := &f.Taped[k]
			r := ref{table: "taped", floor: i, item: k, elem: -1}
			what := fmt.Sprintf("taped distance %d of floor %q", k+1, clip(f.ID))
			var ends [2]orb.Point
			whole := true
			for e, end := range []struct {
				key string
				at  Spot
			}{{"from", tp.From}, {"to", tp.To}} {
				p, ok := c.site.Spot(f, end.at)
				switch {
				case !ok:
					c.far(r.with(end.key), fmt.Sprintf("%s is %s %q, which is no point or access point of that floor", what, end.key, clip(end.at.ID)), "name one, or write a place such as [3.0, 3.0]")
					whole = false
				case end.at.ID == "":
					whole = c.coordinates(r.with(end.key), fmt.Sprintf("%s of %s", end.key, what), p) && whole
				}
				ends[e] = p
			}
			if !(tp.DistanceM > 0 && tp.DistanceM <= MaxTapedM) {
				c.at(r.with("distance_m"), fmt.Sprintf("distance_m of %s is %v", what, tp.DistanceM), fmt.Sprintf("write metres above 0 and up to %v", MaxTapedM))
			}
			if whole && math.Hypot(ends[0][0]-ends[1][0], ends[0][1]-ends[1][1]) < minWallLengthM {
				c.far(r.with("to"), fmt.Sprintf("%s ends where it begins", what), "name two different places")
			}
		}
	}
}

// Polygon checks a polygon by the rules of [Site.Validate]; what is how the
// message calls it.
func Polygon(what string, r orb.Ring) error {
	var first error
	c := checker{report: func(p problem) {
		if first == nil {
			first = &input.Error{What: p.what, Want: p.want}
		}
	}}
	if c.ring(ref{}, what, r); first == nil {
		return nil
	}
	return first
}

// Crossing gives a place where two edges of a ring cross or touch; false for a
// simple ring.
func Crossing(r orb.Ring) (orb.Point, bool) {
	i, j, found := edgesThatMeet(r)
	if !found {
		return orb.Point{}, false
	}
	p, q := r[i], r[j]
	d, e := minus(r[(i+1)%len(r)], p), minus(r[(j+1)%len(r)], q)
	if den := cross(d, e); den != 0 {
		t := cross(minus(q, p), e) / den
		if t >= 0 && t <= 1 {
			return orb.Point{p[0] + t*d[0], p[1] + t*d[1]}, true
		}
	}
	return q, true
}
