package capture_test

import (
	"bytes"
	"encoding/binary"
	"testing"
	"time"

	"github.com/gopacket/gopacket"
	"github.com/gopacket/gopacket/layers"
	"github.com/gopacket/gopacket/pcapgo"
	"github.com/stretchr/testify/require"
)

// Packets that the tests make themselves. All names and addresses are
// invented; the addresses are locally administered.

// word is one present word: the fields by bit, or a vendor's data.
type word struct {
	fields map[int][]byte
	vendor []byte // not nil: a vendor namespace of this content
}

// radiotapAlign gives the alignment of the fields whose alignment is not 1
// (radiotap.org). It is held to tshark.
func radiotapAlign(bit int) int {
	switch bit {
	case 0, 22:
		return 8
	case 18, 20:
		return 4
	case 3, 4, 7, 8, 9, 14, 15, 21, 23, 24, 25, 27:
		return 2
	}
	return 1
}

func le16(v int) []byte { return binary.LittleEndian.AppendUint16(nil, uint16(v)) }

func dbm(v int) []byte { return []byte{byte(int8(v))} }

// tuned is a channel field.
func tuned(mhz int) []byte { return append(le16(mhz), 0x80, 0x00) }

// header puts a radiotap header together from its words. Words that follow a
// radiotap word begin that namespace anew.
func header(words ...word) []byte {
	var present []uint32
	for i, w := range words {
		var p uint32
		for bit := range w.fields {
			p |= 1 << bit
		}
		if i+1 < len(words) {
			p |= 1 << 31
			if words[i+1].vendor != nil {
				p |= 1 << 30
			} else {
				p |= 1 << 29
			}
		}
		present = append(present, p)
	}
	out := []byte{0, 0, 0, 0}
	for _, p := range present {
		out = binary.LittleEndian.AppendUint32(out, p)
	}
	pad := func(align int) {
		for len(out)%align != 0 {
			out = append(out, 0xaa)
		}
	}
	for i, w := range words {
		for bit := range 29 {
			if v, ok := w.fields[bit]; ok {
				pad(radiotapAlign(bit))
				out = append(out, v...)
			}
		}
		if i+1 < len(words) && words[i+1].vendor != nil {
			v := words[i+1].vendor
			pad(2)
			out = append(out, 0x02, 0xca, 0xfe, 0x01)
			out = append(out, le16(len(v))...)
			out = append(out, v...)
		}
	}
	binary.LittleEndian.PutUint16(out[2:], uint16(len(out)))
	return out
}

// simple is a header with flags, a channel and a level.
func simple(mhz, level int) []byte {
	return header(word{fields: map[int][]byte{1: {0}, 3: tuned(mhz), 5: dbm(level)}})
}

func element(id byte, v ...byte) []byte { return append([]byte{id, byte(len(v))}, v...) }

func ssid(s string) []byte { return element(0, []byte(s)...) }

func ds(channel byte) []byte { return element(3, channel) }

func ht(channel byte) []byte { return element(61, append([]byte{channel}, make([]byte, 21)...)...) }

// he is an HE Operation element with 6 GHz information and what may stand
// before it.
func he(channel byte, vht, cohosted bool) []byte {
	parameters := 1 << 17
	v := []byte{36, 0, 0, 0, 0x3f, 0xfc, 0xff}
	if vht {
		parameters |= 1 << 14
		v = append(v, 1, 155, 0)
	}
	if cohosted {
		parameters |= 1 << 15
		v = append(v, 2)
	}
	v[1], v[2], v[3] = byte(parameters), byte(parameters>>8), byte(parameters>>16)
	return element(255, append(v, channel, 0, channel, 0, 6)...)
}

const (
	subProbeRequest  = 4
	subProbeResponse = 5
	subBeacon        = 8
)

func local(n byte) [6]byte { return [6]byte{0x02, 0x00, 0x5e, 0x10, 0x00, n} }

// management is a management frame without a frame check sequence.
func management(subtype byte, bssid [6]byte, elements ...[]byte) []byte {
	out := []byte{subtype << 4, 0, 0, 0, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff}
	out = append(out, bssid[:]...)
	out = append(out, bssid[:]...)
	out = append(out, 0x10, 0)
	if subtype != subProbeRequest {
		out = append(out, 1, 2, 3, 4, 5, 6, 7, 8, 100, 0, 0x31, 0x04)
	}
	return append(out, bytes.Join(elements, nil)...)
}

func beacon(bssid [6]byte, elements ...[]byte) []byte {
	return management(subBeacon, bssid, elements...)
}

// packet is a packet of a file.
type packet struct {
	at   time.Time
	data []byte
}

// start is when the invented captures begin.
func start() time.Time { return time.Date(2031, 5, 6, 10, 0, 0, 0, time.UTC) }

func packets(each time.Duration, data ...[]byte) []packet {
	var out []packet
	for i, d := range data {
		out = append(out, packet{start().Add(time.Duration(i) * each), d})
	}
	return out
}

func join(parts ...[]byte) []byte { return bytes.Join(parts, nil) }

func pcapFile(t testing.TB, link layers.LinkType, ps ...packet) []byte {
	t.Helper()
	var b bytes.Buffer
	w := pcapgo.NewWriterNanos(&b)
	require.NoError(t, w.WriteFileHeader(65535, link))
	for _, p := range ps {
		require.NoError(t, w.WritePacket(gopacket.CaptureInfo{Timestamp: p.at, CaptureLength: len(p.data), Length: len(p.data)}, p.data))
	}
	return b.Bytes()
}

func pcapngFile(t testing.TB, link layers.LinkType, ps ...packet) []byte {
	t.Helper()
	var b bytes.Buffer
	o := pcapgo.NgWriterOptions{SectionInfo: pcapgo.NgSectionInfo{Application: "footrule tests"}}
	w, err := pcapgo.NewNgWriterInterface(&b, pcapgo.NgInterface{Name: "mon0", LinkType: link, TimestampResolution: 9}, o)
	require.NoError(t, err)
	for _, p := range ps {
		require.NoError(t, w.WritePacket(gopacket.CaptureInfo{Timestamp: p.at, CaptureLength: len(p.data), Length: len(p.data)}, p.data))
	}
	require.NoError(t, w.Flush())
	return b.Bytes()
}
