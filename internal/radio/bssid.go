package radio

import (
	"encoding/hex"
	"fmt"
)

// BSSID is the 48-bit identifier of a BSS (IEEE 802.11-2020, 9.2.4.3.4).
type BSSID [6]byte

// ParseBSSID reads six hexadecimal octets joined by colons or by hyphens, in
// either case. It accepts no other spelling.
func ParseBSSID(s string) (BSSID, error) {
	var b BSSID
	if len(s) != 17 {
		return b, fmt.Errorf("BSSID %q has %d characters, not 17", clip(s), len(s))
	}
	sep := s[2]
	if sep != ':' && sep != '-' {
		return b, fmt.Errorf("BSSID %q is not six octets joined by colons", clip(s))
	}
	for i := range b {
		hi, lo := nibble(s[3*i]), nibble(s[3*i+1])
		if hi > 15 || lo > 15 || (i < 5 && s[3*i+2] != sep) {
			return BSSID{}, fmt.Errorf("BSSID %q is not six octets joined by colons", clip(s))
		}
		b[i] = hi<<4 | lo
	}
	return b, nil
}

func nibble(c byte) byte {
	switch {
	case '0' <= c && c <= '9':
		return c - '0'
	case 'a' <= c && c <= 'f':
		return c - 'a' + 10
	case 'A' <= c && c <= 'F':
		return c - 'A' + 10
	}
	return 255
}

func clip(s string) string {
	if len(s) > 40 {
		return s[:40] + "…"
	}
	return s
}

// String gives the lower-case form joined by colons.
func (b BSSID) String() string {
	var out [17]byte
	for i, o := range b {
		hex.Encode(out[3*i:3*i+2], []byte{o})
		if i < 5 {
			out[3*i+2] = ':'
		}
	}
	return string(out[:])
}

// IsZero reports whether every octet is zero, which no BSS uses.
func (b BSSID) IsZero() bool { return b == BSSID{} }

// Group reports whether the individual/group bit is set; a BSSID never has it
// (IEEE 802-2014, 8.2.2).
func (b BSSID) Group() bool { return b[0]&1 != 0 }

// Local reports whether the address is locally administered (IEEE 802-2014, 8.2.2).
func (b BSSID) Local() bool { return b[0]&2 != 0 }
