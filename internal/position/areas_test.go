package position_test

import (
	"context"
	"math"
	"sync"
	"testing"

	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// zoned is the small hall with two zones of 20 by 30 m and 10 m in none.
func zoned(seed uint64) (*site.Site, walk.Walk) {
	s, w := small().walk(seed)
	s.Floors[0].Areas = []site.Area{
		{ID: "west", Kind: site.Zone, Polygon: box(0, 0, 20, 30)},
		{ID: "pit", Kind: site.Void, Polygon: box(24, 14, 24.1, 14.1)},
		{ID: "east", Kind: site.Zone, Polygon: box(30, 0, 50, 30)},
	}
	return s, w
}

func zoneOf(at orb.Point) string {
	switch {
	case at[0] <= 20:
		return "west"
	case at[0] >= 30:
		return "east"
	}
	return position.Elsewhere
}

// Areas part the places; the figures of each are those of its rows.
func TestAreas(t *testing.T) {
	s, w := zoned(1)
	e, err := position.Judge(context.Background(), s, []walk.Walk{w}, position.Options{Resamples: 300})
	require.NoError(t, err)
	require.Len(t, e.Areas, 3)
	points, inZone, zoneRight := 0, 0, 0
	for i, name := range []string{"west", "east", position.Elsewhere} {
		a := e.Areas[i]
		assert.Equal(t, name, a.Area)
		assert.Equal(t, "G", a.Floor)
		var vectors []orb.Point
		tried, covered := 0, 0
		for _, r := range e.Judged {
			if zoneOf(r.At) != name {
				continue
			}
			tried++
			if !r.Fix.Located {
				continue
			}
			vectors = append(vectors, r.VectorM)
			if r.Ellipse.Holds(r.Fix.At, r.At) {
				covered++
			}
			if name != position.Elsewhere {
				inZone++
				if zoneOf(r.Fix.At) == name {
					zoneRight++
				}
			}
		}
		assert.Equal(t, position.Summarise(vectors, tried), a.Statistics, name)
		assert.Equal(t, covered, a.Ellipse.Fixes, name)
		assert.Less(t, a.CI95["ce50_m"].Lo, a.Statistics.CE50M)
		assert.Greater(t, a.CI95["ce50_m"].Hi, a.Statistics.CE50M)
		points += a.Points
	}
	assert.Equal(t, e.Points, points)
	assert.Equal(t, position.Share{Fixes: zoneRight, Of: inZone, CI95: e.ZoneDetection.CI95}, e.ZoneDetection)
	assert.Less(t, e.ZoneDetection.CI95.Lo, e.ZoneDetection.Est())
}

// A place is judged by a fit to the places of other areas alone: levels planted
// in the east move no fit by which the east is judged, and those of the west.
func TestLeaveAreaOut(t *testing.T) {
	fits := func(plant bool) (map[int]*propagation.Fit, *position.Errors) {
		s, w := zoned(2)
		if plant {
			for i := range w.Visits {
				if zoneOf(w.Visits[i].At) != "east" {
					continue
				}
				for j := range w.Visits[i].Scans {
					for k := range w.Visits[i].Scans[j].Readings {
						w.Visits[i].Scans[j].Readings[k].RSSIDBm = -50
					}
				}
			}
		}
		out := map[int]*propagation.Fit{}
		var mu sync.Mutex
		e, err := position.JudgeWatched(context.Background(), s, []walk.Walk{w}, position.Options{Protocol: position.LeaveAreaOut, Resamples: 100},
			func(p int, f *propagation.Fit) {
				mu.Lock()
				defer mu.Unlock()
				out[p] = f
			})
		require.NoError(t, err)
		return out, e
	}
	clean, e := fits(false)
	planted, _ := fits(true)
	assert.Equal(t, position.LeaveAreaOut, e.Protocol)
	assert.Equal(t, position.PerFacing, e.Fix)
	assert.Equal(t, 3, e.Refits)
	require.Len(t, clean, 30)
	place := -1
	for i, r := range e.Judged {
		if i > 0 && r.Place == e.Judged[i-1].Place {
			continue
		}
		place++
		moved := 0.0
		for k := range clean[place].Radios {
			moved = math.Max(moved, math.Abs(clean[place].Radios[k].Level1m.Est-planted[place].Radios[k].Level1m.Est))
		}
		if zoneOf(r.At) == "east" {
			assert.Less(t, moved, refitTolerance)
		} else {
			assert.Greater(t, moved, .5)
		}
	}

	s, w := small().walk(2)
	_, err := position.Judge(context.Background(), s, []walk.Walk{w}, position.Options{Protocol: position.LeaveAreaOut})
	assert.EqualError(t, err, "leave-area-out needs stays in 2 areas or more, and all are in one; give the plan zones, or use leave-one-out")
}
