package synthetic_test

import (
	"context"
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

// pair is the hall with a second box 20 m to the right of the first.
func pair() *site.Site {
	s := hall()
	s.AccessPoints = append(s.AccessPoints, site.AccessPoint{ID: "B", Floor: "G", At: orb.Point{70, 50}, HeightM: 4,
		Radios: []site.Radio{{Band: radio.Band5, BSSIDs: []radio.BSSID{{2, 0, 0x5e, 0x10, 2, 1}}}}})
	return s
}

// heardAt gives what a truth lets be heard of the boxes A and B at a place,
// after some time; NaN is silence.
func heardAt(t *testing.T, s *site.Site, tr synthetic.Truth, at orb.Point, after time.Duration) []float64 {
	t.Helper()
	sc, c := scanner(t, s, tr, 1)
	require.NoError(t, c.Sleep(context.Background(), after))
	sc.Place("G", at, -1)
	sw := scan(t, sc, radio.Request{})
	var out []float64
	for _, ap := range s.AccessPoints {
		v, ok := level(sw, ap.Radios[0].BSSIDs[0])
		if !ok {
			v = math.NaN()
		}
		out = append(out, v)
	}
	return out
}

// lawDBm is the level of a quiet hall at a distance on the plan, as reported.
func lawDBm(plan float64) float64 { return math.Round(-40 - 30*math.Log10(math.Hypot(plan, 3))) }

func TestFaults(t *testing.T) {
	s := pair()
	at := orb.Point{50, 54} // 4 m from A, 20.4 m from B
	near, far := lawDBm(4), lawDBm(math.Hypot(20, 4))
	silent := math.NaN()
	tests := []struct {
		name  string
		plant func(tr *synthetic.Truth)
		after time.Duration
		want  []float64
	}{
		{"none", func(*synthetic.Truth) {}, 0, []float64{near, far}},
		{"labels swapped", func(tr *synthetic.Truth) { tr.Swap(0, 1) }, 0, []float64{far, near}},
		{"hangs elsewhere", func(tr *synthetic.Truth) { tr.AccessPoints[0].At = orb.Point{50, 64} }, 0, []float64{lawDBm(10), far}},
		{"hangs lower", func(tr *synthetic.Truth) { tr.AccessPoints[0].HeightM = 1 }, 0, []float64{math.Round(-40 - 30*math.Log10(4)), far}},
		{"power not yet changed", func(tr *synthetic.Truth) {
			tr.Radios[0].Steps = []synthetic.Step{{After: time.Minute, DB: -6}, {After: time.Hour, DB: 3}}
		}, 30 * time.Second, []float64{near, far}},
		{"power changed", func(tr *synthetic.Truth) {
			tr.Radios[0].Steps = []synthetic.Step{{After: time.Minute, DB: -6}, {After: time.Hour, DB: 3}}
		}, time.Minute, []float64{near - 6, far}},
		{"power changed twice", func(tr *synthetic.Truth) {
			tr.Radios[0].Steps = []synthetic.Step{{After: time.Minute, DB: -6}, {After: time.Hour, DB: 3}}
		}, 2 * time.Hour, []float64{near - 3, far}},
		{"dead", func(tr *synthetic.Truth) { tr.AccessPoints[0].Dies = true }, 0, []float64{silent, far}},
		{"still alive", func(tr *synthetic.Truth) {
			tr.AccessPoints[1].Dies, tr.AccessPoints[1].DiesAfter = true, time.Minute
		}, 30 * time.Second, []float64{near, far}},
		{"died", func(tr *synthetic.Truth) {
			tr.AccessPoints[1].Dies, tr.AccessPoints[1].DiesAfter = true, time.Minute
		}, time.Minute, []float64{near, silent}},
		{"another receiver", func(tr *synthetic.Truth) { tr.ReceiverOffsetDB = 5 }, 0, []float64{near + 5, far + 5}},
		{"point elsewhere", func(tr *synthetic.Truth) {
			tr.Strays = []synthetic.Stray{{Floor: "G", At: orb.Point{50.3, 54}, Off: orb.Point{20, 0}}}
		}, 0, []float64{far, near}},
		{"another point elsewhere", func(tr *synthetic.Truth) {
			tr.Strays = []synthetic.Stray{{Floor: "G", At: orb.Point{51, 54}, Off: orb.Point{20, 0}}, {Floor: "1", At: at, Off: orb.Point{9, 9}}}
		}, 0, []float64{near, far}},
		{"plan too small", func(tr *synthetic.Truth) { tr.PlanScale = 1.1 }, 0,
			[]float64{lawDBm(math.Hypot(5, 9.4)), lawDBm(math.Hypot(15, 9.4))}},
	}
	for _, tt := range tests {
		tr := quiet(s)
		tt.plant(&tr)
		got := heardAt(t, s, tr, at, tt.after)
		for i := range tt.want {
			if math.IsNaN(tt.want[i]) {
				assert.True(t, math.IsNaN(got[i]), "%s: box %d heard at %g", tt.name, i, got[i])
				continue
			}
			assert.Equal(t, tt.want[i], got[i], "%s: box %d", tt.name, i)
		}
	}
}

// A box that hangs elsewhere brings its level along, and the truth says so.
func TestTruthIsACopy(t *testing.T) {
	s := pair()
	tr := synthetic.Office().Truth(s, 1)
	tr.Swap(0, 1)
	sc, _ := scanner(t, s, tr, 1)
	want := tr.Clone()
	got := sc.Truth()
	assert.Equal(t, want, got)
	assert.Equal(t, orb.Point{70, 50}, got.AccessPoints[0].At)
	assert.Equal(t, orb.Point{50, 50}, s.AccessPoints[0].At, "the plan is as it was")

	before := sc.Mean(0, "G", orb.Point{60, 60})
	for _, shared := range []synthetic.Truth{tr, got} {
		shared.AccessPoints[0].At = orb.Point{0, 0}
		shared.Radios[0].Level1mDBm = 0
		shared.Radios[0].BSSs[0].OffsetDB = 99
		shared.Foreign[0].BSSs[0].SSID = "x"
		shared.FloorDBm[radio.Band5] = 0
	}
	s.AccessPoints[0].At = orb.Point{1, 1}
	assert.Equal(t, before, sc.Mean(0, "G", orb.Point{60, 60}))
	assert.Equal(t, want, sc.Truth())
}

func TestEnvironmentTruth(t *testing.T) {
	s := pair()
	power := 20.0
	s.AccessPoints[1].Radios[0].TxPowerDBm = &power
	s.AccessPoints[1].Radios = append(s.AccessPoints[1].Radios, site.Radio{Band: radio.Band2}) // planned: no BSSID yet
	s.Floors[0].Walls = []site.Wall{
		{Material: "brick", Line: orb.LineString{{1, 1}, {1, 9}}}, {Material: "straw", Line: orb.LineString{{2, 1}, {2, 9}}}}

	tr := synthetic.Plain().Truth(s, 4)
	// Friis at 1 m from 5180, 5260 and 2412 MHz: 46.73, 46.87 and 40.10 dB.
	var got []float64
	for _, r := range tr.Radios {
		got = append(got, math.Round(100*r.Level1mDBm)/100, float64(r.FreqMHz), r.Exponent, r.SigmaDB, r.MissRate)
	}
	assert.Equal(t, []float64{
		-36.73, 5180, 2.9, 4.5, 0,
		-33.87, 5260, 2.9, 4.5, 0,
		-33.1, 2412, 2.7, 4, 0,
	}, got)
	assert.Equal(t, map[synthetic.Wall]float64{
		{Material: "brick", Band: radio.Band2}: 5.8, {Material: "brick", Band: radio.Band5}: 6.3, {Material: "brick", Band: radio.Band6}: 6.2,
		{Material: "straw", Band: radio.Band2}: 3.4, {Material: "straw", Band: radio.Band5}: 3.4, {Material: "straw", Band: radio.Band6}: 3.4,
	}, tr.Walls)
	assert.Empty(t, tr.Foreign)
	assert.Empty(t, tr.Radios[2].BSSs)

	office := synthetic.Office()
	a, b, c := office.Truth(s, 4), office.Truth(s, 4), office.Truth(s, 5)
	assert.Equal(t, a, b)
	assert.NotEqual(t, a, c)
	require.Len(t, a.Foreign, office.Neighbours)
	plan := s.RadioOf()
	for _, f := range a.Foreign {
		assert.False(t, s.Floors[0].Inside(f.At), "%v", f.At)
		for _, bss := range f.BSSs {
			assert.NotContains(t, plan, bss.ID)
			assert.True(t, bss.ID.Local() && !bss.ID.Group())
		}
	}
	a.FloorDBm[radio.Band5] = 0
	assert.Equal(t, -90.0, b.FloorDBm[radio.Band5])

	sc, _ := scanner(t, s, c, 1)
	sc.Place("G", orb.Point{50, 50}, 0)
	assert.NotEmpty(t, scan(t, sc, radio.Request{}).Heard)
}
