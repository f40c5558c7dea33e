package site_test

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const drawn = `format = "footrule-site/1"
name = "Hall"
[[floor]]
id = "G"
outline = [[0, 0], [20, 0], [20, 12], [0, 12]]
[[floor.point]]
id = "P01"
at = [2, 2]
[floor.drawing]
file = "hall.dxf"
kind = "dxf"
origin = [412000, 87000]
metres_per_unit = 0.001
turn_deg = 30
[[floor.taped]]
from = "P01"
to = "AP-1"
distance_m = 10.1
[[floor.taped]]
from = [0, 0]
to = [20, 0]
distance_m = 20
[[access_point]]
id = "AP-1"
floor = "G"
at = [12, 2]
height_m = 2.8
[[access_point.radio]]
band = "5"
`

func TestReadDrawing(t *testing.T) {
	s, err := site.Read("hall.toml", strings.NewReader(drawn))
	require.NoError(t, err)
	assert.Equal(t, &site.Drawing{File: "hall.dxf", Kind: site.DrawingDXF, Origin: orb.Point{412000, 87000}, MetresPerUnit: 0.001, TurnDeg: 30}, s.Floors[0].Drawing)
	assert.Equal(t, []site.Taped{
		{From: site.Spot{ID: "P01"}, To: site.Spot{ID: "AP-1"}, DistanceM: 10.1},
		{From: site.Spot{}, To: site.Spot{At: orb.Point{20, 0}}, DistanceM: 20},
	}, s.Floors[0].Taped)
	var b bytes.Buffer
	require.NoError(t, site.Write(&b, s))
	again, err := site.Read("again.toml", &b)
	require.NoError(t, err)
	assert.Equal(t, s, again)
	c := s.Clone()
	c.Floors[0].Drawing.TurnDeg, c.Floors[0].Taped[0].DistanceM = 0, 1
	assert.Equal(t, again, s)
}

func TestReadDrawingRefuses(t *testing.T) {
	for _, c := range []struct{ old, new, want string }{
		{`kind = "dxf"`, `kind = "dwg"`, `hall.toml:11:8: the kind of the drawing of floor "G" is "dwg"; write "dxf", "svg", "geojson", "wgs84" or "picture"`},
		{`metres_per_unit = 0.001`, ``, `hall.toml:9:8: [floor.drawing] has no metres_per_unit; add metres_per_unit = 0.001`},
		{`metres_per_unit = 0.001`, `metres_per_unit = 0`, `hall.toml:13:19: metres_per_unit of the drawing of floor "G" is 0; write how many metres one unit of the drawing is, such as 0.001 for millimetres`},
		{`turn_deg = 30`, `turn_deg = 360`, `hall.toml:14:12: turn_deg of the drawing of floor "G" is 360; write degrees clockwise, between -360 and 360`},
		{`origin = [412000, 87000]`, `origin = [inf, 0]`, `hall.toml:12:10: the origin of the drawing of floor "G" is (+Inf, 0); write two finite numbers in the drawing's own units`},
		{`file = "hall.dxf"`, `file = ""`, `hall.toml:10:8: the file of the drawing of floor "G" is empty; name the file of the drawing`},
		{`[floor.drawing]`, `[[floor.drawing]]`, `hall.toml:9:9: drawing is an array; write it as a table under [floor.drawing]`},
		{`to = "AP-1"`, `to = "AP-2"`, `hall.toml:17:6: taped distance 1 of floor "G" is to "AP-2", which is no point or access point of that floor; name one, or write a place such as [3.0, 3.0]`},
		{`to = "AP-1"`, `to = "P01"`, `hall.toml:17:6: taped distance 1 of floor "G" ends where it begins; name two different places`},
		{`to = [20, 0]`, `to = [20]`, `hall.toml:21:6: a place in to has 1 values; write x and y in metres, such as to = "P02"`},
		{`distance_m = 20`, `distance_m = 0`, `hall.toml:22:14: distance_m of taped distance 2 of floor "G" is 0; write metres above 0 and up to 1000`},
	} {
		require.Contains(t, drawn, c.old)
		_, err := site.Read("hall.toml", strings.NewReader(strings.Replace(drawn, c.old, c.new, 1)))
		assert.EqualError(t, err, c.want)
	}
}

// Of one distance the scale is their ratio; of several the weighted least
// squares by hand.
func TestCheckTaped(t *testing.T) {
	s, err := site.Read("hall.toml", strings.NewReader(drawn))
	require.NoError(t, err)
	c := s.CheckTaped(0)
	require.Len(t, c.Rows, 2)
	assert.Equal(t, site.TapeRow{From: "P01", To: "AP-1", TapedM: 10.1, PlanM: 10, SlackM: c.Rows[0].SlackM}, c.Rows[0])
	assert.InDelta(t, 0.3+0.101, c.Rows[0].SlackM, 1e-12)
	w1, w2 := 1/(0.401*0.401), 1/(0.5*0.5)
	assert.InDelta(t, (w1*10.1*10+w2*20*20)/(w1*100+w2*400), c.Scale, 1e-12)
	assert.InDelta(t, 1/math.Sqrt(w1*100+w2*400), c.Slack, 1e-12)
	assert.False(t, c.Off || c.Uneven)

	// A plan drawn 10 % too small shows with either distance.
	for _, off := range []float64{1.1, 0.9} {
		for k := range 2 {
			one := s.Clone()
			f := &one.Floors[0]
			f.Taped = f.Taped[k : k+1]
			f.Taped[0].DistanceM *= off
			c := one.CheckTaped(0)
			assert.True(t, c.Off)
			assert.InDelta(t, off, c.Scale, 0.012)
		}
	}
	// One of two misread shows as a contradiction.
	s.Floors[0].Taped[0].DistanceM = 12.5
	assert.True(t, s.CheckTaped(0).Uneven)
	// None says nothing.
	s.Floors[0].Taped = nil
	c = s.CheckTaped(0)
	assert.True(t, math.IsNaN(c.Scale) && math.IsNaN(c.Slack))
	assert.False(t, c.Off || c.Uneven)
}

func TestCrossing(t *testing.T) {
	at, found := site.Crossing(orb.Ring{{0, 0}, {4, 4}, {4, 0}, {0, 4}})
	assert.True(t, found)
	assert.InDeltaSlice(t, []float64{2, 2}, at[:], 1e-12)
	_, found = site.Crossing(orb.Ring{{0, 0}, {4, 0}, {4, 4}, {0, 4}})
	assert.False(t, found)
}
