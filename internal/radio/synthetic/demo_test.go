package synthetic_test

import (
	"context"
	"math"
	"testing"
	"time"

	"footrule/internal/radio"
	"footrule/internal/radio/synthetic"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestDemoSite(t *testing.T) {
	s := synthetic.DemoSite()
	again := synthetic.DemoSite()
	assert.Equal(t, again, s)
	s.Floors[0].Points[0].At = orb.Point{}
	assert.NotEqual(t, s, synthetic.DemoSite(), "each call gives a site of its own")
	s = again

	f := &s.Floors[0]
	assert.Equal(t, 1182.0, f.Area())
	assert.Len(t, f.Points, 42)
	assert.Len(t, s.AccessPoints, 8)
	assert.Equal(t, []string{"plasterboard", "brick"}, s.Materials())
	bssids := 0
	for _, r := range s.Radios() {
		for _, b := range s.AccessPoints[r.AP].Radios[r.Radio].BSSIDs {
			assert.True(t, b.Local() && !b.Group(), "%s", b)
			assert.Equal(t, []byte{0x02, 0x00, 0x5e, 0x10}, b[:4])
			bssids++
		}
	}
	assert.Equal(t, bssids, len(s.RadioOf()), "no BSSID twice")
	assert.Equal(t, 32, bssids)
	for _, w := range f.Walls {
		for _, p := range w.Line {
			assert.Equal(t, orb.Point{math.Round(p[0]), math.Round(p[1])}, p, "walls stand on whole metres")
		}
	}
	for _, p := range f.Points {
		assert.NotNil(t, f.AreaAt(p.At), "%s lies in a room", p.ID)
		assert.True(t, f.Walkable(p.At), p.ID)
	}
}

// As a site for a demonstration: three boxes at −75 dBm or more on nine tenths
// of the floor, whatever the seed, and the south-west corner hears fewer than
// the middle.
func TestDemoCoverage(t *testing.T) {
	s := synthetic.DemoSite()
	f := &s.Floors[0]
	corner, middle := 0.0, 0.0
	for seed := range uint64(8) {
		sc := synthetic.Demo(seed, synthetic.NewSimulatedClock(start))
		heard := func(p orb.Point) float64 {
			aps := map[int]bool{}
			for k, r := range s.Radios() {
				if sc.Mean(k, "G", p) >= -75 {
					aps[r.AP] = true
				}
			}
			return float64(len(aps))
		}
		enough, cells := 0.0, 0.0
		for x := 0.5; x < 46; x++ {
			for y := 0.5; y < 30; y++ {
				p := orb.Point{x, y}
				if !f.Walkable(p) {
					continue
				}
				n := heard(p)
				cells++
				if n >= 3 {
					enough++
				}
				if x < 4 && y < 4 {
					corner += n
				}
				if 14 < x && x < 18 && 12 < y && y < 15 {
					middle += n
				}
			}
		}
		assert.Greater(t, enough/cells, 0.9, "seed %d", seed)
	}
	corner, middle = corner/(8*16), middle/(8*9)
	assert.Less(t, corner, 3.2)
	assert.Greater(t, middle, 4.5)
}

// A whole walk of the demo: every stop done with all its scans, none of them
// stale, and no time taken but on the simulated clock.
func TestDemoWalk(t *testing.T) {
	s := synthetic.DemoSite()
	clock := synthetic.NewSimulatedClock(start)
	sc := synthetic.Demo(7, clock)
	var stops []walk.Stop
	for _, p := range s.Floors[0].Points {
		stops = append(stops, walk.Stop{Point: p.ID, Floor: "G", At: p.At})
	}
	w := walk.Walk{Header: walk.Header{ID: "W1", Source: walk.Synthetic, Settings: walk.DefaultSettings()}}
	se, err := walk.NewSession(s, w, stops)
	require.NoError(t, err)
	ctx := context.Background()
	foreign, dropped := 0, 0
	onPlan := s.RadioOf()
	for se.Phase() != walk.Over {
		require.NoError(t, clock.Sleep(ctx, 5*time.Second))
		require.NoError(t, se.Begin(clock.Now()))
		for se.Phase() != walk.Reviewing {
			if se.Phase() == walk.Turning {
				require.NoError(t, clock.Sleep(ctx, time.Second))
				require.NoError(t, se.Face(clock.Now()))
			}
			i, _ := se.Current()
			sc.Place(stops[i].Floor, se.At(), se.Recording().Facing)
			sw := scan(t, sc, radio.Request{NotBefore: se.Since()})
			for _, h := range sw.Heard {
				if _, ok := onPlan[h.BSSID]; !ok {
					foreign++
				}
			}
			dropped += sw.DroppedStale
			require.True(t, se.Take(sw))
		}
		f, err := se.Accept()
		require.NoError(t, err)
		se.Apply(f)
	}
	assert.Equal(t, walk.Progress{Done: 42}, se.Progress())
	assert.Positive(t, foreign)
	assert.Positive(t, dropped)

	sum, all := 0.0, 0.0
	stays := walk.Stays(s, []walk.Walk{*se.Walk()}, walk.ByVisit)
	require.Len(t, stays, 42)
	for _, st := range stays {
		require.Equal(t, 12, st.Scans)
		for k, l := range st.Levels {
			if l.Heard == 12 {
				sum += l.MeanDBm - sc.Mean(k, "G", st.At)
				all++
			}
		}
	}
	require.Greater(t, all, 100.0)
	// Radios heard in every scan: the body takes (0 + ¼ + 1 + ¼)/4 over four facings,
	// 3/8 of 5 dB, less for its share of the plane.
	assert.InDelta(t, -3.0/8*5, sum/all, 0.6)
}
