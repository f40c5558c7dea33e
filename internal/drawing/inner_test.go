package drawing

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The forms that SVG 1.1, section 8.3, allows for the same triangle and more.
func TestPathGrammar(t *testing.T) {
	for _, c := range []struct {
		d    string
		want string
	}{
		{"M 100 100 L 300 100 L 200 300 z", "[100 100] [300 100] [200 300] z"},
		{"M100,100L300,100,200,300Z", "[100 100] [300 100] [200 300] z"},
		{"m100 100h200l-100 200z", "[100 100] [300 100] [200 300] z"},
		{"M0 0 10 0 10 10", "[0 0] [10 0] [10 10]"},
		{"m5 5 10 0 0 10", "[5 5] [15 5] [15 15]"},
		{"M.5.5-1-1", "[0.5 0.5] [-1 -1]"},
		{"M1e1-2E+1H5V-.5", "[10 -20] [5 -20] [5 -0.5]"},
		{"M0 0H1zl2 2", "[0 0] [1 0] z, [0 0] [2 2]"},
		{"M0 0H1M5 5h1", "[0 0] [1 0], [5 5] [6 5]"},
		{"M0 0a0 1 0 0 0 3 4", "[0 0] [3 4]"},
		{"M1 1", ""},
		{"", ""},
	} {
		subs, err := parsePath(c.d, 0.01, 1000)
		require.NoError(t, err, c.d)
		var out []string
		for _, s := range subs {
			text := strings.Trim(strings.ReplaceAll(fmt.Sprint(s.at), "] [", "] ["), "[]")
			text = "[" + text + "]"
			if s.closed {
				text += " z"
			}
			out = append(out, text)
		}
		assert.Equal(t, c.want, strings.Join(out, ", "), c.d)
	}
}

// All curves end where they should, and stay within the tolerance of what they
// are.
func TestCurves(t *testing.T) {
	const tol = 0.01
	// Flags without blanks; a half circle of radius 5 above and below.
	for d, side := range map[string]float64{"M0 0a5 5 0 0110 0": -1, "M0 0a5 5 0 0010 0": 1} {
		subs, err := parsePath(d, tol, 1000)
		require.NoError(t, err)
		for _, p := range subs[0].at {
			assert.InDelta(t, 5, math.Hypot(p[0]-5, p[1]), 1e-9)
			assert.GreaterOrEqual(t, p[1]*side, -1e-9)
		}
		onChords(t, subs[0].at, orb.Point{5, 0}, 5, tol)
		assert.Equal(t, orb.Point{10, 0}, subs[0].at[len(subs[0].at)-1])
	}
	// The large arc of SVG 1.1's section 8.3.8: radius 150 around (300, 200).
	subs, err := parsePath("M300,200 h-150 a150,150 0 1,0 150,-150 z", tol, 1000)
	require.NoError(t, err)
	for _, p := range subs[0].at[1:] {
		assert.InDelta(t, 150, math.Hypot(p[0]-300, p[1]-200), 1e-9)
	}
	// Radii too small are enlarged: a half circle of radius 5.
	subs, err = parsePath("M0 0A1 1 0 0 1 10 0", tol, 1000)
	require.NoError(t, err)
	onChords(t, subs[0].at, orb.Point{5, 0}, 5, tol)
	// S mirrors the control point before it, T too: written out they are the same.
	same := func(a, b string) {
		t.Helper()
		x, err := parsePath(a, tol, 1000)
		require.NoError(t, err)
		y, err := parsePath(b, tol, 1000)
		require.NoError(t, err)
		assert.Equal(t, x, y)
	}
	same("M0 0C1 2 3 2 4 0S7-2 8 0", "M0 0C1 2 3 2 4 0C5-2 7-2 8 0")
	same("M0 0S3 2 4 0", "M0 0C0 0 3 2 4 0")
	same("M0 0Q2 2 4 0T8 0", "M0 0Q2 2 4 0Q6-2 8 0")
	same("M0 0T8 0", "M0 0Q0 0 8 0")
	// A cubic that is nearly a quarter circle: 0.5523 (error 0.03 % of the radius).
	subs, err = parsePath("M100 0C100 55.2285 55.2285 100 0 100", tol, 1000)
	require.NoError(t, err)
	onChords(t, subs[0].at, orb.Point{}, 100, tol+0.0003*100)
	// Bulges: 1 is half a circle to the right of the way, tan(22.5°) a quarter.
	at := bulge([]orb.Point{{0, 0}}, orb.Point{0, 0}, orb.Point{10, 0}, 1, tol)
	onChords(t, at, orb.Point{5, 0}, 5, tol)
	assert.Less(t, at[len(at)/2][1], -4.9)
	at = bulge([]orb.Point{{1, 0}}, orb.Point{1, 0}, orb.Point{0, 1}, math.Tan(math.Pi/8), tol)
	onChords(t, at, orb.Point{0, 0}, 1, tol)
	// A rational quadratic B-spline is a circle: the nine points of the literature
	// (Piegl and Tiller, The NURBS Book, 1997, example 7.2).
	w := math.Sqrt2 / 2
	ctrl := []orb.Point{{1, 0}, {1, 1}, {0, 1}, {-1, 1}, {-1, 0}, {-1, -1}, {0, -1}, {1, -1}, {1, 0}}
	at = spline(2, []float64{0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 4}, []float64{1, w, 1, w, 1, w, 1, w, 1}, ctrl, tol)
	onChords(t, at, orb.Point{}, 1, tol)
	assert.Nil(t, spline(2, []float64{0, 0, 1}, nil, ctrl, tol))
}

// onChords asks that corners lie on a circle and middles of chords within tol.
func onChords(t *testing.T, at []orb.Point, c orb.Point, r, tol float64) {
	t.Helper()
	require.Greater(t, len(at), 3)
	for i, p := range at {
		assert.InDelta(t, r, apart(p, c), tol)
		if i > 0 {
			assert.InDelta(t, r, apart(between(at[i-1], p, 0.5), c), tol*1.001)
		}
	}
}

// One degree of latitude and of longitude on WGS 84 at 45°: 111,131.7 and
// 78,846.8 m (from memory, after the series of the ellipsoid; the file
// hall-wgs84.geojson holds the plane to PROJ).
func TestTangent(t *testing.T) {
	tan := newTangent(orb.Point{10, 45})
	d := tan.plane(orb.Point{10.001, 45})
	assert.InDelta(t, 78.8468, d[0], 0.0005)
	d = tan.plane(orb.Point{10, 45.001})
	assert.InDelta(t, 111.1317, d[1], 0.002)
	for _, p := range []orb.Point{{0, 0}, {1000, -2000}, {-9000, 9000}} {
		q := tan.plane(tan.degrees(p))
		assert.InDeltaSlice(t, p[:], q[:], 1e-6)
	}
}

// Plan and drawing are inverses of each other for every kind.
func TestPlace(t *testing.T) {
	for _, k := range []site.DrawingKind{site.DrawingDXF, site.DrawingSVG, site.DrawingPicture, site.DrawingGeoJSON, site.DrawingWGS84} {
		d := &site.Drawing{Kind: k, Origin: orb.Point{12, 34}, MetresPerUnit: 0.25, TurnDeg: 30}
		to, from := ToPlan(d), FromPlan(d)
		assert.InDeltaSlice(t, []float64{0, 0}, sl(to(d.Origin)), 1e-9)
		for _, p := range []orb.Point{{1, 2}, {-30, 400}} {
			assert.InDeltaSlice(t, sl(p), sl(to(from(p))), 1e-6)
		}
	}
	// Turned clockwise by 90°, what was up is right; y of a picture runs down.
	up := ToPlan(&site.Drawing{Kind: site.DrawingDXF, MetresPerUnit: 1, TurnDeg: 90})(orb.Point{0, 1})
	assert.InDeltaSlice(t, []float64{1, 0}, sl(up), 1e-12)
	down := ToPlan(&site.Drawing{Kind: site.DrawingPicture, MetresPerUnit: 0.5})(orb.Point{2, 4})
	assert.InDeltaSlice(t, []float64{1, -2}, sl(down), 1e-12)
}

func sl(p orb.Point) []float64 { return p[:] }

func TestRules(t *testing.T) {
	rs := Rules{{Layer: "A-WALL*", Material: "brick"}, {Layer: "ap", Role: AccessPoints}, {Layer: "plan/x?", Role: Outline}}
	assert.True(t, rs.Keep("a-wall-full"))
	assert.False(t, rs.Keep("A-WAL"))
	assert.Equal(t, AccessPoints, rs.Of("plan/AP/AP-1/symbol")[0].Role)
	assert.Equal(t, Outline, rs.Of("plan/x1")[0].Role)
	assert.Empty(t, rs.Of("plan/y"))
	for text, want := range map[string]Rule{
		"W=brick": {Layer: "W", Material: "brick"}, "a=b=void": {Layer: "a=b", Role: Area, Kind: site.Void}, "O=Outline": {Layer: "O", Role: Outline},
	} {
		got, err := ParseRule(text)
		require.NoError(t, err)
		assert.Equal(t, want, got)
	}
	for _, text := range []string{"W", "=brick", "W=", "W=outlines", "W=ap", "W=zones", "W=pionts"} {
		_, err := ParseRule(text)
		if text == "W=pionts" { // two letters exchanged are not seen: a material may be called so
			require.NoError(t, err)
			continue
		}
		assert.Error(t, err, text)
	}
}

func TestJoin(t *testing.T) {
	// A square of four lines in any order and direction, ends 3 cm apart.
	rings, open := join([]orb.LineString{{{0, 0}, {9, 0}}, {{9, 9}, {9.02, 0.02}}, {{0, 8.98}, {9, 9}}, {{0.03, 0}, {0, 9}}}, 0.05)
	require.Len(t, rings, 1)
	assert.Empty(t, open)
	assert.Len(t, rings[0], 4)
	// One side missing.
	rings, open = join([]orb.LineString{{{0, 0}, {9, 0}}, {{9, 9}, {9, 0}}, {{0, 9}, {9, 9}}}, 0.05)
	assert.Empty(t, rings)
	require.Len(t, open, 1)
	a, b := gap(open)
	assert.InDelta(t, 9, apart(a, b), 1e-9)
}
