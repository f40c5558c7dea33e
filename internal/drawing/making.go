package drawing

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"

	"footrule/internal/input"
	"footrule/internal/radio"
	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// DefaultJoinM is how far apart two ends of an outline may be to count as one:
// a slip of the hand, and less than any door.
const DefaultJoinM = 0.05

// DefaultHeightM is where access points hang if nobody says: a common ceiling
// (common practice: 2.5 to 3 m in offices).
const DefaultHeightM = 2.8

// Making says how a floor is made of a drawing.
type Making struct {
	Rules      Rules
	ID, Name   string
	ElevationM float64
	Origin     *orb.Point // what comes to 0, 0, in drawing coordinates; nil: the lower left of the outline
	TurnDeg    float64    // clockwise
	Window     *orb.Bound // only what is wholly in it, in drawing coordinates; nil: all
	Box        bool       // the outline is the box around what is drawn
	JoinM      float64    // 0: DefaultJoinM
	FacesM     float64    // two wall lines so near beside each other are the faces of one wall; 0: every line is a wall
	HeightM    float64    // of access points; 0: DefaultHeightM
	Bands      []radio.Band
	Taken      map[string]bool // IDs of points and access points of the site
	There      []Standing      // points and access points that the floor has and keeps
}

// Standing is a point or an access point of a floor that is drawn anew.
type Standing struct {
	ID string
	At orb.Point
}

// sameM is within which a mark without a name is one that stands already.
const sameM = 0.1

// stands reports whether a mark is there already, by its name or its place.
func (m *Making) stands(p mark) bool {
	id := idOf(p.name)
	return slices.ContainsFunc(m.There, func(s Standing) bool { return s.ID == id || id == "" && apart(s.At, p.at) < sameM })
}

// Left is something that was drawn and is not on the floor.
type Left struct {
	What    string
	Count   int
	LengthM float64   // of walls
	At      orb.Point // the first of them, on the plan
	Placed  bool      // At is known
}

// Made is a floor with what belongs to it.
type Made struct {
	Floor        site.Floor
	AccessPoints []site.AccessPoint
	Left         []Left
	Notes        []string
}

// maker makes one floor.
type maker struct {
	d     *Drawing
	m     Making
	out   Made
	left  map[string]int
	place site.Drawing
	plan  func(orb.Point) orb.Point
	taken map[string]bool
}

// sorted holds the shapes of a drawing by what they stand for.
type sorted struct {
	outline, zones []ruled
	walls          []ruled
	points, aps    []int
}

type ruled struct {
	shape int
	rule  Rule
}

// Floor makes a floor of the drawing. Its error names what is missing or broken
// and where, in drawing coordinates and metres on the plan.
func (d *Drawing) Floor(file string, m Making) (*Made, error) {
	if m.JoinM == 0 {
		m.JoinM = DefaultJoinM
	}
	if m.HeightM == 0 {
		m.HeightM = DefaultHeightM
	}
	k := &maker{d: d, m: m, left: map[string]int{}, taken: map[string]bool{}}
	for id := range m.Taken {
		k.taken[id] = true
	}
	k.out.Notes = append(k.out.Notes, d.Notes...)
	made, err := k.make(file)
	if e, ok := err.(*input.Error); ok && e.File == "" {
		e.File = file
	}
	return made, err
}

func (k *maker) make(file string) (*Made, error) {
	d, m := k.d, k.m
	b := d.Bound()
	if d.MetresPerUnit == 0 {
		want := "say the unit, such as --unit mm, or a known distance with --scale"
		if d.Kind == site.DrawingSVG {
			want = "say a known distance with --scale, or what it is drawn at, such as --ratio 1:100"
		}
		return nil, &input.Error{What: fmt.Sprintf("the drawing says no unit, and is %.6g by %.6g of them", b.Max[0]-b.Min[0], b.Max[1]-b.Min[1]), Want: want}
	}
	s := k.sort()
	if len(s.outline) == 0 && !m.Box && slices.ContainsFunc(m.Rules, func(r Rule) bool { return r.Role == Outline }) {
		what := "the layer of the outline holds no lines"
		if m.Window != nil {
			what = "nothing of the outline lies wholly in the window"
		}
		return nil, &input.Error{What: what, Want: "look at what the layers hold, or take --box for the box around what is drawn"}
	}
	if len(s.outline) == 0 && !m.Box {
		return nil, &input.Error{What: "no layer is the outline", Want: "say which, such as --layer " + k.example() + "=outline, or --box for the box around what is drawn"}
	}
	k.place = site.Drawing{File: filepath.Base(file), Kind: d.Kind, MetresPerUnit: d.MetresPerUnit, TurnDeg: m.TurnDeg}
	ring, voids, err := k.outline(&s)
	if err != nil {
		return nil, err
	}
	k.out.Floor = site.Floor{ID: m.ID, Name: m.Name, ElevationM: m.ElevationM, Outline: ring}
	k.out.Floor.Drawing = &k.place
	k.walls(s.walls)
	k.areas(s.zones, voids)
	k.marks(&s)
	for _, why := range sortedKeys(d.Left) {
		k.out.Left = append(k.out.Left, Left{What: why, Count: d.Left[why]})
	}
	return &k.out, nil
}

// example is a layer that may hold the outline: the first with lines.
func (k *maker) example() string {
	for _, l := range k.d.Layers {
		if l.seen {
			return clip(l.Name)
		}
	}
	return "NAME"
}

// leave counts what is not taken.
func (k *maker) leave(what string, at orb.Point, lengthM float64) {
	i, ok := k.left[what]
	if !ok {
		i = len(k.out.Left)
		k.left[what] = i
		k.out.Left = append(k.out.Left, Left{What: what, At: at, Placed: true})
	}
	k.out.Left[i].Count++
	k.out.Left[i].LengthM += lengthM
}

// sort parts the shapes by the rules of their layers.
func (k *maker) sort() (s sorted) {
	cache := map[string][]Rule{}
	for i := range k.d.Shapes {
		sh := &k.d.Shapes[i]
		if w := k.m.Window; w != nil && slices.ContainsFunc(sh.At, func(p orb.Point) bool { return !w.Contains(p) }) {
			continue
		}
		rules, ok := cache[sh.Layer]
		if !ok {
			rules = k.m.Rules.Of(sh.Layer)
			cache[sh.Layer] = rules
		}
		for _, r := range rules {
			if (r.Role == Points || r.Role == AccessPoints) && !k.symbol(sh, r.Role) {
				if r.Role == Points {
					s.points = append(s.points, i)
				} else {
					s.aps = append(s.aps, i)
				}
			}
			if sh.Kind == Mark || sh.Kind == Text {
				continue
			}
			switch r.Role {
			case Outline:
				s.outline = append(s.outline, ruled{i, r})
			case Walls:
				s.walls = append(s.walls, ruled{i, r})
			case Area:
				s.zones = append(s.zones, ruled{i, r})
			}
		}
	}
	return s
}

// symbol reports whether a shape is only a part of the symbol of a mark that
// has the role itself.
func (k *maker) symbol(sh *Shape, role Role) bool {
	for up := sh.Under; up >= 0; up = k.d.Shapes[up].Under {
		if slices.ContainsFunc(k.m.Rules.Of(k.d.Shapes[up].Layer), func(r Rule) bool { return r.Role == role }) {
			return true
		}
	}
	return false
}

// corners are those of a shape on the plan, in millimetres.
func (k *maker) corners(i int) []orb.Point {
	at := k.d.Shapes[i].At
	if k.d.Shapes[i].Round {
		at = at[1:]
	}
	out := make([]orb.Point, 0, len(at))
	for _, p := range at {
		if q := millimetres(k.plan(p)); len(out) == 0 || out[len(out)-1] != q {
			out = append(out, q)
		}
	}
	return out
}

// from settles the origin, so that the lower left of some shapes comes to 0, 0
// unless it is given, and with it the way to the plan.
func (k *maker) from(shapes []ruled) error {
	pr := &k.place
	if err := k.near(shapes); err != nil {
		return err
	}
	if k.m.Origin != nil {
		pr.Origin = *k.m.Origin
		k.plan = ToPlan(pr)
		return k.believable(shapes)
	}
	var b orb.Bound
	for n, s := range shapes {
		if sb := orb.MultiPoint(k.d.Shapes[s.shape].At).Bound(); n == 0 {
			b = sb
		} else {
			b = b.Union(sb)
		}
	}
	pr.Origin = b.Min
	to := ToPlan(pr)
	low := orb.Point{math.Inf(1), math.Inf(1)}
	for _, s := range shapes {
		for _, p := range k.d.Shapes[s.shape].At {
			q := to(p)
			low = orb.Point{min(low[0], q[0]), min(low[1], q[1])}
		}
	}
	pr.Origin = FromPlan(pr)(low)
	k.plan = ToPlan(pr)
	return k.believable(shapes)
}

func sortedKeys(m map[string]int) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}
