package drawing_test

import (
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"footrule/internal/drawing"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// otherHall holds a file made of the hall by another program to what
// make_dxf.py and hall.svg draw.
func otherHall(t *testing.T, path string, o drawing.Options, block bool) *drawing.Made {
	t.Helper()
	made := floorOf(t, path, o, drawing.Making{Rules: hallRules(t)})
	f := &made.Floor
	b := f.BoundingBox()
	for i, want := range []float64{0, 0, 24, 15} {
		assert.InDelta(t, want, []float64{b.Min[0], b.Min[1], b.Max[0], b.Max[1]}[i], 0.002)
	}
	assert.InDelta(t, 24*15-(9-math.Pi*9/4)-9, f.Area(), 0.1)
	assert.InDelta(t, 23, lengthOf(f, "brick"), 0.01)
	plaster, glass := 21.0, 19.12
	if block {
		plaster, glass = 23, 20.12
	}
	assert.InDelta(t, plaster, lengthOf(f, "plasterboard"), 0.01)
	assert.InDelta(t, glass, lengthOf(f, "glass"), 0.1)
	require.Len(t, made.AccessPoints, 3)
	for i, want := range []orb.Point{{4, 13}, {12, 4}, {21, 10}} {
		assert.InDeltaSlice(t, want[:], made.AccessPoints[i].At[:], 0.002)
	}
	return made
}

// ogr2ogr read the DXF by itself, so that its GeoJSON holds our reading of DXF
// to another's: blocks, bulges, ellipses, splines, extrusions. PROJ made the
// degrees.
func TestHallByOgr(t *testing.T) {
	otherHall(t, filepath.Join(testdata, "hall-mm.geojson"), drawing.Options{MetresPerUnit: 0.001, Local: true}, true)
	made := otherHall(t, filepath.Join(testdata, "hall-wgs84.geojson"), drawing.Options{}, true)
	assert.Equal(t, site.DrawingWGS84, made.Floor.Drawing.Kind)
	assert.InDeltaSlice(t, []float64{8.5, 47.3}, made.Floor.Drawing.Origin[:], 1e-8)
}

func TestHallSVG(t *testing.T) {
	made := otherHall(t, filepath.Join(testdata, "hall.svg"), drawing.Options{Ratio: 100}, false)
	var names []string
	for i := range made.AccessPoints {
		names = append(names, made.AccessPoints[i].ID, fmt.Sprint(made.Floor.Points[i]))
	}
	assert.Equal(t, []string{"AP-N", "{P-1 [2 2]}", "AP-S", "{P-2 [12 7]}", "AP-E", "{P-3 [22 3]}"}, names)
	assert.Equal(t, &site.Drawing{File: "hall.svg", Kind: site.DrawingSVG, Origin: orb.Point{20, 180}, MetresPerUnit: 0.1}, made.Floor.Drawing)
}

// Another program made paths of rectangles, lines, ellipses and uses.
func TestHallPaths(t *testing.T) {
	made := otherHall(t, filepath.Join(testdata, "hall-paths.svg"), drawing.Options{Ratio: 100}, false)
	assert.Equal(t, "AP-N", made.AccessPoints[0].ID)
}

func TestOthersMadeAnew(t *testing.T) {
	ogr, inkscape := exec.Command("ogr2ogr", "--version").Run() == nil, exec.Command("inkscape", "--version").Run() == nil
	if !ogr && !inkscape {
		t.Skip("neither gdal-bin nor inkscape is installed")
	}
	dir := t.TempDir()
	for _, f := range []string{"hall-r2000.dxf", "hall.svg", "make_other.sh"} {
		b, err := os.ReadFile(filepath.Join(testdata, f))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(dir, f), b, 0o644))
	}
	out, err := exec.Command("sh", filepath.Join(dir, "make_other.sh"), dir).CombinedOutput()
	require.NoError(t, err, string(out))
	if ogr {
		otherHall(t, filepath.Join(dir, "hall-mm.geojson"), drawing.Options{MetresPerUnit: 0.001, Local: true}, true)
		otherHall(t, filepath.Join(dir, "hall-wgs84.geojson"), drawing.Options{}, true)
	}
	if inkscape {
		otherHall(t, filepath.Join(dir, "hall-paths.svg"), drawing.Options{Ratio: 100}, false)
	}
}

// read reads a text as a drawing and makes a floor of its layer O.
func read(t *testing.T, name, text string, o drawing.Options) (*drawing.Made, error) {
	r := rules(t, "O=outline", "W=brick", "A=aps")
	o.Keep = r.Keep
	d, err := drawing.Read(name, strings.NewReader(text), o)
	if err != nil {
		return nil, err
	}
	return d.Floor(name, drawing.Making{ID: "G", Rules: r, Bands: nil})
}

func TestSVGRefuses(t *testing.T) {
	const head = `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">` + "\n"
	deep := strings.Repeat("<g>", 200)
	for _, c := range []struct{ name, text, want string }{
		{"bomb", "<!DOCTYPE svg [\n<!ENTITY a \"aaaaaaaaaa\"><!ENTITY b \"&a;&a;&a;&a;\">]>\n<svg>&b;</svg>", "x.svg:2:53: the file defines entities of its own; save it as plain SVG"},
		{"entity", head + `<g id="O">&b;</g></svg>`, "x.svg:2: not SVG: invalid character entity &b;; correct it, or save the drawing again"},
		{"no svg", "<html></html>", "x.svg:1: the file holds <html>, not <svg>; save the drawing as SVG"},
		{"cut off", head + `<g id="O">`, "x.svg:2: not SVG: unexpected EOF; correct it, or save the drawing again"},
		{"blank", " \n ", "x.svg: the file holds no drawing; save it as SVG"},
		{"deep", head + deep, "x.svg:2: elements stand more than 100 deep in each other; dissolve groups"},
		{"command", head + `<path id="O" d="M0 0 L 10 10 X"/></svg>`, `x.svg:2: <path>: its data, character 14: 'X' is no command; correct it, or save the drawing again`},
		{"begin", head + `<path id="O" d="L 10 10"/></svg>`, `x.svg:2: <path>: its data, character 1: a path begins with M; correct it, or save the drawing again`},
		{"number", head + `<path id="O" d="M 10 1e999"/></svg>`, `x.svg:2: <path>: its data, character 6: 1e999 is no number that a drawing can have; correct it, or save the drawing again`},
		{"missing", head + `<path id="O" d="M 10"/></svg>`, `x.svg:2: <path>: its data, character 5: a number should stand here; correct it, or save the drawing again`},
		{"flag", head + `<path id="O" d="M0 0 a1 1 0 2 0 1 1"/></svg>`, `x.svg:2: <path>: its data, character 13: a flag of an arc is 0 or 1; correct it, or save the drawing again`},
		{"transform", head + `<g transform="twist(2)"/></svg>`, `x.svg:2: <g>: the transform twist with 1 numbers is none that there is; correct it, or save the drawing again`},
		{"huge", head + `<g id="O" transform="scale(1e11)"><rect width="1000" height="9"/></g></svg>`, `x.svg:2: a rect on layer "O" comes out at (9.999999999999998e+13, 0); correct the drawing`},
		{"length", head + `<rect width="wide" height="9"/></svg>`, `x.svg:2: <rect>: width is "wide"; correct it, or save the drawing again`},
		{"box", `<svg viewBox="0 0 0 9"/>`, `x.svg:1: the viewBox is "0 0 0 9"; write four numbers, the last two above 0`},
		{"loop", head + `<g id="a"><use href="#a"/></g></svg>`, "x.svg:2: <use>: use stands more than 16 deep in itself or others; correct it, or save the drawing again"},
		{"copies", head + `<rect id="a" width="1" height="1"/>` + doubling(18) + "</svg>", "x.svg:3: blocks put inside blocks make more than 262144 parts; save the plan with its blocks dissolved, without furniture"},
		{"no unit", head + `<g id="O"><rect width="20" height="10"/></g></svg>`, "x.svg: the drawing says no unit, and is 20 by 10 of them; say a known distance with --scale, or what it is drawn at, such as --ratio 1:100"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := read(t, "x.svg", c.text, drawing.Options{})
			assert.EqualError(t, err, c.want)
		})
	}
	_, err := read(t, "x.svg", head+`<g id="O"><rect width="20" height="10"/></g></svg>`, drawing.Options{Ratio: 100})
	assert.EqualError(t, err, "x.svg:1: the drawing has no paper size, so 1 on paper can't be so much in the building; say a known distance with --scale")
	_, err = read(t, "x.svg", head+strings.Repeat(" ", 33<<20)+"</svg>", drawing.Options{})
	assert.EqualError(t, err, "x.svg: the file is larger than 32 MiB; save only the plan")
}

// doubling are groups of which each uses the one before it twice.
func doubling(n int) string {
	s, last := "\n", "a"
	for i := range n {
		if i%15 == 14 { // not deeper than may be: the depth is not what is tried here
			break
		}
		id := fmt.Sprintf("b%d", i)
		s += fmt.Sprintf(`<g id="%s">%s</g>`, id, strings.Repeat(fmt.Sprintf(`<use href="#%s"/>`, last), 3))
		last = id
	}
	return s
}

func TestGeoJSONRefuses(t *testing.T) {
	feature := func(geom string) string {
		return "{\"type\": \"FeatureCollection\", \"features\": [\n{\"type\": \"Feature\", \"properties\": {\"layer\": \"O\"}, \"geometry\": " + geom + "}\n]}"
	}
	for _, c := range []struct{ name, text, want string }{
		{"no JSON", "hello", `x.geojson:1:2: not GeoJSON: invalid character 'h' looking for beginning of value; correct it, or save the drawing again`},
		{"list", "[1]", `x.geojson:1:1: not GeoJSON: it begins with [; correct it, or save the drawing again`},
		{"no type", "{}", `x.geojson:1:1: not GeoJSON: there is no type; correct it, or save the drawing again`},
		{"cut off", feature("null")[:60], `x.geojson:2:1: the file ends in the middle; correct it, or save the drawing again`},
		{"type", feature(`{"type": "Circle", "coordinates": [1, 2]}`), `x.geojson:2:1: not GeoJSON: a geometry has the type "Circle"; correct it, or save the drawing again`},
		{"text", feature(`{"type": "Point", "coordinates": ["a", 2]}`), `x.geojson:2:1: not GeoJSON: here stands a string that can't be here; correct it, or save the drawing again`},
		{"short", feature(`{"type": "Point", "coordinates": [1]}`), `x.geojson:2:1: not GeoJSON: a position has 1 numbers, not 2; correct it, or save the drawing again`},
		{"none", feature(`{"type": "Point"}`), `x.geojson:2:1: not GeoJSON: a geometry of the type "Point" has no coordinates; correct it, or save the drawing again`},
		{"huge", feature(`{"type": "Point", "coordinates": [1e999, 2]}`), `x.geojson:2:1: not GeoJSON: here stands a number 1e999 that can't be here; correct it, or save the drawing again`},
		{"metres", feature(`{"type": "Point", "coordinates": [412000, 87000]}`), `x.geojson:2: (412000, 87000) is no longitude and latitude in degrees; if coordinates are metres, say --unit m`},
		{"small metres", feature(`{"type": "Polygon", "coordinates": [[[0, 0], [24, 0], [24, 15], [0, 15], [0, 0]]]}`),
			`x.geojson: (0, 0) and (24, 0) are more than 5 degrees apart; coordinates are taken for longitude and latitude; if they are metres, say --unit m`},
		{"system", `{"type": "FeatureCollection", "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::25832"}}, "features": []}`,
			`x.geojson:1: the coordinates are of another reference system than WGS 84; say their unit, such as --unit m, or save the drawing in WGS 84`},
		{"no outline", feature("null"), `x.geojson: the layer of the outline holds no lines; look at what the layers hold, or take --box for the box around what is drawn`},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := read(t, "x.geojson", c.text, drawing.Options{})
			assert.EqualError(t, err, c.want)
		})
	}
	made, err := read(t, "x.geojson", feature(`{"type": "Polygon", "coordinates": [[[0, 0], [24, 0], [24, 15], [0, 15], [0, 0]]]}`), drawing.Options{Local: true, MetresPerUnit: 1})
	require.NoError(t, err)
	assert.Equal(t, orb.Ring{{0, 0}, {24, 0}, {24, 15}, {0, 15}}, made.Floor.Outline)
}
