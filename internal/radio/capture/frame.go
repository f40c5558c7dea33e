package capture

import (
	"time"

	"footrule/internal/radio"
)

// frame is one packet as far as levels go.
type frame struct {
	time  time.Time
	kind  kind
	bssid radio.BSSID
	ssid  string
	dBm   int
	level bool
	// tunedMHz is where the receiver listened (radiotap channel), freqMHz the
	// BSS's own primary channel; 0 where not known.
	tunedMHz, freqMHz int
}

type kind uint8

const (
	other kind = iota
	beacon
	probeResponse
	badFCS
	malformed
)

// Of the MAC frame format (IEEE 802.11-2020, 9.2.4.1, 9.3.3 and 9.4.2.1).
const (
	subtypeProbeResponse = 5
	subtypeBeacon        = 8

	orderBit    = 0x80 // in a management frame: an HT Control field follows
	headerBytes = 24
	htControl   = 4
	fixedFields = 12 // timestamp, beacon interval, capability information
	fcsBytes    = 4

	idSSID        = 0
	idDSParameter = 3
	idHTOperation = 61
	idExtension   = 255
	extHEOper     = 36
)

// parseFrame reads a packet of a radiotap capture.
func parseFrame(p []byte) frame {
	h, ok := parseRadiotap(p)
	if !ok {
		return frame{kind: malformed}
	}
	f := frame{tunedMHz: h.freqMHz}
	if h.badFCS {
		f.kind = badFCS
		return f
	}
	m := p[h.length:]
	if len(m) < 2 {
		f.kind = malformed
		return f
	}
	if m[0]&0x0f != 0 { // protocol version 0, type management
		return f
	}
	switch m[0] >> 4 {
	case subtypeBeacon:
		f.kind = beacon
	case subtypeProbeResponse:
		f.kind = probeResponse
	default:
		return f
	}
	header := headerBytes
	if m[1]&orderBit != 0 {
		header += htControl
	}
	if len(m) < header {
		f.kind = malformed
		return f
	}
	f.bssid = radio.BSSID(m[16:22])
	if f.bssid.IsZero() || f.bssid.Group() {
		f.kind = malformed
		return f
	}
	f.dBm, f.level = h.level.dBm, h.level.from != noLevel && radio.LevelOK(float64(h.level.dBm))
	body := m[header:]
	if h.fcs {
		body = body[:max(0, len(body)-fcsBytes)]
	}
	channel := 0
	if len(body) >= fixedFields {
		f.ssid, channel = elements(body[fixedFields:])
	}
	f.freqMHz = primaryMHz(channel, f.tunedMHz)
	return f
}

// elements gives the SSID and the number of the primary channel, 0 where no
// element tells. The first of each element counts; of the channels, that of
// the HE Operation element's 6 GHz information before that of HT Operation
// before that of the DS Parameter Set. An element that is cut ends the reading.
func elements(p []byte) (ssid string, channel int) {
	var ds, ht, he int
	named := false
	for len(p) >= 2 && len(p) >= 2+int(p[1]) {
		id, v := p[0], p[2:2+int(p[1])]
		p = p[2+int(p[1]):]
		switch {
		case id == idSSID && !named:
			ssid, named = ssidOf(v), true
		case id == idDSParameter && len(v) == 1 && ds == 0:
			ds = int(v[0])
		case id == idHTOperation && len(v) >= 1 && ht == 0:
			ht = int(v[0])
		case id == idExtension && len(v) >= 1 && v[0] == extHEOper && he == 0:
			he = sixGHzChannel(v[1:])
		}
	}
	switch {
	case he != 0:
		return ssid, he
	case ht != 0:
		return ssid, ht
	}
	return ssid, ds
}

// sixGHzChannel reads the primary channel from an HE Operation element, behind
// 3 octets of parameters, 1 of BSS colour and 2 of the MCS set, and what the
// parameters announce (IEEE 802.11ax-2021, 9.4.2.249); 0 where it has none.
func sixGHzChannel(v []byte) int {
	if len(v) < 6 {
		return 0
	}
	parameters := uint32(v[0]) | uint32(v[1])<<8 | uint32(v[2])<<16
	at := 6
	if parameters&(1<<14) != 0 {
		at += 3 // VHT Operation information
	}
	if parameters&(1<<15) != 0 {
		at++ // co-hosted BSSID indicator
	}
	if parameters&(1<<17) == 0 || at >= len(v) {
		return 0
	}
	return int(v[at])
}

// primaryMHz gives the frequency of a BSS.
//
// The radiotap channel says where the receiver listened; in 2.4 GHz it also
// hears frames of channels beside it. So the number of the primary channel in
// the frame counts, in the band of the radiotap channel, or, without one, in
// the band that its number points to (1 to 14 in 2.4 GHz, 32 and up in 5 GHz).
// A number that is no channel of that band is passed over for the radiotap
// channel.
func primaryMHz(channel, tunedMHz int) int {
	band, ok := radio.BandOf(tunedMHz)
	if !ok {
		switch {
		case 1 <= channel && channel <= 14:
			band = radio.Band2
		case channel >= 32:
			band = radio.Band5
		default:
			return tunedMHz
		}
	}
	freq := 0
	switch {
	case band == radio.Band2 && channel == 14:
		freq = 2484
	case band == radio.Band2:
		freq = 2407 + 5*channel
	case band == radio.Band5:
		freq = 5000 + 5*channel
	case channel == 2:
		freq = 5935
	default:
		freq = 5950 + 5*channel
	}
	if c, ok := radio.Channel(freq); ok && c == channel {
		if b, _ := radio.BandOf(freq); b == band {
			return freq
		}
	}
	return tunedMHz
}
