package drawing

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"path"
	"slices"
	"strings"

	"footrule/internal/input"
	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// Bounds of what is read, so that no file takes more than some 200 MB of memory.
const (
	MaxCorners = 1 << 20 // kept, of all shapes and blocks together
	MaxShapes  = 1 << 18 // kept
	MaxLayers  = 5000
	MaxDepth   = 16      // blocks or groups inside each other
	MaxCopies  = 1 << 18 // blocks or symbols put in place, and what is in them
	maxNumber  = 1e12    // no coordinate is larger
)

// DefaultToleranceM is how far a chord may leave the curve it stands for: well
// below what a level notices, and few enough corners.
const DefaultToleranceM = 0.02

// Options says how to read a drawing.
type Options struct {
	MetresPerUnit float64                 // of the drawing's own unit; 0: as the file says
	Ratio         float64                 // what is 1 on paper is so much in the building; 0: unknown. SVG with a paper size
	ToleranceM    float64                 // of curves; 0: DefaultToleranceM
	Keep          func(layer string) bool // which layers to keep shapes of; nil: none, only list them
	LayerKey      string                  // GeoJSON: the property that names the layer; "": layer
	Local         bool                    // GeoJSON: metres (or MetresPerUnit) of its own instead of WGS 84
}

// Kind says what a shape is.
type Kind uint8

// A Line is open, a Ring closed (without repeating its first corner), a Mark
// stands for one place, a Text is written at one.
const (
	Line Kind = iota
	Ring
	Mark
	Text
)

// Shape is one thing drawn, in the drawing's own units and directions.
type Shape struct {
	Kind   Kind
	Layer  string
	At     []orb.Point
	Round  bool   // a full circle: At has its middle before its corners
	Name   string // of a mark: its attribute; of a text: what it says
	Under  int    // the Mark whose block this is part of, −1 for none
	Source int    // line in the file, 0 where unknown
}

// Layer is what was seen of a layer.
type Layer struct {
	Name   string
	Hidden bool           // switched off or frozen
	Count  map[string]int // by the name that the format has for it
	Bound  orb.Bound      // in drawing units
	seen   bool
	asked  bool // keep is settled
	keep   bool
}

// Drawing is what a file holds.
type Drawing struct {
	Kind          site.DrawingKind
	Unit          string  // as the file says, "" where it says none
	MetresPerUnit float64 // 0 where unknown
	Layers        []*Layer
	Shapes        []Shape
	Left          map[string]int // what can't be used, by reason
	Notes         []string

	index   map[string]*Layer
	corners int
	copies  int
}

// Bound is the box around all that was seen, in drawing units.
func (d *Drawing) Bound() orb.Bound {
	var b orb.Bound
	some := false
	for _, l := range d.Layers {
		switch {
		case !l.seen:
		case !some:
			b, some = l.Bound, true
		default:
			b = b.Union(l.Bound)
		}
	}
	return b
}

func newDrawing(kind site.DrawingKind) *Drawing {
	return &Drawing{Kind: kind, Left: map[string]int{}, index: map[string]*Layer{}}
}

// layer finds or makes a layer; names differ by more than upper and lower case.
func (d *Drawing) layer(name string) (*Layer, error) {
	if l := d.index[name]; l != nil { // as it was spelt before
		return l, nil
	}
	key := strings.ToLower(name)
	if l := d.index[key]; l != nil {
		if len(d.index) < 4*MaxLayers {
			d.index[strings.Clone(name)] = l
		}
		return l, nil
	}
	if len(d.Layers) == MaxLayers {
		return nil, &input.Error{What: fmt.Sprintf("the drawing has more than %d layers", MaxLayers), Want: "save only the plan"}
	}
	l := &Layer{Name: strings.Clone(name), Count: map[string]int{}}
	d.index[key] = l
	d.Layers = append(d.Layers, l)
	return l, nil
}

// spend takes corners off what may be kept.
func (d *Drawing) spend(n int) error {
	if d.corners += n; d.corners > MaxCorners || len(d.Shapes) >= MaxShapes {
		return &input.Error{What: fmt.Sprintf("the layers asked for hold more than %d corners or %d shapes", MaxCorners, MaxShapes), Want: "name fewer layers, or save only the plan"}
	}
	return nil
}

// copied counts one more copy of a block or symbol.
func (d *Drawing) copied() error {
	if d.copies++; d.copies > MaxCopies {
		return &input.Error{What: fmt.Sprintf("blocks put inside blocks make more than %d parts", MaxCopies), Want: "save the plan with its blocks dissolved, without furniture"}
	}
	return nil
}

// add counts a shape on its layer and keeps it where that is asked for. The
// name is the one of its kind in a listing. It gives the shape's index, −1
// where it is not kept.
func (d *Drawing) add(s Shape, what string, keep func(string) bool) (int, error) {
	l, err := d.layer(s.Layer)
	if err != nil {
		return -1, err
	}
	if n := len(s.At); s.Kind == Line && n > 3 && s.At[0] == s.At[n-1] {
		s.Kind, s.At = Ring, s.At[:n-1]
	}
	for _, p := range s.At {
		if !finite(p) {
			return -1, &input.Error{Line: s.Source, What: fmt.Sprintf("a %s on layer %q comes out at (%g, %g)", what, clip(s.Layer), p[0], p[1]), Want: "correct the drawing"}
		}
		if !l.seen {
			l.Bound, l.seen = p.Bound(), true
		} else {
			l.Bound = l.Bound.Extend(p)
		}
	}
	if what != "" {
		l.Count[what]++
	}
	if !l.asked {
		l.asked, l.keep = true, keep != nil && keep(l.Name)
	}
	if !l.keep {
		return -1, nil
	}
	if err := d.spend(len(s.At)); err != nil {
		return -1, err
	}
	s.Layer = l.Name
	d.Shapes = append(d.Shapes, s)
	return len(d.Shapes) - 1, nil
}

// format is a row of the table of formats.
type format struct {
	ends []string
	kind site.DrawingKind
	read func(name string, r io.Reader, o Options) (*Drawing, error)
}

var formats = []format{
	{[]string{".dxf"}, site.DrawingDXF, readDXF},
	{[]string{".svg"}, site.DrawingSVG, readSVG},
	{[]string{".geojson", ".json"}, site.DrawingWGS84, readGeoJSON},
}

// Known reports whether a file of that name is a drawing that [Read] reads.
func Known(name string) bool { return formatOf(name) != nil }

// Ends lists the endings of names that [Read] knows.
func Ends() []string {
	var out []string
	for _, f := range formats {
		out = append(out, f.ends...)
	}
	return out
}

func formatOf(name string) *format {
	end := strings.ToLower(path.Ext(name))
	for i := range formats {
		if slices.Contains(formats[i].ends, end) {
			return &formats[i]
		}
	}
	return nil
}

// Read reads a drawing; its format is told by the ending of the name. What is
// wrong with it comes as an [*input.Error] with the line where there are lines.
func Read(name string, r io.Reader, o Options) (*Drawing, error) {
	f := formatOf(name)
	if f == nil {
		return nil, &input.Error{File: name, What: "the name says no format that is known", Want: "give " + strings.Join(Ends(), ", ")}
	}
	if o.ToleranceM == 0 {
		o.ToleranceM = DefaultToleranceM
	}
	br := bufio.NewReaderSize(r, 64<<10)
	head, err := br.Peek(32)
	if err != nil && err != io.EOF {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	if err := foreign(head); err != nil {
		err.File = name
		return nil, err
	}
	d, err := f.read(name, br, o)
	if err != nil {
		if e, ok := err.(*input.Error); ok && e.File == "" {
			e.File = name
		}
		return nil, err
	}
	return d, nil
}

// foreign knows some files by their first bytes that are not what their name says.
func foreign(head []byte) *input.Error {
	switch {
	case len(head) == 0:
		return &input.Error{What: "the file is empty", Want: "save the drawing again"}
	case bytes.Contains(head, []byte("Binary DXF")):
		return &input.Error{What: "this is a binary DXF", Want: "save it as ASCII DXF"}
	case bytes.HasPrefix(head, []byte("AC10")) && !bytes.ContainsAny(head[:min(8, len(head))], "\r\n"):
		return &input.Error{What: "this is a DWG", Want: "save it as ASCII DXF"}
	case bytes.HasPrefix(head, []byte("%PDF")):
		return &input.Error{What: "this is a PDF", Want: "save the page as SVG, or as a picture"}
	case bytes.HasPrefix(head, []byte("PK\x03\x04")), bytes.HasPrefix(head, []byte("\x1f\x8b")):
		return &input.Error{What: "this is a packed file", Want: "unpack it first"}
	case bytes.HasPrefix(head, []byte("\xff\xfe")), bytes.HasPrefix(head, []byte("\xfe\xff")):
		return &input.Error{What: "the file is in UTF-16", Want: "save it as UTF-8"}
	}
	return nil
}

// clip shortens what is quoted in a message.
func clip(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}

// KindOf tells what a file of that name would be read as.
func KindOf(name string, o Options) site.DrawingKind {
	f := formatOf(name)
	switch {
	case f == nil:
		return ""
	case f.kind == site.DrawingWGS84 && o.Local:
		return site.DrawingGeoJSON
	}
	return f.kind
}
