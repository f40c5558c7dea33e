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
	maxInd            int // of the Multiple BSSID element, 0 for none
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
	idMultiple    = 71
	idExtension   = 255
	maxIndicator  = 8 // keeps the set within the last octet
	extHEOper     = 36
)

// parseFrame reads a packet of a radiotap capture. A frame speaks for the BSSID
// in its third address alone: the nontransmitted BSSIDs that a Multiple BSSID
// element lists get no reading, as they come from the same radio. Of that
// element the MaxBSSID Indicator is kept.
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
	if h.empty {
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
	var primary channels
	if len(body) >= fixedFields {
		f.ssid, primary, f.maxInd = elements(body[fixedFields:])
	}
	f.freqMHz = primary.freqMHz(f.tunedMHz)
	return f
}

// channels are the numbers of a BSS's primary channel by the element that tells
// it; 0 where none does.
type channels struct {
	he int // 6 GHz information of the HE Operation element
	ht int // HT Operation element
	ds int // DS Parameter Set element
}

// elements gives the SSID, the primary channel and the MaxBSSID Indicator, 1 to
// 8, or 0 for none. The first of each element counts. An element that is cut
// ends the reading.
func elements(p []byte) (ssid string, c channels, maxInd int) {
	named := false
	for len(p) >= 2 && len(p) >= 2+int(p[1]) {
		id, v := p[0], p[2:2+int(p[1])]
		p = p[2+int(p[1]):]
		switch {
		case id == idSSID && !named:
			ssid, named = ssidOf(v), true
		case id == idDSParameter && len(v) == 1 && c.ds == 0:
			c.ds = int(v[0])
		case id == idHTOperation && len(v) >= 1 && c.ht == 0:
			c.ht = int(v[0])
		case id == idExtension && len(v) >= 1 && v[0] == extHEOper && c.he == 0:
			c.he = sixGHzChannel(v[1:])
		case id == idMultiple && len(v) >= 1 && v[0] <= maxIndicator && maxInd == 0:
			maxInd = int(v[0])
		}
	}
	return ssid, c, maxInd
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

// freqMHz gives the frequency of a BSS.
//
// The radiotap channel says where the receiver listened; in 2.4 GHz it also
// hears frames of channels beside it, and other receivers name the middle of a
// wide channel. So the primary channel that the frame tells counts: that of HE
// Operation before HT Operation before the DS Parameter Set, the first that is
// a channel of the band in which the receiver listened. Without a radiotap
// channel the band is 6 GHz for HE Operation's, and else what the number
// points to (1 to 14 in 2.4 GHz, 32 and up in 5 GHz). Where no element tells,
// the radiotap channel stands, 0 where there is none.
func (c channels) freqMHz(tunedMHz int) int {
	band, tuned := radio.BandOf(tunedMHz)
	for _, e := range []struct {
		number int
		six    bool
	}{{c.he, true}, {c.ht, false}, {c.ds, false}} {
		in := band
		if !tuned {
			switch {
			case e.six:
				in = radio.Band6
			case e.number <= 14:
				in = radio.Band2
			default:
				in = radio.Band5
			}
		}
		if freq, ok := centre(in, e.number); ok && e.six == (in == radio.Band6) {
			return freq
		}
	}
	return tunedMHz
}

// centre gives the centre frequency in MHz of a 20 MHz channel.
func centre(band radio.Band, number int) (int, bool) {
	freq := 0
	switch {
	case band == radio.Band2 && number == 14:
		freq = 2484
	case band == radio.Band2:
		freq = 2407 + 5*number
	case band == radio.Band5:
		freq = 5000 + 5*number
	case number == 2:
		freq = 5935
	default:
		freq = 5950 + 5*number
	}
	n, ok := radio.Channel(freq)
	in, _ := radio.BandOf(freq)
	return freq, ok && n == number && in == band
}
