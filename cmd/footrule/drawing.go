package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"footrule/internal/canvas"
	"footrule/internal/drawing"
	"footrule/internal/radio"
	"footrule/internal/say"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/spf13/cobra"
)

// drawingFlags say how a floor is made of a drawing.
type drawingFlags struct {
	layers, bands                         []string
	floor, floorName, unit, scale, origin string
	window, join, faces, layerKey, ratio  string
	outline                               string
	elevation, turn, height               float64
	box                                   bool
}

func (f *drawingFlags) add(cmd *cobra.Command) {
	fl := cmd.Flags()
	fl.StringArrayVar(&f.layers, "layer", nil, "what a layer is: NAME=outline, zone, void, no-mount, points, aps or the material of its walls; * and ? stand for other characters (repeatable)")
	fl.StringVar(&f.floor, "floor", "", "the ID of the floor (default G)")
	fl.StringVar(&f.floorName, "floor-name", "", "the name of the floor")
	fl.Float64Var(&f.elevation, "elevation", 0, "height of the floor in metres")
	fl.StringVar(&f.unit, "unit", "", "the drawing's unit: mm, cm, m, in, ft, or how many metres one unit is")
	fl.StringVar(&f.scale, "scale", "", `two places in the drawing and how far apart they are in the building: "x1,y1 x2,y2 12.5m"`)
	fl.StringVar(&f.ratio, "ratio", "", "what an SVG with a paper size is drawn at: 1:100")
	fl.StringVar(&f.layerKey, "layer-key", "layer", "the property that names the layer of a GeoJSON's features")
	fl.StringVar(&f.origin, "origin", "", "the place in the drawing that is 0, 0 on the plan: x,y (default: the lower left of the outline)")
	fl.Float64Var(&f.turn, "turn", 0, "turn the plan clockwise by so many degrees")
	fl.StringVar(&f.outline, "outline", "", `the outline of a picture's floor, in its pixels: "x,y x,y x,y …" (default: the picture's edge)`)
	fl.StringVar(&f.window, "window", "", `take only what lies between two corners of the drawing: "x1,y1 x2,y2"`)
	fl.StringVar(&f.join, "join", "", "how far apart ends of the outline may be to count as one (default 0.05m)")
	fl.StringVar(&f.faces, "faces", "", "walls are drawn by both faces: lines of a material at most so far apart are one wall in their middle, such as 0.3m")
	fl.BoolVar(&f.box, "box", false, "the outline is the box around what is drawn")
	fl.Float64Var(&f.height, "ap-height", drawing.DefaultHeightM, "height in metres that access points hang at")
	fl.StringArrayVar(&f.bands, "band", nil, "a band that access points have: 2.4, 5 or 6 (repeatable; default 2.4 and 5)")
}

// given names a flag of a drawing that was given, "" where none was.
func (f *drawingFlags) given(cmd *cobra.Command) string {
	for _, name := range []string{"layer", "floor", "floor-name", "elevation", "unit", "scale", "ratio", "layer-key", "origin", "outline", "turn", "window", "join", "faces", "box", "ap-height", "band"} {
		if cmd.Flags().Changed(name) {
			return name
		}
	}
	return ""
}

// parse reads the flags.
func (f *drawingFlags) parse() (o drawing.Options, m drawing.Making, err error) {
	fail := func(flag string, err error) (drawing.Options, drawing.Making, error) {
		return o, m, usage(fmt.Errorf("--%s: %w", flag, err))
	}
	m = drawing.Making{ID: f.floor, Name: f.floorName, ElevationM: f.elevation, TurnDeg: f.turn, Box: f.box, HeightM: f.height}
	if m.ID == "" {
		m.ID = "G"
	}
	for _, l := range f.layers {
		r, err := drawing.ParseRule(l)
		if err != nil {
			return fail("layer", err)
		}
		m.Rules = append(m.Rules, r)
	}
	if f.unit != "" {
		if o.MetresPerUnit, err = drawing.ParseUnit(f.unit); err != nil {
			return fail("unit", err)
		}
		o.Local = true
	}
	if f.scale != "" {
		if f.unit != "" {
			return o, m, usage(errors.New("--unit and --scale both say how large the drawing is; give one"))
		}
		if o.MetresPerUnit, err = parseScale(f.scale); err != nil {
			return fail("scale", err)
		}
		o.Local = true
	}
	if f.ratio != "" {
		v, err := strconv.ParseFloat(strings.TrimPrefix(f.ratio, "1:"), 64)
		if err != nil || !(v >= 1 && v <= 1e5) {
			return o, m, usage(fmt.Errorf("--ratio %q; write 1:100 where a metre on the paper is 100 m in the building", f.ratio))
		}
		if o.Local {
			return o, m, usage(errors.New("--ratio, --unit and --scale all say how large the drawing is; give one"))
		}
		o.Ratio = v
	}
	o.LayerKey = f.layerKey
	if f.origin != "" {
		p, err := drawing.ParsePlace(f.origin)
		if err != nil {
			return fail("origin", err)
		}
		m.Origin = &orb.Point{p[0], p[1]}
	}
	if f.window != "" {
		places, err := parsePlaces(f.window)
		if err != nil || len(places) != 2 {
			return o, m, usage(fmt.Errorf(`--window %q; write two corners in the drawing's own coordinates, such as "0,0 6000,2400"`, f.window))
		}
		b := orb.MultiPoint(places).Bound()
		m.Window = &b
	}
	if f.join != "" {
		if m.JoinM, err = drawing.ParseDistance(f.join); err != nil {
			return fail("join", err)
		}
	}
	if f.faces != "" {
		if m.FacesM, err = drawing.ParseDistance(f.faces); err != nil {
			return fail("faces", err)
		}
		if m.FacesM > drawing.MaxFacesM {
			return o, m, usage(fmt.Errorf("--faces %s; walls are at most %g m thick", f.faces, drawing.MaxFacesM))
		}
	}
	if !(math.Abs(f.turn) < 360) {
		return o, m, usage(fmt.Errorf("--turn %v; write degrees between -360 and 360", f.turn))
	}
	bands := f.bands
	if len(bands) == 0 {
		bands = []string{"2.4", "5"}
	}
	for _, b := range bands {
		if !radio.Band(b).Valid() {
			return o, m, usage(fmt.Errorf("--band %q; write 2.4, 5 or 6", b))
		}
		m.Bands = append(m.Bands, radio.Band(b))
	}
	o.Keep = m.Rules.Keep
	return o, m, nil
}

// parseScale reads "x1,y1 x2,y2 12.5m" into metres per unit.
func parseScale(s string) (float64, error) {
	bad := fmt.Errorf(`%q; write two places and their distance, such as "120,80 920,80 12.5m"`, s)
	w := strings.Fields(s)
	if len(w) != 3 {
		return 0, bad
	}
	places, err := parsePlaces(strings.Join(w[:2], " "))
	if err != nil {
		return 0, err
	}
	d, err := drawing.ParseDistance(w[2])
	if err != nil {
		return 0, err
	}
	u := d / math.Hypot(places[0][0]-places[1][0], places[0][1]-places[1][1])
	if !(u >= site.MinMetresPerUnit && u <= site.MaxMetresPerUnit) {
		return 0, fmt.Errorf("%q makes one unit %g m; give two places that are apart", s, u)
	}
	return u, nil
}

func parsePlaces(s string) ([]orb.Point, error) {
	var out []orb.Point
	for _, w := range strings.Fields(s) {
		p, err := drawing.ParsePlace(w)
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out, nil
}

// isDrawing reports whether a plan is a drawing or a picture by its name.
func isDrawing(path string) bool { return drawing.Known(path) || drawing.IsPicture(path) }

// drawings lists the endings of drawings and pictures.
func drawings() string { return strings.Join(drawing.Ends(), ", ") + ", .png, .jpg" }

// foreign refuses files of formats that plans come in and that are not read.
func foreign(path string) error {
	want := map[string]string{".dwg": "save it as ASCII DXF", ".dwf": "save it as ASCII DXF", ".dgn": "save it as ASCII DXF", ".pdf": "save the page as SVG, or as a picture",
		".gif": "save it as PNG", ".bmp": "save it as PNG", ".tif": "save it as PNG", ".tiff": "save it as PNG", ".webp": "save it as PNG", ".svgz": "unpack it to .svg", ".shp": "save it as GeoJSON"}
	if w := want[strings.ToLower(filepath.Ext(path))]; w != "" {
		return usage(fmt.Errorf("%s: this format is not read; %s", path, w))
	}
	return nil
}

// readFloor makes a floor of a drawing or a picture; of this it also gives the
// bytes.
func (f *drawingFlags) readFloor(path string, o drawing.Options, m drawing.Making) (*drawing.Made, []byte, error) {
	if drawing.IsPicture(path) {
		return f.readPicture(path, o, m)
	}
	if f.outline != "" {
		return nil, nil, usage(errors.New("--outline lists the pixels of a picture; of a drawing, say which layer is it: --layer NAME=outline"))
	}
	made, err := readDrawing(path, o, m)
	return made, nil, err
}

// readDrawing reads a drawing and makes a floor of it.
func readDrawing(path string, o drawing.Options, m drawing.Making) (*drawing.Made, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	if len(m.Rules) == 0 {
		return nil, usage(fmt.Errorf("%s: say what its layers are, such as --layer WALLS=plasterboard; to see them: footrule plan %s", path, path))
	}
	d, err := drawing.Read(path, f, o)
	if err != nil {
		return nil, err
	}
	for _, r := range m.Rules {
		used := false
		for _, l := range d.Layers {
			used = used || drawing.Rules{r}.Keep(l.Name)
		}
		if !used {
			return nil, usage(fmt.Errorf("%s has no layer %q; to see its layers: footrule plan %s", path, r.Layer, path))
		}
	}
	return d.Floor(path, m)
}

// printMade says what became a floor and what was left out.
func printMade(w io.Writer, made *drawing.Made) {
	f := &made.Floor
	b := f.BoundingBox()
	fmt.Fprintf(w, "floor %s: %s by %s m, %s, %s, %s, %s\n", f.ID, say.Fixed(b.Max[0]-b.Min[0], 2), say.Fixed(b.Max[1]-b.Min[1], 2),
		wallsText(f), say.Count(len(f.Areas), "area"), say.Count(len(f.Points), "point"), say.Count(len(made.AccessPoints), "access point"))
	d := f.Drawing
	fmt.Fprintf(w, "  %s: 0, 0 on the plan is (%.10g, %.10g) in the drawing, %s\n", canvas.Clean(filepath.Base(d.File)), d.Origin[0], d.Origin[1], unitText(d))
	for _, l := range made.Left {
		text := fmt.Sprintf("  left out: %d × %s", l.Count, canvas.Clean(l.What))
		if l.LengthM > 0 {
			text += fmt.Sprintf(", %.2f m", l.LengthM)
		}
		if l.Placed {
			text += fmt.Sprintf(", the first at (%.2f, %.2f)", l.At[0], l.At[1])
		}
		fmt.Fprintln(w, text)
	}
	for _, n := range made.Notes {
		fmt.Fprintln(w, "  note: "+canvas.Clean(n))
	}
}

func unitText(d *site.Drawing) string {
	text := fmt.Sprintf("one unit is %.6g m", d.MetresPerUnit)
	switch d.Kind {
	case site.DrawingWGS84:
		text = "longitude and latitude"
	case site.DrawingPicture:
		text = fmt.Sprintf("one pixel is %.6g m", d.MetresPerUnit)
	}
	if d.TurnDeg != 0 {
		text += fmt.Sprintf(", turned by %g°", d.TurnDeg)
	}
	return text
}

func wallsText(f *site.Floor) string {
	if len(f.Walls) == 0 {
		return "0 walls"
	}
	return say.Count(len(f.Walls), "wall") + " of " + materialsText(f)
}

// materialsText lists the materials of a floor with the length of their walls.
func materialsText(f *site.Floor) string {
	one := site.Site{Floors: []site.Floor{*f}}
	var out []string
	for _, m := range one.Materials() {
		l := 0.0
		for _, w := range f.Walls {
			if w.Material == m {
				for i := 1; i < len(w.Line); i++ {
					l += math.Hypot(w.Line[i][0]-w.Line[i-1][0], w.Line[i][1]-w.Line[i-1][1])
				}
			}
		}
		out = append(out, fmt.Sprintf("%s (%.1f m)", m, l))
	}
	return strings.Join(out, ", ")
}

// siteName is a name for a site that a drawing does not name.
func siteName(path string) string {
	base := filepath.Base(path)
	name := strings.TrimSpace(canvas.Clean(strings.TrimSuffix(base, filepath.Ext(base))))
	if name == "" {
		return "Site"
	}
	return name
}
