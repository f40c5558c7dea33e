package drawing

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// walls takes lines as walls: what has a length, once, inside the outline.
func (k *maker) walls(shapes []ruled) {
	fence := newFence(k.out.Floor.Outline)
	seen := map[string]bool{}
	spelt := map[string]string{} // a material by its lower case
	for _, s := range shapes {
		c := k.corners(s.shape)
		sh := &k.d.Shapes[s.shape]
		if sh.Kind == Ring && len(c) > 2 && c[0] != c[len(c)-1] {
			c = append(c, c[0])
		}
		if len(c) < 2 {
			k.leave("wall of no length", millimetres(k.plan(sh.At[0])), 0)
			continue
		}
		key := s.rule.Material + lineKey(c)
		if seen[key] {
			k.leave("wall drawn twice", c[0], length(c))
			continue
		}
		seen[key] = true
		material, ok := spelt[strings.ToLower(s.rule.Material)]
		if !ok {
			material = s.rule.Material
			spelt[strings.ToLower(material)] = material
		}
		in, outM := fence.keep(orb.LineString(c))
		if outM > 0.001 {
			k.leave("part of a wall outside the outline", c[0], outM)
		}
		for _, l := range in {
			for i := range l {
				l[i] = millimetres(l[i])
			}
			if l = straighten(l); len(l) > 1 && length(l) >= 0.001 {
				k.out.Floor.Walls = append(k.out.Floor.Walls, site.Wall{Material: material, Line: l})
			}
		}
	}
	if k.m.FacesM > 0 {
		k.middles()
		return
	}
	k.twins()
}

// areas takes rings as zones and voids, those of the outline first.
func (k *maker) areas(shapes []ruled, voids []orb.Ring) {
	f := &k.out.Floor
	fence := newFence(f.Outline)
	taken := map[string]bool{}
	add := func(kind site.AreaKind, r orb.Ring, name string) {
		r = k.slim(r)
		what := string(kind)
		switch {
		case k.sound("it", r) != nil:
			k.leave(what+" that crosses itself or has no size", r[0], 0)
			return
		case !fence.holds(r):
			k.leave(what+" that reaches outside the outline", r[0], 0)
			return
		}
		id := k.id(name, what+"-", taken)
		taken[id] = true
		f.Areas = append(f.Areas, site.Area{ID: id, Kind: kind, Polygon: r})
	}
	for _, r := range voids {
		add(site.Void, r, "")
	}
	if n := len(voids); n == 1 {
		k.out.Notes = append(k.out.Notes, "a ring inside the outline became a void, where nobody can stand")
	} else if n > 1 {
		k.out.Notes = append(k.out.Notes, fmt.Sprintf("%d rings inside the outline became voids, where nobody can stand", n))
	}
	kinds := []site.AreaKind{}
	for _, s := range shapes {
		if !slices.Contains(kinds, s.rule.Kind) {
			kinds = append(kinds, s.rule.Kind)
		}
	}
	for _, kind := range kinds {
		var same []ruled
		for _, s := range shapes {
			if s.rule.Kind != kind {
				continue
			}
			if sh := &k.d.Shapes[s.shape]; sh.Kind == Ring && sh.Name != "" {
				if c := k.corners(s.shape); len(c) > 2 {
					add(kind, orb.Ring(c), sh.Name)
					continue
				}
			}
			same = append(same, s)
		}
		rings, open := k.rings(same, string(kind))
		for _, r := range rings {
			add(kind, r, "")
		}
		for _, l := range open {
			k.leave(string(kind)+" that is open", l[0], 0)
		}
	}
}

// holds reports whether a ring stays inside the fence.
func (f *fence) holds(r orb.Ring) bool {
	for i := range r {
		_, out := f.keep(orb.LineString{r[i], r[(i+1)%len(r)]})
		if out > 0 {
			return false
		}
	}
	return true
}

// reachM is how far from a mark the text stands that names it.
const reachM = 2.0

// symbolM is the largest size of a ring that stands for one place.
const symbolM = 3.0

// mostMarks is how many points or access points are taken from one drawing.
const mostMarks = 3000

// mark is one place that shapes of a layer stand for.
type mark struct {
	at   orb.Point
	name string
}

// marks takes points and access points.
func (k *maker) marks(s *sorted) {
	f := &k.out.Floor
	points := k.places(s.points, "point")
	for _, p := range points {
		if k.m.stands(p) {
			k.leave("point that the floor has already", p.at, 0)
			continue
		}
		if !f.Walkable(p.at) {
			k.leave("point outside the outline or in a void", p.at, 0)
			continue
		}
		id := k.id(p.name, "P", k.taken)
		k.taken[id] = true
		f.Points = append(f.Points, site.Point{ID: id, At: p.at})
	}
	for _, p := range k.places(s.aps, "access point") {
		if k.m.stands(p) {
			k.leave("access point that the floor has already", p.at, 0)
			continue
		}
		id := k.id(p.name, "AP-", k.taken)
		k.taken[id] = true
		ap := site.AccessPoint{ID: id, Floor: f.ID, At: p.at, HeightM: k.m.HeightM}
		for _, b := range k.m.Bands {
			ap.Radios = append(ap.Radios, site.Radio{Band: b})
		}
		k.out.AccessPoints = append(k.out.AccessPoints, ap)
	}
}

// places makes marks of shapes, names them by their own name or the nearest
// text, and counts one where several are drawn at one place.
func (k *maker) places(shapes []int, what string) []mark {
	var out []mark
	var texts []mark
	for _, i := range shapes {
		sh := &k.d.Shapes[i]
		at := millimetres(k.plan(sh.At[0]))
		if len(out) >= mostMarks || len(texts) >= mostMarks {
			k.leave(fmt.Sprintf("thing beyond the first %d on the layer of %ss", mostMarks, what), at, 0)
			continue
		}
		name := sh.Name
		if _, layer := k.m.Rules.find(sh.Layer); name == "" && len(layer) < len(sh.Layer) {
			name = sh.Layer[strings.LastIndexByte(sh.Layer, '/')+1:] // a group for this one alone
		}
		switch sh.Kind {
		case Text:
			texts = append(texts, mark{at, sh.Name})
			continue
		case Line:
			k.leave("line on the layer of "+what+"s", at, 0)
			continue
		case Ring:
			if b := orb.MultiPoint(k.corners(i)).Bound(); max(b.Max[0]-b.Min[0], b.Max[1]-b.Min[1]) > symbolM {
				k.leave(fmt.Sprintf("ring of more than %g m on the layer of %ss", symbolM, what), at, 0)
				continue
			} else if !sh.Round {
				at = millimetres(b.Center())
			}
		}
		j := slices.IndexFunc(out, func(m mark) bool { return apart(m.at, at) < 0.01 })
		if j < 0 {
			out = append(out, mark{at, name})
			continue
		}
		if out[j].name == "" {
			out[j].name = name
		} else if sh.Kind == Mark {
			k.leave(what+" drawn twice", at, 0)
		}
	}
	type near struct {
		mark, text int
		d          float64
	}
	var pairs []near
	for i := range out {
		for j := range texts {
			if d := apart(out[i].at, texts[j].at); out[i].name == "" && d <= reachM {
				pairs = append(pairs, near{i, j, d})
			}
		}
	}
	slices.SortStableFunc(pairs, func(a, b near) int { return cmp.Compare(a.d, b.d) })
	used := map[int]bool{}
	for _, p := range pairs {
		if out[p.mark].name == "" && !used[p.text] {
			out[p.mark].name, used[p.text] = texts[p.text].name, true
		}
	}
	for j := range texts {
		if !used[j] {
			k.leave("text beside no "+what, texts[j].at, 0)
		}
	}
	return out
}

// idOf makes an ID of a name: blanks become hyphens. It is empty where the name
// can't be one.
func idOf(name string) string {
	id := strings.TrimLeft(strings.Join(strings.FieldsFunc(name, func(r rune) bool { return unicode.IsSpace(r) || !unicode.IsPrint(r) }), "-"), "-")
	if r := []rune(id); len(r) > site.MaxIDLength {
		return ""
	}
	return id
}

// id makes an ID of a name. Where the name can't be one, or another has it, it
// is numbered.
func (k *maker) id(name, prefix string, taken map[string]bool) string {
	id := idOf(name)
	if id != "" && !taken[id] {
		return id
	}
	if id != "" {
		k.out.Notes = append(k.out.Notes, fmt.Sprintf("the name %q is there twice; the second is numbered", id))
	}
	for n := 1; ; n++ {
		num := strconv.Itoa(n)
		if len(num) < 2 {
			num = "0" + num
		}
		if id = prefix + num; !taken[id] {
			return id
		}
	}
}
