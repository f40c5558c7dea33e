package capture

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"footrule/internal/radio"

	"github.com/gopacket/gopacket"
	"github.com/gopacket/gopacket/layers"
	"github.com/gopacket/gopacket/pcapgo"
)

// lastYear is the last that fits 64 bits of nanoseconds; what lies outside is
// no time of a capture.
const lastYear = 2261

// Limits on packets and on what stands between them.
const (
	maxPacket    = 256 << 10 // octets; as common readers take
	blockCredit  = 4 << 20   // octets of pcapng blocks that are not packets, at once
	blockPerNext = 4 << 10   // and for each further packet
)

func isPcap(head []byte) bool {
	if len(head) < 4 {
		return false
	}
	switch binary.BigEndian.Uint32(head) {
	case 0xa1b2c3d4, 0xd4c3b2a1, 0xa1b23c4d, 0x4d3cb2a1:
		return true
	}
	return false
}

func isPcapng(head []byte) bool {
	return len(head) >= 4 && binary.BigEndian.Uint32(head) == 0x0a0d0d0a
}

// linkType tells what a link type other than radiotap is, and what to do.
func linkType(t layers.LinkType) (what, want string) {
	const monitor = "capture in monitor mode with radiotap headers"
	switch t {
	case 1:
		return "link type 1 (Ethernet) carries neither beacons nor levels", monitor
	case 105:
		return "link type 105 (IEEE 802.11) carries no radio information, so no levels", monitor
	case 119:
		return "link type 119 (Prism header) is not read: its levels have no unit", monitor
	case 163:
		return "link type 163 (AVS header) is not read", monitor
	case 192:
		return "link type 192 (per-packet information) is not read", monitor
	}
	return fmt.Sprintf("link type %d carries no radiotap header", t), monitor
}

// readPcap reads a pcap file. The link type is the low 16 bits of its word;
// the upper half holds flags.
func readPcap(s *source) error {
	r, err := pcapgo.NewReader(s.br)
	if err != nil {
		return s.fail(0, "the pcap header can't be read: "+err.Error(), "")
	}
	r.SetSnaplen(maxPacket)
	if t := r.LinkType(); t != layers.LinkTypeIEEE80211Radio {
		what, want := linkType(t)
		return s.fail(0, what, want)
	}
	return s.frames(func() ([]byte, gopacket.CaptureInfo, error) {
		data, ci, err := r.ZeroCopyReadPacketData()
		ci.AncillaryData = nil
		if errors.Is(err, io.EOF) && ci.CaptureLength > 0 {
			err = io.ErrUnexpectedEOF // cut between a packet's header and its octets
		}
		return data, ci, err
	})
}

// readPcapng reads a pcapng file, whose interfaces may differ in link type.
func readPcapng(s *source) error {
	m := &meter{r: s.br, credit: blockCredit}
	r, err := pcapgo.NewNgReader(m, pcapgo.NgReaderOptions{WantMixedLinkType: true, SkipUnknownVersion: true})
	if err != nil {
		return s.fail(0, "the pcapng header can't be read: "+err.Error(), "")
	}
	return s.frames(func() ([]byte, gopacket.CaptureInfo, error) {
		data, ci, err := r.ZeroCopyReadPacketData()
		m.credit = min(m.credit+len(data)+blockPerNext, blockCredit)
		return data, ci, err
	})
}

var errBlock = errors.New("blocks that are no packets take more room than a capture needs")

// meter ends a stream that gives too much between two packets, so that a file
// can't make its reader hold all of it.
type meter struct {
	r      *bufio.Reader
	credit int
}

func (m *meter) Read(p []byte) (int, error) {
	if m.credit <= 0 {
		return 0, errBlock
	}
	n, err := m.r.Read(p[:min(len(p), m.credit)])
	m.credit -= n
	return n, err
}

// frames reads packets until their end and cuts them into scans.
func (s *source) frames(next func() ([]byte, gopacket.CaptureInfo, error)) error {
	n := &s.c.Frames
	w := newWindows(s)
	foreign := layers.LinkType(0)
	for {
		data, ci, err := next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			if n.All == 0 {
				return s.fail(0, "no packet can be read: "+err.Error(), "give the file as it was written")
			}
			s.warn("the file breaks off after %d packets: %v", n.All, err)
			break
		}
		n.All++
		if len(ci.AncillaryData) > 0 {
			if t, ok := ci.AncillaryData[0].(layers.LinkType); ok && t != layers.LinkTypeIEEE80211Radio {
				n.Foreign++
				foreign = t
				continue
			}
		}
		if y := ci.Timestamp.Year(); y < 1970 || y > lastYear {
			n.NoTime++
			continue
		}
		f := parseFrame(data)
		f.time = ci.Timestamp
		if err := w.add(f); err != nil {
			return err
		}
	}
	if n.All > 0 && n.Foreign == n.All {
		what, want := linkType(foreign)
		return s.fail(0, what, want)
	}
	return w.finish()
}

// count counts a frame by its kind and says whether it carries a level.
func (n *Frames) count(f frame) bool {
	switch f.kind {
	case malformed:
		n.Malformed++
		return false
	case badFCS:
		n.BadFCS++
		return false
	case other:
		n.Other++
		return false
	case beacon:
		n.Beacons++
	case probeResponse:
		n.ProbeResponses++
	}
	if !f.level {
		n.NoLevel++
	}
	return f.level
}

// inBand reports whether a frequency is one of a WLAN.
func inBand(freqMHz int) bool {
	_, ok := radio.BandOf(freqMHz)
	return ok
}
