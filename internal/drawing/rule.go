package drawing

import (
	"fmt"
	"strings"

	"footrule/internal/site"
)

// Role is what a layer stands for.
type Role uint8

// The roles of a layer.
const (
	Walls Role = iota
	Outline
	Area
	Points
	AccessPoints
)

// Rule says what the layers of a name stand for. One layer may have several.
type Rule struct {
	Layer    string // * and ? stand for other characters
	Role     Role
	Material string        // of Walls
	Kind     site.AreaKind // of Area
}

// roles are the words for roles; any other word is a material.
var roles = map[string]Rule{
	"outline": {Role: Outline}, "zone": {Role: Area, Kind: site.Zone}, "void": {Role: Area, Kind: site.Void},
	"no-mount": {Role: Area, Kind: site.NoMount},
	"points":   {Role: Points}, "aps": {Role: AccessPoints},
}

// ParseRule reads LAYER=WHAT: outline, zone, void, no-mount, points, aps, or the
// material of its walls.
func ParseRule(s string) (Rule, error) {
	i := strings.LastIndexByte(s, '=')
	if i < 1 || i == len(s)-1 {
		return Rule{}, fmt.Errorf("layer %q; write the layer's name, = and outline, zone, void, no-mount, points, aps or the material of its walls, such as WALLS=brick", s)
	}
	name, what := s[:i], strings.TrimSpace(s[i+1:])
	if r, ok := roles[strings.ToLower(what)]; ok {
		r.Layer = name
		return r, nil
	}
	for word := range roles {
		if slip(strings.ToLower(what), word) {
			return Rule{}, fmt.Errorf("layer %q; %q is nearly %q: write that, or a material that is not so near to it", s, what, word)
		}
	}
	return Rule{Layer: name, Role: Walls, Material: what}, nil
}

// slip reports whether two words differ by one letter, exchanged or more.
func slip(a, b string) bool {
	switch len(a) - len(b) {
	case 0:
		n := 0
		for i := range len(a) {
			if a[i] != b[i] {
				n++
			}
		}
		return n == 1 && len(a) > 3
	case 1:
		return contains(a, b)
	case -1:
		return contains(b, a)
	}
	return false
}

// contains reports whether long is short with one letter more.
func contains(long, short string) bool {
	for i := range len(long) {
		if long[:i]+long[i+1:] == short {
			return true
		}
	}
	return false
}

// Rules are the rules for all layers.
type Rules []Rule

// Of gives the rules that a layer falls under. Groups of an SVG lie in each
// other, as in plan/AP/AP-1: such a layer falls under the rules for its whole
// name or the last part of it; where there are none, under those of the layer
// it lies in.
func (rs Rules) Of(layer string) []Rule {
	out, _ := rs.find(layer)
	return out
}

// find also gives the layer that the rules are for.
func (rs Rules) find(layer string) (out []Rule, at string) {
	at = strings.ToLower(layer)
	for {
		last := at[strings.LastIndexByte(at, '/')+1:]
		for _, r := range rs {
			if p := strings.ToLower(r.Layer); matches(p, at) || matches(p, last) {
				out = append(out, r)
			}
		}
		if len(out) > 0 || last == at {
			return out, at
		}
		at = at[:len(at)-len(last)-1]
	}
}

// Keep reports whether a layer falls under any rule.
func (rs Rules) Keep(layer string) bool {
	out, _ := rs.find(layer)
	return len(out) > 0
}

// matches compares a name with a pattern of * and ?.
func matches(pattern, name string) bool {
	p, n := []rune(pattern), []rune(name)
	i, k, star, mark := 0, 0, -1, 0
	for k < len(n) {
		switch {
		case i < len(p) && p[i] == '*':
			star, mark = i, k
			i++
		case i < len(p) && (p[i] == '?' || p[i] == n[k]):
			i, k = i+1, k+1
		case star >= 0:
			mark++
			i, k = star+1, mark
		default:
			return false
		}
	}
	for i < len(p) && p[i] == '*' {
		i++
	}
	return i == len(p)
}
