package walk_test

import (
	"context"
	"fmt"
	"math"
	"testing"
	"time"

	"footrule/internal/radio"
	"footrule/internal/radio/synthetic"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// three is a site with three radios.
func three() *site.Site {
	s := &site.Site{Name: "Hall", ReceiverHeightM: 1.2, Floors: []site.Floor{{ID: "G", Outline: orb.Ring{{0, 0}, {20, 0}, {20, 10}, {0, 10}}}}}
	for i := range 3 {
		s.AccessPoints = append(s.AccessPoints, site.AccessPoint{ID: fmt.Sprintf("AP-%02d", i+1), Floor: "G", At: orb.Point{float64(5 * i), 5}, HeightM: 2.8,
			Radios: []site.Radio{{Band: radio.Band5, BSSIDs: []radio.BSSID{{2, 0, 0x5e, 0, 0, byte(i + 1)}}}}})
	}
	return s
}

// levelsAt makes a walk with one visit of one scan at each point; NaN is silence.
func levelsAt(id string, points []string, levels [][]float64) walk.Walk {
	w := walk.Walk{Header: walk.Header{ID: id}}
	for i, p := range points {
		sc := walk.Scan{FacingDeg: walk.NoFacing}
		for k, v := range levels[i] {
			if !math.IsNaN(v) {
				sc.Readings = append(sc.Readings, read(radio.BSSID{2, 0, 0x5e, 0, 0, byte(k + 1)}, v))
			}
		}
		w.Visits = append(w.Visits, walk.Visit{ID: id + p, Point: p, Floor: "G", At: orb.Point{float64(i), 1}, Scans: []walk.Scan{sc}})
	}
	return w
}

func TestOffset(t *testing.T) {
	s, silent := three(), math.NaN()
	a := []walk.Walk{levelsAt("a", []string{"P1", "P2", "P3", "P4"}, [][]float64{{-40, -50, -60}, {-45, -55, silent}, {-50, -52, -54}, {-50, -50, -50}})}
	b := []walk.Walk{levelsAt("b", []string{"P3", "P2", "P1", "P5"}, [][]float64{{-56, -58, -60}, {-49, -59, -50}, {-45, -55, -70}, {-50, -50, -50}})}
	got, err := walk.Offset(s, a, b)
	require.NoError(t, err)
	// d = 5, 4, 6: mean 5, sd 1, SE 1/√3; t(0.975, 2) = 4.302653 (Student's table, from memory).
	half := 4.302653 / math.Sqrt(3)
	assert.InDelta(t, 5-half, got.LoDB, 1e-6)
	assert.InDelta(t, 5+half, got.HiDB, 1e-6)
	assert.InDelta(t, 1/math.Sqrt(3), got.SEDB, 1e-12)
	place := func(id string) walk.Place { return walk.Place{Point: id} }
	got.LoDB, got.HiDB, got.SEDB = 0, 0, 0
	assert.Equal(t, walk.OffsetEstimate{OffsetDB: 5, Places: 3, Radios: 3, Pairs: 8, PerPlace: []walk.PlaceOffset{
		{Place: place("P1"), Radios: 3, DiffDB: 5}, {Place: place("P2"), Radios: 2, DiffDB: 4}, {Place: place("P3"), Radios: 3, DiffDB: 6}}}, got)
}

// Law 1, law 2 of Offset.
func TestOffsetLaws(t *testing.T) {
	s := three()
	points := []string{"P1", "P2", "P3", "P4"}
	la := [][]float64{{-40, -50, -61}, {-45, -57, -48}, {-50, -52, -54}, {-58, -55, -50}}
	lb := [][]float64{{-43, -55, -62}, {-49, -58, -49}, {-55, -51, -60}, {-59, -61, -50}}
	up := make([][]float64, len(la))
	for i := range la {
		for _, v := range la[i] {
			up[i] = append(up[i], v+2.5)
		}
	}
	est := func(x, y [][]float64) walk.OffsetEstimate {
		e, err := walk.Offset(s, []walk.Walk{levelsAt("x", points, x)}, []walk.Walk{levelsAt("y", points, y)})
		require.NoError(t, err)
		return e
	}
	ab, ba, raised := est(la, lb), est(lb, la), est(up, lb)
	assert.InDelta(t, ab.OffsetDB, -ba.OffsetDB, 1e-12)
	assert.InDelta(t, ab.LoDB, -ba.HiDB, 1e-12)
	assert.InDelta(t, ab.OffsetDB+2.5, raised.OffsetDB, 1e-12)
	assert.InDelta(t, ab.SEDB, raised.SEDB, 1e-12)
	assert.Equal(t, ab.Pairs, raised.Pairs)
}

// Radios near a floor, or missed by most scans, are not compared.
func TestOffsetLeavesOut(t *testing.T) {
	s := three()
	points := []string{"P1", "P2", "P3"}
	a := levelsAt("a", points, [][]float64{{-40, -80, -61}, {-45, -79, -48}, {-50, -81, -54}})
	b := levelsAt("b", points, [][]float64{{-43, -60, -62}, {-49, -90, -49}, {-55, -88, -60}})
	for i := range b.Visits { // three scans, one of which heard radio 3
		all := b.Visits[i].Scans[0]
		two := scan(walk.NoFacing, all.Readings[:2]...)
		b.Visits[i].Scans = []walk.Scan{all, two, two}
	}
	got, err := walk.Offset(s, []walk.Walk{a}, []walk.Walk{b})
	require.NoError(t, err)
	assert.Equal(t, [3]int{3, 2, 4}, [3]int{got.Places, got.Radios, got.Pairs}, "radio 1 thrice, radio 2 at P1 where it is well above on the average")
}

func TestOffsetTooFew(t *testing.T) {
	s := three()
	l := [][]float64{{-40, -50, -61}, {-45, -57, -48}, {-50, -52, -54}}
	for name, tc := range map[string]struct {
		a, b []string
		want walk.SharedPlacesError
		text string
	}{
		"none": {[]string{"P1", "P2"}, []string{"P3"}, walk.SharedPlacesError{Shared: 0, Need: 3, OnlyA: []string{"P1", "P2"}, OnlyB: []string{"P3"}},
			"0 shared places where 3 are needed; walk these points with both: the first has walked P1 P2, the second has walked P3"},
		"one": {[]string{"P1"}, []string{"P1", "P4", "P5"}, walk.SharedPlacesError{Shared: 1, Need: 3, OnlyB: []string{"P4", "P5"}},
			"1 shared place where 3 are needed; walk these points with both: the second has walked P4 P5"},
		"two alone": {[]string{"P1", "P2"}, []string{"P1", "P2"}, walk.SharedPlacesError{Shared: 2, Need: 3},
			"2 shared places where 3 are needed; walk the same points with both"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := walk.Offset(s, []walk.Walk{levelsAt("a", tc.a, l)}, []walk.Walk{levelsAt("b", tc.b, l)})
			var few *walk.SharedPlacesError
			require.ErrorAs(t, err, &few)
			assert.Equal(t, tc.want, *few)
			assert.EqualError(t, err, tc.text)
		})
	}
}

// TestOffsetCoverage plants offsets between two receivers in a simulated
// office, without drift, and counts how often the 95 % interval has them.
func TestOffsetCoverage(t *testing.T) {
	runs := 150
	if testing.Short() {
		runs = 40
	}
	s := synthetic.DemoSite()
	s.Floors[0].Points = s.Floors[0].Points[:12]
	inside, bias := 0, 0.0
	for seed := range runs {
		planted := float64(seed%13) - 6
		a, b := receive(t, s, uint64(seed+1), planted, 0), receive(t, s, uint64(seed+1), 0, 12*4)
		got, err := walk.Offset(s, []walk.Walk{a}, []walk.Walk{b})
		require.NoError(t, err)
		require.Equal(t, 12, got.Places)
		if got.LoDB <= planted && planted <= got.HiDB {
			inside++
		}
		bias += (got.OffsetDB - planted) / float64(runs)
	}
	t.Logf("%d of %d intervals have the planted offset, bias %.3f dB", inside, runs, bias)
	share := float64(inside) / float64(runs)
	assert.GreaterOrEqual(t, share, 0.90) // 0.95 less some three of its standard errors, 0.018
	assert.Less(t, math.Abs(bias), 0.1)
}

// receive walks all points of the ground floor with a receiver that reports
// offset too much. ahead scans are taken first, so that two receivers in one
// building have scatter of their own.
func receive(t *testing.T, s *site.Site, seed uint64, offset float64, ahead int) walk.Walk {
	t.Helper()
	truth := synthetic.Office().Truth(s, seed)
	truth.ReceiverOffsetDB, truth.DriftDB, truth.APDriftDB = offset, 0, 0
	clock := synthetic.NewSimulatedClock(time.Date(2030, 3, 4, 9, 0, 0, 0, time.UTC))
	sc, err := synthetic.New(s, truth, seed, clock)
	require.NoError(t, err)
	f := &s.Floors[0]
	sweep := func(at orb.Point, deg float64) walk.Scan {
		sc.Place(f.ID, at, deg)
		sw, err := sc.Scan(context.Background(), radio.Request{NotBefore: clock.Now()})
		require.NoError(t, err)
		return walk.Scan{Time: sw.Started, FacingDeg: deg, Readings: sw.Readings()}
	}
	for range ahead {
		sweep(f.Points[0].At, 0)
	}
	w := walk.Walk{Header: walk.Header{ID: "w"}}
	for _, p := range f.Points {
		v := walk.Visit{ID: p.ID, Point: p.ID, Floor: f.ID, At: p.At}
		for _, deg := range []float64{0, 90, 180, 270} {
			v.Scans = append(v.Scans, sweep(p.At, deg))
		}
		w.Visits = append(w.Visits, v)
	}
	return w
}
