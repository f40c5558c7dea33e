package propagation_test

import (
	"fmt"
	"math"
	"sync"
	"testing"

	"footrule/internal/propagation"
	"footrule/internal/walk"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// refitDB is how far a refit may be off a fit that went to the last digit, in dB
// and units of the exponent: some thousandth of a standard error.
const refitDB = 1e-3

// rateOff is the same of miss rates, which a fit stops following when they
// change by less than 2e-3.
const rateOff = 2e-3

// without gives the data without places.
func without(d *propagation.Data, places ...int) *propagation.Data {
	out := map[int]bool{}
	for _, p := range places {
		out[p] = true
	}
	return d.Subset(func(i int) bool { return !out[d.PlaceOf[i]] })
}

// counts is what a fit counted, apart from what it estimated.
func counts(f *propagation.Fit) string {
	s := ""
	for _, g := range f.Groups {
		s += fmt.Sprintln(g.Band, g.FloorDBm, g.Readings, g.Censored, g.Stays, g.Silent)
	}
	for _, r := range f.Radios {
		s += fmt.Sprintln(r.Name, r.InFit, r.Readings, r.Points, r.Silent)
	}
	for _, w := range f.Walls {
		s += fmt.Sprintln(w.Material, w.Band, w.Crossed)
	}
	return s
}

// Laws 1 and 2: a refit is the fit to what is left.
func TestRefitsAreFits(t *testing.T) {
	h := bigHall()
	h.width, h.depth, h.aps, h.points, h.scans, h.missScan, h.missStay = 60, 40, 8, 36, 3, 0.1, 0.03
	walled := h
	walled.loss, walled.facings = 6, 2
	open := h
	open.missScan, open.missStay, open.floor = 0, 0, -130
	tenth, floor := 0.1, -90.0
	for _, c := range []struct {
		name  string
		scene hall
		o     propagation.Options
		off   float64 // dB; two-level follows its miss rates only so far
	}{
		{"ols", h, propagation.Options{Model: propagation.OLS}, 1e-9},
		{"ols, walls", walled, propagation.Options{Model: propagation.OLS}, 1e-9},
		{"ols, per AP", walled, propagation.Options{Model: propagation.OLS, PerAP: true}, 1e-9},
		{"censored", walled, propagation.Options{Model: propagation.Censored}, refitDB},
		{"censored, per AP, misses and floor given", walled, propagation.Options{Model: propagation.Censored, PerAP: true, MissRate: &tenth, FloorDBm: &floor}, refitDB},
		{"robust", walled, propagation.Options{Model: propagation.Robust}, 0.02}, // it follows scale and miss rates only so far
		{"robust, per AP, nothing missed", open, propagation.Options{Model: propagation.Robust, PerAP: true}, refitDB},
		{"robust, misses given", walled, propagation.Options{Model: propagation.Robust, MissRate: &tenth}, 0.02},
		{"two-level, nothing missed", open, propagation.Options{}, refitDB},
		{"two-level, misses given", walled, propagation.Options{MissRate: &tenth}, refitDB},
		{"two-level", walled, propagation.Options{}, 0.02},
		{"two-level, per AP", h, propagation.Options{PerAP: true}, 0.05}, // of levels at 1 m with standard errors of some dB
	} {
		t.Run(c.name, func(t *testing.T) {
			s, stays := c.scene.simulate(5)
			d := propagation.Observe(s, stays)
			fit, err := propagation.Estimate(d, c.o)
			require.NoError(t, err)
			r := propagation.NewRefits(d, c.o, fit)
			short, most := 0, 0.0
			for p := range d.Places {
				places := []int{p}
				if p%6 == 5 {
					places = append(places, (p+7)%len(d.Places))
				}
				if r.Short(places...) {
					short++
				}
				got, err := r.Without(places...)
				require.NoError(t, err)
				if p%2 == 0 { // a fit to the last digit takes its time
					continue
				}
				want, err := propagation.Estimate(without(d, places...), c.o)
				require.NoError(t, err)
				assert.Equal(t, counts(want), counts(got))
				off := math.Abs(want.Groups[0].Exponent.Est - got.Groups[0].Exponent.Est)
				off = math.Max(off, math.Abs(want.Groups[0].ResidualDB()-got.Groups[0].ResidualDB()))
				off = math.Max(off, math.Abs(want.Groups[0].ShadowDB-got.Groups[0].ShadowDB))
				off = math.Max(off, math.Abs(want.Groups[0].ScatterDB-got.Groups[0].ScatterDB))
				for k := range want.Radios {
					off = math.Max(off, math.Abs(want.Radios[k].Level1m.Est-got.Radios[k].Level1m.Est))
					off = math.Max(off, math.Abs(want.Radios[k].Exponent.Est-got.Radios[k].Exponent.Est))
					assert.InDelta(t, want.Radios[k].ScanMiss, got.Radios[k].ScanMiss, rateOff)
					assert.InDelta(t, want.Radios[k].StayMiss, got.Radios[k].StayMiss, rateOff)
				}
				for k := range want.Walls {
					off = math.Max(off, math.Abs(want.Walls[k].LossDB.Est-got.Walls[k].LossDB.Est))
				}
				at := stays[0].At
				assert.InDelta(t, want.Level(0, 0, at), got.Level(0, 0, at), 10*c.off)
				most = math.Max(most, off)
			}
			t.Logf("%d of %d places by sums; off by %.2g at most", short, len(d.Places), most)
			assert.Less(t, most, c.off)
			assert.Greater(t, short, len(d.Places)*3/4)
		})
	}
}

// Law 2: where leaving a place out changes what can be told, the fit is that of
// EstimateFrom to the last bit.
func TestRefitsGoTheLongWay(t *testing.T) {
	h := bigHall()
	h.width, h.depth, h.aps, h.points, h.scans = 60, 40, 6, 20, 3
	for _, c := range []struct {
		name  string
		place int
		o     propagation.Options
		scene func(*hall)
		alter func(stays []walk.Stay)
	}{
		{"the floor of hearing is this place's", 7, propagation.Options{}, nil, func(st []walk.Stay) {
			st[7].Levels[2] = levelOf([]float64{-97, -96})
		}},
		{"a radio was heard here alone", 4, propagation.Options{}, nil, func(st []walk.Stay) {
			for i := range st {
				if st[i].Levels[3] = (walk.Level{}); i == 4 {
					st[i].Levels[3] = levelOf([]float64{-70, -71, -70})
				}
			}
		}},
		{"a radio has an exponent by this place", 4, propagation.Options{PerAP: true, Model: propagation.OLS}, nil, func(st []walk.Stay) {
			for i := range st {
				if i != 4 && i != 5 {
					st[i].Levels[3] = walk.Level{}
				}
			}
			st[4].Levels[3], st[5].Levels[3] = levelOf([]float64{-60, -61}), levelOf([]float64{-75, -76})
		}},
		{"two scans were taken here alone", 9, propagation.Options{}, func(h *hall) { h.scans, h.floor = 1, -130 }, func(st []walk.Stay) {
			st[9].Scans = 2
			for k := range st[9].Levels {
				st[9].Levels[k] = levelOf([]float64{-60 - float64(k), -62})
			}
		}},
		{"the scatter stands in", 9, propagation.Options{}, func(h *hall) { h.scans = 1 }, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			v := h
			if c.scene != nil {
				c.scene(&v)
			}
			s, stays := v.simulate(8)
			if c.alter != nil {
				c.alter(stays)
			}
			d := propagation.Observe(s, stays)
			fit, err := propagation.Estimate(d, c.o)
			require.NoError(t, err)
			r := propagation.NewRefits(d, c.o, fit)
			assert.False(t, r.Short(c.place))
			got, err := r.Without(c.place)
			require.NoError(t, err)
			want, err := propagation.EstimateFrom(without(d, c.place), c.o, fit)
			require.NoError(t, err)
			assert.Equal(t, fmt.Sprint(want.Groups, want.Radios, want.Walls), fmt.Sprint(got.Groups, got.Radios, got.Walls))
		})
	}
}

// What cannot be fitted is the error of the long way.
func TestRefitsRefuse(t *testing.T) {
	h := bigHall()
	h.aps, h.points, h.scans = 4, 6, 3
	s, stays := h.simulate(3)
	d := propagation.Observe(s, stays)
	fit, err := propagation.Estimate(d, propagation.Options{})
	require.NoError(t, err)
	_, err = propagation.NewRefits(d, propagation.Options{}, fit).Without(0, 1, 2, 3, 4)
	_, want := propagation.EstimateFrom(without(d, 0, 1, 2, 3, 4), propagation.Options{}, fit)
	require.Error(t, want)
	assert.EqualError(t, err, want.Error())
}

// Levels are those of Level, to the last bit, NaN for a radio that was never heard.
func TestLevels(t *testing.T) {
	h := bigHall()
	h.aps, h.points, h.scans, h.loss = 6, 20, 3, 5
	s, stays := h.simulate(2)
	for i := range stays {
		stays[i].Levels[4] = walk.Level{}
	}
	f, err := propagation.Estimate(propagation.Observe(s, stays), propagation.Options{})
	require.NoError(t, err)
	out := make([]float64, len(f.Radios))
	for _, st := range stays {
		f.Levels(0, st.At, out)
		for k := range out {
			if k == 4 {
				assert.True(t, math.IsNaN(out[k]))
				continue
			}
			assert.Equal(t, f.Level(k, 0, st.At), out[k])
		}
	}
}

func BenchmarkRefits(b *testing.B) {
	h := bigHall()
	h.aps, h.points, h.scans, h.facings, h.missScan = 20, 200, 3, 4, 0.1
	s, stays := h.simulate(1)
	d := propagation.Observe(s, stays)
	fit, err := propagation.Estimate(d, propagation.Options{})
	require.NoError(b, err)
	b.Run("by sums", func(b *testing.B) {
		r := propagation.NewRefits(d, propagation.Options{}, fit)
		for i := 0; b.Loop(); i++ {
			_, err := r.Without(i % 200)
			require.NoError(b, err)
		}
	})
	b.Run("the long way", func(b *testing.B) {
		for i := 0; b.Loop(); i++ {
			_, err := propagation.EstimateFrom(without(d, i%200), propagation.Options{}, fit)
			require.NoError(b, err)
		}
	})
}

// A fit does not depend on what was fitted before it, in whose memory it is made,
// nor on what is fitted beside it.
func TestFitsAfterOthers(t *testing.T) {
	h := bigHall()
	h.loss, h.points, h.aps = 6, 40, 8
	s, stays := h.simulate(5)
	d := propagation.Observe(s, stays)
	h.points = 60
	big, other := h.simulate(6)
	o := propagation.Observe(big, other)
	for _, m := range propagation.Models() {
		for _, perAP := range []bool{false, true} {
			options := propagation.Options{Model: m, PerAP: perAP}
			want, err := propagation.EstimateFrom(d, options, nil)
			require.NoError(t, err)
			var wg sync.WaitGroup
			for range 3 {
				wg.Go(func() {
					_, err := propagation.EstimateFrom(o, options, nil)
					assert.NoError(t, err)
					got, err := propagation.EstimateFrom(d, options, nil)
					assert.NoError(t, err)
					for k := range want.Radios {
						assert.Equal(t, want.Radios[k].Level1m.Est, got.Radios[k].Level1m.Est, "%+v", options)
						assert.Equal(t, want.Radios[k].Exponent.Est, got.Radios[k].Exponent.Est)
					}
					assert.Equal(t, want.Groups[0].SigmaDB.Est, got.Groups[0].SigmaDB.Est)
					assert.Equal(t, want.Walls[0].LossDB.Est, got.Walls[0].LossDB.Est)
				})
			}
			wg.Wait()
		}
	}
}
