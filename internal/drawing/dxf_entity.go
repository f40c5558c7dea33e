package drawing

import (
	"bytes"
	"fmt"
	"math"
	"strings"

	"github.com/paulmach/orb"
)

// entity is the pairs of one entity. Single values stand at their group codes;
// those that come again and again are lists.
type entity struct {
	kind   string
	line   int
	layer  string
	text   strings.Builder
	block  string // 2
	num    [240]float64
	has    [240]bool
	at     []orb.Point // 10, 20
	bulges []float64   // 42, one a corner
	list40 []float64
	list41 []float64
}

func (e *entity) reset(kind string, line int) {
	*e = entity{kind: kind, line: line, at: e.at[:0], bulges: e.bulges[:0], list40: e.list40[:0], list41: e.list41[:0]}
}

func (e *entity) or(code int, v float64) float64 {
	if e.has[code] {
		return e.num[code]
	}
	return v
}

func (e *entity) flag(code, bit int) bool { return int(e.num[code])&bit != 0 }

// lists says which entities have their corners under group 10 again and again.
func lists(kind string) bool { return kind == "LWPOLYLINE" || kind == "SPLINE" }

// take reads the pairs of an entity up to the next one. Those of a kind that
// is not used are passed over without a look at their values.
func (x *dxf) take(e *entity) error {
	kind := string(bytes.TrimSpace(x.value))
	e.reset(kind, x.line)
	used, many := readable[kind], lists(kind)
	for {
		if err := x.next(); err != nil {
			return err
		}
		c := x.code
		switch {
		case c == 0:
			x.again = true
			return nil
		case c == 101 || c >= 1000: // an embedded object, or data of other programs: to the end
			for {
				if err := x.next(); err != nil {
					return err
				}
				if x.code == 0 {
					x.again = true
					return nil
				}
			}
		case c == 8:
			e.layer = x.word()
		case c == 67 || c == 60:
			v, err := x.integer()
			if err != nil {
				return err
			}
			e.num[c], e.has[c] = float64(v), true
		case !used:
		case c == 2:
			e.block = x.word()
		case c == 1 || c == 3:
			if e.text.Len() < 4096 {
				e.text.WriteString(x.word())
			}
		case c >= 10 && c < 60 || c >= 70 && c < 80 || c >= 210 && c < 240:
			v, err := x.number()
			if err != nil {
				return err
			}
			if many && x.many(e, c, v) {
				if len(e.at)+len(e.list40) > MaxCorners {
					return x.fail(fmt.Sprintf("a %s has more than %d corners", kind, MaxCorners), "this is no plan of a building")
				}
				continue
			}
			if !e.has[c] {
				e.num[c], e.has[c] = v, true
			}
		}
	}
}

// many takes a value of a list.
func (x *dxf) many(e *entity, code int, v float64) bool {
	switch code {
	case 10:
		e.at = append(e.at, orb.Point{v, 0})
		e.bulges = append(e.bulges, 0)
	case 20:
		if len(e.at) > 0 {
			e.at[len(e.at)-1][1] = v
		}
	case 42:
		if n := len(e.bulges); n > 0 && e.kind == "LWPOLYLINE" {
			e.bulges[n-1] = v
		}
	case 40:
		if e.kind == "SPLINE" {
			e.list40 = append(e.list40, v)
		}
	case 41:
		if e.kind == "SPLINE" {
			e.list41 = append(e.list41, v)
		}
	default:
		return false
	}
	return true
}

// readable are the entities that become something.
var readable = map[string]bool{"LINE": true, "LWPOLYLINE": true, "POLYLINE": true, "VERTEX": true, "SEQEND": true, "ARC": true, "CIRCLE": true,
	"ELLIPSE": true, "SPLINE": true, "POINT": true, "INSERT": true, "ATTRIB": true, "TEXT": true, "MTEXT": true}

// part is an entity as it is kept in a block and put in place: geometry with
// the map from its own coordinates.
type part struct {
	kind   string
	called string // in a listing, where not kind
	layer  string
	line   int
	own    affine // object coordinates to those of the block or drawing
	at     []orb.Point
	bulges []float64
	closed bool
	num    [4]float64 // ARC, CIRCLE, ELLIPSE: see points
	knots  []float64
	weight []float64
	name   string
	insert *insert
}

// object gives the map from object coordinates to the plane by the arbitrary
// axis algorithm of the DXF reference: the extrusion N is z, x is Wy×N where N
// is within 1/64 of the world's z, else Wz×N.
func (e *entity) object() affine {
	if !e.has[210] && !e.has[220] && !e.has[230] {
		return identity
	}
	n := [3]float64{e.num[210], e.num[220], e.or(230, 1)}
	size := math.Sqrt(n[0]*n[0] + n[1]*n[1] + n[2]*n[2])
	if size == 0 || n[0] == 0 && n[1] == 0 && n[2] > 0 {
		return identity
	}
	for i := range n {
		n[i] /= size
	}
	var ax [3]float64
	if math.Abs(n[0]) < 1.0/64 && math.Abs(n[1]) < 1.0/64 {
		ax = [3]float64{n[2], 0, -n[0]}
	} else {
		ax = [3]float64{-n[1], n[0], 0}
	}
	size = math.Sqrt(ax[0]*ax[0] + ax[1]*ax[1] + ax[2]*ax[2])
	for i := range ax {
		ax[i] /= size
	}
	ay := [2]float64{n[1]*ax[2] - n[2]*ax[1], n[2]*ax[0] - n[0]*ax[2]}
	z := e.or(38, e.num[30]) // elevation
	return affine{a: ax[0], b: ax[1], c: ay[0], d: ay[1], e: n[0] * z, f: n[1] * z}
}

// part makes a part of an entity; nil with a reason where it can't be.
func (e *entity) part() (*part, string) {
	p := &part{kind: e.kind, layer: e.layer, line: e.line, own: identity}
	at := orb.Point{e.num[10], e.num[20]}
	switch e.kind {
	case "LINE": // in world coordinates, whatever its extrusion
		p.at = []orb.Point{at, {e.num[11], e.num[21]}}
	case "LWPOLYLINE":
		if len(e.at) < 2 {
			return nil, "LWPOLYLINE of less than two corners"
		}
		p.at, p.bulges, p.closed = append(p.at, e.at...), append(p.bulges, e.bulges...), e.flag(70, 1)
		p.own = e.object()
	case "ARC", "CIRCLE":
		if !(e.num[40] > 0) {
			return nil, e.kind + " of no radius"
		}
		p.at, p.own = []orb.Point{at}, e.object()
		p.num = [4]float64{e.num[40], 0, 2 * math.Pi}
		if e.kind == "ARC" {
			p.num[1] = e.num[50] * math.Pi / 180
			p.num[2] = sweep(p.num[1], e.num[51]*math.Pi/180)
		}
	case "ELLIPSE": // in world coordinates; the extrusion says only which way it runs
		major := orb.Point{e.num[11], e.num[21]}
		ratio := e.or(40, 1)
		if e.has[230] && e.num[230] < 0 {
			ratio = -ratio
		}
		if major[0] == 0 && major[1] == 0 || ratio == 0 {
			return nil, "ELLIPSE of no size"
		}
		p.at = []orb.Point{at, major}
		p.num = [4]float64{ratio, e.num[41], sweep(e.num[41], e.or(42, 2*math.Pi))}
	case "SPLINE":
		if spline(int(e.num[71]), e.list40, e.list41, e.at, 0) == nil {
			return nil, "SPLINE without usable control points"
		}
		p.at, p.knots, p.weight = append(p.at, e.at...), append(p.knots, e.list40...), append(p.weight, e.list41...)
		p.num[0], p.closed = e.num[71], e.flag(70, 1)
	case "POINT":
		p.at = []orb.Point{at}
	case "TEXT", "MTEXT":
		if e.kind == "TEXT" {
			p.own = e.object()
			if (e.num[72] != 0 || e.num[73] != 0) && e.has[11] {
				at = orb.Point{e.num[11], e.num[21]}
			}
		}
		p.at, p.name = []orb.Point{at}, plain(e.text.String())
	case "INSERT":
		p.at, p.own = []orb.Point{at}, e.object()
		p.insert = &insert{block: e.block, sx: e.or(41, 1), sy: e.or(42, 1), turn: e.num[50] * math.Pi / 180,
			cols: max(1, int(e.num[70])), rows: max(1, int(e.num[71])), dx: e.num[44], dy: e.num[45]}
	default:
		return nil, e.kind
	}
	return p, ""
}

// sweep is the way counterclockwise from a to b, a full turn where they agree.
func sweep(a, b float64) float64 {
	s := math.Mod(b-a, 2*math.Pi)
	if s < 1e-9 {
		s += 2 * math.Pi
	}
	return s
}

// points flattens a part and maps it; closed says whether it runs back to its
// start.
func (p *part) points(m affine, tol float64) (out []orb.Point, closed bool) {
	m = m.after(p.own)
	if s := m.stretch(); s > 0 {
		tol /= s
	}
	switch p.kind {
	case "ARC", "CIRCLE":
		r := p.num[0]
		out = arc(p.at[0], orb.Point{r, 0}, orb.Point{0, r}, p.num[1], p.num[2], tol)
		closed = p.kind == "CIRCLE"
	case "ELLIPSE":
		u := p.at[1]
		out = arc(p.at[0], u, orb.Point{-u[1] * p.num[0], u[0] * p.num[0]}, p.num[1], p.num[2], tol)
		closed = p.num[2] > 2*math.Pi-1e-6
	case "SPLINE":
		out, closed = spline(int(p.num[0]), p.knots, p.weight, p.at, tol), p.closed
	case "LWPOLYLINE":
		out = append(out, p.at[0])
		for i := 1; i < len(p.at); i++ {
			out = bulge(out, p.at[i-1], p.at[i], p.bulges[i-1], tol)
		}
		if p.closed {
			last := len(p.at) - 1
			out = bulge(out, p.at[last], p.at[0], p.bulges[last], tol)
			closed = true
		}
	default:
		out = append(out, p.at...)
	}
	for i := range out {
		out[i] = m.at(out[i])
	}
	if closed && len(out) > 1 {
		out = out[:len(out)-1] // the first corner again
	}
	return out, closed
}

// plain takes the commonest formatting out of a text: \P breaks a line, \f…;
// and the like set a font, braces group, %% begins a sign.
func plain(s string) string {
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		switch {
		case s[i] == '{' || s[i] == '}':
		case s[i] == '\\' && i+1 < len(s):
			i++
			switch c := s[i]; {
			case c == 'P' || c == '~':
				b.WriteByte(' ')
			case c == '\\' || c == '{' || c == '}':
				b.WriteByte(c)
			case strings.IndexByte("ACcFfHhQTWp", c) >= 0:
				if k := strings.IndexByte(s[i:], ';'); k >= 0 {
					i += k
				}
			}
		default:
			b.WriteByte(s[i])
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}
