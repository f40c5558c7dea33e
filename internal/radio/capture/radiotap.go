package capture

import "encoding/binary"

// radiotap is what is needed of a radiotap header.
type radiotap struct {
	length  int   // of the whole header, octets
	level   level // of the frame
	freqMHz int   // channel to which the receiver was tuned; 0 where not said
	fcs     bool  // the frame is followed by its frame check sequence
	badFCS  bool  // frame check or PLCP check failed
	empty   bool  // no frame follows: a PPDU without a PSDU
}

// level is a dBm antenna signal and where it comes from.
type level struct {
	dBm  int
	from origin
}

type origin uint8

const (
	noLevel  origin = iota
	antennas        // the greatest of several antennas
	receiver        // the receiver's own for the frame
)

// Bits of a present word (radiotap.org, "Defined Fields" and "Field list").
const (
	rtFlags     = 1
	rtChannel   = 3
	rtDBmSignal = 5
	rtRxFlags   = 14
	rtXChannel  = 18
	rtNoPSDU    = 26
	rtTLV       = 28
	rtReset     = 29 // the next word begins the radiotap namespace anew
	rtVendor    = 30 // the next word is a vendor's
	rtMore      = 31

	rtFlagFCS     = 0x10
	rtFlagBadFCS  = 0x40
	rtRxBadPLCP   = 0x0002
	rtVendorBytes = 6 // OUI, sub-namespace, length of what follows
)

// radiotapFields gives alignment and size in octets of the fields of bits 0 to
// 27 (radiotap.org, "Field list"). All but bit 25 are held to tshark 4.0, which
// does not know that one; its size is from memory.
func radiotapFields() [28][2]uint8 {
	return [28][2]uint8{
		{8, 8},  // TSFT
		{1, 1},  // flags
		{1, 1},  // rate
		{2, 4},  // channel
		{2, 2},  // FHSS
		{1, 1},  // dBm antenna signal
		{1, 1},  // dBm antenna noise
		{2, 2},  // lock quality
		{2, 2},  // TX attenuation
		{2, 2},  // dB TX attenuation
		{1, 1},  // dBm TX power
		{1, 1},  // antenna
		{1, 1},  // dB antenna signal
		{1, 1},  // dB antenna noise
		{2, 2},  // RX flags
		{2, 2},  // TX flags
		{1, 1},  // RTS retries
		{1, 1},  // data retries
		{4, 8},  // XChannel
		{1, 3},  // MCS
		{4, 8},  // A-MPDU status
		{2, 12}, // VHT
		{8, 12}, // timestamp
		{2, 12}, // HE
		{2, 12}, // HE-MU
		{2, 6},  // HE-MU-other-user
		{1, 1},  // 0-length PSDU
		{2, 4},  // L-SIG
	}
}

// parseRadiotap reads the radiotap header at the start of a packet. It is
// false for a header that does not hold what it announces, and then says
// nothing.
//
// Laws:
//  1. The level is the dBm antenna signal of the first present word: where
//     several antennas are reported, as Linux does, that one is the receiver's
//     own figure for the frame and later words tell each antenna.
//  2. Where the first word has none, it is the greatest of the per-antenna
//     levels: a receiver that combines antennas is never below its best one.
//  3. A dB antenna signal (bit 12) counts from an unknown reference and is no
//     level.
//  4. Alignment counts from the start of the header, also after extended
//     present words. A vendor's fields are skipped by their length. Fields
//     whose size is not known (bits 32 and up without a reset, TLVs) end the
//     reading; what was read before them stands.
func parseRadiotap(p []byte) (radiotap, bool) {
	var h radiotap
	if len(p) < 8 || p[0] != 0 {
		return h, false
	}
	h.length = int(binary.LittleEndian.Uint16(p[2:]))
	if h.length < 8 || h.length > len(p) {
		return radiotap{}, false
	}
	p = p[:h.length]
	words := 1
	for w := p[4:]; w[3]&0x80 != 0; words++ {
		if w = w[4:]; len(w) < 4 {
			return radiotap{}, false
		}
	}
	fields := radiotapFields()
	at := 4 + 4*words
	namespace, base := true, 0 // in the radiotap namespace, at its first word
	for i := range words {
		word := binary.LittleEndian.Uint32(p[4+4*i:])
		if namespace {
			if base > 0 && word&(1<<rtReset-1) != 0 {
				return h, true
			}
			for bit, f := range fields {
				if word&(1<<bit) == 0 {
					continue
				}
				align, size := int(f[0]), int(f[1])
				at = (at + align - 1) / align * align
				if at+size > len(p) {
					return radiotap{}, false
				}
				h.field(bit, p[at:at+size], i == 0)
				at += size
			}
			if word&(1<<rtTLV) != 0 {
				return h, true
			}
		}
		switch word >> rtReset & 3 {
		case 0:
			base += 32
		case 1:
			namespace, base = true, 0
		case 2:
			at = (at + 1) / 2 * 2
			if at+rtVendorBytes > len(p) {
				return radiotap{}, false
			}
			at += rtVendorBytes + int(binary.LittleEndian.Uint16(p[at+4:]))
			if at > len(p) {
				return radiotap{}, false
			}
			namespace, base = false, 0
		default: // both namespaces at once
			return radiotap{}, false
		}
	}
	return h, true
}

// field takes one field; first says that it stands in the first present word.
func (h *radiotap) field(bit int, v []byte, first bool) {
	switch bit {
	case rtFlags:
		h.badFCS = h.badFCS || v[0]&rtFlagBadFCS != 0
		h.fcs = h.fcs || v[0]&rtFlagFCS != 0
	case rtRxFlags:
		h.badFCS = h.badFCS || binary.LittleEndian.Uint16(v)&rtRxBadPLCP != 0
	case rtChannel:
		if first {
			h.freqMHz = int(binary.LittleEndian.Uint16(v))
		}
	case rtXChannel:
		if first && h.freqMHz == 0 {
			h.freqMHz = int(binary.LittleEndian.Uint16(v[4:]))
		}
	case rtNoPSDU:
		h.empty = true
	case rtDBmSignal:
		l := level{int(int8(v[0])), antennas}
		if first {
			l.from = receiver
		}
		if l.from > h.level.from || l.from == h.level.from && l.dBm > h.level.dBm {
			h.level = l
		}
	}
}
