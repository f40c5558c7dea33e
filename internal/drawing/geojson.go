package drawing

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"footrule/internal/input"
	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// maxFeature is the largest piece of a GeoJSON that is looked at at once; the
// features of a collection are read one after the other.
const maxFeature = 16 << 20

// geo reads a GeoJSON (RFC 7946): coordinates are longitude and latitude in
// degrees on WGS 84, unless they are said to be local.
type geo struct {
	d    *Drawing
	o    Options
	src  *window
	key  string
	kind string // of the outermost object
}

func readGeoJSON(name string, r io.Reader, o Options) (*Drawing, error) {
	g := &geo{d: newDrawing(site.DrawingWGS84), o: o, src: &window{r: r, line: 1}, key: "layer"}
	if o.LayerKey != "" {
		g.key = strings.ToLower(o.LayerKey)
	}
	g.d.MetresPerUnit = 1
	if o.Local {
		g.d.Kind, g.d.MetresPerUnit = site.DrawingGeoJSON, o.MetresPerUnit
	}
	if err := g.read(); err != nil {
		var in *input.Error
		var syntax *json.SyntaxError
		var kind *json.UnmarshalTypeError
		switch {
		case errors.As(err, &in):
			in.File = name
			return nil, in
		case errors.As(err, &syntax), errors.As(err, &kind), errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, errNotGeo):
			what := "not GeoJSON: " + strings.TrimPrefix(err.Error(), errNotGeo.Error()+": ")
			if kind != nil {
				what = "not GeoJSON: here stands a " + kind.Value + " that can't be here"
			}
			if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
				what = "the file ends in the middle"
			}
			line, col := g.src.place(g.src.mark)
			if syntax != nil {
				line, col = g.src.place(syntax.Offset)
			}
			return nil, &input.Error{File: name, Line: line, Col: col, What: what, Want: "correct it, or save the drawing again"}
		}
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return g.d, nil
}

var errNotGeo = errors.New("no GeoJSON")

func (g *geo) read() error {
	dec := json.NewDecoder(g.src)
	t, err := dec.Token()
	if err != nil {
		return err
	}
	if t != json.Delim('{') {
		return fmt.Errorf("%w: it begins with %v", errNotGeo, t)
	}
	single := map[string]json.RawMessage{}
	for dec.More() {
		g.src.move(dec.InputOffset())
		k, err := dec.Token()
		if err != nil {
			return err
		}
		key, _ := k.(string)
		if key == "features" {
			if err := g.features(dec); err != nil {
				return err
			}
			continue
		}
		var raw json.RawMessage
		if err := dec.Decode(&raw); err != nil {
			return err
		}
		switch key {
		case "type":
			if err := json.Unmarshal(raw, &g.kind); err != nil {
				return err
			}
		case "crs":
			if err := g.system(raw); err != nil {
				return err
			}
		}
		if len(single) < 64 {
			single[key] = raw
		}
	}
	if _, err := dec.Token(); err != nil {
		return err
	}
	switch g.kind {
	case "FeatureCollection":
		return nil
	case "":
		return fmt.Errorf("%w: there is no type", errNotGeo)
	}
	whole, err := json.Marshal(single)
	if err != nil {
		return err
	}
	var o object
	if err := json.Unmarshal(whole, &o); err != nil {
		return err
	}
	if o.Type != "Feature" {
		o = object{Type: "Feature", Geometry: &object{Type: o.Type, Coordinates: o.Coordinates, Geometries: o.Geometries}}
	}
	return g.feature(&o)
}

// object is a Feature or a geometry.
type object struct {
	Type        string
	ID          any
	Properties  map[string]any
	Geometry    *object
	Geometries  []*object
	Coordinates json.RawMessage
}

// features reads the list of features, one at a time.
func (g *geo) features(dec *json.Decoder) error {
	if t, err := dec.Token(); err != nil {
		return err
	} else if t != json.Delim('[') {
		return fmt.Errorf("%w: features is no list", errNotGeo)
	}
	for dec.More() {
		g.src.move(dec.InputOffset())
		var f object
		if err := dec.Decode(&f); err != nil {
			return err
		}
		if f.Type != "Feature" {
			return fmt.Errorf("%w: a feature has the type %q", errNotGeo, clip(f.Type))
		}
		if err := g.feature(&f); err != nil {
			return err
		}
	}
	_, err := dec.Token()
	return err
}

// system refuses the coordinates of another reference system, which GeoJSON
// had before RFC 7946.
func (g *geo) system(raw json.RawMessage) error {
	text := strings.ToUpper(string(raw))
	if g.o.Local || bytes.Equal(raw, []byte("null")) || strings.Contains(text, "CRS84") || strings.Contains(text, "4326") {
		return nil
	}
	line, _ := g.src.place(g.src.mark)
	return &input.Error{Line: line, What: "the coordinates are of another reference system than WGS 84", Want: "say their unit, such as --unit m, or save the drawing in WGS 84"}
}

// feature adds the shapes of a feature.
func (g *geo) feature(f *object) error {
	line, _ := g.src.place(g.src.mark)
	if f.Geometry == nil {
		g.d.Left["feature without a geometry"]++
		return nil
	}
	s := Shape{Under: -1, Source: line}
	for k, v := range f.Properties {
		text, ok := v.(string)
		if n, isNum := v.(float64); isNum {
			text, ok = fmt.Sprint(n), true
		}
		switch {
		case !ok:
		case strings.ToLower(k) == g.key:
			s.Layer = text
		case strings.ToLower(k) == "name" && s.Name == "", strings.ToLower(k) == "id":
			s.Name = text
		}
	}
	if s.Name == "" {
		switch id := f.ID.(type) {
		case string:
			s.Name = id
		case float64:
			s.Name = fmt.Sprint(id)
		}
	}
	return g.geometry(f.Geometry, s, 0)
}

// position is a place; a height after it is not looked at.
type position orb.Point

func (p *position) UnmarshalJSON(b []byte) error {
	var v []float64
	if err := json.Unmarshal(b, &v); err != nil {
		return err
	}
	if len(v) < 2 {
		return fmt.Errorf("%w: a position has %d numbers, not 2", errNotGeo, len(v))
	}
	*p = position{v[0], v[1]}
	return nil
}

func places(v []position) []orb.Point {
	out := make([]orb.Point, len(v))
	for i, p := range v {
		out[i] = orb.Point(p)
	}
	return out
}

func (g *geo) geometry(o *object, s Shape, depth int) error {
	if depth > MaxDepth {
		return &input.Error{Line: s.Source, What: fmt.Sprintf("collections lie more than %d deep in each other", MaxDepth), Want: "save the drawing with its groups dissolved"}
	}
	if o.Coordinates == nil && o.Type != "GeometryCollection" {
		return fmt.Errorf("%w: a geometry of the type %q has no coordinates", errNotGeo, clip(o.Type))
	}
	var point position
	var line []position
	var many [][]position
	var more [][][]position
	switch o.Type {
	case "Point":
		if err := json.Unmarshal(o.Coordinates, &point); err != nil {
			return err
		}
		return g.points([]position{point}, s)
	case "MultiPoint":
		if err := json.Unmarshal(o.Coordinates, &line); err != nil {
			return err
		}
		return g.points(line, s)
	case "LineString":
		if err := json.Unmarshal(o.Coordinates, &line); err != nil {
			return err
		}
		s.Kind, s.At = Line, places(line)
		return g.add(s, o.Type)
	case "MultiLineString":
		if err := json.Unmarshal(o.Coordinates, &many); err != nil {
			return err
		}
		for _, l := range many {
			s.Kind, s.At = Line, places(l)
			if err := g.add(s, "LineString"); err != nil {
				return err
			}
		}
		return nil
	case "Polygon":
		if err := json.Unmarshal(o.Coordinates, &many); err != nil {
			return err
		}
		return g.polygon(many, s)
	case "MultiPolygon":
		if err := json.Unmarshal(o.Coordinates, &more); err != nil {
			return err
		}
		for _, p := range more {
			if err := g.polygon(p, s); err != nil {
				return err
			}
		}
		return nil
	case "GeometryCollection":
		for _, c := range o.Geometries {
			if c == nil {
				continue
			}
			if err := g.geometry(c, s, depth+1); err != nil {
				return err
			}
		}
		return nil
	}
	return fmt.Errorf("%w: a geometry has the type %q", errNotGeo, clip(o.Type))
}

func (g *geo) points(v []position, s Shape) error {
	for _, p := range v {
		s.Kind, s.At = Mark, []orb.Point{orb.Point(p)}
		if err := g.add(s, "Point"); err != nil {
			return err
		}
	}
	return nil
}

func (g *geo) polygon(rings [][]position, s Shape) error {
	for i, r := range rings {
		if n := len(r); n > 1 && r[0] == r[n-1] {
			r = r[:n-1]
		}
		s.Kind, s.At = Ring, places(r)
		what := "Polygon"
		if i > 0 {
			what, s.Name = "hole of a Polygon", ""
		}
		if err := g.add(s, what); err != nil {
			return err
		}
	}
	return nil
}

func (g *geo) add(s Shape, what string) error {
	if len(s.At) == 0 || s.Kind != Mark && len(s.At) < 2 {
		g.d.Left[what+" without corners"]++
		return nil
	}
	if s.Layer == "" {
		s.Layer = strings.TrimPrefix(what, "hole of a ")
	}
	if g.d.Kind == site.DrawingWGS84 {
		for _, p := range s.At {
			if !(math.Abs(p[0]) <= 180 && math.Abs(p[1]) <= 90) {
				return &input.Error{Line: s.Source, What: fmt.Sprintf("(%v, %v) is no longitude and latitude in degrees", p[0], p[1]), Want: "if coordinates are metres, say --unit m"}
			}
		}
	}
	_, err := g.d.add(s, what, g.o.Keep)
	return err
}
