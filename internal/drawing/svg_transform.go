package drawing

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/paulmach/orb"
)

// parseTransform reads a list of matrix, translate, scale, rotate, skewX and
// skewY; the first is the outermost.
func parseTransform(s string) (affine, error) {
	m := identity
	for s = strings.TrimLeft(s, " \t\r\n,"); s != ""; s = strings.TrimLeft(s, " \t\r\n,") {
		i, k := strings.IndexByte(s, '('), strings.IndexByte(s, ')')
		if i < 0 || k < i {
			return m, fmt.Errorf("the transform %q has no brackets", clip(s))
		}
		name := strings.TrimSpace(s[:i])
		v, err := numbers(s[i+1 : k])
		if err != nil {
			return m, fmt.Errorf("the transform %q: %w", clip(s[:k+1]), err)
		}
		s = s[k+1:]
		var t affine
		switch n := len(v); {
		case name == "matrix" && n == 6:
			t = affine{v[0], v[1], v[2], v[3], v[4], v[5]}
		case name == "translate" && n == 1:
			t = translate(v[0], 0)
		case name == "translate" && n == 2:
			t = translate(v[0], v[1])
		case name == "scale" && n == 1:
			t = scale(v[0], v[0])
		case name == "scale" && n == 2:
			t = scale(v[0], v[1])
		case name == "rotate" && n == 1:
			t = turn(v[0] * math.Pi / 180)
		case name == "rotate" && n == 3:
			t = translate(v[1], v[2]).after(turn(v[0] * math.Pi / 180)).after(translate(-v[1], -v[2]))
		case name == "skewX" && n == 1:
			t = affine{a: 1, c: math.Tan(v[0] * math.Pi / 180), d: 1}
		case name == "skewY" && n == 1:
			t = affine{a: 1, b: math.Tan(v[0] * math.Pi / 180), d: 1}
		default:
			return m, fmt.Errorf("the transform %s with %d numbers is none that there is", clip(name), n)
		}
		m = m.after(t)
	}
	return m, nil
}

// numbers reads a list of numbers parted by blanks or commas, or by nothing.
func numbers(s string) ([]float64, error) {
	p := &strokes{s: s}
	var out []float64
	for p.comma(); p.i < len(s); p.comma() {
		v, err := p.number()
		if err != nil {
			return nil, err
		}
		if out = append(out, v); len(out) > MaxCorners {
			return nil, fmt.Errorf("more than %d numbers", MaxCorners)
		}
	}
	return out, nil
}

// onPaper are the lengths of CSS in metres: 96 px are an inch.
var onPaper = map[string]float64{"": inch / 96, "px": inch / 96, "pt": inch / 72, "pc": inch / 6, "in": inch, "mm": 0.001, "cm": 0.01, "q": 0.00025}

// parseLength reads a length of CSS into metres on paper; false for shares of
// something and for what is none.
func parseLength(s string) (float64, bool) {
	s = strings.TrimSpace(s)
	n := numberLength(s)
	if n == 0 {
		return 0, false
	}
	v, err := strconv.ParseFloat(s[:n], 64)
	u, ok := onPaper[strings.ToLower(strings.TrimSpace(s[n:]))]
	if err != nil || !ok || !(math.Abs(v) <= maxNumber) {
		return 0, false
	}
	return v * u, true
}

// fitBox maps a viewBox into a viewport of w by h at x, y, by
// preserveAspectRatio.
func fitBox(box []float64, x, y, w, h float64, aspect string) affine {
	if len(box) != 4 || !(box[2] > 0 && box[3] > 0 && w > 0 && h > 0) {
		return translate(x, y)
	}
	sx, sy := w/box[2], h/box[3]
	f := strings.Fields(aspect)
	if len(f) > 0 && f[0] == "none" {
		return translate(x, y).after(scale(sx, sy)).after(translate(-box[0], -box[1]))
	}
	s := min(sx, sy)
	if len(f) > 1 && f[1] == "slice" {
		s = max(sx, sy)
	}
	share := orb.Point{0.5, 0.5}
	if len(f) > 0 {
		for i, axis := range []string{"x", "Y"} {
			at := strings.Index(f[0], axis+"M")
			if at < 0 || len(f[0]) < at+4 {
				continue
			}
			switch f[0][at+1 : at+4] {
			case "Min":
				share[i] = 0
			case "Max":
				share[i] = 1
			}
		}
	}
	return translate(x+(w-box[2]*s)*share[0], y+(h-box[3]*s)*share[1]).after(scale(s, s)).after(translate(-box[0], -box[1]))
}
