package drawing_test

import (
	"fmt"
	"strings"
	"testing"

	"footrule/internal/drawing"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// strip draws the two faces and the two ends of a wall.
func strip(layer string, x1, y1, x2, y2 float64) string {
	return lines(layer, x1, y1, x2, y1, x2, y2, x1, y2)
}

// A hall of 20 by 12 m with a room of 10 by 6 m in it: 0.2 m of brick drawn by
// both faces, an inner wall of 0.1 m with a door of 1 m, a single line of glass.
func TestFaces(t *testing.T) {
	text := tags(headMM + "0 SECTION 2 ENTITIES" + lines("O", 0, 0, 20000, 0, 20000, 12000, 0, 12000) +
		lines("W", 4000, 3000, 14000, 3000, 14000, 9000, 4000, 9000) + lines("W", 4200, 3200, 13800, 3200, 13800, 8800, 4200, 8800) +
		strip("W", 9000, 3200, 9100, 5000) + strip("W", 9000, 6000, 9100, 8800) + " 0 LINE 8 W 10 4200 20 5500 11 9000 21 5500" + ends)
	r := rules(t, "O=outline", "W=brick")
	d, err := drawing.Read("x.dxf", strings.NewReader(text), drawing.Options{Keep: r.Keep})
	require.NoError(t, err)
	plain, err := d.Floor("x.dxf", drawing.Making{ID: "G", Rules: r})
	require.NoError(t, err)
	require.Len(t, plain.Notes, 1)
	assert.Contains(t, plain.Notes[0], "say how thick walls are with --faces")
	made, err := d.Floor("x.dxf", drawing.Making{ID: "G", Rules: r, FacesM: 0.3})
	require.NoError(t, err)
	s := &site.Site{Name: "t", ReceiverHeightM: 1, Floors: []site.Floor{made.Floor}}
	require.NoError(t, s.Validate())
	// Around 9.8 by 5.8 m, inside 5.8 less the door of 1, and the line of some 4.8.
	assert.InDelta(t, 2*(9.8+5.8)+4.8+4.8, lengthOf(&made.Floor, "brick"), 0.25, fmt.Sprint(made.Floor.Walls))

	ix := site.NewWallIndex(s)
	count := func(a, b orb.Point) float64 {
		out := []float64{0}
		ix.Count(0, a, b, out)
		return out[0]
	}
	// From outside into the room every way crosses one wall, near corners too.
	for i := range 200 {
		f := float64(i) / 199
		in := orb.Point{4.3 + 4.6*f, 3.3 + 2*f}
		for _, out := range []orb.Point{{0.5, 5 * f}, {9 * f, 0.5}} {
			assert.Equal(t, 1.0, count(out, in), "%v %v", out, in)
		}
	}
	assert.Equal(t, 1.0, count(orb.Point{6, 4}, orb.Point{12, 4}))
	assert.Equal(t, 0.0, count(orb.Point{8.9, 5.4}, orb.Point{12, 5.4}), "through the door")
	assert.Equal(t, 1.0, count(orb.Point{6, 4}, orb.Point{6, 7}), "the single line")
}
