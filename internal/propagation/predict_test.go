package propagation_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"footrule/internal/propagation"
	"footrule/internal/radio"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// twoFloors is an invented site of two storeys, a wall on each, one radio below.
func twoFloors() *site.Site {
	return &site.Site{
		ReceiverHeightM: 1,
		Floors: []site.Floor{
			{ID: "G", Outline: orb.Ring{{0, 0}, {20, 0}, {20, 20}, {0, 20}}, Walls: []site.Wall{{Material: "brick", Line: orb.LineString{{4, 0}, {4, 20}}}}},
			{ID: "1", ElevationM: 4, Outline: orb.Ring{{0, 0}, {20, 0}, {20, 20}, {0, 20}}, Walls: []site.Wall{
				{Material: "glass", Line: orb.LineString{{4, 0}, {4, 20}}},
				{Material: "glass", Line: orb.LineString{{9, 0}, {9, 20}}},
			}},
		},
		AccessPoints: []site.AccessPoint{{ID: "AP-01", Floor: "G", At: orb.Point{0, 10}, HeightM: 3, Radios: []site.Radio{{Band: radio.Band5}}}},
	}
}

func est(v float64) propagation.Value { return propagation.Value{Est: v} }

func assumed(t *testing.T, s *site.Site, o propagation.Options, g propagation.Group, r propagation.RadioFit, walls ...propagation.WallLoss) *propagation.Fit {
	t.Helper()
	r.InFit = true
	f, err := propagation.Assume(s, o, []propagation.Group{g}, []propagation.RadioFit{r}, walls)
	require.NoError(t, err)
	return f
}

// The budget adds up as in Rappaport 2002, Ex. 4.11: path loss 31.5 dB at 1 m,
// n = 3.27, three floors 24.4 dB and two block walls of 13 dB, 130.2 dB at 30 m.
func TestLevelBudget(t *testing.T) {
	s := &site.Site{ReceiverHeightM: 1, Floors: []site.Floor{{ID: "0", Walls: []site.Wall{
		{Material: "block", Line: orb.LineString{{5, -50}, {5, 50}}},
		{Material: "block", Line: orb.LineString{{6, -50}, {6, 50}}},
	}}, {ID: "1", ElevationM: 4}, {ID: "2", ElevationM: 8}, {ID: "3", ElevationM: 12}}}
	s.AccessPoints = []site.AccessPoint{{ID: "AP", Floor: "3", At: orb.Point{0, 0}, HeightM: 1, Radios: []site.Radio{{Band: radio.Band2}}}}
	f := assumed(t, s, propagation.Options{}, propagation.Group{Band: radio.Band2, Exponent: est(3.27)}, propagation.RadioFit{Level1m: est(-31.5)},
		propagation.WallLoss{Material: "block", Band: radio.Band2, LossDB: est(13)},
		propagation.WallLoss{Material: propagation.Storey, Band: radio.Band2, LossDB: est(24.4 / 3)})
	x := math.Sqrt(30*30 - 12*12)
	// The line is below 4 m, among the walls, over its last 4 m of 12: from 2x/3 on.
	for i := range s.Floors[0].Walls {
		for j := range s.Floors[0].Walls[i].Line {
			s.Floors[0].Walls[i].Line[j][0] += 2 * x / 3
		}
	}
	f = assumed(t, s, propagation.Options{}, f.Groups[0], f.Radios[0], f.Walls...)
	assert.InDelta(t, -130.20186502933296, f.Level(0, 0, orb.Point{x, 0}), 1e-9)
}

func TestObserve(t *testing.T) {
	s := twoFloors()
	stays := []walk.Stay{
		{Point: "a", Floor: 0, At: orb.Point{10, 10}, Scans: 2, Levels: []walk.Level{{Heard: 1, MeanDBm: -60, MinDBm: -60}}},
		{Point: "b", Floor: 1, At: orb.Point{10, 10}, Scans: 2, Levels: []walk.Level{{}}},
		{Point: "a", Floor: 0, At: orb.Point{0, 10}, Scans: 2},
	}
	d := propagation.Observe(s, stays)
	assert.Equal(t, []string{"brick", "glass", "floor"}, d.Materials)
	assert.Equal(t, []int{0, 1, 0}, d.PlaceOf)
	// Heights 3 m against 1 m, and against 5 m: 2 m apart either way.
	assert.InDeltaSlice(t, []float64{math.Sqrt(104), math.Sqrt(104), 2}, d.DistanceM, 1e-12)
	// Upstairs the line climbs from 3 m to 5 m: below the slab at 4 m for its
	// first half (x < 5, the brick wall at 4), above it for the rest (the glass
	// at 9; that at 4 stands over the part below).
	assert.Equal(t, []float64{1, 0, 0, 1, 1, 1, 0, 0, 0}, d.Crossings)
	assert.Equal(t, []walk.Level{{Heard: 1, MeanDBm: -60, MinDBm: -60}, {}, {}}, d.Levels)

	sub := d.Subset(func(i int) bool { return i != 0 })
	assert.Equal(t, []int{1, 0}, sub.PlaceOf)
	assert.Equal(t, d.Crossings[3:], sub.Crossings)
	assert.Equal(t, d.DistanceM[1:], sub.DistanceM)
}

// LogLik against brute-force integration over the shadowing.
func TestLogLik(t *testing.T) {
	const c, ss, se = -90.0, 5.0, 2.5
	for _, miss := range []struct{ scan, stay float64 }{{0, 0}, {0.15, 0.04}} {
		f := assumed(t, twoFloors(), propagation.Options{},
			propagation.Group{Band: radio.Band5, Exponent: est(3), ShadowDB: ss, ScatterDB: se, FloorDBm: c},
			propagation.RadioFit{Level1m: est(-40), ScanMiss: miss.scan, StayMiss: miss.stay})
		for _, l := range []walk.Level{{}, {Heard: 1, MeanDBm: -89}, {Heard: 3, MeanDBm: -86, SumSqDB: 11}, {Heard: 8, MeanDBm: -75, SumSqDB: 50}} {
			for mu := -115.0; mu <= -62; mu += 2.3 {
				h, q := float64(l.Heard), float64(8-l.Heard)
				sum, step := 0.0, 0.002
				for z := -12.0; z <= 12; z += step {
					shadow := ss * z
					v := math.Exp(-z*z/2) / math.Sqrt(2*math.Pi)
					dev := l.MeanDBm - mu - shadow
					v *= math.Exp(-(l.SumSqDB+h*dev*dev)/(2*se*se)) / math.Pow(math.Sqrt(2*math.Pi)*se, h)
					v *= math.Pow(miss.scan+(1-miss.scan)*math.Erfc(-(c-0.5-mu-shadow)/se/math.Sqrt2)/2, q)
					sum += v * step
				}
				want := math.Log(miss.stay + (1-miss.stay)*sum)
				if l.Heard > 0 {
					want = math.Log((1-miss.stay)*sum) + h*math.Log(1-miss.scan)
				}
				got, slope := f.LogLikGrad(0, mu, l, 8)
				what := fmt.Sprintf("%+v %+v at %g", miss, l, mu)
				assert.InDelta(t, want, got, 3e-6*(1+math.Abs(want)), what)
				up, down := f.LogLik(0, mu+1e-3, l, 8), f.LogLik(0, mu-1e-3, l, 8)
				assert.InDelta(t, (up-down)/2e-3, slope, 1e-4*(1+math.Abs(slope)), what)
			}
		}
	}
}

// Scans that did not listen on a radio's channel say nothing, neither in the
// likelihood nor in a fit nor as a doubt.
func TestDeafScansSayNothing(t *testing.T) {
	s, stays := bigHall().simulate(3)
	more := slices.Clone(stays)
	for i := range more {
		more[i].Scans += 3
		more[i].Levels = slices.Clone(stays[i].Levels)
		for k := range more[i].Levels {
			more[i].Levels[k].Deaf = 3
		}
	}
	silent := walk.Stay{Point: "elsewhere", At: s.AccessPoints[0].At, Scans: 5, Levels: make([]walk.Level, len(s.Radios()))}
	for k := range silent.Levels {
		silent.Levels[k].Deaf = 5
	}
	more = append(more, silent)
	for _, m := range propagation.Models() {
		want, err := propagation.Estimate(propagation.Observe(s, stays), propagation.Options{Model: m})
		require.NoError(t, err)
		got, err := propagation.Estimate(propagation.Observe(s, more), propagation.Options{Model: m})
		require.NoError(t, err)
		assert.Equal(t, want.Groups, got.Groups, m)
		assert.Equal(t, want.Radios, got.Radios, m)
		l := more[0].Levels[0]
		assert.Equal(t, want.LogLik(0, -70, stays[0].Levels[0], stays[0].Scans), got.LogLik(0, -70, l, more[0].Scans), m)
		assert.Zero(t, got.LogLik(0, -50, silent.Levels[0], silent.Scans), m)
		assert.Empty(t, got.Doubts(silent), m)
	}
}

func TestLogLikOfTheOtherModels(t *testing.T) {
	g := propagation.Group{Band: radio.Band5, Exponent: est(3), SigmaDB: est(4), ShadowDB: 4, FloorDBm: -85}
	heard, silent := walk.Level{Heard: 2, MeanDBm: -70, SumSqDB: 3}, walk.Level{}
	normal := -4.5 - math.Log(4*math.Sqrt(2*math.Pi)) // three standard deviations off

	ols := assumed(t, twoFloors(), propagation.Options{Model: propagation.OLS}, g, propagation.RadioFit{Level1m: est(-40)})
	assert.InDelta(t, normal, ols.LogLik(0, -58, heard, 4), 1e-12)
	assert.Zero(t, ols.LogLik(0, -58, silent, 4), "ols hears nothing in silence")

	cens := assumed(t, twoFloors(), propagation.Options{Model: propagation.Censored}, g, propagation.RadioFit{Level1m: est(-40)})
	assert.InDelta(t, normal, cens.LogLik(0, -58, heard, 4), 1e-12)
	assert.InDelta(t, math.Log(0.5), cens.LogLik(0, -85, silent, 4), 1e-12)
}

func TestDoubts(t *testing.T) {
	s := twoFloors()
	s.Floors = s.Floors[:1]
	f := assumed(t, s, propagation.Options{},
		propagation.Group{Band: radio.Band5, Exponent: est(3), ShadowDB: 4, ScatterDB: 2, FloorDBm: -90},
		propagation.RadioFit{Level1m: est(-40), ScanMiss: 0.1, StayMiss: 0.02})
	at := orb.Point{math.Sqrt(100 - 4), 10} // 10 m away: −70 dBm
	stay := func(l walk.Level) walk.Stay {
		return walk.Stay{Floor: 0, At: at, Scans: 4, Levels: []walk.Level{l}}
	}
	require.InDelta(t, -70, f.Level(0, 0, at), 1e-12)
	assert.Empty(t, f.Doubts(stay(walk.Level{Heard: 4, MeanDBm: -58})), "12 dB is under 3 standard deviations of 4.1")

	d := f.Doubts(stay(walk.Level{Heard: 4, MeanDBm: -84}))
	require.Len(t, d, 1)
	sd := math.Sqrt(16 + 4.0/4)
	assert.Equal(t, propagation.Doubt{Radio: 0, Name: "AP-01/5", LevelDBm: -84, PredictDBm: d[0].PredictDBm, ResidualDB: -84 - d[0].PredictDBm, SDs: d[0].ResidualDB / sd, Probability: d[0].Probability}, d[0])
	assert.InDelta(t, math.Erfc(14/sd/math.Sqrt2), d[0].Probability, 1e-9)

	d = f.Doubts(stay(walk.Level{}))
	require.Len(t, d, 1)
	assert.True(t, d[0].Unheard)
	assert.InDelta(t, -20, d[0].ResidualDB, 1e-9)
	assert.InDelta(t, 0.02, d[0].Probability, 0.001)

	far := walk.Stay{Floor: 0, At: orb.Point{20, 10}, Scans: 4, Levels: []walk.Level{{}}} // −79.1 dBm, 11 dB above
	assert.Empty(t, f.Doubts(far))
}
