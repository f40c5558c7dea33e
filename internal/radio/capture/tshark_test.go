package capture_test

import (
	"bytes"
	"encoding/hex"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"footrule/internal/radio"
	"footrule/internal/radio/capture"

	"github.com/gopacket/gopacket/layers"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// seen is a packet as tshark reads it.
type seen struct {
	kind    string // of beacons and probe responses; else "other"
	bssid   string
	dbm     []int
	tuned   []int
	badFCS  bool
	ssid    string // as Reading.SSID would be
	channel [3]int // of DS, HT and HE; 0 where not there
	broken  bool   // tshark calls it malformed or cut
}

// tshark reads a pcap file with tshark and gives its packets.
func tshark(t *testing.T, file []byte) []seen {
	t.Helper()
	exe, err := exec.LookPath("tshark")
	if err != nil {
		t.Skip("tshark is not installed: nothing to compare with (apt-get install tshark)")
	}
	path := filepath.Join(t.TempDir(), "packets.pcap")
	require.NoError(t, os.WriteFile(path, file, 0o600))
	fields := []string{"wlan.fc.type_subtype", "wlan.bssid", "radiotap.dbm_antsignal", "radiotap.channel.freq", "radiotap.xchannel.freq",
		"radiotap.flags.badfcs", "radiotap.rxflags.badplcp", "wlan.ssid", "wlan.ds.current_channel", "wlan.ht.info.primarychannel",
		"wlan.ext_tag.he_operation.6ghz.primary_channel", "_ws.malformed"}
	args := []string{"-n", "-r", path, "-T", "fields", "-E", "separator=|", "-E", "occurrence=a", "-E", "aggregator=,"}
	for _, f := range fields {
		args = append(args, "-e", f)
	}
	cmd := exec.Command(exe, args...)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	require.NoError(t, err, stderr.String())
	var all []seen
	for _, line := range strings.Split(strings.TrimSuffix(string(out), "\n"), "\n") {
		c := strings.Split(line, "|")
		require.Len(t, c, len(fields), line)
		s := seen{kind: "other", bssid: c[1], dbm: ints(t, c[2]), badFCS: strings.Contains(c[5]+c[6], "1"), broken: c[11] != ""}
		s.tuned = ints(t, c[3])
		if c[3] == "" {
			s.tuned = ints(t, c[4])
		}
		switch c[0] {
		case "0x0008":
			s.kind = "beacon"
		case "0x0005":
			s.kind = "probe response"
		}
		first, _, _ := strings.Cut(c[7], ",")
		if first != "<MISSING>" {
			octets, err := hex.DecodeString(first)
			require.NoError(t, err, line)
			s.ssid = capture.SSIDOf(octets)
		}
		for i := range s.channel {
			if v := ints(t, c[8+i]); len(v) > 0 {
				s.channel[i] = v[0]
			}
		}
		all = append(all, s)
	}
	return all
}

func ints(t *testing.T, s string) []int {
	t.Helper()
	var out []int
	for _, f := range strings.FieldsFunc(s, func(r rune) bool { return r == ',' }) {
		v, err := strconv.Atoi(f)
		require.NoError(t, err, s)
		out = append(out, v)
	}
	return out
}

// view is what ParseFrame should give, by tshark's fields. Which level counts
// (the first word's, else the greatest) and which channel (HE, HT, DS in the
// tuned band) is decided here anew.
func (s seen) view(firstHasLevel bool) capture.FrameView {
	v := capture.FrameView{Kind: s.kind}
	if len(s.tuned) > 0 {
		v.TunedMHz = s.tuned[0]
	}
	if s.badFCS {
		v.Kind = "bad FCS"
		return v
	}
	if s.kind == "other" {
		return v
	}
	if b, err := radio.ParseBSSID(s.bssid); err == nil {
		v.BSSID = b
	}
	v.SSID = s.ssid
	for i, d := range s.dbm {
		if i == 0 || !firstHasLevel && d > v.DBm {
			v.DBm, v.Level = d, true
		}
		if firstHasLevel {
			break
		}
	}
	v.Level = v.Level && v.DBm < 0 && v.DBm >= -120
	v.FreqMHz = v.TunedMHz
	for i, c := range s.channel { // DS, then HT, then HE: the later wins
		for mhz := 2400; mhz < 7200; mhz++ {
			n, ok := radio.Channel(mhz)
			a, _ := radio.BandOf(mhz)
			b, _ := radio.BandOf(v.TunedMHz)
			if i == 2 != (a == radio.Band6) {
				continue // HE Operation tells of 6 GHz, the others of the rest
			}
			if v.TunedMHz == 0 {
				switch {
				case i == 2:
					b = radio.Band6
				case c <= 14:
					b = radio.Band2
				default:
					b = radio.Band5
				}
			}
			if ok && n == c && a == b {
				v.FreqMHz = mhz
			}
		}
	}
	return v
}

// Every packet of the open captures, beside tshark's reading of it.
func TestCapturesAgainstTshark(t *testing.T) {
	var ps []packet
	for _, f := range sharedFiles(t, "radiotap", ".pcap") {
		ps = append(ps, packetsOf(t, f)...)
	}
	require.Len(t, ps, 1206)
	all := tshark(t, pcapFile(t, layers.LinkTypeIEEE80211Radio, ps...))
	require.Len(t, all, len(ps))
	counts := map[string]int{}
	for i, s := range all {
		got := capture.ParseFrame(ps[i].data)
		want := s.view(true)
		counts[got.Kind]++
		assert.Equal(t, want, got, "packet %d", i)
	}
	t.Log(counts)
}

// Packets with headers drawn at random: any fields in any number of words,
// vendor namespaces between them, elements of every kind.
func TestRandomPacketsAgainstTshark(t *testing.T) {
	rng := rand.New(rand.NewPCG(2031, 5))
	const n = 4000
	ps := make([]packet, n)
	first := make([]bool, n)
	for i := range ps {
		ps[i].at = start()
		ps[i].data, first[i] = randomPacket(rng)
	}
	all := tshark(t, pcapFile(t, layers.LinkTypeIEEE80211Radio, ps...))
	require.Len(t, all, n)
	counts := map[string]int{}
	levels := 0
	for i, s := range all {
		got := capture.ParseFrame(ps[i].data)
		want := s.view(first[i])
		counts[got.Kind]++
		if got.Level {
			levels++
		}
		require.Equal(t, want, got, "packet %d: %x", i, ps[i].data)
	}
	t.Log(counts, "with a level:", levels)
	assert.Greater(t, levels, n/4)
}

// randomPacket draws a well-formed packet; first says that the first word has
// a level.
func randomPacket(rng *rand.Rand) (data []byte, first bool) {
	sizes := [28]int{8, 1, 1, 4, 2, 1, 1, 2, 2, 2, 1, 1, 1, 1, 2, 2, 1, 1, 8, 3, 8, 12, 12, 12, 12, 6, 1, 4}
	var words []word
	freqs := []int{2412, 2437, 2472, 5180, 5500, 5805, 5955, 6135}
	freq := freqs[rng.IntN(len(freqs))]
	for k := range 1 + rng.IntN(4) {
		if k > 0 && words[k-1].vendor == nil && rng.IntN(4) == 0 {
			v := make([]byte, rng.IntN(9))
			for i := range v {
				v[i] = byte(rng.Uint32())
			}
			words = append(words, word{vendor: v})
			continue
		}
		w := word{fields: map[int][]byte{}}
		for bit, size := range sizes {
			if bit == 25 || rng.IntN(3) > 0 || bit == 26 && rng.IntN(8) > 0 { // tshark 4.0 does not know the size of bit 25
				continue
			}
			v := make([]byte, size)
			for i := range v {
				v[i] = byte(rng.Uint32())
			}
			switch bit {
			case 1:
				v[0] &^= 0x10 | 0x20 | 0x40 // no frame check, no padding, not damaged
				if rng.IntN(10) == 0 {
					v[0] |= 0x40
				}
			case 14:
				v[0], v[1] = 0, 0
				if rng.IntN(10) == 0 {
					v[0] = 2
				}
			case 3:
				v = tuned(freq)
				if k > 0 {
					continue
				}
			case 18:
				copy(v[4:], le16(freq))
				if k > 0 || w.fields[3] != nil {
					continue
				}
			case 5:
				v = dbm(-1 - rng.IntN(128))
				first = first || k == 0
			}
			w.fields[bit] = v
		}
		words = append(words, w)
	}
	if words[len(words)-1].vendor != nil {
		words = append(words, word{fields: map[int][]byte{}})
	}
	sub := []byte{subBeacon, subBeacon, subBeacon, subProbeResponse, subProbeRequest}[rng.IntN(5)]
	var es [][]byte
	name := make([]byte, rng.IntN(33))
	for i := range name {
		name[i] = byte(rng.Uint32())
	}
	es = append(es, element(0, name...))
	if rng.IntN(2) == 0 {
		es = append(es, ds(byte(1+rng.IntN(60))))
	}
	if rng.IntN(2) == 0 {
		es = append(es, ht(byte(1+rng.IntN(200))))
	}
	if rng.IntN(3) == 0 {
		es = append(es, he(byte(1+4*rng.IntN(59)), rng.IntN(2) == 0, rng.IntN(2) == 0))
	}
	m := management(sub, local(byte(rng.Uint32())), es...)
	return join(header(words...), m), first
}
