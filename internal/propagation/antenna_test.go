package propagation_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"footrule/internal/propagation"
	"footrule/internal/radio"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// aimed is an invented hall whose access points look inwards from its sides.
func aimed() *site.Site {
	s := &site.Site{Name: "Hall", ReceiverHeightM: 1.2, Floors: []site.Floor{{ID: "G", Outline: orb.Ring{{0, 0}, {50, 0}, {50, 30}, {0, 30}},
		Walls: []site.Wall{{Material: "brick", Line: orb.LineString{{25, 0}, {25, 20}}}}}}}
	for i, c := range []struct {
		at      orb.Point
		azimuth float64
	}{{orb.Point{1, 15}, 90}, {orb.Point{49, 14}, 270}, {orb.Point{24, 1}, 5}, {orb.Point{26, 29}, 180}} {
		s.AccessPoints = append(s.AccessPoints, site.AccessPoint{ID: fmt.Sprint("A", i), Floor: "G", At: c.at, HeightM: 3,
			Radios: []site.Radio{{Band: radio.Band5, Antenna: &site.Antenna{GainDBi: 9, AzimuthDeg: c.azimuth, TiltDeg: 8, BeamWidthDeg: 60, BeamHeightDeg: 50, FrontToBackDB: 22}}}})
	}
	return s
}

// The gain of an antenna is in its level at 1 m, its pattern in every other.
func TestAntennaInLevels(t *testing.T) {
	s := aimed()
	e, err := propagation.EnvironmentOf("rooms")
	require.NoError(t, err)
	f, _, err := e.Fit(s)
	require.NoError(t, err)
	plain := s.Clone()
	for i := range plain.AccessPoints {
		plain.AccessPoints[i].Radios[0].Antenna = nil
	}
	g, _, err := e.Fit(plain)
	require.NoError(t, err)
	l := site.Lattice{Origin: orb.Point{0.5, 0.5}, DX: 1, DY: 1, NX: 50, NY: 30}
	out, all := make([]float64, l.Len()), make([]float64, 4)
	for k, ref := range s.Radios() {
		f.LevelMap(k, 0, l, out)
		for n, v := range out {
			want := g.Level(k, 0, l.At(n)) + 9 + s.PatternDB(ref, 0, l.At(n))
			require.InDelta(t, want, v, 1e-9)
			require.InDelta(t, want, f.Level(k, 0, l.At(n)), 1e-9)
			f.Levels(0, l.At(n), all)
			require.InDelta(t, want, all[k], 1e-9)
		}
	}
}

// What was simulated with antennas is found again by every model where the plan
// says them, and is not where it does not.
func TestEstimateWithAntennas(t *testing.T) {
	s := aimed()
	truth := func(s *site.Site) *propagation.Fit {
		v := func(x float64) propagation.Value { return propagation.Value{Est: x} }
		radios := make([]propagation.RadioFit, 4)
		for k := range radios {
			radios[k] = propagation.RadioFit{InFit: true, Level1m: v(-28 + float64(k)), ScanMiss: 0.1}
		}
		f, err := propagation.Assume(s, propagation.Options{}, []propagation.Group{{Band: radio.Band5, Exponent: v(3.1), ShadowDB: 3.5, ScatterDB: 2, FloorDBm: -88}},
			radios, []propagation.WallLoss{{Material: "brick", Band: radio.Band5, LossDB: v(6)}})
		require.NoError(t, err)
		return f
	}(s)
	rng := rand.New(rand.NewPCG(2, 2))
	var stays []walk.Stay
	for x := 2.0; x < 50; x += 4 {
		for y := 2.0; y < 30; y += 4 {
			st := walk.Stay{At: orb.Point{x, y}, Scans: 8, Levels: make([]walk.Level, 4)}
			for k := range st.Levels {
				mu := truth.Level(k, 0, st.At) + 3.5*rng.NormFloat64()
				var heard []float64
				for range st.Scans {
					if v := math.Round(mu + 2*rng.NormFloat64()); v >= -88 && rng.Float64() >= 0.1 {
						heard = append(heard, v)
					}
				}
				st.Levels[k] = levelOf(heard)
			}
			stays = append(stays, st)
		}
	}
	silent := 0
	for _, st := range stays {
		for _, l := range st.Levels {
			if l.Heard == 0 {
				silent++
			}
		}
	}
	require.Greater(t, silent, 5, "some are out of reach behind the antennas")
	plain := s.Clone()
	for i := range plain.AccessPoints {
		plain.AccessPoints[i].Radios[0].Antenna = nil
	}
	for _, model := range propagation.Models() {
		f, err := propagation.Estimate(propagation.Observe(s, stays), propagation.Options{Model: model})
		require.NoError(t, err, model)
		g := f.Groups[0]
		if model != propagation.OLS { // which takes the lucky scans for all
			assert.InDelta(t, 3.1, g.Exponent.Est, 4*g.Exponent.SE, model)
			assert.InDelta(t, 3.1, g.Exponent.Est, 0.4, model)
		}
		assert.Equal(t, -88.0, g.FloorDBm, model)
		wrong, err := propagation.Estimate(propagation.Observe(plain, stays), propagation.Options{Model: model})
		require.NoError(t, err, model)
		assert.Greater(t, wrong.LOORMSEDB, 1.2*f.LOORMSEDB, model)
		t.Logf("%s: n %.2f ±%.2f, left-out error %.2f dB; without antennas n %.2f, %.2f dB", model, g.Exponent.Est, g.Exponent.SE, f.LOORMSEDB, wrong.Groups[0].Exponent.Est, wrong.LOORMSEDB)
	}
}
