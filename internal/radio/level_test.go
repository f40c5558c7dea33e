package radio_test

import (
	"math"
	"testing"
	"time"

	"footrule/internal/radio"

	"github.com/stretchr/testify/assert"
)

// Friis at 1 m, 20 log10(4π d f/c), computed apart in double precision.
func TestFreeSpace1m(t *testing.T) {
	const tolDB = 1e-9 // the reference carries 13 decimals
	for freq, want := range map[float64]float64{
		2412: 40.09532929124565,
		2437: 40.18489380557786,
		2484: 40.35081505197422,
		5180: 46.73437841678804,
		5745: 47.63358388236945,
		5955: 47.9454185382593,
		7115: 49.49128131028943,
	} {
		assert.InDelta(t, want, radio.FreeSpace1m(freq), tolDB, "%g MHz", freq)
	}
}

// Thermal noise kT₀B at T₀ = 290 K with k exact since the SI of 2019, against
// the values for the channel widths of IEEE 802.11. They are what keeps MinDBm
// below any noise floor.
func TestThermalNoise(t *testing.T) {
	const k, t0 = 1.380649e-23, 290.0
	for mhz, want := range map[float64]float64{
		20:  -100.9648872375883,
		40:  -97.95458728094849,
		80:  -94.94428732430868,
		160: -91.93398736766886,
		320: -88.92368741102905,
	} {
		got := 10 * math.Log10(k*t0*mhz*1e6*1000)
		assert.InDelta(t, want, got, 1e-9, "%g MHz", mhz)
		assert.Greater(t, got, radio.MinDBm)
	}
}

func TestLevelOK(t *testing.T) {
	for v, want := range map[float64]bool{
		-120: true, -120.001: false, -91: true, -1: true, -0.5: true, 0: false, 12: false,
		math.Inf(-1): false, math.Inf(1): false,
	} {
		assert.Equal(t, want, radio.LevelOK(v), "%g dBm", v)
	}
	assert.False(t, radio.LevelOK(math.NaN()))
}

func TestSweepReadings(t *testing.T) {
	a := radio.Reading{BSSID: radio.BSSID{2, 1}, SSID: "a", FreqMHz: 2412, RSSIDBm: -60}
	b := radio.Reading{BSSID: radio.BSSID{2, 2}, SSID: "b", FreqMHz: 5180, RSSIDBm: -71}
	s := radio.Sweep{Heard: []radio.Heard{{Reading: a, Age: time.Second}, {Reading: b}}}
	assert.Equal(t, []radio.Reading{a, b}, s.Readings())
	assert.Empty(t, radio.Sweep{}.Readings())
}
