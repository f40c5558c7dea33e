package air

import (
	"encoding/binary"
	"math/bits"

	"footrule/internal/radio"
)

// Frame control and lengths of IEEE 802.11-2020, 9.2.4.1 and 9.3.3.
const (
	probeRequest  = 0x40
	probeResponse = 0x50
	beacon        = 0x80
	headerLen     = 24
	capabilityESS = 0x0001
)

var broadcast = radio.BSSID{0xff, 0xff, 0xff, 0xff, 0xff, 0xff}

// Probe is a probe request: who asks, and for which SSID.
type Probe struct {
	From radio.BSSID
	SSID []byte // of no octets: the wildcard
}

// ParseProbe reads a probe request; the second result is false for any other
// frame and for one without an SSID element.
func ParseProbe(frame []byte) (Probe, bool) {
	if len(frame) < headerLen+2 || frame[0] != probeRequest {
		return Probe{}, false
	}
	body := frame[headerLen:]
	if body[0] != 0 || len(body) < 2+int(body[1]) {
		return Probe{}, false
	}
	return Probe{radio.BSSID(frame[10:16]), body[2 : 2+int(body[1])]}, true
}

// Answers tells whether an access point answers a probe request. Real ones
// differ: some answer whatever does not name another network exactly, some
// only what the standard wants (11.1.4.3.4), the wildcard and their own SSID.
func (a *AP) Answers(p Probe) bool {
	switch {
	case a.Silent:
		return false
	case len(p.SSID) == 0 || string(p.SSID) == a.SSID:
		return true
	}
	return !a.Strict && len(p.SSID) == 1 && p.SSID[0] == 0
}

// Beacon builds a beacon frame; timestamp is in µs.
func (a *AP) Beacon(timestamp uint64) []byte { return a.frame(beacon, broadcast, timestamp) }

// Response builds a probe response to a station.
func (a *AP) Response(to radio.BSSID, timestamp uint64) []byte {
	return a.frame(probeResponse, to, timestamp)
}

func (a *AP) frame(control byte, to radio.BSSID, timestamp uint64) []byte {
	b := make([]byte, headerLen, 256)
	b[0] = control
	copy(b[4:], to[:])
	copy(b[10:], a.BSSID[:])
	copy(b[16:], a.BSSID[:])
	b = binary.LittleEndian.AppendUint64(b, timestamp)
	b = binary.LittleEndian.AppendUint16(b, uint16(BeaconInterval/TU))
	b = binary.LittleEndian.AppendUint16(b, capabilityESS)
	name := a.SSID
	if a.Hidden {
		name = ""
	}
	b = element(b, 0, []byte(name))
	b = element(b, 1, []byte{0x8c, 0x12, 0x98, 0x24, 0xb0, 0x48, 0x60, 0x6c}) // supported rates: 6 to 54 Mbit/s
	channel, _ := radio.Channel(a.FreqMHz)
	b = element(b, 3, []byte{byte(channel)}) // DSSS Parameter Set
	if a.Country != "" {
		b = element(b, 7, append([]byte(a.Country), ' ', byte(channel), 1, 20))
	}
	if a.Load != nil {
		l := binary.LittleEndian.AppendUint16(nil, uint16(a.Load.Stations))
		b = element(b, 11, append(l, byte(a.Load.Utilisation), 0x10, 0x27))
	}
	if a.TxPower != nil {
		b = element(b, 35, []byte{byte(int8(*a.TxPower)), 0})
	}
	if len(a.Profiles) > 0 {
		b = element(b, 71, a.multiple())
	}
	if a.Broken {
		b = append(b, 221, 200, 1, 2, 3) // says 200 octets, has 3
	}
	return b
}

// multiple builds the Multiple BSSID element: an indicator large enough, and
// a profile for each SSID with capability (83), SSID and index (85).
func (a *AP) multiple() []byte {
	b := []byte{byte(bits.Len(uint(len(a.Profiles))))}
	for i, name := range a.Profiles {
		p := element(nil, 83, []byte{1, 0})
		p = element(p, 0, []byte(name))
		p = element(p, 85, []byte{byte(i + 1)})
		b = element(b, 0, p)
	}
	return b
}

func element(b []byte, id byte, body []byte) []byte {
	return append(append(b, id, byte(len(body))), body...)
}
