package coverage_test

import (
	"context"
	"fmt"
	"math"
	"math/bits"
	"strings"
	"testing"

	"footrule/internal/coverage"
	"footrule/internal/propagation"
	"footrule/internal/radio"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func from(t testing.TB, environment string) coverage.Source {
	t.Helper()
	e, err := propagation.EnvironmentOf(environment)
	require.NoError(t, err)
	return e.Fit
}

var oneBand = coverage.Box{Bands: []radio.Band{radio.Band5}, HeightM: 2.8}

func place(t testing.TB, s *site.Site, o coverage.Options, p coverage.PlaceOptions) *coverage.Placement {
	t.Helper()
	got, err := coverage.Place(context.Background(), s, from(t, "rooms"), o, p)
	require.NoError(t, err)
	require.NoError(t, got.Plan.Validate())
	return got
}

// What is added serves every cell, hangs where it can, and is no fewer than proven.
func TestPlace(t *testing.T) {
	s := works()
	o := coverage.Options{CellM: 1, ThresholdDBm: -68}
	got := place(t, s, o, coverage.PlaceOptions{Box: oneBand})
	require.NotEmpty(t, got.Added)
	assert.Zero(t, got.ShortM2)
	assert.Equal(t, 1.0, got.After.Shares().Need)
	assert.Less(t, got.Before.Shares().Need, 1.0)
	assert.LessOrEqual(t, got.Fewest, len(got.Added))
	assert.Equal(t, got.Optimal, got.Fewest == len(got.Added))
	assert.LessOrEqual(t, 20*(len(got.Added)-got.Fewest), len(got.Added), "within 5 %% of the bound")
	assert.Less(t, got.ErrorAfterM, got.ErrorBeforeM)
	for _, ap := range got.Added {
		assert.True(t, s.Floors[0].Mountable(ap.At), "%v", ap.At)
	}
	assert.Len(t, s.AccessPoints, 6, "the site is as it was")
	again := place(t, s, o, coverage.PlaceOptions{Box: oneBand})
	assert.Equal(t, got.Added, again.Added)

	more := place(t, s, o, coverage.PlaceOptions{Box: oneBand, Extra: 2})
	assert.Len(t, more.Added, len(got.Added)+2)
	assert.Less(t, more.ErrorAfterM, got.ErrorAfterM)
	assert.Equal(t, got.Fewest, more.Fewest)

	// Where all is well nothing is added.
	none := place(t, got.Plan, o, coverage.PlaceOptions{Box: oneBand})
	assert.Empty(t, none.Added)
	assert.True(t, none.Optimal)
}

// Against all choices of a few places: as few, and of those nearly the best error.
func TestPlaceAgainstBruteForce(t *testing.T) {
	s := works()
	s.AccessPoints = s.AccessPoints[:2]
	o := coverage.Options{CellM: 2, ThresholdDBm: -76, Need: 2}
	p := coverage.PlaceOptions{Box: oneBand, SpacingM: 13}
	got := place(t, s, o, p)
	mounts, err := coverage.Mounts(s, 0, 13)
	require.NoError(t, err)
	require.Less(t, len(mounts), 17)
	fewest, least := math.MaxInt, math.Inf(1)
	for mask := range 1 << len(mounts) {
		if n := bits.OnesCount(uint(mask)); n > len(got.Added) {
			continue
		}
		plan := s.Clone()
		for i, m := range mounts {
			if mask>>i&1 == 1 {
				plan.AccessPoints = append(plan.AccessPoints, site.AccessPoint{ID: fmt.Sprint("x", i), Floor: "G", At: m.At, HeightM: 2.8, Radios: []site.Radio{{Band: radio.Band5}}})
			}
		}
		m, err := coverage.Predict(context.Background(), plan, assumed(t, plan, "rooms"), o)
		require.NoError(t, err)
		if m.Shares().Need < 1-1e-12 {
			continue
		}
		if n := bits.OnesCount(uint(mask)); n < fewest {
			fewest, least = n, math.Inf(1)
		}
		if bits.OnesCount(uint(mask)) == fewest {
			sum, area := 0.0, 0.0
			a := m.Accuracy(&m.Floors[0])
			for i, w := range m.Floors[0].AreaM2 {
				sum += w * a.ErrorM[i]
				area += w
			}
			least = min(least, sum/area)
		}
	}
	require.Zero(t, got.ShortM2)
	assert.Equal(t, fewest, len(got.Added))
	assert.True(t, got.Optimal)
	a := got.After.Accuracy(&got.After.Floors[0])
	sum, area := 0.0, 0.0
	for i, w := range got.After.Floors[0].AreaM2 {
		sum += w * a.ErrorM[i]
		area += w
	}
	assert.Less(t, sum/area, 1.1*least)
}

// In a narrow hall the fewest could hang on one line, which tells no sides apart:
// they do not. The corners are served.
func TestPlaceOffOneLine(t *testing.T) {
	s := &site.Site{Name: "Hall", ReceiverHeightM: 1.2, Floors: []site.Floor{{ID: "G", Outline: orb.Ring{{0, 0}, {45, 0}, {45, 9}, {0, 9}}}}}
	got := place(t, s, coverage.Options{ThresholdDBm: -70}, coverage.PlaceOptions{Box: oneBand})
	require.GreaterOrEqual(t, len(got.Added), 3)
	assert.Equal(t, 1.0, got.After.Shares().Need)
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, ap := range got.Added {
		lo, hi = min(lo, ap.At[1]), max(hi, ap.At[1])
	}
	assert.Greater(t, hi-lo, 3.0)
	assert.Empty(t, filter(got.Notes, "one line"))

	// Where they can hang on one line only, that is said.
	s.Floors[0].Areas = []site.Area{
		{ID: "lights", Kind: site.NoMount, Polygon: orb.Ring{{0, 0}, {45, 0}, {45, 4}, {0, 4}}},
		{ID: "ducts", Kind: site.NoMount, Polygon: orb.Ring{{0, 5}, {45, 5}, {45, 9}, {0, 9}}},
	}
	got = place(t, s, coverage.Options{ThresholdDBm: -70}, coverage.PlaceOptions{Box: oneBand})
	assert.Len(t, filter(got.Notes, "hang on one line"), 1)
}

func filter(notes []string, part string) []string {
	var out []string
	for _, n := range notes {
		if strings.Contains(n, part) {
			out = append(out, n)
		}
	}
	return out
}

// Three in one corner serve the hall once they are moved, and none is bought.
func TestPlaceMoves(t *testing.T) {
	s := &site.Site{Name: "Hall", ReceiverHeightM: 1.2, Floors: []site.Floor{{ID: "G", Outline: orb.Ring{{0, 0}, {36, 0}, {36, 20}, {0, 20}}}}}
	for i := range 4 {
		s.AccessPoints = append(s.AccessPoints, site.AccessPoint{ID: fmt.Sprint("A", i), Floor: "G", At: orb.Point{1 + float64(i), 1}, HeightM: 2.8, Radios: []site.Radio{{Band: radio.Band5}}})
	}
	o := coverage.Options{ThresholdDBm: -72}
	stay := place(t, s, o, coverage.PlaceOptions{Box: oneBand})
	require.NotEmpty(t, stay.Added)
	require.Empty(t, stay.Moved)
	moved := place(t, s, o, coverage.PlaceOptions{Box: oneBand, Move: true})
	assert.Less(t, len(moved.Added), len(stay.Added))
	assert.NotEmpty(t, moved.Moved)
	assert.Equal(t, 1.0, moved.After.Shares().Need)
	assert.Equal(t, len(s.AccessPoints)+len(moved.Added), len(moved.Plan.AccessPoints))
	for _, m := range moved.Moved {
		assert.NotEqual(t, m.From, m.To)
	}

	// Where moving saves none, none is moved.
	far := place(t, moved.Plan, coverage.Options{ThresholdDBm: -72}, coverage.PlaceOptions{Box: oneBand, Move: true})
	assert.Empty(t, far.Moved)
	assert.Empty(t, far.Added)
	t.Logf("%d added, or %d moved and %d added", len(stay.Added), len(moved.Moved), len(moved.Added))
}

// What no place can serve is said, and the rest is served.
func TestPlaceShort(t *testing.T) {
	s := works()
	got, err := coverage.Place(context.Background(), s, from(t, "rooms"), coverage.Options{CellM: 2, ThresholdDBm: -30}, coverage.PlaceOptions{Box: oneBand, SpacingM: 8})
	require.NoError(t, err)
	assert.Greater(t, got.ShortM2, 100.0)

	s.Floors[0].Areas = append(s.Floors[0].Areas, site.Area{ID: "all", Kind: site.NoMount, Polygon: s.Floors[0].Outline})
	_, err = coverage.Place(context.Background(), s, from(t, "rooms"), coverage.Options{}, coverage.PlaceOptions{Box: oneBand})
	assert.EqualError(t, err, "there is no place to hang an access point: all is void or kept free of mounts")
	_, err = coverage.Place(context.Background(), s, from(t, "rooms"), coverage.Options{}, coverage.PlaceOptions{})
	assert.ErrorContains(t, err, "without a band")
}

// Two storeys: one of them has none yet.
func TestPlaceOnTwoFloors(t *testing.T) {
	s := works()
	upper := s.Floors[0]
	upper.ID, upper.ElevationM, upper.Walls, upper.Areas = "1", 3.6, nil, nil
	s.Floors = append(s.Floors, upper)
	got := place(t, s, coverage.Options{CellM: 2}, coverage.PlaceOptions{Box: oneBand, SpacingM: 5})
	assert.Equal(t, 1.0, got.After.Shares().Need)
	up := 0
	for _, ap := range got.Added {
		if ap.Floor == "1" {
			up++
		}
	}
	assert.Greater(t, up, 0)
}
