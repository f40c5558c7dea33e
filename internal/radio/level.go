package radio

import "math"

// Levels outside MinDBm to MaxDBm are not readings. Thermal noise in 20 MHz is
// −101 dBm at 290 K (kT₀B), so −120 leaves room for any noise figure; a
// receiver that reports 0 dBm or more means "none" or a percentage.
const (
	MinDBm = -120.0
	MaxDBm = 0.0
)

// LevelOK reports whether a reading of v dBm is believable: finite, at least
// [MinDBm] and below [MaxDBm].
func LevelOK(v float64) bool { return v >= MinDBm && v < MaxDBm }

// FreeSpace1m is the free-space path loss in dB over 1 m at f MHz
// (Friis; 20 log10(4π·10⁶/c) = −27.5522 dB for f in MHz).
func FreeSpace1m(freqMHz float64) float64 {
	const c = 299792458.0
	return 20*math.Log10(freqMHz) + 20*math.Log10(4*math.Pi*1e6/c)
}
