package draft_test

import (
	"math/rand/v2"
	"testing"

	"footrule/internal/draft"
	"footrule/internal/radio"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// An invented shed.
func shed() *site.Site {
	return &site.Site{Name: "Shed", ReceiverHeightM: 1.2, Floors: []site.Floor{{ID: "G", Outline: orb.Ring{{0, 0}, {20, 0}, {20, 10}, {0, 10}},
		Points: []site.Point{{ID: "P01", At: orb.Point{3, 3}}}}},
		AccessPoints: []site.AccessPoint{{ID: "AP-01", Floor: "G", At: orb.Point{5, 5}, HeightM: 3.4, Radios: []site.Radio{{Band: radio.Band6}}}}}
}

func TestDraft(t *testing.T) {
	before := shed()
	d := draft.New(before)
	id, err := d.AddAP(0, orb.Point{12.00049, 5})
	require.NoError(t, err)
	assert.Equal(t, "AP-02", id)
	ap := d.Plan().AccessPoints[1]
	assert.Equal(t, site.AccessPoint{ID: "AP-02", Floor: "G", At: orb.Point{12, 5}, HeightM: 3.4, Radios: []site.Radio{{Band: radio.Band6}}}, ap, "like the last one, to the millimetre")
	id, err = d.AddPoint(0, orb.Point{6, 6})
	require.NoError(t, err)
	assert.Equal(t, "P02", id)
	require.NoError(t, d.AddWall(0, "brick", []orb.Point{{10, 0}, {10, 4}}))
	require.NoError(t, d.AddArea(0, site.Void, []orb.Point{{14, 6}, {18, 6}, {18, 9}}))
	assert.Equal(t, "void-1", d.Plan().Floors[0].Areas[0].ID)
	require.Equal(t, shed(), before, "what came in is not changed")

	// What is no plan is no step.
	for _, c := range []struct {
		do   func() error
		want string
	}{
		{func() error { _, err := d.AddPoint(0, orb.Point{17, 6.5}); return err }, "void"},
		{func() error { return d.AddWall(0, "brick", []orb.Point{{10, 0}, {10, 14}}) }, "outline"},
		{func() error { return d.AddWall(0, "brick", []orb.Point{{10, 0}, {10, 0}}) }, ""},
		{func() error { return d.SetOutline(0, []orb.Point{{0, 0}, {20, 10}, {20, 0}, {0, 10}}) }, "cross"},
		{func() error { return d.Move(draft.Ref{Kind: draft.Point, Index: 9}, orb.Point{1, 1}) }, "not there any more"},
		{func() error { return d.Set(draft.Ref{Kind: draft.AP, Index: 1}, "id", "AP-01") }, "AP-01"},
		{func() error { return d.Set(draft.Ref{Kind: draft.AP, Index: 1}, "height_m", "high") }, `"high" is no number`},
		{func() error { return d.Set(draft.Ref{Kind: draft.AP, Index: 1}, "bssids 6", "x") }, `"x" is no BSSID`},
		{func() error { return d.Set(draft.Ref{Kind: draft.AP, Index: 1}, "bands", "") }, "needs a band"},
		{func() error { return d.Set(draft.Ref{Kind: draft.Point}, "height_m", "1") }, "a point has no height_m"},
	} {
		plan := d.Plan()
		err := c.do()
		require.Error(t, err)
		assert.ErrorContains(t, err, c.want)
		assert.Same(t, plan, d.Plan())
	}

	require.NoError(t, d.Set(draft.Ref{Kind: draft.AP, Index: 1}, "bands", "2.4 6"))
	require.NoError(t, d.Set(draft.Ref{Kind: draft.AP, Index: 1}, "bssids 6", "02:00:5e:10:01:00 02:00:5e:10:01:01"))
	assert.Equal(t, []draft.Property{{"id", "AP-02"}, {"height_m", "3.4"}, {"bands", "2.4 6"}, {"bssids 2.4", ""}, {"bssids 6", "02:00:5e:10:01:00 02:00:5e:10:01:01"}},
		d.Properties(draft.Ref{Kind: draft.AP, Index: 1}))
	require.NoError(t, d.Set(draft.Ref{Kind: draft.Outline}, "id", "L0"))
	assert.Equal(t, "L0", d.Plan().AccessPoints[0].Floor, "access points stay on their floor")
	n, err := d.AddFloor(0)
	require.NoError(t, err)
	assert.Equal(t, 1, n)
	assert.Equal(t, 3.5, d.Plan().Floors[1].ElevationM)

	near := d.Near(0, orb.Point{10, 3.9}, 3)
	require.NotEmpty(t, near)
	assert.Equal(t, draft.Ref{Kind: draft.Wall, Index: 0, Corner: 1}, near[0])
	require.NoError(t, d.Move(near[0], orb.Point{10, 5}))
	assert.Equal(t, orb.Point{10, 5}, d.Plan().Floors[0].Walls[0].Line[1])
	require.NoError(t, d.Delete(near[0]))
	assert.Empty(t, d.Plan().Floors[0].Walls)
}

// Undo and redo lead back and on through every state, whatever was done.
func TestUndoRedo(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 3))
	d := draft.New(shed())
	states := []*site.Site{d.Plan()}
	for len(states) < 60 {
		at := orb.Point{rng.Float64() * 20, rng.Float64() * 10}
		switch rng.IntN(4) {
		case 0:
			_, _ = d.AddAP(0, at)
		case 1:
			_, _ = d.AddPoint(0, at)
		case 2:
			if near := d.Near(0, at, 20); len(near) > 0 {
				_ = d.Move(near[0], orb.Point{rng.Float64() * 20, rng.Float64() * 10})
			}
		case 3:
			_ = d.AddWall(0, "glass", []orb.Point{at, {at[0], at[1] / 2}})
		}
		if d.Plan() != states[len(states)-1] {
			states = append(states, d.Plan())
		}
		require.NoError(t, d.Plan().Validate())
	}
	assert.True(t, d.Changed())
	for i := len(states) - 2; i >= 0; i-- {
		require.True(t, d.Undo())
		require.Same(t, states[i], d.Plan())
	}
	assert.False(t, d.Undo())
	assert.False(t, d.Changed())
	for _, s := range states[1:] {
		require.True(t, d.Redo())
		require.Same(t, s, d.Plan())
	}
	assert.False(t, d.Redo())
	d.Saved(d.Plan())
	assert.False(t, d.Changed())
}
