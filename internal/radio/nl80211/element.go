package nl80211

import (
	"strings"

	"footrule/internal/radio"
)

// The element IDs of IEEE 802.11-2020 table 9-92 that are read.
const (
	elementSSID           = 0
	elementCountry        = 7
	elementBSSLoad        = 11
	elementTPCReport      = 35
	elementMultipleBSSID  = 71
	elementNontransmitted = 83 // Nontransmitted BSSID Capability
	elementBSSIDIndex     = 85
	subelementProfile     = 0
	maxSSID               = 32
	maxBSSIDIndicatorBits = 8
)

// Elements is what the elements of a beacon or probe response say.
type Elements struct {
	Country    string // two letters of ISO 3166-1, or "" where none is announced
	Load       *Load
	TxPowerDBm *int // transmit power of the TPC Report element
	Multiple   *MultipleBSSID
	Malformed  bool // the elements broke off; what came before them was read

	name string
}

// Load is the BSS Load element (IEEE 802.11-2020, 9.4.2.27).
type Load struct {
	Stations    int
	Utilisation float64 // share of time that the AP sensed the channel busy, 0 to 1
	Admission   int     // available admission capacity in units of 32 µs/s
}

// MultipleBSSID is the Multiple BSSID element (IEEE 802.11-2020, 9.4.2.45):
// one radio that beacons for several networks.
type MultipleBSSID struct {
	MaxIndicator int // n; the radio serves up to 2^n BSSIDs
	Profiles     []Profile
}

// Profile is a network whose beacon is carried in that of another BSSID.
type Profile struct {
	BSSID radio.BSSID
	SSID  string // hostile text
}

// ParseElements reads the elements of a frame that bssid sent. It reads up to
// the first element that runs past the end, and then sets Malformed.
func ParseElements(bssid radio.BSSID, b []byte) Elements {
	var e Elements
	var multiple [][]byte
	ok := eachElement(b, func(id byte, body []byte) {
		switch id {
		case elementSSID:
			e.name = ssid(body)
		case elementCountry:
			e.Country = country(body)
		case elementBSSLoad:
			if len(body) == 5 {
				e.Load = &Load{
					Stations:    int(body[0]) | int(body[1])<<8,
					Utilisation: float64(body[2]) / 255,
					Admission:   int(body[3]) | int(body[4])<<8,
				}
			}
		case elementTPCReport:
			if len(body) == 2 {
				p := int(int8(body[0]))
				e.TxPowerDBm = &p
			}
		case elementMultipleBSSID:
			if len(body) > 0 {
				multiple = append(multiple, body)
			}
		}
	})
	e.Malformed = !ok
	if len(multiple) > 0 {
		e.Multiple = multipleBSSID(bssid, multiple)
	}
	return e
}

// fill takes from o what e lacks.
func (e *Elements) fill(o Elements) {
	if e.name == "" {
		e.name = o.name
	}
	if e.Country == "" {
		e.Country = o.Country
	}
	if e.Load == nil {
		e.Load = o.Load
	}
	if e.TxPowerDBm == nil {
		e.TxPowerDBm = o.TxPowerDBm
	}
	if e.Multiple == nil {
		e.Multiple = o.Multiple
	}
	e.Malformed = e.Malformed || o.Malformed
}

// eachElement calls f with ID and body of each element and reports whether
// they filled b exactly.
func eachElement(b []byte, f func(id byte, body []byte)) bool {
	for len(b) > 0 {
		if len(b) < 2 || len(b) < 2+int(b[1]) {
			return false
		}
		f(b[0], b[2:2+int(b[1])])
		b = b[2+int(b[1]):]
	}
	return true
}

// ssid gives a name of up to 32 octets; hidden ones are empty or all NUL.
func ssid(body []byte) string {
	if len(body) > maxSSID || strings.Trim(string(body), "\x00") == "" {
		return ""
	}
	return string(body)
}

// country gives the two letters of the Country element (9.4.2.8): a string of
// three octets, the third an environment, then triplets.
func country(body []byte) string {
	if len(body) < 3 {
		return ""
	}
	for _, c := range body[:2] {
		if (c < 'A' || 'Z' < c) && (c < '0' || '9' < c) {
			return ""
		}
	}
	return string(body[:2])
}

// multipleBSSID reads the profiles of all Multiple BSSID elements of a frame.
// A profile begins with a Nontransmitted BSSID Capability element; one that
// doesn't continues the last of the element before.
func multipleBSSID(bssid radio.BSSID, bodies [][]byte) *MultipleBSSID {
	m := &MultipleBSSID{MaxIndicator: int(bodies[0][0])}
	var profiles [][]byte
	for _, body := range bodies {
		eachElement(body[1:], func(id byte, p []byte) {
			switch {
			case id != subelementProfile || len(p) == 0:
			case p[0] == elementNontransmitted:
				profiles = append(profiles, append([]byte(nil), p...))
			case len(profiles) > 0:
				last := &profiles[len(profiles)-1]
				*last = append(*last, p...)
			}
		})
	}
	if m.MaxIndicator < 1 || m.MaxIndicator > maxBSSIDIndicatorBits {
		return m
	}
	for _, p := range profiles {
		index, name := 0, ""
		eachElement(p, func(id byte, body []byte) {
			switch {
			case id == elementSSID:
				name = ssid(body)
			case id == elementBSSIDIndex && len(body) > 0:
				index = int(body[0])
			}
		})
		if 0 < index && index < 1<<m.MaxIndicator {
			m.Profiles = append(m.Profiles, Profile{nontransmitted(bssid, m.MaxIndicator, index), name})
		}
	}
	return m
}

// nontransmitted gives the BSSID of index i: the low n bits of the transmitted
// one count on by i modulo 2^n, the others stay (9.4.2.45).
func nontransmitted(bssid radio.BSSID, n, i int) radio.BSSID {
	mask := 1<<n - 1
	low := int(bssid[5])
	bssid[5] = byte(low&^mask | (low+i)&mask)
	return bssid
}
