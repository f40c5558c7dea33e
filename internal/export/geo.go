package export

import (
	"encoding/json"
	"fmt"
	"io"
	"math"

	"footrule/internal/coverage"
	"footrule/internal/drawing"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/project"
)

// layer is one kind of thing on a floor; each has geometries of one type.
type layer struct {
	name  string
	shown func(d *Data, floor int) []*feature
}

var layers = []layer{
	{"areas", areas},
	{"walls", walls},
	{"points", points},
	{"access-points", accessPoints},
	{"errors", errorVectors},
	{"levels", levels},
	{"bound", bounds},
}

// The levels that contours are drawn at, in dBm and metres.
var (
	contourDBm = []float64{-85, -80, -75, -70, -65, -60, -55, -50, -45}
	contourM   = []float64{1, 2, 3, 4, 5, 7, 10, 15}
)

// geoFiles are a file a floor and layer, because viewers take a file for one
// table of one type of geometry. Layers that have nothing are left out.
func geoFiles(d *Data) []File {
	var names namer
	var out []File
	for i := range d.Site.Floors {
		f := &d.Site.Floors[i]
		folder := "geojson/" + names.of(f.ID, f.ID)
		for _, l := range layers {
			if features := l.shown(d, i); len(features) > 0 {
				geographic := onEarth(f)
				out = append(out, File{folder + "/" + l.name + ".geojson", func(w io.Writer) error {
					return writeGeo(w, d.Site.Name+", floor "+f.ID+": "+l.name, place(features, f, geographic), geographic)
				}})
			}
		}
	}
	return out
}

// oneGeo writes every layer of every floor as one collection.
func oneGeo(d *Data, w io.Writer) error {
	geographic := true
	for i := range d.Site.Floors {
		geographic = geographic && onEarth(&d.Site.Floors[i])
	}
	var all []*feature
	for i := range d.Site.Floors {
		for _, l := range layers {
			all = append(all, place(l.shown(d, i), &d.Site.Floors[i], geographic)...)
		}
	}
	return writeGeo(w, d.Site.Name, all, geographic)
}

// onEarth reports whether the place of a floor in degrees is known.
func onEarth(f *site.Floor) bool { return f.Drawing != nil && f.Drawing.Kind == site.DrawingWGS84 }

// place gives the features their coordinates: degrees of WGS 84 where they are
// known, else metres on the plan, to a millimetre or better.
func place(features []*feature, f *site.Floor, geographic bool) []*feature {
	to, digits := func(p orb.Point) orb.Point { return p }, 1e3
	if geographic {
		to, digits = drawing.FromPlan(f.Drawing), 1e8
	}
	rounded := func(p orb.Point) orb.Point {
		p = to(p)
		for k := range p {
			p[k] = math.Round(p[k]*digits)/digits + 0 // no −0
		}
		return p
	}
	for _, ft := range features {
		ft.Shape.Coordinates = project.Geometry(orb.Clone(ft.Shape.Coordinates), rounded)
	}
	return features
}

// local is how metres on the plan say that they are on no globe. RFC 7946 knows
// degrees alone; this is the "crs" of its forerunner, the GeoJSON of 2008, with a
// local system as OGC 01-009 writes one, which GDAL and what builds on it read.
const local = `LOCAL_CS["plan",UNIT["metre",1],AXIS["x",EAST],AXIS["y",NORTH]]`

// writeGeo writes a collection: degrees by RFC 7946, or metres on the plan.
func writeGeo(w io.Writer, name string, features []*feature, geographic bool) error {
	c := collection{Type: "FeatureCollection", Name: name, Features: features}
	if c.Features == nil {
		c.Features = []*feature{}
	}
	if !geographic {
		c.CRS = map[string]any{"type": "name", "properties": map[string]string{"name": local}}
		c.Coordinates = "metres on the plan, x to the right, y up"
	}
	data, err := json.Marshal(c)
	if err != nil {
		return err
	}
	_, err = w.Write(append(data, '\n'))
	return err
}

// collection and feature are the objects of RFC 7946.
type collection struct {
	Type        string         `json:"type"`
	Name        string         `json:"name"`
	CRS         map[string]any `json:"crs,omitempty"`
	Coordinates string         `json:"coordinates,omitempty"`
	Features    []*feature     `json:"features"`
}

type feature struct {
	Type       string         `json:"type"`
	Properties map[string]any `json:"properties"`
	Shape      shape          `json:"geometry"`
}

type shape struct {
	Type        string       `json:"type"`
	Coordinates orb.Geometry `json:"coordinates"`
}

func newFeature(g orb.Geometry, kind, floor, id string) *feature {
	f := &feature{Type: "Feature", Properties: map[string]any{"kind": kind, "floor": floor}, Shape: shape{g.GeoJSONType(), g}}
	if id != "" {
		f.Properties["id"] = id
	}
	return f
}

// closed gives a ring as a polygon of RFC 7946: closed, counterclockwise.
func closed(r orb.Ring) orb.Polygon {
	out := append(append(orb.Ring{}, r...), r[0])
	if out.Orientation() == orb.CW {
		out.Reverse()
	}
	return orb.Polygon{out}
}

func areas(d *Data, floor int) []*feature {
	f := &d.Site.Floors[floor]
	o := newFeature(closed(f.Outline), "outline", f.ID, "")
	o.Properties["elevation_m"] = f.ElevationM
	out := []*feature{o}
	for _, a := range f.Areas {
		out = append(out, newFeature(closed(a.Polygon), string(a.Kind), f.ID, a.ID))
	}
	return out
}

func walls(d *Data, floor int) []*feature {
	f := &d.Site.Floors[floor]
	var out []*feature
	for _, w := range f.Walls {
		ft := newFeature(w.Line, "wall", f.ID, "")
		ft.Properties["material"] = w.Material
		out = append(out, ft)
	}
	return out
}

func points(d *Data, floor int) []*feature {
	f := &d.Site.Floors[floor]
	visits := map[string]int{}
	for i := range d.Walks {
		for _, v := range d.Walks[i].Standing() {
			if v.Floor == f.ID {
				visits[v.Point]++
			}
		}
	}
	var out []*feature
	for _, p := range f.Points {
		ft := newFeature(p.At, "point", f.ID, p.ID)
		ft.Properties["visits"] = visits[p.ID]
		out = append(out, ft)
	}
	return out
}

func accessPoints(d *Data, floor int) []*feature {
	f := &d.Site.Floors[floor]
	var out []*feature
	for i := range d.Site.AccessPoints {
		a := &d.Site.AccessPoints[i]
		if a.Floor != f.ID {
			continue
		}
		ft := newFeature(a.At, "access-point", f.ID, a.ID)
		ft.Properties["height_m"] = a.HeightM
		bands := []string{}
		for _, r := range a.Radios {
			bands = append(bands, string(r.Band))
		}
		ft.Properties["bands"] = bands
		out = append(out, ft)
	}
	return out
}

// errorVectors lead from where the surveyor stood to the fix.
func errorVectors(d *Data, floor int) []*feature {
	if d.Errors == nil {
		return nil
	}
	f := &d.Site.Floors[floor]
	var out []*feature
	for i := range d.Errors.Judged {
		j := &d.Errors.Judged[i]
		if j.Floor != f.ID || !j.Fix.Located || j.FixFloor != f.ID {
			continue
		}
		ft := newFeature(orb.LineString{j.At, j.Fix.At}, "error", f.ID, "")
		ft.Properties["walk"], ft.Properties["visit"], ft.Properties["point"] = j.Walk, j.Visit, j.Point
		ft.Properties["error_m"] = millis(j.ErrorM)
		ft.Properties["method"], ft.Properties["protocol"] = d.Errors.Method, d.Errors.Protocol
		ft.Properties["bound_m"], ft.Properties["facing_deg"] = nil, nil
		if !math.IsNaN(j.BoundM) {
			ft.Properties["bound_m"] = millis(j.BoundM)
		}
		if deg := facing(j.FacingDeg); deg != nil {
			ft.Properties["facing_deg"] = *deg
		}
		out = append(out, ft)
	}
	return out
}

func millis(v float64) float64 { return math.Round(v*1e3) / 1e3 }

// mapped gives the map of a floor, nil where there is none.
func (d *Data) mapped(floor int) *coverage.FloorMap {
	if d.Map != nil {
		for i := range d.Map.Floors {
			if d.Map.Floors[i].Floor == floor {
				return &d.Map.Floors[i]
			}
		}
	}
	return nil
}

func levels(d *Data, floor int) []*feature {
	fm := d.mapped(floor)
	if fm == nil {
		return nil
	}
	f := &d.Site.Floors[floor]
	var out []*feature
	value := make([]float64, fm.Len())
	for k, ref := range d.Site.Radios() {
		for c := range value {
			value[c] = fm.Level(k, c)
		}
		ap := &d.Site.AccessPoints[ref.AP]
		for _, l := range contourDBm {
			for _, line := range fm.Contours(value, l) {
				ft := newFeature(line, "level", f.ID, ap.ID)
				ft.Properties["band"], ft.Properties["level_dbm"] = string(ap.Radios[ref.Radio].Band), l
				out = append(out, ft)
			}
		}
	}
	return out
}

func bounds(d *Data, floor int) []*feature {
	fm := d.mapped(floor)
	if fm == nil {
		return nil
	}
	value := d.Map.Accuracy(fm).BoundM
	var out []*feature
	for _, m := range contourM {
		for _, line := range fm.Contours(value, m) {
			ft := newFeature(line, "bound", d.Site.Floors[floor].ID, "")
			ft.Properties["bound_m"] = m
			ft.Properties["says"] = fmt.Sprintf("Cramér-Rao bound of %g m", m)
			out = append(out, ft)
		}
	}
	return out
}
