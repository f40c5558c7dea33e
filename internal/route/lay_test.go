package route_test

import (
	"fmt"
	"math"
	"testing"

	"footrule/internal/route"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestLay(t *testing.T) {
	for _, c := range []struct {
		name    string
		f       *site.Floor
		spacing float64
		want    []site.Point
	}{
		{"a hall", hall(6, 4), 2, []site.Point{
			{ID: "P01", At: orb.Point{1, 1}}, {ID: "P02", At: orb.Point{3, 1}}, {ID: "P03", At: orb.Point{5, 1}},
			{ID: "P04", At: orb.Point{1, 3}}, {ID: "P05", At: orb.Point{3, 3}}, {ID: "P06", At: orb.Point{5, 3}}}},
		{"a spacing that does not fit is centred", hall(5, 3), 4, []site.Point{{ID: "P01", At: orb.Point{2.5, 1.5}}}},
		{"a spacing above the hall", hall(5, 3), 100, []site.Point{{ID: "P01", At: orb.Point{2.5, 1.5}}}},
		{"an L leaves out its notch", &site.Floor{Outline: orb.Ring{{0, 0}, {4, 0}, {4, 4}, {2, 4}, {2, 2}, {0, 2}}}, 2, []site.Point{
			{ID: "P01", At: orb.Point{1, 1}}, {ID: "P02", At: orb.Point{3, 1}}, {ID: "P03", At: orb.Point{3, 3}}}},
		{"off a wall", &site.Floor{Outline: hall(4, 2).Outline, Walls: []site.Wall{wall(orb.Point{1.2, 0}, orb.Point{1.2, 2})}}, 2, []site.Point{
			{ID: "P01", At: orb.Point{0.875, 1}}, {ID: "P02", At: orb.Point{3, 1}}}},
		{"out of a void", &site.Floor{Outline: hall(4, 2).Outline, Areas: []site.Area{
			{Kind: site.Void, Polygon: orb.Ring{{0.9, 0}, {1.5, 0}, {1.5, 2}, {0.9, 2}}},
			{Kind: site.Zone, Polygon: orb.Ring{{2, 0}, {4, 0}, {4, 2}, {2, 2}}}}}, 2, []site.Point{
			{ID: "P01", At: orb.Point{0.5625, 1}}, {ID: "P02", At: orb.Point{3, 1}}}},
		{"nowhere to go from a large void", &site.Floor{Outline: hall(4, 2).Outline, Areas: []site.Area{
			{Kind: site.Void, Polygon: orb.Ring{{0, 0}, {2, 0}, {2, 2}, {0, 2}}}}}, 2, []site.Point{{ID: "P01", At: orb.Point{3, 1}}}},
		{"a corridor too narrow for the margin keeps its points", hall(4, 0.5), 2, []site.Point{
			{ID: "P01", At: orb.Point{1, 0.25}}, {ID: "P02", At: orb.Point{3, 0.25}}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := route.Lay(c.f, c.spacing)
			require.NoError(t, err)
			assert.Equal(t, c.want, got)
		})
	}
}

func TestLayPassesOverIDs(t *testing.T) {
	f := hall(6, 2)
	f.Points = []site.Point{{ID: "P02"}}
	got, err := route.Lay(f, 2, "P01", "P04")
	require.NoError(t, err)
	assert.Equal(t, []string{"P03", "P05", "P06"}, ids(got))

	var taken []string
	for i := range 100 {
		taken = append(taken, fmt.Sprintf("P%02d", i))
	}
	got, err = route.Lay(hall(6, 2), 2, taken...)
	require.NoError(t, err)
	assert.Equal(t, []string{"P001", "P002", "P003"}, ids(got), "no number of two digits is left")

	got, err = route.Lay(hall(20, 20), 2)
	require.NoError(t, err)
	require.Len(t, got, 100)
	assert.Equal(t, []string{"P001", "P100"}, []string{got[0].ID, got[99].ID})
}

func ids(pts []site.Point) []string {
	var out []string
	for _, p := range pts {
		out = append(out, p.ID)
	}
	return out
}

func TestLayRefuses(t *testing.T) {
	for _, c := range []struct {
		spacing float64
		want    string
	}{
		{0, "spacing of 0 m; give a number of metres above 0"},
		{-1, "spacing of -1 m; give a number of metres above 0"},
		{math.NaN(), "spacing of NaN m; give a number of metres above 0"},
		{math.Inf(1), "spacing of +Inf m; give a number of metres above 0"},
		{0.1, `a spacing of 0.1 m gives some 150000 points on floor "G", more than 20000; give a wider one`},
	} {
		_, err := route.Lay(hall(60, 25), c.spacing)
		assert.EqualError(t, err, c.want)
	}
	_, err := route.Lay(hall(60, 25), 1e-300)
	assert.ErrorContains(t, err, "give a wider one")
}

// On an office every point stands where someone can, keeps the margin, and is
// at least half a spacing from every other.
func TestLayKeepsOff(t *testing.T) {
	f := office(12, 5)
	f.Areas = []site.Area{{ID: "v", Kind: site.Void, Polygon: orb.Ring{{11, 11}, {13, 11}, {14, 13}, {11, 14}}}}
	for _, spacing := range []float64{1.5, 2.2, 3, 4.1} {
		pts, err := route.Lay(f, spacing)
		require.NoError(t, err)
		assert.InEpsilon(t, f.Area()/(spacing*spacing), len(pts), 0.06)
		s := site.Site{Name: "S", ReceiverHeightM: 1.2, Floors: []site.Floor{*f}}
		s.Floors[0].Points = pts
		require.NoError(t, s.Validate())
		toWall, apart := math.Inf(1), math.Inf(1)
		for i, p := range pts {
			for _, w := range f.Walls {
				toWall = min(toWall, planar.DistanceFrom(w.Line, p.At))
			}
			for _, q := range pts[:i] {
				apart = min(apart, planar.Distance(p.At, q.At))
			}
		}
		assert.GreaterOrEqual(t, toWall, route.WallMarginM-1e-5, "spacing %v", spacing)
		assert.GreaterOrEqual(t, apart, spacing/2-1e-9, "spacing %v", spacing)
	}
}
