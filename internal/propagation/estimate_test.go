package propagation_test

import (
	"math"
	"runtime"
	"testing"

	"footrule/internal/propagation"
	"footrule/internal/walk"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func sqrt(n int) float64 { return math.Sqrt(float64(n)) }

// TestSilence: in a simulated hall with n = 3.3 and a third of the pairs
// unheard, leaving silence out biases n low by more than 0.6, a visit-level
// likelihood by some 0.4, and the likelihood of every scan not at all, whatever
// the share of scans that are missed for no reason of level.
func TestSilence(t *testing.T) {
	for _, miss := range []float64{0, 0.15} {
		mean := map[propagation.Model]float64{}
		silent := 0.0
		for seed := range uint64(8) {
			h := bigHall()
			h.width, h.depth, h.missScan = 105, 70, miss
			s, stays := h.simulate(seed)
			d := propagation.Observe(s, stays)
			for _, m := range []propagation.Model{propagation.OLS, propagation.Censored, propagation.TwoLevel} {
				f, err := propagation.EstimateFrom(d, propagation.Options{Model: m}, nil)
				require.NoError(t, err)
				g := f.Groups[0]
				mean[m] += g.Exponent.Est / 8
				silent += float64(g.Silent) / float64(g.Silent+g.Stays) / 24
			}
		}
		t.Logf("miss %.2f: unheard %.2f, n %v", miss, silent, mean)
		assert.InDelta(t, 0.375, silent, 0.06, "the hall is not the one of the study")
		assert.Less(t, mean[propagation.OLS], 3.3-0.6)
		assert.Less(t, mean[propagation.Censored], 3.3-0.25)
		assert.InDelta(t, 3.3, mean[propagation.TwoLevel], 0.03)
	}
}

// Where every stay is one scan and nothing is missed but for its level, the
// integral over the shadowing is Φ((c − ½ − μ)/√(σ_s² + σ_e²)): two-level is the
// censored fit with its floor half a decibel lower.
func TestTwoLevelInTheLimit(t *testing.T) {
	h := bigHall()
	h.scans = 1
	s, stays := h.simulate(4)
	d := propagation.Observe(s, stays)
	zero, half := 0.0, h.floor-0.5
	two, err := propagation.Estimate(d, propagation.Options{MissRate: &zero, FloorDBm: &h.floor})
	require.NoError(t, err)
	one, err := propagation.Estimate(d, propagation.Options{Model: propagation.Censored, FloorDBm: &half})
	require.NoError(t, err)
	assert.InEpsilon(t, one.Groups[0].Exponent.Est, two.Groups[0].Exponent.Est, 1e-5)
	assert.InEpsilon(t, one.Groups[0].ResidualDB(), two.Groups[0].ResidualDB(), 1e-5)
	assert.InEpsilon(t, one.LogLikelihood, two.LogLikelihood, 1e-7)
	assert.InEpsilon(t, one.Groups[0].Exponent.SE, two.Groups[0].Exponent.SE, 0.01) // there the split of the spread is held, not its sum
}

func TestMissRates(t *testing.T) {
	h := bigHall()
	h.missScan, h.missStay = 0.15, 0.1
	var scan, stay float64
	for seed := range uint64(8) {
		s, stays := h.simulate(seed)
		f, err := propagation.Estimate(propagation.Observe(s, stays), propagation.Options{})
		require.NoError(t, err)
		for _, r := range f.Radios {
			scan += r.ScanMiss / 96
			stay += r.StayMiss / 96
			assert.InDelta(t, r.StayMiss+(1-r.StayMiss)*r.ScanMiss, r.MissRate, 1e-12)
		}
	}
	assert.InDelta(t, 0.15, scan, 0.02)
	assert.InDelta(t, 0.10, stay, 0.03)
}

// A stay whose scans all miss strong radios does not drag the exponent, whether
// the share of scans that miss is estimated or given.
func TestSilentStay(t *testing.T) {
	tenth := 0.1
	for _, given := range []*float64{nil, &tenth} {
		for seed := range uint64(4) {
			h := bigHall()
			h.width, h.depth, h.aps, h.points, h.missScan = 40, 25, 5, 20, 0.1
			s, stays := h.simulate(seed)
			o := propagation.Options{MissRate: given}
			before, err := propagation.Estimate(propagation.Observe(s, stays), o)
			require.NoError(t, err)
			without, err := propagation.Estimate(propagation.Observe(s, stays[1:]), o)
			require.NoError(t, err)
			stays[0].Levels = make([]walk.Level, h.aps)
			after, err := propagation.Estimate(propagation.Observe(s, stays), o)
			require.NoError(t, err)
			n := func(f *propagation.Fit) float64 { return f.Groups[0].Exponent.Est }
			t.Logf("n %.2f, with a dead stay %.2f, without that stay %.2f", n(before), n(after), n(without))
			assert.InDelta(t, n(without), n(after), 0.6*before.Groups[0].Exponent.SE)
		}
	}
}

// The same data give the same bits, on one processor and on all.
func TestEstimateRepeats(t *testing.T) {
	h := bigHall()
	h.missScan = 0.1
	s, stays := h.simulate(11)
	d := propagation.Observe(s, stays)
	fit := func() []propagation.Value {
		f, err := propagation.Estimate(d, propagation.Options{})
		require.NoError(t, err)
		out := []propagation.Value{f.Groups[0].Exponent, f.Groups[0].SigmaDB, {Est: f.LogLikelihood, SE: f.LOORMSEDB}}
		for _, r := range f.Radios {
			out = append(out, r.Level1m)
		}
		return out
	}
	a := fit()
	old := runtime.GOMAXPROCS(1)
	b := fit()
	runtime.GOMAXPROCS(old)
	assert.Equal(t, a, b)
}

// A warm refit without one place ends where a cold one does, within a small
// part of a standard error.
func TestEstimateFrom(t *testing.T) {
	h := bigHall()
	h.missScan = 0.1
	s, stays := h.simulate(12)
	d := propagation.Observe(s, stays)
	for _, o := range []propagation.Options{{}, {Model: propagation.Censored}, {Model: propagation.OLS}, {PerAP: true}, {Model: propagation.Robust}, {Model: propagation.Robust, PerAP: true}, {Model: propagation.Pooled}} {
		full, err := propagation.Estimate(d, o)
		require.NoError(t, err)
		for _, leave := range []int{0, 17, 42} {
			less := d.Subset(func(i int) bool { return d.PlaceOf[i] != leave })
			warm, err := propagation.EstimateFrom(less, o, full)
			require.NoError(t, err)
			cold, err := propagation.EstimateFrom(less, o, nil)
			require.NoError(t, err)
			assert.InDelta(t, cold.Groups[0].Exponent.Est, warm.Groups[0].Exponent.Est, 0.05*full.Groups[0].Exponent.SE, "%+v", o)
			for k := range cold.Radios {
				assert.InDelta(t, cold.Radios[k].Level1m.Est, warm.Radios[k].Level1m.Est, 0.1*full.Radios[k].Level1m.SE, "%+v radio %d", o, k)
			}
			assert.True(t, math.IsNaN(warm.Groups[0].Exponent.SE))
		}
	}
}

// The one-step leave-one-out error against refits without each place.
func TestLeaveOneOut(t *testing.T) {
	h := bigHall()
	h.points, h.missScan = 30, 0.1
	s, stays := h.simulate(5)
	d := propagation.Observe(s, stays)
	for _, c := range []struct {
		model propagation.Model
		rel   float64 // one step is exact for least squares; miss rates and the spread between radios stay put in it
	}{{propagation.OLS, 1e-9}, {propagation.Censored, 0.01}, {propagation.TwoLevel, 0.02}, {propagation.Robust, 0.02}, {propagation.Pooled, 0.03}} {
		o := propagation.Options{Model: c.model, FloorDBm: &h.floor}
		f, err := propagation.Estimate(d, o)
		require.NoError(t, err)
		ss, n := 0.0, 0.0
		for p := range d.Places {
			g, err := propagation.EstimateFrom(d.Subset(func(i int) bool { return d.PlaceOf[i] != p }), o, nil)
			require.NoError(t, err)
			for i := range d.Scans {
				for k := range d.Radios {
					if l := d.Levels[i*d.Radios+k]; d.PlaceOf[i] == p && l.Heard > 0 {
						e := l.MeanDBm - g.Level(k, d.Floor[i], d.At[i])
						ss += e * e
						n++
					}
				}
			}
		}
		assert.InEpsilon(t, math.Sqrt(ss/n), f.LOORMSEDB, c.rel, string(c.model))
	}
}

func TestEstimateErrors(t *testing.T) {
	h := bigHall()
	s, stays := h.simulate(1)
	d := propagation.Observe(s, stays)
	bad, nan := 1.5, math.NaN()
	_, err := propagation.Estimate(d, propagation.Options{MissRate: &bad})
	assert.EqualError(t, err, "miss rate 1.5 is not a share; give 0 to below 1")
	_, err = propagation.Estimate(d, propagation.Options{FloorDBm: &nan})
	assert.EqualError(t, err, "floor of hearing NaN is not a level in dBm")
	_, err = propagation.Estimate(d, propagation.Options{Model: "guess"})
	assert.EqualError(t, err, `unknown model "guess"; choose one of ols censored two-level robust pooled`)

	_, err = propagation.Estimate(propagation.Observe(s, nil), propagation.Options{})
	assert.EqualError(t, err, "none of the 12 radios of the site was heard in 0 stays; check the BSSIDs of the access points")
	_, err = propagation.Estimate(propagation.Observe(s, stays[:1]), propagation.Options{})
	assert.ErrorContains(t, err, "every radio was heard at one distance; walk points nearer and farther")
	silent := []walk.Stay{{At: stays[0].At, Scans: 3}}
	_, err = propagation.Estimate(propagation.Observe(s, silent), propagation.Options{})
	assert.ErrorContains(t, err, "was heard in 1 stays")
}

func benchData(b *testing.B, aps, points, scans int) *propagation.Data {
	h := bigHall()
	h.width, h.depth, h.aps, h.points, h.scans, h.missScan = 140, 90, aps, points, scans, 0.1
	s, stays := h.simulate(1)
	return propagation.Observe(s, stays)
}

func BenchmarkEstimate(b *testing.B) {
	d := benchData(b, 60, 1000, 20)
	for _, m := range propagation.Models() {
		b.Run(string(m), func(b *testing.B) {
			for b.Loop() {
				if _, err := propagation.Estimate(d, propagation.Options{Model: m}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkEstimateFrom(b *testing.B) {
	d := benchData(b, 20, 200, 12)
	f, err := propagation.Estimate(d, propagation.Options{})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := propagation.EstimateFrom(d.Subset(func(i int) bool { return d.PlaceOf[i] != 7 }), propagation.Options{}, f); err != nil {
			b.Fatal(err)
		}
	}
}
