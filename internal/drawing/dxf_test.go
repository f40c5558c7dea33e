package drawing_test

import (
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"footrule/internal/drawing"
	"footrule/internal/input"
	"footrule/internal/radio"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var testdata = filepath.Join("..", "..", "testdata", "drawing")

// rules parses LAYER=WHAT.
func rules(t testing.TB, texts ...string) drawing.Rules {
	t.Helper()
	var out drawing.Rules
	for _, s := range texts {
		r, err := drawing.ParseRule(s)
		require.NoError(t, err)
		out = append(out, r)
	}
	return out
}

func hallRules(t testing.TB) drawing.Rules {
	return rules(t, "OUTER=outline", "COURT=void", "BRICK=brick", "plaster*=plasterboard", "GLASS=glass", "AP=aps", "POINTS=points")
}

// floorOf reads a drawing file and makes a floor of it.
func floorOf(t testing.TB, path string, o drawing.Options, m drawing.Making) *drawing.Made {
	t.Helper()
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	o.Keep = m.Rules.Keep
	d, err := drawing.Read(path, f, o)
	require.NoError(t, err)
	if m.ID == "" {
		m.ID = "G"
	}
	if m.Bands == nil {
		m.Bands = []radio.Band{"5"}
	}
	made, err := d.Floor(path, m)
	require.NoError(t, err)
	s := &site.Site{Name: "test", ReceiverHeightM: 1.2, Floors: []site.Floor{made.Floor}, AccessPoints: made.AccessPoints}
	require.NoError(t, s.Validate())
	return made
}

func lengthOf(f *site.Floor, material string) float64 {
	l := 0.0
	for _, w := range f.Walls {
		if w.Material == material {
			l += planar.Length(w.Line)
		}
	}
	return l
}

// The hall is what testdata/drawing/make_dxf.py draws.
func checkHall(t *testing.T, path string, curves bool) {
	made := floorOf(t, path, drawing.Options{MetresPerUnit: 0.001}, drawing.Making{Rules: hallRules(t)})
	f := &made.Floor
	assert.Equal(t, orb.Bound{Min: orb.Point{0, 0}, Max: orb.Point{24, 15}}, f.BoundingBox())
	// 24 × 15 m less the corner beyond a quarter of a circle of 3 m, less the court of 3 × 3 m.
	assert.InDelta(t, 24*15-(9-math.Pi*9/4)-9, f.Area(), 0.1)
	for _, p := range f.Outline {
		if p[0] > 21 && p[1] > 12 { // on the arc: within the tolerance of 2 cm and rounding
			assert.InDelta(t, 3, planar.Distance(p, orb.Point{21, 12}), 0.001)
		}
	}
	assert.InDelta(t, 8+9+6, lengthOf(f, "brick"), 0.01)              // 9 up, 8 across, 6 once
	assert.InDelta(t, 5+2+8+6+1+1, lengthOf(f, "plasterboard"), 0.01) // the block's two partitions of 1 m
	glass := math.Pi*1.5 + 0.5 + 0.5
	if curves {
		// Half an ellipse's perimeter by Ramanujan 1914, both halves; half a circle.
		h := math.Pow((1.5-0.75)/(1.5+0.75), 2)
		glass += math.Pi*(1.5+0.75)*(1+3*h/(10+math.Sqrt(4-3*h))) + math.Pi
		// The spline is the cubic Bézier curve of its four control points: its
		// length lies between chord and control polygon; by quadrature 4.0 m.
		glass += 4.0
		assert.InDelta(t, glass, lengthOf(f, "glass"), 0.2)
	} else {
		assert.InDelta(t, glass, lengthOf(f, "glass"), 0.05)
	}
	assert.Equal(t, []site.Point{{ID: "P-1", At: orb.Point{2, 2}}, {ID: "P-2", At: orb.Point{12, 7}}, {ID: "P-3", At: orb.Point{22, 3}}}, f.Points)
	var aps []string
	for _, ap := range made.AccessPoints {
		aps = append(aps, fmt.Sprint(ap.ID, ap.At))
	}
	assert.Equal(t, []string{"AP-N[4 13]", "AP-S[12 4]", "AP-E[21 10]"}, aps)
	require.Len(t, f.Areas, 1)
	assert.Equal(t, site.Void, f.Areas[0].Kind)
	left := map[string]int{}
	for _, l := range made.Left {
		left[l.What] = l.Count
	}
	want := map[string]int{"wall of no length": 1, "wall drawn twice": 1, "part of a wall outside the outline": 1, "point outside the outline or in a void": 1}
	if curves {
		want["HATCH"] = 1
	}
	assert.Equal(t, want, left)
	assert.Equal(t, &site.Drawing{File: filepath.Base(path), Kind: site.DrawingDXF, Origin: orb.Point{412000, 87000}, MetresPerUnit: 0.001}, f.Drawing)
}

func TestHall(t *testing.T) {
	for _, v := range []string{"r12", "r2000", "r2018"} {
		t.Run(v, func(t *testing.T) { checkHall(t, filepath.Join(testdata, "hall-"+v+".dxf"), v != "r12") })
	}
}

// The files as they come from the library now.
func TestHallMadeAnew(t *testing.T) {
	python := "/usr/bin/python3"
	if exec.Command(python, "-c", "import ezdxf").Run() != nil {
		t.Skip("python3-ezdxf is not installed")
	}
	dir := t.TempDir()
	out, err := exec.Command(python, filepath.Join(testdata, "make_dxf.py"), dir).CombinedOutput()
	require.NoError(t, err, string(out))
	for _, v := range []string{"r12", "r2000", "r2018"} {
		checkHall(t, filepath.Join(dir, "hall-"+v+".dxf"), v != "r12")
	}
}

// tags writes a DXF of pairs: "0 LINE 10 5.0" with words parted by blanks.
func tags(text string) string {
	w := strings.Fields(text)
	return strings.Join(w, "\n") + "\n"
}

const (
	headMM = "0 SECTION 2 HEADER 9 $INSUNITS 70 4 0 ENDSEC "
	ends   = " 0 ENDSEC 0 EOF"
)

// lines draws a closed way through corners in millimetres as LINEs.
func lines(layer string, c ...float64) string {
	var b strings.Builder
	n := len(c) / 2
	for i := range n {
		j := (i + 1) % n
		fmt.Fprintf(&b, " 0 LINE 8 %s 10 %v 20 %v 11 %v 21 %v", layer, c[2*i], c[2*i+1], c[2*j], c[2*j+1])
	}
	return b.String()
}

func TestDXFRefuses(t *testing.T) {
	square := lines("O", 0, 0, 9000, 0, 9000, 9000, 0, 9000)
	ents := "0 SECTION 2 ENTITIES"
	for _, c := range []struct{ name, text, want string }{
		{"empty", "", "x.dxf: the file is empty; save the drawing again"},
		{"no entities", headMM + "0 EOF", "x.dxf: the file has no ENTITIES section, so nothing is drawn in it; save the drawing as ASCII DXF"},
		{"cut off", headMM + ents + square, "x.dxf:62: the file ends in the middle of the drawing; it was cut off; save or copy it again"},
		{"cut in a pair", headMM + ents + " 0 LINE 10", "x.dxf:17: the file ends in the middle of the drawing; it was cut off; save or copy it again"},
		{"no DXF", "hello world", `x.dxf:1: "hello" stands where a group code should; this is no ASCII DXF, or it is damaged; save it again`},
		{"not a number", headMM + ents + " 0 LINE 10 five" + ends, `x.dxf:18: group 10 holds "five", not a number; correct it, or save the drawing again`},
		{"NaN", headMM + ents + " 0 LINE 10 nan" + ends, `x.dxf:18: group 10 holds NaN; correct the drawing: a coordinate is a number of at most 1e12`},
		{"infinite", headMM + ents + " 0 LINE 10 1e999" + ends, `x.dxf:18: group 10 holds "1e999", not a number; correct it, or save the drawing again`},
		{"huge", headMM + ents + " 0 LINE 10 1e13" + ends, `x.dxf:18: group 10 holds 1e+13; correct the drawing: a coordinate is a number of at most 1e12`},
		{"no unit", ents + square + ends, "x.dxf: the drawing says no unit, and is 9000 by 9000 of them; say the unit, such as --unit mm, or a known distance with --scale"},
		{"wrong unit", "0 SECTION 2 HEADER 9 $INSUNITS 70 6 0 ENDSEC " + ents + lines("O", 0, 0, 90000, 0, 90000, 50000, 0, 50000) + ends,
			"x.dxf: the floor would be 90000 by 50000 m; is the unit right? with --unit mm it is 90 m"},
		{"open", headMM + ents + " 0 LWPOLYLINE 8 O 70 0 10 0 20 0 10 9000 20 0 10 9000 20 9000 10 0 20 9000 10 0 20 420" + ends,
			"x.dxf: the outline is open: 0.42 m are missing between (0.00, 0.00) m, in the drawing (0, 0) and (0.00, 0.42) m, in the drawing (0, 420); close it in the drawing, or join ends with --join 0.43m"},
		{"crossing", headMM + ents + " 0 LWPOLYLINE 8 O 70 1 10 0 20 0 10 9000 20 9000 10 9000 20 0 10 0 20 6000" + ends,
			`x.dxf: the outline of floor "G" crosses itself at (3.60, 3.60) m, in the drawing (3600, 3600); correct it in the drawing`},
		{"two", headMM + ents + square + lines("O", 20000, 0, 21000, 0, 21000, 1000) + ends,
			`x.dxf: the layer of the outline holds two rings beside each other, the second at (20.00, 0.00) m, in the drawing (20000, 0); make one floor of each, with --window "x1,y1 x2,y2"`},
		{"itself", headMM + "0 SECTION 2 BLOCKS 0 BLOCK 2 A 10 0 20 0 0 INSERT 2 A 10 0 20 0 0 ENDBLK 0 ENDSEC " + ents + " 0 INSERT 2 A 10 0 20 0" + ends,
			`x.dxf:24: block "A" contains itself; correct the drawing`},
		{"array", headMM + "0 SECTION 2 BLOCKS 0 BLOCK 2 A 10 0 20 0 0 POINT 8 O 0 ENDBLK 0 ENDSEC " + ents + " 0 INSERT 2 A 10 0 20 0 70 30000 71 30000" + ends,
			"x.dxf:36: blocks put inside blocks make more than 262144 parts; save the plan with its blocks dissolved, without furniture"},
		{"binary", "AutoCAD Binary DXF\r\n\x1a\x00", "x.dxf: this is a binary DXF; save it as ASCII DXF"},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := tags(c.text)
			if c.name == "binary" || c.text == "" {
				text = c.text
			}
			r := rules(t, "O=outline")
			d, err := drawing.Read("x.dxf", strings.NewReader(text), drawing.Options{Keep: r.Keep})
			if err == nil {
				_, err = d.Floor("x.dxf", drawing.Making{ID: "G", Rules: r})
			}
			var e *input.Error
			require.True(t, errors.As(err, &e), "%v", err)
			assert.Equal(t, c.want, err.Error())
		})
	}
}

// A plan of some 1 MB on the layers asked for.
func BenchmarkDXF(b *testing.B) {
	var t strings.Builder
	t.WriteString(tags(headMM + "0 SECTION 2 ENTITIES" + lines("O", 0, 0, 90000, 0, 90000, 90000, 0, 90000)))
	for i := range 10_000 {
		t.WriteString(tags(fmt.Sprintf("0 LINE 8 W 100 AcDbLine 10 %d.25 20 %d.5 30 0 11 %d.5 21 %d.25 31 0", i, i*7%90000, i+500, i*7%90000)))
	}
	t.WriteString(tags(ends))
	text, r := t.String(), rules(b, "O=outline", "W=brick")
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		d, err := drawing.Read("x.dxf", strings.NewReader(text), drawing.Options{Keep: r.Keep})
		require.NoError(b, err)
		require.Len(b, d.Shapes, 10_004)
	}
}
