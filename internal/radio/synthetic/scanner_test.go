package synthetic_test

import (
	"context"
	"fmt"
	"math"
	"testing"
	"time"

	"footrule/internal/radio"
	"footrule/internal/radio/synthetic"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var (
	_ radio.Scanner = (*synthetic.Scanner)(nil)
	_ radio.Placer  = (*synthetic.Scanner)(nil)

	start = time.Date(2026, 3, 4, 9, 0, 0, 0, time.UTC)
)

// hall is an invented empty hall with one access point of one radio and two
// BSSIDs in its middle, at the height of the receiver's antenna plus 3 m.
func hall() *site.Site {
	return &site.Site{
		Name: "Hall", ReceiverHeightM: 1,
		Floors: []site.Floor{{ID: "G", Name: "Ground", Outline: orb.Ring{{0, 0}, {100, 0}, {100, 100}, {0, 100}}}},
		AccessPoints: []site.AccessPoint{{ID: "A", Floor: "G", At: orb.Point{50, 50}, HeightM: 4,
			Radios: []site.Radio{{Band: radio.Band5, BSSIDs: []radio.BSSID{{2, 0, 0x5e, 0x10, 1, 1}, {2, 0, 0x5e, 0x10, 1, 2}}}}}},
	}
}

// quiet is a truth without anything random: −40 dBm at 1 m, exponent 3.
func quiet(s *site.Site) synthetic.Truth {
	t := synthetic.Plain().Truth(s, 1)
	t.ScatterDB = 0
	for k := range t.Radios {
		t.Radios[k].Level1mDBm, t.Radios[k].Exponent, t.Radios[k].SigmaDB = -40, 3, 0
	}
	return t
}

func scanner(t *testing.T, s *site.Site, tr synthetic.Truth, seed uint64) (*synthetic.Scanner, *synthetic.SimulatedClock) {
	t.Helper()
	c := synthetic.NewSimulatedClock(start)
	sc, err := synthetic.New(s, tr, seed, c)
	require.NoError(t, err)
	return sc, c
}

func scan(t *testing.T, sc *synthetic.Scanner, req radio.Request) radio.Sweep {
	t.Helper()
	sw, err := sc.Scan(context.Background(), req)
	require.NoError(t, err)
	return sw
}

// level gives the level of a BSSID in a sweep; ok is false where it is not heard.
func level(sw radio.Sweep, b radio.BSSID) (v float64, ok bool) {
	for _, h := range sw.Heard {
		if h.BSSID == b {
			return h.RSSIDBm, true
		}
	}
	return 0, false
}

func TestSweepOfAQuietHall(t *testing.T) {
	s := hall()
	tr := quiet(s)
	tr.Radios[0].BSSs[1].OffsetDB = -2
	sc, c := scanner(t, s, tr, 1)
	_, err := sc.Scan(context.Background(), radio.Request{})
	require.ErrorContains(t, err, "place it first")

	sc.Place("G", orb.Point{54, 50}, -1) // 5 m away: 3 m of height, 4 m on the plan
	sw := scan(t, sc, radio.Request{})
	assert.Equal(t, "synthetic", sw.Interface)
	assert.Equal(t, start, sw.Started)
	assert.Equal(t, start.Add(sw.Took), c.Now())
	assert.True(t, 300*time.Millisecond <= sw.Took && sw.Took <= 500*time.Millisecond, "%v", sw.Took)
	require.Len(t, sw.Heard, 2)
	want := -40 - 30*math.Log10(5) // −60.97
	for i, h := range sw.Heard {
		assert.True(t, 0 <= h.Age && h.Age < sw.Took)
		assert.Equal(t, radio.Reading{BSSID: s.AccessPoints[0].Radios[0].BSSIDs[i], SSID: []string{"works", "guests"}[i],
			FreqMHz: 5180, RSSIDBm: math.Round(want - float64(2*i))}, h.Reading)
	}
	assert.InDelta(t, want, sc.Mean(0, "G", orb.Point{54, 50}), 1e-12)
	assert.True(t, math.IsNaN(sc.Mean(0, "attic", orb.Point{54, 50})))
	assert.True(t, math.IsNaN(sc.Model(0, "attic", orb.Point{54, 50})))

	assert.Len(t, scan(t, sc, radio.Request{FreqsMHz: []int{2412, 5180}}).Heard, 2)
	assert.Empty(t, scan(t, sc, radio.Request{FreqsMHz: []int{2412}}).Heard)
	for range 20 {
		took := scan(t, sc, radio.Request{Passive: true}).Took
		assert.True(t, 500*time.Millisecond < took && took < 900*time.Millisecond, "%v", took)
	}
	sc.Place("attic", orb.Point{1, 1}, -1)
	_, err = sc.Scan(context.Background(), radio.Request{})
	require.ErrorContains(t, err, `"attic"`)

	sc.Place("G", orb.Point{50, 50}, 0)
	tr.Radios[0].Level1mDBm = 30
	sc, _ = scanner(t, s, tr, 1)
	sc.Place("G", orb.Point{50, 50}, 0)
	for _, h := range scan(t, sc, radio.Request{}).Heard {
		assert.True(t, radio.LevelOK(h.RSSIDBm), "%g dBm", h.RSSIDBm)
	}
}

func TestNewRefuses(t *testing.T) {
	tests := []struct {
		want  string
		spoil func(s *site.Site, tr *synthetic.Truth)
	}{
		{"outline", func(s *site.Site, _ *synthetic.Truth) { s.Floors[0].Outline = nil }},
		{"0 access points, the plan 1", func(_ *site.Site, tr *synthetic.Truth) { tr.AccessPoints = nil }},
		{"0 radios, the plan 1", func(_ *site.Site, tr *synthetic.Truth) { tr.Radios = nil }},
		{`A really hangs on floor "9"`, func(_ *site.Site, tr *synthetic.Truth) { tr.AccessPoints[0].Floor = "9" }},
		{`foreign radio hangs on floor ""`, func(_ *site.Site, tr *synthetic.Truth) { tr.Foreign = make([]synthetic.Foreign, 1) }},
		{`foreign radio 0: no floor of hearing for band ""`, func(_ *site.Site, tr *synthetic.Truth) {
			tr.Foreign = []synthetic.Foreign{{Floor: "G"}}
		}},
		{"correlation length of 0 m", func(_ *site.Site, tr *synthetic.Truth) { tr.ShadowLengthM = 0 }},
		{"sweeps of 2s to 1s", func(_ *site.Site, tr *synthetic.Truth) { tr.SweepMin, tr.SweepMax = 2*time.Second, time.Second }},
		{"a drift within 0s", func(_ *site.Site, tr *synthetic.Truth) { tr.DriftDB, tr.DriftTime = 1, 0 }},
		{"shares of 1.5", func(_ *site.Site, tr *synthetic.Truth) { tr.APShare = 1.5 }},
		{"and NaN (stale)", func(_ *site.Site, tr *synthetic.Truth) { tr.StaleRate = math.NaN() }},
		{"a miss rate of -0.1", func(_ *site.Site, tr *synthetic.Truth) { tr.Radios[0].MissRate = -0.1 }},
		{"a spread of -1 dB", func(_ *site.Site, tr *synthetic.Truth) { tr.Radios[0].SigmaDB = -1 }},
		{"an exponent of +Inf", func(_ *site.Site, tr *synthetic.Truth) { tr.Radios[0].Exponent = math.Inf(1) }},
	}
	for _, tt := range tests {
		s := hall()
		tr := quiet(s)
		tt.spoil(s, &tr)
		_, err := synthetic.New(s, tr, 1, synthetic.NewSimulatedClock(start))
		require.ErrorContains(t, err, tt.want)
		require.ErrorContains(t, err, `synthetic site "Hall": `)
	}
}

// tour takes a few sweeps at a few places, with everything random switched on.
func tour(t *testing.T, seed uint64, sweeps int) string {
	sc := synthetic.Demo(seed, synthetic.NewSimulatedClock(start))
	out := ""
	for i, p := range synthetic.DemoSite().Floors[0].Points {
		sc.Place("G", p.At, float64(i%4)*90)
		for range sweeps {
			out += fmt.Sprintln(scan(t, sc, radio.Request{}))
		}
	}
	return out
}

func TestEqualSeedsGiveEqualSweeps(t *testing.T) {
	a := tour(t, 5, 2)
	assert.Equal(t, a, tour(t, 5, 2))
	assert.NotEqual(t, a, tour(t, 6, 2))
}

// A fault changes what it concerns and leaves every other number as it was.
func TestAFaultChangesNothingElse(t *testing.T) {
	s := synthetic.DemoSite()
	clean, faulty := synthetic.Office().Truth(s, 3), synthetic.Office().Truth(s, 3)
	faulty.AccessPoints[2].Dies = true
	a, _ := scanner(t, s, clean, 3)
	b, _ := scanner(t, s, faulty, 3)
	radioOf := s.RadioOf()
	lost := 0
	for _, p := range s.Floors[0].Points {
		a.Place("G", p.At, 90)
		b.Place("G", p.At, 90)
		var want []radio.Heard
		for _, h := range scan(t, a, radio.Request{}).Heard {
			if k, ok := radioOf[h.BSSID]; ok && s.Radios()[k].AP == 2 {
				lost++
				continue
			}
			want = append(want, h)
		}
		require.Equal(t, want, scan(t, b, radio.Request{}).Heard, p.ID)
	}
	assert.Greater(t, lost, 50)
}

func TestContext(t *testing.T) {
	s := hall()
	sc, c := scanner(t, s, synthetic.Office().Truth(s, 1), 1)
	twin, _ := scanner(t, s, synthetic.Office().Truth(s, 1), 1)
	sc.Place("G", orb.Point{40, 40}, 0)
	twin.Place("G", orb.Point{40, 40}, 0)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	sw, err := sc.Scan(ctx, radio.Request{})
	require.ErrorIs(t, err, context.Canceled)
	assert.Zero(t, sw)
	assert.Equal(t, start, c.Now())
	assert.Equal(t, scan(t, twin, radio.Request{}), scan(t, sc, radio.Request{}), "a sweep given up leaves no trace")

	live, err := synthetic.New(s, quiet(s), 1, synthetic.WallClock{})
	require.NoError(t, err)
	live.Place("G", orb.Point{40, 40}, 0)
	ctx, cancel = context.WithTimeout(context.Background(), time.Millisecond)
	defer cancel()
	_, err = live.Scan(ctx, radio.Request{})
	require.ErrorIs(t, err, context.DeadlineExceeded)
	sw, err = live.Scan(context.Background(), radio.Request{})
	require.NoError(t, err)
	assert.False(t, time.Now().Before(sw.Started.Add(sw.Took)), "on the wall clock a sweep takes its time")
}

// Place may be called while a Scan runs; the race detector watches.
func TestPlaceWhileScanning(t *testing.T) {
	sc := synthetic.Demo(1, synthetic.NewSimulatedClock(start))
	sc.Place("G", orb.Point{3, 3}, 0)
	done := make(chan struct{})
	go func() {
		defer close(done)
		for i := range 200 {
			sc.Place("G", orb.Point{3, float64(1 + i%10)}, 0)
			sc.Mean(0, "G", orb.Point{3, 3})
		}
	}()
	for range 50 {
		assert.NotEmpty(t, scan(t, sc, radio.Request{}).Heard)
	}
	<-done
}

func TestStaleEntries(t *testing.T) {
	s := hall()
	tr := quiet(s)
	tr.StaleRate = 1
	near, far := orb.Point{54, 50}, orb.Point{1, 1}
	tr.FloorDBm[radio.Band5] = -80 // unheard beyond some 20 m
	sc, c := scanner(t, s, tr, 1)
	sc.Place("G", near, 0)
	first := scan(t, sc, radio.Request{})
	require.Len(t, first.Heard, 2)
	require.NoError(t, c.Sleep(context.Background(), 5*time.Second))

	sc.Place("G", far, 0)
	arrived := c.Now()
	sw := scan(t, sc, radio.Request{})
	require.Len(t, sw.Heard, 2, "without NotBefore they are listed")
	for i, h := range sw.Heard {
		assert.Equal(t, first.Heard[i].Reading, h.Reading)
		assert.Greater(t, h.Age, 5*time.Second, "older than the stay")
		assert.Equal(t, first.Started.Add(first.Took).Add(-first.Heard[i].Age), sw.Started.Add(sw.Took).Add(-h.Age))
	}
	sw = scan(t, sc, radio.Request{NotBefore: arrived})
	assert.Empty(t, sw.Heard)
	assert.Equal(t, 2, sw.DroppedStale)
	require.NoError(t, c.Sleep(context.Background(), 30*time.Second))
	sw = scan(t, sc, radio.Request{})
	assert.Empty(t, sw.Heard, "the cache forgets after 30 s")
	assert.Zero(t, sw.DroppedStale)
}

// In the office with its defaults stale entries are seldom, and NotBefore takes
// out all of them and nothing else.
func TestNotBefore(t *testing.T) {
	count := func(limit bool) (heard, stale, dropped int) {
		c := synthetic.NewSimulatedClock(start)
		sc := synthetic.Demo(2, c)
		for _, p := range synthetic.DemoSite().Floors[0].Points {
			sc.Place("G", p.At, 0)
			arrived := c.Now()
			for range 10 {
				req := radio.Request{}
				if limit {
					req.NotBefore = arrived
				}
				sw := scan(t, sc, req)
				dropped += sw.DroppedStale
				for _, h := range sw.Heard {
					heard++
					if sw.Started.Add(sw.Took).Add(-h.Age).Before(arrived) {
						stale++
					}
				}
			}
		}
		return heard, stale, dropped
	}
	heard, stale, dropped := count(false)
	assert.Zero(t, dropped)
	assert.Greater(t, stale, 20)
	assert.Less(t, float64(stale), 0.02*float64(heard))
	heardL, staleL, droppedL := count(true)
	assert.Equal(t, []int{heard - stale, 0, stale}, []int{heardL, staleL, droppedL})
}

func BenchmarkSweep(b *testing.B) {
	s := hall()
	s.AccessPoints = nil
	for i := range 50 {
		s.AccessPoints = append(s.AccessPoints, site.AccessPoint{ID: fmt.Sprintf("A%d", i), Floor: "G",
			At: orb.Point{float64(i%10)*10 + 5, float64(i/10)*20 + 10}, HeightM: 3, Radios: []site.Radio{
				{Band: radio.Band2, BSSIDs: []radio.BSSID{{2, 0, 0x5e, 0x10, byte(i), 0x20}}},
				{Band: radio.Band5, BSSIDs: []radio.BSSID{{2, 0, 0x5e, 0x10, byte(i), 0x50}}}}})
	}
	sc, err := synthetic.New(s, synthetic.Office().Truth(s, 1), 1, synthetic.NewSimulatedClock(start))
	require.NoError(b, err)
	ctx := context.Background()
	b.Run("same place", func(b *testing.B) {
		sc.Place("G", orb.Point{40, 40}, 0)
		for b.Loop() {
			if _, err := sc.Scan(ctx, radio.Request{}); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("new place", func(b *testing.B) {
		for i := 0; b.Loop(); i++ {
			sc.Place("G", orb.Point{float64(i % 100), 40}, 0)
			if _, err := sc.Scan(ctx, radio.Request{}); err != nil {
				b.Fatal(err)
			}
		}
	})
}
