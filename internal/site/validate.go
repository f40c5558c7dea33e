package site

import (
	"fmt"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"footrule/internal/input"
	"footrule/internal/radio"

	"github.com/paulmach/orb"
)

// Limits of what is believed. They catch a wrong unit (feet, millimetres, mW)
// or a slip of a digit, and stand well outside of any real building.
const (
	MaxCoordinateM = 10e3   // from the origin, on each axis
	MinHeightM     = -10.0  // above the floor
	MaxHeightM     = 100.0  // above the floor
	MinElevationM  = -1e3   // of a floor
	MaxElevationM  = 1e3    // of a floor
	MinTxPowerDBm  = -30.0  // common practice: radios send 0 to 30 dBm
	MaxTxPowerDBm  = 40.0   // above every limit for WLAN
	MaxCorners     = 2000   // of one polygon
	MinAreaM2      = 0.01   // of one polygon; less is a line
	MaxIDLength    = 40     // characters
	MaxNameLength  = 80     // characters
	WallSlackM     = 0.05   // a wall or an area may reach so far beyond the outline: plans are traced by hand
	minWallLengthM = 0.001  // shorter is a slip
	repeatedM      = 0.0005 // corners closer than half a millimetre are one
)

// FloorMaterial stands for one storey between transmitter and receiver among
// the losses of a fit, so no wall can be made of it.
const FloorMaterial = "floor"

// Validate checks a site by the rules of [Read] and returns the first breach as
// an [*input.Error] without file and position:
//
//   - IDs have 1 to 40 printable characters without blanks, do not start with
//     a hyphen, and are unique: floors, access points and points in the site,
//     areas in their floor. Names have at most 80
//     printable characters; a floor needs none.
//   - Numbers are finite and within the limits above.
//   - Outlines and areas are simple polygons, without the closing repetition of
//     the first corner. Walls and areas stay within the outline (by
//     [WallSlackM]); points are where someone can stand. An access point may
//     hang outside.
//   - An access point has a radio, each radio a band; a radio that is only
//     planned has no BSSID yet. A BSSID is on one radio.
//   - The infrastructure is consistent: a port that an access point is patched
//     to is there, free, and of no other; a radio's standard is one of its band.
//   - Wall materials differ by more than upper and lower case; see also
//     [FloorMaterial].
func (s *Site) Validate() error {
	var first *input.Error
	c := checker{site: s, report: func(p problem) {
		if first == nil {
			first = &input.Error{What: p.what, Want: p.want}
		}
	}}
	c.check()
	if first != nil {
		return first
	}
	return nil
}

// ref names a place in the file: a table by its list and indices, a key in it,
// an element of the key's array. Unused indices are zero, no element is −1.
type ref struct {
	table              string
	floor, item, radio int
	key                string
	elem               int
}

func (r ref) with(key string) ref { r.key, r.elem = key, -1; return r }

func (r ref) element(i int) ref { r.elem = i; return r }

// problem is a breach of a rule. Far means that it depends on what stands in
// other tables and may vanish when those are corrected.
type problem struct {
	at         ref
	what, want string
	far        bool
}

type checker struct {
	site   *Site
	report func(problem)
}

func (c *checker) at(r ref, what, want string) { c.report(problem{at: r, what: what, want: want}) }

func (c *checker) far(r ref, what, want string) {
	c.report(problem{at: r, what: what, want: want, far: true})
}

func (c *checker) check() {
	s, root := c.site, ref{elem: -1}
	c.name(root.with("name"), "the site's name", s.Name)
	c.height(root.with("receiver_height_m"), "receiver_height_m", s.ReceiverHeightM)
	if len(s.Floors) == 0 {
		c.at(root.with("floor"), "the site has no floor", "add [[floor]] with id and outline")
	}
	floors, points, materials := map[string]int{}, map[string]string{}, map[string]string{}
	for i := range s.Floors {
		f := &s.Floors[i]
		r := ref{table: "floor", floor: i, elem: -1}
		c.id(r.with("id"), fmt.Sprintf("floor %d", i+1), f.ID)
		if j, dup := floors[f.ID]; dup && f.ID != "" {
			c.at(r.with("id"), fmt.Sprintf("floors %d and %d have the ID %q", j+1, i+1, f.ID), "give each floor its own")
		} else {
			floors[f.ID] = i
		}
		c.floor(r, f, points, materials)
	}
	c.accessPoints()
	c.taped()
	c.infra()
	c.answers()
}

func (c *checker) floor(r ref, f *Floor, points, materials map[string]string) {
	of := fmt.Sprintf("floor %q", clip(f.ID))
	if f.Name != "" {
		c.name(r.with("name"), "the name of "+of, f.Name)
	}
	if v := f.ElevationM; !(v >= MinElevationM && v <= MaxElevationM) {
		c.at(r.with("elevation_m"), fmt.Sprintf("elevation_m of %s is %v", of, v), fmt.Sprintf("write metres from %v to %v", MinElevationM, MaxElevationM))
	}
	sound := c.ring(r.with("outline"), "the outline of "+of, f.Outline)
	for i := range f.Walls {
		c.wall(ref{table: "wall", floor: r.floor, item: i, elem: -1}, fmt.Sprintf("wall %d of %s", i+1, of), f, &f.Walls[i], sound, materials)
	}
	c.drawing(r.floor, of, f.Drawing)
	areas := map[string]bool{}
	for i := range f.Areas {
		a := &f.Areas[i]
		ra := ref{table: "area", floor: r.floor, item: i, elem: -1}
		what := fmt.Sprintf("area %q of %s", clip(a.ID), of)
		c.id(ra.with("id"), fmt.Sprintf("area %d of %s", i+1, of), a.ID)
		if areas[a.ID] && a.ID != "" {
			c.at(ra.with("id"), fmt.Sprintf("two areas of %s have the ID %q", of, clip(a.ID)), "give each area of a floor its own")
		}
		areas[a.ID] = true
		if a.Kind != Zone && a.Kind != Void && a.Kind != NoMount {
			c.at(ra.with("kind"), fmt.Sprintf("the kind of %s is %q", what, clip(string(a.Kind))), `write "zone", "void" or "no-mount"`)
		}
		if c.ring(ra.with("polygon"), "the polygon of "+what, a.Polygon) && sound {
			for k := range a.Polygon {
				if at, out := leaves(f.Outline, a.Polygon[k], a.Polygon[(k+1)%len(a.Polygon)], WallSlackM); out {
					c.at(ra.with("polygon").element(k), fmt.Sprintf("%s is outside the outline at %s", what, coords(at)), "correct the polygon or the outline")
					break
				}
			}
		}
	}
	for i := range f.Points {
		p := &f.Points[i]
		rp := ref{table: "point", floor: r.floor, item: i, elem: -1}
		c.id(rp.with("id"), fmt.Sprintf("point %d of %s", i+1, of), p.ID)
		if other, dup := points[p.ID]; dup && p.ID != "" {
			where := "twice on floor " + fmt.Sprintf("%q", clip(f.ID))
			if other != f.ID {
				where = fmt.Sprintf("on floors %q and %q", clip(other), clip(f.ID))
			}
			c.at(rp.with("id"), fmt.Sprintf("point %q is %s", clip(p.ID), where), "give each point of the site its own ID")
		} else {
			points[p.ID] = f.ID
		}
		if !c.coordinates(rp.with("at"), fmt.Sprintf("point %q", clip(p.ID)), p.At) || !sound || f.Walkable(p.At) {
			continue
		}
		if !f.Inside(p.At) {
			c.at(rp.with("at"), fmt.Sprintf("point %q at %s is outside the outline of %s", clip(p.ID), coords(p.At), of), "move it inside, or correct the outline")
			continue
		}
		for k := range f.Areas {
			if a := f.Areas[k]; a.Kind == Void && within(a.Polygon, p.At) {
				c.at(rp.with("at"), fmt.Sprintf("point %q at %s is in void %q of %s", clip(p.ID), coords(p.At), clip(a.ID), of), "move it to where someone can stand")
				break
			}
		}
	}
}

func (c *checker) wall(r ref, what string, f *Floor, w *Wall, sound bool, materials map[string]string) {
	if bad := printable(w.Material, MaxIDLength, true); bad != "" {
		c.at(r.with("material"), fmt.Sprintf("the material %q of %s %s", clip(w.Material), what, bad), `name it, such as "plasterboard"`)
	} else if lower := strings.ToLower(w.Material); lower == FloorMaterial {
		c.at(r.with("material"), fmt.Sprintf("the material of %s is %q, which stands for a storey", what, w.Material), `name what the wall is made of, such as "concrete"`)
	} else if other, seen := materials[lower]; seen && other != w.Material {
		c.at(r.with("material"), fmt.Sprintf("the material of %s is %q, before it was %q", what, w.Material, other), "spell one material in one way")
	} else {
		materials[lower] = w.Material
	}
	rl := r.with("line")
	if len(w.Line) < 2 {
		c.at(rl, fmt.Sprintf("%s has %s", what, cornerCount(len(w.Line))), "give it at least 2")
		return
	}
	length := 0.0
	for i, p := range w.Line {
		if !c.coordinates(rl.element(i), fmt.Sprintf("corner %d of %s", i+1, what), p) {
			return
		}
		if i > 0 {
			d := minus(p, w.Line[i-1])
			length += math.Hypot(d[0], d[1])
		}
	}
	if length < minWallLengthM {
		c.at(rl, what+" has no length", "give it two different corners")
		return
	}
	if !sound {
		return
	}
	for i := 1; i < len(w.Line); i++ {
		if at, out := leaves(f.Outline, w.Line[i-1], w.Line[i], WallSlackM); out {
			if at == w.Line[i] {
				rl = rl.element(i)
			} else {
				rl = rl.element(i - 1)
			}
			c.at(rl, fmt.Sprintf("%s is outside the outline at %s", what, coords(at)), "correct the line or the outline")
			return
		}
	}
}

// ring checks a polygon and reports whether it is sound.
func (c *checker) ring(r ref, what string, ring orb.Ring) bool {
	n := len(ring)
	switch {
	case n < 3:
		c.at(r, fmt.Sprintf("%s has %s", what, cornerCount(n)), "give it at least 3")
		return false
	case n > MaxCorners:
		c.at(r, fmt.Sprintf("%s has %s", what, cornerCount(n)), fmt.Sprintf("draw it with at most %d", MaxCorners))
		return false
	}
	for i, p := range ring {
		if !c.coordinates(r.element(i), fmt.Sprintf("corner %d of %s", i+1, what), p) {
			return false
		}
	}
	for j := range ring {
		for i := range j {
			if d := minus(ring[i], ring[j]); math.Abs(d[0]) < repeatedM && math.Abs(d[1]) < repeatedM {
				c.at(r.element(j), fmt.Sprintf("corner %d of %s repeats corner %d, %s", j+1, what, i+1, coords(ring[j])), "list each corner once")
				return false
			}
		}
	}
	i, j, meet := edgesThatMeet(ring)
	if a := ringArea(ring); a < MinAreaM2 && (!meet || straight(ring)) {
		c.at(r, fmt.Sprintf("%s has an area of %.3g m²", what, a), "list the corners around it, in metres")
		return false
	}
	if meet {
		c.at(r.element(j), fmt.Sprintf("%s crosses itself: its edges %d and %d meet", what, i+1, j+1), "list the corners in their order around it")
		return false
	}
	return true
}

func (c *checker) accessPoints() {
	s := c.site
	aps, holder := map[string]int{}, map[radio.BSSID]RadioRef{}
	for i := range s.AccessPoints {
		ap := &s.AccessPoints[i]
		r := ref{table: "access_point", item: i, elem: -1}
		what := fmt.Sprintf("access point %q", clip(ap.ID))
		c.id(r.with("id"), fmt.Sprintf("access point %d", i+1), ap.ID)
		if j, dup := aps[ap.ID]; dup && ap.ID != "" {
			c.at(r.with("id"), fmt.Sprintf("access points %d and %d have the ID %q", j+1, i+1, clip(ap.ID)), "give each access point its own")
		} else {
			aps[ap.ID] = i
		}
		if s.FloorIndex(ap.Floor) < 0 {
			c.far(r.with("floor"), fmt.Sprintf("%s is on floor %q, which is not there", what, clip(ap.Floor)), c.floors())
		}
		c.coordinates(r.with("at"), what, ap.At)
		c.height(r.with("height_m"), "height_m of "+what, ap.HeightM)
		if len(ap.Radios) == 0 {
			c.at(r.with("radio"), what+" has no radio", "add [[access_point.radio]] with its band")
		}
		for j := range ap.Radios {
			c.radio(ref{table: "radio", item: i, radio: j, elem: -1}, RadioRef{i, j}, holder)
			c.phy(ref{table: "radio", item: i, radio: j, elem: -1}, RadioRef{i, j})
		}
		c.power(ref{table: "power", item: i, elem: -1}, what, ap)
		c.drop(ref{table: "drop", item: i, elem: -1}, what, ap.Drop)
	}
}

func (c *checker) radio(r ref, k RadioRef, holder map[radio.BSSID]RadioRef) {
	ap := &c.site.AccessPoints[k.AP]
	rd := &ap.Radios[k.Radio]
	what := fmt.Sprintf("radio %d of access point %q", k.Radio+1, clip(ap.ID))
	if !rd.Band.Valid() {
		c.at(r.with("band"), fmt.Sprintf("the band of %s is %q", what, clip(string(rd.Band))), `write "2.4", "5" or "6"`)
	}
	for i, b := range rd.BSSIDs {
		rb := r.with("bssids").element(i)
		switch other, dup := holder[b]; {
		case b.IsZero():
			c.at(rb, fmt.Sprintf("BSSID %s of %s is all zeros", b, what), "read it off the access point or a scan")
		case b.Group():
			c.at(rb, fmt.Sprintf("BSSID %s of %s is a group address", b, what), "write an address whose first octet is even")
		case dup && other == k:
			c.at(rb, fmt.Sprintf("BSSID %s is twice on %s", b, c.site.RadioName(k)), "list it once")
		case dup:
			c.at(rb, fmt.Sprintf("BSSID %s is on %s and on %s", b, c.site.RadioName(other), c.site.RadioName(k)), "leave it on the radio that sends it")
		}
		if _, dup := holder[b]; !dup {
			holder[b] = k
		}
	}
	if rd.Antenna != nil {
		c.antenna(ref{table: "antenna", item: k.AP, radio: k.Radio, elem: -1}, what, rd.Antenna)
	}
	if p := rd.TxPowerDBm; p != nil && !(*p >= MinTxPowerDBm && *p <= MaxTxPowerDBm) {
		c.at(r.with("tx_power_dbm"), fmt.Sprintf("tx_power_dbm of %s is %v", what, *p), fmt.Sprintf("write dBm from %v to %v (100 mW are 20 dBm)", MinTxPowerDBm, MaxTxPowerDBm))
	}
}

// antenna checks that of a radio: its numbers, and that a direction is given only
// to a beam.
func (c *checker) antenna(r ref, what string, a *Antenna) {
	for _, k := range a.keys() {
		if v := *k.value; v != 0 && !(v >= k.min && v <= k.max) {
			c.at(r.with(k.name), fmt.Sprintf("%s of the antenna of %s is %v", k.name, what, v), fmt.Sprintf("write %s from %v to %v", k.unit, k.min, k.max))
		}
	}
	if a.AzimuthDeg != 0 && a.BeamWidthDeg == 0 {
		c.at(r.with("azimuth_deg"), fmt.Sprintf("the antenna of %s has an azimuth and no beam width", what), "add beam_width_deg = 65, or leave azimuth_deg out")
	}
	if a.TiltDeg != 0 && a.BeamHeightDeg == 0 && a.BeamWidthDeg == 0 {
		c.at(r.with("tilt_deg"), fmt.Sprintf("the antenna of %s has a tilt and no beam", what), "add beam_height_deg = 65, or leave tilt_deg out")
	}
}

// floors lists the floors that there are.
func (c *checker) floors() string {
	var ids []string
	for i := range c.site.Floors {
		if i == 8 {
			ids = append(ids, "…")
			break
		}
		ids = append(ids, fmt.Sprintf("%q", clip(c.site.Floors[i].ID)))
	}
	return "write one of the floors: " + strings.Join(ids, ", ")
}

func (c *checker) height(r ref, what string, v float64) {
	if !(v >= MinHeightM && v <= MaxHeightM) {
		c.at(r, fmt.Sprintf("%s is %v", what, v), fmt.Sprintf("write metres above the floor, from %v to %v", MinHeightM, MaxHeightM))
	}
}

func (c *checker) coordinates(r ref, what string, p orb.Point) bool {
	for _, v := range p {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			c.at(r, fmt.Sprintf("%s is at %s", what, coords(p)), "write two finite numbers of metres")
			return false
		}
		if math.Abs(v) > MaxCoordinateM {
			c.at(r, fmt.Sprintf("%s is at %s", what, coords(p)), "write metres, within 10 km of the origin")
			return false
		}
	}
	return true
}

func cornerCount(n int) string {
	if n == 1 {
		return "1 corner"
	}
	return fmt.Sprintf("%d corners", n)
}

func coords(p orb.Point) string { return fmt.Sprintf("(%v, %v)", p[0], p[1]) }

func (c *checker) id(r ref, what, id string) {
	bad := printable(id, MaxIDLength, false)
	if bad == "" && strings.HasPrefix(id, "-") {
		bad = "starts with a hyphen"
	}
	if bad != "" {
		c.at(r, fmt.Sprintf("the ID %q of %s %s", clip(id), what, bad), fmt.Sprintf("write 1 to %d characters without blanks, not starting with a hyphen", MaxIDLength))
	}
}

func (c *checker) name(r ref, what, name string) {
	if bad := printable(name, MaxNameLength, true); bad != "" {
		c.at(r, fmt.Sprintf("%s, %q, %s", what, clip(name), bad), fmt.Sprintf("write 1 to %d characters that can be printed", MaxNameLength))
	}
}

// printable says what is wrong with an ID or a name; "" where nothing is.
func printable(s string, most int, blanks bool) string {
	if s == "" {
		return "is empty"
	}
	if !utf8.ValidString(s) {
		return "is not UTF-8"
	}
	if n := utf8.RuneCountInString(s); n > most {
		return fmt.Sprintf("has %d characters", n)
	}
	if !blanks && strings.ContainsFunc(s, unicode.IsSpace) {
		return "has a blank in it"
	}
	if i := strings.IndexFunc(s, func(r rune) bool { return !unicode.IsPrint(r) }); i >= 0 {
		r, _ := utf8.DecodeRuneInString(s[i:])
		return fmt.Sprintf("has the character %U in it", r)
	}
	if strings.TrimSpace(s) != s {
		return "begins or ends with a blank"
	}
	return ""
}
