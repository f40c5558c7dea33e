package site

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"footrule/internal/input"
	"footrule/internal/radio"

	"github.com/paulmach/orb"
)

// Format is the tag that a site.toml of this version carries.
const Format = "footrule-site/1"

const (
	formatLine   = `format = "` + Format + `"`
	formatPrefix = "footrule-site/"
)

// MaxFileBytes is the largest site.toml that is read: some 200,000 points.
const MaxFileBytes = 16 << 20

// Read reads a site.toml; name is what errors call it. Every breach of the
// format or of [Site.Validate] is an [*input.Error] with line and column: of a
// file that is not TOML the first slip, of one with another format tag only
// that, else the breach that comes first in the file. A missing key is
// reported at the header of its table. Failures of r come back wrapped.
//
// A byte order mark and CRLF are accepted, and so is a polygon whose last
// corner repeats the first. elevation_m may be left out on a site of one floor.
func Read(name string, r io.Reader) (*Site, error) {
	data, err := io.ReadAll(io.LimitReader(r, MaxFileBytes+1))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	if len(data) > MaxFileBytes {
		return nil, &input.Error{File: name, What: fmt.Sprintf("the file is larger than %d MiB", MaxFileBytes>>20), Want: "give a site.toml"}
	}
	doc, err := newDocument(name, data)
	if err != nil {
		return nil, err
	}
	d := &decoder{doc: doc, pos: map[ref]int{}, bad: map[ref]bool{}}
	if err := d.format(); err != nil {
		return nil, err
	}
	s := d.site()
	malformed := len(d.slips) > 0
	c := checker{site: s, report: func(p problem) {
		key := p.at
		key.elem = -1
		if !d.bad[key] && !(malformed && p.far) {
			d.slips = append(d.slips, slip{d.position(p.at), p.what, p.want})
		}
	}}
	c.check()
	if len(d.slips) == 0 {
		return s, nil
	}
	// Stable: what is malformed comes before what a rule says of the same place.
	slices.SortStableFunc(d.slips, func(a, b slip) int { return a.at - b.at })
	return nil, doc.fail(d.slips[0].at, d.slips[0].what, d.slips[0].want)
}

// slip is a problem at an offset.
type slip struct {
	at         int
	what, want string
}

type decoder struct {
	doc   *document
	pos   map[ref]int  // where tables, values and elements begin
	bad   map[ref]bool // keys that are missing or malformed: no rule applies to them
	slips []slip
}

// position is where a ref stands, or else the closest thing around it.
func (d *decoder) position(r ref) int {
	for _, r := range []ref{r, r.element(-1), r.with("")} {
		if at, ok := d.pos[r]; ok {
			return at
		}
	}
	return 0
}

func (d *decoder) slip(key ref, at int, what, want string) {
	d.bad[key] = true
	d.slips = append(d.slips, slip{at, what, want})
}

func (d *decoder) format() error {
	e := d.doc.root.get("format")
	switch {
	case e == nil:
		return d.doc.fail(0, "there is no format", "begin with "+formatLine)
	case e.value.kind != aString:
		return d.doc.fail(e.value.at, fmt.Sprintf("format is %s", e.value.kind), "write "+formatLine)
	case e.value.text == Format:
		return nil
	}
	if v, ok := strings.CutPrefix(e.value.text, formatPrefix); ok {
		if n, err := strconv.ParseUint(v, 10, 32); err == nil && n > 1 {
			return d.doc.fail(e.value.at, fmt.Sprintf("format %q needs a newer footrule", e.value.text), "update footrule, or write "+formatLine)
		}
	}
	return d.doc.fail(e.value.at, fmt.Sprintf("format is %q", clip(e.value.text)), "write "+formatLine)
}

// examples show what to write for a key.
var examples = map[string]string{
	"name":              `name = "Harbour Depot"`,
	"receiver_height_m": `receiver_height_m = 1.2`,
	"id":                `id = "A1"`,
	"elevation_m":       `elevation_m = 3.5`,
	"outline":           `outline = [[0, 0], [60, 0], [60, 24], [0, 24]]`,
	"polygon":           `polygon = [[0, 0], [20, 0], [20, 10], [0, 10]]`,
	"line":              `line = [[20, 0], [20, 10], [28, 10]]`,
	"material":          `material = "plasterboard"`,
	"kind":              `kind = "zone"`,
	"at":                `at = [3.0, 3.0]`,
	"floor":             `floor = "G"`,
	"height_m":          `height_m = 2.8`,
	"band":              `band = "5"`,
	"bssids":            `bssids = ["02:00:5e:10:01:00"]`,
	"tx_power_dbm":      `tx_power_dbm = 17`,
	"antenna":           `antenna = { gain_dbi = 8, azimuth_deg = 90, beam_width_deg = 65 }`,
	"gain_dbi":          `gain_dbi = 8`,
	"azimuth_deg":       `azimuth_deg = 90`,
	"tilt_deg":          `tilt_deg = 10`,
	"beam_width_deg":    `beam_width_deg = 65`,
	"beam_height_deg":   `beam_height_deg = 65`,
	"front_to_back_db":  `front_to_back_db = 25`,
	"file":              `file = "ground.dxf"`,
	"origin":            `origin = [1200, 400]`,
	"metres_per_unit":   `metres_per_unit = 0.001`,
	"turn_deg":          `turn_deg = 90`,
	"from":              `from = "P01"`,
	"to":                `to = "P02"`,
	"distance_m":        `distance_m = 12.5`,
}

func (d *decoder) site() *Site {
	t := d.table(d.doc.root, ref{elem: -1}, "the file")
	t.take("format")
	s := &Site{Name: t.text("name", true), ReceiverHeightM: DefaultReceiverHeightM}
	if v, ok := t.number("receiver_height_m", false); ok {
		s.ReceiverHeightM = v
	}
	floors := t.tables("floor", "[[floor]]")
	for i, n := range floors {
		s.Floors = append(s.Floors, d.floor(n, i, len(floors) > 1))
	}
	for i, n := range t.tables("access_point", "[[access_point]]") {
		s.AccessPoints = append(s.AccessPoints, d.accessPoint(n, i))
	}
	s.Infra, s.Answers = d.infra(t), d.answers(t)
	t.done()
	return s
}

func (d *decoder) floor(n *node, i int, several bool) Floor {
	t := d.table(n, ref{table: "floor", floor: i, elem: -1}, "[[floor]]")
	f := Floor{ID: t.text("id", true), Name: t.text("name", false)}
	f.ElevationM, _ = t.number("elevation_m", several)
	f.Outline = open(t.corners("outline"))
	for k, n := range t.tables("wall", "[[floor.wall]]") {
		t := d.table(n, ref{table: "wall", floor: i, item: k, elem: -1}, "[[floor.wall]]")
		f.Walls = append(f.Walls, Wall{Material: t.text("material", true), Line: orb.LineString(t.corners("line"))})
		t.done()
	}
	for k, n := range t.tables("area", "[[floor.area]]") {
		t := d.table(n, ref{table: "area", floor: i, item: k, elem: -1}, "[[floor.area]]")
		f.Areas = append(f.Areas, Area{ID: t.text("id", true), Kind: AreaKind(t.text("kind", true)), Polygon: open(t.corners("polygon"))})
		t.done()
	}
	for k, n := range t.tables("point", "[[floor.point]]") {
		t := d.table(n, ref{table: "point", floor: i, item: k, elem: -1}, "[[floor.point]]")
		f.Points = append(f.Points, Point{ID: t.text("id", true), At: t.place("at")})
		t.done()
	}
	f.Drawing = d.drawing(t, i)
	f.Taped = d.taped(t, i)
	t.done()
	return f
}

func (d *decoder) accessPoint(n *node, i int) AccessPoint {
	t := d.table(n, ref{table: "access_point", item: i, elem: -1}, "[[access_point]]")
	ap := AccessPoint{ID: t.text("id", true), Floor: t.text("floor", true), At: t.place("at")}
	ap.HeightM, _ = t.number("height_m", true)
	for k, n := range t.tables("radio", "[[access_point.radio]]") {
		t := d.table(n, ref{table: "radio", item: i, radio: k, elem: -1}, "[[access_point.radio]]")
		r := Radio{Band: radio.Band(t.text("band", true)), BSSIDs: t.bssids("bssids")}
		if v, ok := t.number("tx_power_dbm", false); ok {
			r.TxPowerDBm = &v
		}
		r.Antenna = d.antenna(t, i, k)
		r.PHY = d.phy(t)
		t.done()
		ap.Radios = append(ap.Radios, r)
	}
	ap.Power, ap.Drop = d.power(t, i), d.drop(t, i)
	t.done()
	return ap
}

// antenna reads that of a radio; nil where there is none.
func (d *decoder) antenna(of *table, ap, radio int) *Antenna {
	n := of.of("antenna", aTable, false)
	if n == nil {
		return nil
	}
	t := d.table(n, ref{table: "antenna", item: ap, radio: radio, elem: -1}, "[access_point.radio.antenna]")
	a := &Antenna{}
	for _, k := range a.keys() {
		if v, ok := t.number(k.name, false); ok {
			*k.value = v
		}
	}
	t.done()
	return a
}

// open drops the last corner where it repeats the first.
func open(c []orb.Point) orb.Ring {
	if n := len(c); n > 3 && c[0] == c[n-1] {
		c = c[:n-1]
	}
	return orb.Ring(c)
}

// table reads the keys of one table and notes where they stand.
type table struct {
	d     *decoder
	n     *node
	r     ref
	name  string
	known []string
	lacks []string // required keys that are not there
}

func (d *decoder) table(n *node, r ref, name string) *table {
	d.pos[r] = n.at
	return &table{d: d, n: n, r: r, name: name}
}

func (t *table) take(key string) *node {
	t.known = append(t.known, key)
	e := t.n.get(key)
	if e == nil {
		return nil
	}
	t.d.pos[t.r.with(key)] = e.value.at
	return e.value
}

// of takes a key whose value is of a kind; nil where it is not there, or not so.
func (t *table) of(key string, k kind, required bool) *node {
	n := t.take(key)
	switch {
	case n == nil:
		if required {
			t.lacks = append(t.lacks, key)
		}
		return nil
	case n.kind != k:
		t.d.slip(t.r.with(key), n.at, fmt.Sprintf("%s is %s", key, n.kind), fmt.Sprintf("write %s, such as %s", k, example(key)))
		return nil
	}
	return n
}

func (t *table) text(key string, required bool) string {
	n := t.of(key, aString, required)
	if n == nil {
		return ""
	}
	if n.text == "" && !required {
		t.d.slip(t.r.with(key), n.at, key+" is empty", "write one, or leave the key out")
	}
	return n.text
}

func (t *table) number(key string, required bool) (float64, bool) {
	n := t.of(key, aNumber, required)
	if n == nil {
		return 0, false
	}
	return n.number, true
}

func (t *table) place(key string) orb.Point {
	n := t.of(key, anArray, true)
	if n == nil {
		return orb.Point{}
	}
	p, _ := t.pair(n, key)
	return p
}

func (t *table) pair(n *node, key string) (orb.Point, bool) {
	if n.kind != anArray || len(n.list) != 2 || n.list[0].kind != aNumber || n.list[1].kind != aNumber {
		what := fmt.Sprintf("a place in %s is %s", key, n.kind)
		if n.kind == anArray {
			what = fmt.Sprintf("a place in %s has %d values", key, len(n.list))
			for i, v := range n.list {
				if v.kind != aNumber {
					what = fmt.Sprintf("value %d of a place in %s is %s", i+1, key, v.kind)
					break
				}
			}
		}
		t.d.slip(t.r.with(key), n.at, what, "write x and y in metres, such as "+example(key))
		return orb.Point{}, false
	}
	return orb.Point{n.list[0].number, n.list[1].number}, true
}

func (t *table) corners(key string) []orb.Point {
	n := t.of(key, anArray, true)
	if n == nil {
		return nil
	}
	var out []orb.Point
	for i, v := range n.list {
		t.d.pos[t.r.with(key).element(i)] = v.at
		p, ok := t.pair(v, key)
		if !ok {
			return nil
		}
		out = append(out, p)
	}
	return out
}

func (t *table) bssids(key string) []radio.BSSID {
	n := t.of(key, anArray, false)
	if n == nil {
		return nil
	}
	var out []radio.BSSID
	for i, v := range n.list {
		t.d.pos[t.r.with(key).element(i)] = v.at
		if v.kind != aString {
			t.d.slip(t.r.with(key), v.at, fmt.Sprintf("a BSSID is %s", v.kind), "write "+example(key))
			return nil
		}
		b, err := radio.ParseBSSID(v.text)
		if err != nil {
			t.d.slip(t.r.with(key), v.at, err.Error(), "write "+example(key))
			return nil
		}
		out = append(out, b)
	}
	return out
}

func (t *table) tables(key, name string) []*node {
	n := t.take(key)
	if n == nil {
		return nil
	}
	if n.kind != anArray {
		t.d.slip(t.r.with(key), n.at, fmt.Sprintf("%s is %s", key, n.kind), fmt.Sprintf("write each as a table under %s, in double brackets", name))
		return nil
	}
	for _, v := range n.list {
		if v.kind != aTable {
			t.d.slip(t.r.with(key), v.at, fmt.Sprintf("%s holds %s", key, v.kind), fmt.Sprintf("write each as a table under %s", name))
			return nil
		}
	}
	return n.list
}

// done reports the keys that nobody took, and those that are missing unless a
// misspelled one stands for them.
func (t *table) done() {
	for _, e := range t.n.keys {
		if slices.Contains(t.known, e.name) {
			continue
		}
		want := "remove it; known are " + strings.Join(t.known, ", ")
		if k := nearest(e.name, t.known); k != "" {
			want = fmt.Sprintf("did you mean %q?", k)
			if i := slices.Index(t.lacks, k); i >= 0 {
				t.lacks = slices.Delete(t.lacks, i, i+1)
				t.d.bad[t.r.with(k)] = true
			}
		}
		t.d.slip(t.r.with(e.name), e.at, fmt.Sprintf("unknown key %q in %s", clip(e.name), t.name), want)
	}
	for _, key := range t.lacks {
		t.d.slip(t.r.with(key), t.n.at, fmt.Sprintf("%s has no %s", t.name, key), "add "+example(key))
	}
}

// nearest is the name that begins with the one given (height for height_m), or
// that differs by the fewest typing slips, where these are at most two and
// fewer than half of its letters; else "".
func nearest(name string, names []string) string {
	best, least := "", 3
	for _, n := range names {
		if len(name) > 2 && strings.HasPrefix(n, name+"_") {
			return n
		}
		if d := slipsBetween(strings.ToLower(name), n); d < least && 2*d < len(n) {
			best, least = n, d
		}
	}
	return best
}

// slipsBetween is the optimal string alignment distance: letters put in, left
// out, mistaken or exchanged with a neighbour.
func slipsBetween(a, b string) int {
	if len(a) > len(b)+2 {
		return 3
	}
	var before, last, row []int
	for j := range len(b) + 1 {
		last = append(last, j)
	}
	for i := 1; i <= len(a); i++ {
		row = make([]int, len(b)+1)
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			row[j] = min(row[j-1]+1, last[j]+1, last[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last = last, row
	}
	return last[len(b)]
}
