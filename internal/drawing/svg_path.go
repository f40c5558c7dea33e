package drawing

import (
	"fmt"
	"math"
	"strconv"

	"github.com/paulmach/orb"
)

// subpath is one stroke of a path, flattened.
type subpath struct {
	at     []orb.Point
	closed bool
}

// pathError says where in the data a path is wrong.
type pathError struct {
	at   int // characters into the data, from 1
	what string
}

func (e *pathError) Error() string { return fmt.Sprintf("character %d: %s", e.at, e.what) }

// strokes reads the grammar of SVG path data (SVG 1.1, section 8.3).
type strokes struct {
	s    string
	i    int
	tol  float64
	out  []subpath
	now  []orb.Point
	n    int // corners so far
	most int

	start, at orb.Point
	ctrl      orb.Point // the last control point, for S and T
	last      byte      // the command before, in upper case
}

// parsePath flattens path data to chords within tol, at most so many corners.
func parsePath(s string, tol float64, most int) ([]subpath, error) {
	p := &strokes{s: s, tol: tol, most: most}
	p.blanks()
	for p.i < len(s) {
		c := s[p.i]
		if !isCommand(c) {
			return nil, p.fail(fmt.Sprintf("%q is no command", rune(c)))
		}
		if len(p.now) == 0 && c != 'M' && c != 'm' && p.last != 'Z' {
			return nil, p.fail("a path begins with M")
		}
		p.i++
		if err := p.command(c); err != nil {
			return nil, err
		}
		if p.n > p.most {
			return nil, p.fail(fmt.Sprintf("the path has more than %d corners", most))
		}
	}
	p.flush(false)
	return p.out, nil
}

func (p *strokes) fail(what string) error { return &pathError{p.i + 1, what} }

func isCommand(c byte) bool {
	switch c | 0x20 {
	case 'm', 'l', 'h', 'v', 'c', 's', 'q', 't', 'a', 'z':
		return c >= 'A'
	}
	return false
}

// flush ends a stroke.
func (p *strokes) flush(closed bool) {
	if len(p.now) > 1 {
		p.out = append(p.out, subpath{p.now, closed})
	}
	p.now = nil
}

// command reads the arguments of a command, again and again where they go on.
func (p *strokes) command(c byte) error {
	up := c &^ 0x20
	relative := c != up
	var base orb.Point
	if up == 'Z' {
		p.flush(true)
		p.at, p.last = p.start, 'Z'
		p.blanks()
		return nil
	}
	for first := true; ; first = false {
		p.comma()
		if !first && !p.more() {
			return nil
		}
		if relative {
			base = p.at
		}
		if up != 'M' && len(p.now) == 0 { // after Z a stroke goes on from its start
			p.start = p.at
			p.now = []orb.Point{p.at}
		}
		before := len(p.now)
		if err := p.step(up, base); err != nil {
			return err
		}
		p.n += max(len(p.now)-before, 0) + 1
		if p.n > p.most {
			return nil
		}
		if p.last = up; up == 'M' {
			up = 'L' // further pairs are lines
			p.last = 'M'
		}
	}
}

func (p *strokes) step(up byte, base orb.Point) error {
	args := map[byte]int{'M': 2, 'L': 2, 'H': 1, 'V': 1, 'C': 6, 'S': 4, 'Q': 4, 'T': 2, 'A': 7}[up]
	var v [7]float64
	for k := range args {
		if k > 0 {
			p.comma()
		}
		var err error
		if up == 'A' && (k == 3 || k == 4) {
			v[k], err = p.flag()
		} else {
			v[k], err = p.number()
		}
		if err != nil {
			return err
		}
	}
	pt := func(k int) orb.Point { return orb.Point{base[0] + v[k], base[1] + v[k+1]} }
	to := p.at
	switch up {
	case 'M':
		p.flush(false)
		to = pt(0)
		p.start = to
		p.now = []orb.Point{to}
	case 'L':
		to = pt(0)
		p.now = append(p.now, to)
	case 'H':
		to[0] = base[0] + v[0]
		p.now = append(p.now, to)
	case 'V':
		to[1] = base[1] + v[0]
		p.now = append(p.now, to)
	case 'C':
		to = pt(4)
		p.ctrl = pt(2)
		p.now = cubic(p.now, p.at, pt(0), p.ctrl, to, p.tol)
	case 'S':
		c1 := p.mirror('C', 'S')
		to = pt(2)
		p.ctrl = pt(0)
		p.now = cubic(p.now, p.at, c1, p.ctrl, to, p.tol)
	case 'Q':
		to = pt(2)
		p.ctrl = pt(0)
		p.now = quadratic(p.now, p.at, p.ctrl, to, p.tol)
	case 'T':
		p.ctrl = p.mirror('Q', 'T')
		to = pt(0)
		p.now = quadratic(p.now, p.at, p.ctrl, to, p.tol)
	case 'A':
		to = pt(5)
		p.now = ellipticArc(p.now, p.at, to, v[0], v[1], v[2]*math.Pi/180, v[3] != 0, v[4] != 0, p.tol)
	}
	p.at = to
	return nil
}

// mirror is the last control point mirrored at the present place; that place
// itself where the command before was of another kind.
func (p *strokes) mirror(a, b byte) orb.Point {
	if p.last != a && p.last != b {
		return p.at
	}
	return orb.Point{2*p.at[0] - p.ctrl[0], 2*p.at[1] - p.ctrl[1]}
}

func (p *strokes) blanks() {
	for p.i < len(p.s) && isBlank(p.s[p.i]) {
		p.i++
	}
}

func isBlank(c byte) bool { return c == ' ' || c == '\t' || c == '\n' || c == '\r' || c == '\f' }

// comma passes blanks with at most one comma in them.
func (p *strokes) comma() {
	p.blanks()
	if p.i < len(p.s) && p.s[p.i] == ',' {
		p.i++
		p.blanks()
	}
}

// more reports whether another number begins here.
func (p *strokes) more() bool {
	if p.i >= len(p.s) {
		return false
	}
	c := p.s[p.i]
	return c >= '0' && c <= '9' || c == '.' || c == '-' || c == '+'
}

func (p *strokes) flag() (float64, error) {
	if p.i < len(p.s) && (p.s[p.i] == '0' || p.s[p.i] == '1') {
		p.i++
		return float64(p.s[p.i-1] - '0'), nil
	}
	return 0, p.fail("a flag of an arc is 0 or 1")
}

// number reads a number as the grammar has it: 1.5.5 are two.
func (p *strokes) number() (float64, error) {
	n := numberLength(p.s[p.i:])
	if n == 0 {
		return 0, p.fail("a number should stand here")
	}
	v, err := strconv.ParseFloat(p.s[p.i:p.i+n], 64)
	if err != nil || !(math.Abs(v) <= maxNumber) {
		return 0, p.fail(clip(p.s[p.i:p.i+n]) + " is no number that a drawing can have")
	}
	p.i += n
	return v, nil
}

// numberLength is the length of the number that s begins with, 0 for none.
func numberLength(s string) int {
	i, digits := 0, 0
	if i < len(s) && (s[i] == '+' || s[i] == '-') {
		i++
	}
	for i < len(s) && s[i] >= '0' && s[i] <= '9' {
		i, digits = i+1, digits+1
	}
	if i < len(s) && s[i] == '.' {
		i++
		for i < len(s) && s[i] >= '0' && s[i] <= '9' {
			i, digits = i+1, digits+1
		}
	}
	if digits == 0 {
		return 0
	}
	if i < len(s) && (s[i] == 'e' || s[i] == 'E') {
		k := i + 1
		if k < len(s) && (s[k] == '+' || s[k] == '-') {
			k++
		}
		if k < len(s) && s[k] >= '0' && s[k] <= '9' {
			for k < len(s) && s[k] >= '0' && s[k] <= '9' {
				k++
			}
			i = k
		}
	}
	return i
}

// ellipticArc appends the arc from p to q, p left out, from end points to
// centre as in SVG 1.1, appendix F.6: radii of zero make a line, radii that are
// too small are enlarged.
func ellipticArc(out []orb.Point, p, q orb.Point, rx, ry, phi float64, large, positive bool, tol float64) []orb.Point {
	rx, ry = math.Abs(rx), math.Abs(ry)
	if p == q {
		return out
	}
	if rx == 0 || ry == 0 {
		return append(out, q)
	}
	s, c := math.Sincos(phi)
	dx, dy := (p[0]-q[0])/2, (p[1]-q[1])/2
	x, y := c*dx+s*dy, c*dy-s*dx
	if l := (x/rx)*(x/rx) + (y/ry)*(y/ry); l > 1 {
		rx, ry = rx*math.Sqrt(l), ry*math.Sqrt(l)
	}
	den := rx*rx*y*y + ry*ry*x*x
	k := math.Sqrt(max(0, (rx*rx*ry*ry-den)/den))
	if large == positive {
		k = -k
	}
	if math.IsNaN(k) || math.IsInf(k, 0) {
		return append(out, q)
	}
	cx, cy := k*rx*y/ry, -k*ry*x/rx
	mid := orb.Point{c*cx - s*cy + (p[0]+q[0])/2, s*cx + c*cy + (p[1]+q[1])/2}
	t0 := math.Atan2((y-cy)/ry, (x-cx)/rx)
	t1 := math.Atan2((-y-cy)/ry, (-x-cx)/rx)
	d := t1 - t0
	if positive && d < 0 {
		d += 2 * math.Pi
	} else if !positive && d > 0 {
		d -= 2 * math.Pi
	}
	pts := arc(mid, orb.Point{rx * c, rx * s}, orb.Point{-ry * s, ry * c}, t0, d, tol)
	pts[len(pts)-1] = q
	return append(out, pts[1:]...)
}
