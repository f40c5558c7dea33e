package drawing

import (
	"fmt"
	"io"
	"regexp"
	"strings"

	"footrule/internal/input"
	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// svg reads the shapes of an SVG in the units of its outermost viewBox. Layers
// are groups by their label or id, with those they lie in: plan/walls/brick.
type svg struct {
	d   *Drawing
	o   Options
	ids map[string]*element
	tol float64
}

func readSVG(name string, r io.Reader, o Options) (*Drawing, error) {
	root, err := readTree(r)
	if err != nil {
		if e, ok := err.(*input.Error); ok {
			e.File = name
			return nil, e
		}
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	x := &svg{d: newDrawing(site.DrawingSVG), o: o, ids: map[string]*element{}}
	x.index(root)
	if err := x.units(root); err != nil {
		return nil, err
	}
	if x.d.MetresPerUnit > 0 && o.Keep != nil {
		x.tol = o.ToleranceM / x.d.MetresPerUnit
	}
	for _, c := range root.children {
		if err := x.draw(c, state{m: identity, under: -1}); err != nil {
			return nil, err
		}
	}
	return x.d, nil
}

// index finds elements by their id, the first of each.
func (x *svg) index(e *element) {
	if id := e.attr["id"]; id != "" && x.ids[id] == nil {
		x.ids[id] = e
	}
	for _, c := range e.children {
		x.index(c)
	}
}

// units settles how large a unit is: as asked for, or by the paper size and the
// ratio of the drawing.
func (x *svg) units(root *element) error {
	x.d.MetresPerUnit = x.o.MetresPerUnit
	box, err := numbers(root.attr["viewBox"])
	if err != nil || len(box) != 0 && (len(box) != 4 || !(box[2] > 0 && box[3] > 0)) {
		return &input.Error{Line: root.line, What: fmt.Sprintf("the viewBox is %q", clip(root.attr["viewBox"])), Want: "write four numbers, the last two above 0"}
	}
	perUnit := onPaper["px"]
	if len(box) == 4 {
		perUnit = 0
		w, okW := parseLength(root.attr["width"])
		h, okH := parseLength(root.attr["height"])
		switch {
		case okW && okH && w > 0 && h > 0:
			perUnit = min(w/box[2], h/box[3])
		case okW && w > 0:
			perUnit = w / box[2]
		case okH && h > 0:
			perUnit = h / box[3]
		}
	}
	if perUnit > 0 {
		x.d.Unit = fmt.Sprintf("%.6g mm on paper", perUnit*1000)
		if x.o.Ratio > 0 && x.o.MetresPerUnit == 0 {
			x.d.MetresPerUnit = perUnit * x.o.Ratio
		}
	} else if x.o.Ratio > 0 && x.o.MetresPerUnit == 0 {
		return &input.Error{Line: root.line, What: "the drawing has no paper size, so 1 on paper can't be so much in the building", Want: "say a known distance with --scale"}
	}
	return nil
}

// state is what an element has from those around it.
type state struct {
	m      affine
	layer  string
	under  int
	depth  int // of use
	hidden bool
}

// Elements that draw nothing where they stand.
var undrawn = map[string]bool{"defs": true, "symbol": true, "clipPath": true, "mask": true, "pattern": true, "marker": true, "metadata": true,
	"title": true, "desc": true, "style": true, "script": true, "linearGradient": true, "radialGradient": true, "filter": true, "namedview": true, "font": true}

// numbered are ids that programs give.
var numbered = regexp.MustCompile(`^(svg|g|path|rect|circle|ellipse|line|polyline|polygon|use|text|tspan|image|layer)[-_]?[0-9][-_0-9]*$`)

// title is the name that a person gave an element.
func (e *element) title() string {
	if l := e.attr["label"]; l != "" {
		return strings.ToValidUTF8(l, "\uFFFD")
	}
	if id := e.attr["id"]; id != "" && !numbered.MatchString(id) {
		return strings.ToValidUTF8(id, "\uFFFD")
	}
	return ""
}

func (x *svg) draw(e *element, s state) error {
	if undrawn[e.name] {
		return nil
	}
	if e.style("display") == "none" {
		x.d.Left["not displayed"]++
		return nil
	}
	switch e.style("visibility") {
	case "hidden", "collapse":
		s.hidden = true
	case "visible":
		s.hidden = false
	}
	if t := e.attr["transform"]; t != "" {
		m, err := parseTransform(t)
		if err != nil {
			return x.fail(e, err.Error())
		}
		s.m = s.m.after(m)
	}
	switch e.name {
	case "g", "a", "switch", "svg":
		return x.group(e, s)
	case "use":
		return x.use(e, s)
	case "image", "foreignObject":
		x.d.Left[e.name]++
		return nil
	}
	if s.hidden {
		x.d.Left["not visible"]++
		return nil
	}
	return x.shape(e, s)
}

func (x *svg) fail(e *element, what string) error {
	return &input.Error{Line: e.line, What: fmt.Sprintf("<%s>: %s", clip(e.name), what), Want: "correct it, or save the drawing again"}
}

func (x *svg) group(e *element, s state) error {
	if t := e.title(); t != "" {
		t = strings.ReplaceAll(clip(t), "/", "-")
		if s.layer != "" {
			t = s.layer + "/" + t
		}
		s.layer = t
	}
	if e.name == "svg" {
		v, err := x.lengths(e, "x", "y", "width", "height")
		if err != nil {
			return err
		}
		box, err := numbers(e.attr["viewBox"])
		if err != nil {
			return x.fail(e, "the viewBox: "+err.Error())
		}
		s.m = s.m.after(fitBox(box, v[0], v[1], v[2], v[3], e.attr["preserveAspectRatio"]))
	}
	for _, c := range e.children {
		if err := x.draw(c, s); err != nil {
			return err
		}
	}
	return nil
}

// use draws an element that stands elsewhere, as a mark with what is in it.
func (x *svg) use(e *element, s state) error {
	target := x.ids[strings.TrimPrefix(strings.TrimSpace(e.attr["href"]), "#")]
	if target == nil {
		x.d.Left["use of what is not in the file"]++
		return nil
	}
	if s.depth++; s.depth > MaxDepth {
		return x.fail(e, fmt.Sprintf("use stands more than %d deep in itself or others", MaxDepth))
	}
	if err := x.copied(e); err != nil {
		return err
	}
	v, err := x.lengths(e, "x", "y", "width", "height")
	if err != nil {
		return err
	}
	s.m = s.m.after(translate(v[0], v[1]))
	if !s.hidden {
		k, err := x.d.add(Shape{Kind: Mark, Layer: x.layer(e, s), At: []orb.Point{s.m.at(orb.Point{})}, Name: e.title(), Under: s.under, Source: e.line}, "use", x.o.Keep)
		if err != nil {
			return err
		}
		if k >= 0 {
			s.under = k
		}
	}
	if target.name == "symbol" {
		box, err := numbers(target.attr["viewBox"])
		if err != nil {
			return x.fail(target, "the viewBox: "+err.Error())
		}
		s.m = s.m.after(fitBox(box, 0, 0, v[2], v[3], target.attr["preserveAspectRatio"]))
		for _, c := range target.children {
			if err := x.draw(c, s); err != nil {
				return err
			}
		}
		return nil
	}
	return x.draw(target, s)
}

func (x *svg) copied(e *element) error {
	err := x.d.copied()
	if in, ok := err.(*input.Error); ok {
		in.Line = e.line
	}
	return err
}

// layer is the layer of a shape: its group's, else its class, else "svg".
func (x *svg) layer(e *element, s state) string {
	if s.layer != "" {
		return s.layer
	}
	if c := strings.Fields(e.attr["class"]); len(c) > 0 {
		return strings.ToValidUTF8(c[0], "\uFFFD")
	}
	return "svg"
}

// lengths reads attributes in user units; one that is missing is 0.
func (x *svg) lengths(e *element, names ...string) ([4]float64, error) {
	var out [4]float64
	for i, n := range names {
		t := strings.TrimSpace(e.attr[n])
		if t == "" || t == "auto" {
			continue
		}
		m, ok := parseLength(t)
		switch {
		case ok:
			out[i] = m / onPaper["px"]
		case strings.HasSuffix(t, "%") && (n == "width" || n == "height"): // of the viewport: no box is fitted
		default:
			return out, x.fail(e, fmt.Sprintf("%s is %q", n, clip(t)))
		}
	}
	return out, nil
}
