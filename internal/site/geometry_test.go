package site_test

import (
	"math"
	"testing"

	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
)

// An L of 20 by 10 m less a quarter, with a pillar of 2 by 2 m.
func pillared() *site.Floor {
	return &site.Floor{
		ID:      "G",
		Outline: orb.Ring{{0, 0}, {20, 0}, {20, 10}, {10, 10}, {10, 5}, {0, 5}},
		Areas: []site.Area{
			{ID: "pillar", Kind: site.Void, Polygon: orb.Ring{{14, 4}, {16, 4}, {16, 6}, {14, 6}}},
			{ID: "east", Kind: site.Zone, Polygon: orb.Ring{{12, 0}, {20, 0}, {20, 10}, {12, 10}}},
		},
	}
}

func TestWalkable(t *testing.T) {
	f := pillared()
	for _, c := range []struct {
		at               orb.Point
		inside, walkable bool
		why              string
	}{
		{orb.Point{5, 2}, true, true, "in the open"},
		{orb.Point{5, 7}, false, false, "in the notch"},
		{orb.Point{15, 5}, true, false, "in the pillar"},
		{orb.Point{14, 5}, true, true, "at the pillar"},
		{orb.Point{14.000002, 5}, true, false, "2 µm into the pillar"},
		{orb.Point{14.0000005, 5}, true, true, "half a micrometre into the pillar"},
		{orb.Point{0, 0}, true, true, "in a corner"},
		{orb.Point{20, 3}, true, true, "on the outline"},
		{orb.Point{20.0000005, 3}, true, true, "half a micrometre outside"},
		{orb.Point{20.000002, 3}, false, false, "2 µm outside"},
		{orb.Point{10, 5}, true, true, "in the inner corner"},
		{orb.Point{10, 7}, true, true, "on an inner edge"},
		{orb.Point{0, 2.5}, true, true, "on the edge that closes the outline"},
		{orb.Point{math.NaN(), 2}, false, false, "nowhere"},
	} {
		assert.Equal(t, c.inside, f.Inside(c.at), "inside, %s", c.why)
		assert.Equal(t, c.walkable, f.Walkable(c.at), "walkable, %s", c.why)
	}
	assert.False(t, (&site.Floor{}).Walkable(orb.Point{}), "a floor without an outline")
	assert.Equal(t, "east", f.AreaAt(orb.Point{13, 1}).ID)
	assert.Nil(t, f.AreaAt(orb.Point{3, 1}))
}

func TestArea(t *testing.T) {
	f := pillared()
	assert.InDelta(t, 200-50-4, f.Area(), 1e-12)
	assert.Equal(t, orb.Bound{Min: orb.Point{0, 0}, Max: orb.Point{20, 10}}, f.BoundingBox())
	for i, j := 0, len(f.Outline)-1; i < j; i, j = i+1, j-1 {
		f.Outline[i], f.Outline[j] = f.Outline[j], f.Outline[i]
	}
	assert.InDelta(t, 200-50-4, f.Area(), 1e-12, "corners in the other sense")
}

func TestDistance3D(t *testing.T) {
	s := &site.Site{
		ReceiverHeightM: 1.2,
		Floors:          []site.Floor{{ID: "G"}, {ID: "1", ElevationM: 3.5}},
		AccessPoints: []site.AccessPoint{
			{ID: "A", Floor: "G", At: orb.Point{5, 4}, HeightM: 2.7, Radios: make([]site.Radio, 1)},
			{ID: "B", Floor: "1", At: orb.Point{5, 4}, HeightM: 1.7, Radios: make([]site.Radio, 1)},
		},
	}
	a, b := site.RadioRef{AP: 0}, site.RadioRef{AP: 1}
	assert.InDelta(t, math.Sqrt(3*3+4*4+1.5*1.5), s.Distance3D(a, 0, orb.Point{8, 8}), 1e-12)
	assert.InDelta(t, 1.5, s.Distance3D(a, 0, orb.Point{5, 4}), 1e-12, "right below")
	assert.InDelta(t, 2.0, s.Distance3D(a, 1, orb.Point{5, 4}), 1e-12, "right above, one floor up")
	assert.InDelta(t, 4.0, s.Distance3D(b, 0, orb.Point{5, 4}), 1e-12, "right below, one floor down")
	assert.InDelta(t, 0.5, s.Distance3D(b, 1, orb.Point{5, 4}), 1e-12)
	s.AccessPoints[1].HeightM = 1.3
	assert.InDelta(t, site.MinDistanceM, s.Distance3D(b, 1, orb.Point{5, 4}), 0, "clamped")
}

func TestStraight(t *testing.T) {
	f := pillared()
	for _, c := range []struct {
		a, b orb.Point
		want bool
		why  string
	}{
		{orb.Point{1, 1}, orb.Point{19, 1}, true, "in the open"},
		{orb.Point{1, 4}, orb.Point{12, 9}, false, "across the notch"},
		{orb.Point{0, 5}, orb.Point{10, 5}, true, "along the outline"},
		{orb.Point{0, 5}, orb.Point{20, 5}, false, "along the outline, then through the pillar"},
		{orb.Point{11, 4}, orb.Point{20, 4}, true, "along the pillar"},
		{orb.Point{10, 10}, orb.Point{10, 0}, true, "past the inner corner"},
		{orb.Point{0, 5}, orb.Point{10, 10}, false, "both ends on the outline, outside between"},
		{orb.Point{12, 2}, orb.Point{18, 8}, false, "through two corners of the pillar"},
		{orb.Point{12, 4}, orb.Point{16, 8}, true, "brushing a corner of the pillar"},
		{orb.Point{1, 1}, orb.Point{-1, 1}, false, "to the outside"},
		{orb.Point{1, 1}, orb.Point{1, 1}, true, "no length"},
	} {
		assert.Equal(t, c.want, f.Straight(c.a, c.b), c.why)
		assert.Equal(t, c.want, f.Straight(c.b, c.a), "%s, back", c.why)
	}
}
