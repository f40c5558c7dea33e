package capture

import "footrule/internal/radio"

// FrameView is one packet as the tests see it.
type FrameView struct {
	Kind              string
	BSSID             radio.BSSID
	SSID              string
	DBm               int
	Level             bool
	TunedMHz, FreqMHz int
	MaxBSSIDIndicator int
}

// ParseFrame opens parseFrame to the tests.
func ParseFrame(p []byte) FrameView {
	f := parseFrame(p)
	kinds := map[kind]string{other: "other", beacon: "beacon", probeResponse: "probe response", badFCS: "bad FCS", malformed: "malformed"}
	return FrameView{kinds[f.kind], f.bssid, f.ssid, f.dBm, f.level, f.tunedMHz, f.freqMHz, f.maxInd}
}

// HeaderView is a radiotap header as the tests see it.
type HeaderView struct {
	Length, DBm, FreqMHz  int
	Level, Antennas       bool
	FCS, BadFCS, Readable bool
}

// ParseRadiotap opens parseRadiotap to the tests.
func ParseRadiotap(p []byte) HeaderView {
	h, ok := parseRadiotap(p)
	return HeaderView{h.length, h.level.dBm, h.freqMHz, h.level.from != noLevel, h.level.from == antennas, h.fcs, h.badFCS, ok}
}

// Doors to what has no other.
var (
	SSIDOf   = ssidOf
	Unescape = unescape
	StampOf  = stampOf
)

// PrimaryMHz opens channels.freqMHz.
func PrimaryMHz(he, ht, ds, tunedMHz int) int { return channels{he, ht, ds}.freqMHz(tunedMHz) }

// Limited sets how many readings and scans a capture may hold.
func (o Options) Limited(n int) Options {
	o.limit = n
	return o
}
