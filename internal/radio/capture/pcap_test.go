package capture_test

import (
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"flag"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"footrule/internal/input"
	"footrule/internal/radio"
	"footrule/internal/radio/capture"

	"github.com/gopacket/gopacket/layers"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write the fixtures anew")

const monitorLink = layers.LinkTypeIEEE80211Radio

// walkPackets are four seconds of two access points, with what else is on air.
func walkPackets() []packet {
	ps := packets(250*ms,
		join(simple(2412, -60), beacon(local(1), ssid("Harbour Depot"), ds(1))),
		join(simple(2412, -64), beacon(local(1), ssid("Harbour Depot"), ds(1))),
		join(simple(2412, -70), beacon(local(2), ssid(""), ds(3))), // heard from the channel beside
		join(simple(2412, -73), management(subProbeResponse, local(2), ssid("Quay"), ds(3))),
		// the second second: no beacon, but somebody asks
		join(simple(2412, -55), management(subProbeRequest, local(9), ssid(""))),
		join(simple(2412, -55), []byte{0xd4, 0, 0, 0, 2, 0, 0x5e, 0x10, 0, 9}), // an acknowledgement
	)
	// the third second is silent altogether; in the fourth a damaged frame and a good one
	damaged := header(word{fields: map[int][]byte{1: {0x40}, 3: tuned(2412), 5: dbm(-20)}})
	late := start().Add(3200 * ms)
	return append(ps,
		packet{late, join(damaged, beacon(local(1), ssid("Harbour Depot"), ds(1)))},
		packet{late.Add(100 * ms), join(simple(2412, -66), beacon(local(1), ssid("Harbour Depot"), ds(1)))},
		packet{late.Add(200 * ms), join(header(word{fields: map[int][]byte{3: tuned(2412), 12: {40}}}), beacon(local(2), ssid("Quay"), ds(3)))},
		packet{late.Add(300 * ms), []byte{0, 0, 200, 0, 0, 0, 0, 0}},
	)
}

// walkCapture is what the packets say, by hand.
func walkCapture(name, format string) *capture.Capture {
	at := func(d time.Duration) time.Time { return start().Add(d) }
	return &capture.Capture{
		Name: name, Format: format, Timed: true, ListenedMHz: []int{2412},
		Frames: capture.Frames{All: 10, Beacons: 5, ProbeResponses: 1, NoLevel: 1, BadFCS: 1, Malformed: 1, Other: 2},
		Scans: []capture.Scan{
			{Time: start(), Took: time.Second, FreqsMHz: []int{2412}, Heard: []radio.Heard{
				heard(1, "Harbour Depot", 2412, -62, 750*ms),
				heard(2, "Quay", 2422, -71.5, 250*ms),
			}},
			{Time: at(time.Second), Took: time.Second, FreqsMHz: []int{2412}},
			{Time: at(3 * time.Second), Took: time.Second, FreqsMHz: []int{2412}, Heard: []radio.Heard{heard(1, "Harbour Depot", 2412, -66, 700*ms)}},
		},
		Warnings: []string{
			"1 of 10 frames arrived damaged and are left out",
			"1 of 10 frames are malformed and are left out",
			"1 of 10 frames are beacons or probe responses without a level in dBm and are left out",
			"the receiver listened on 2412 MHz alone: the silence of access points on other channels says nothing",
		},
	}
}

// antennaPackets have levels for each antenna behind extended present words,
// as Linux writes them; in the last the receiver gives none of its own.
func antennaPackets() []packet {
	one := func(antenna byte, level int) word {
		return word{fields: map[int][]byte{5: dbm(level), 11: {antenna}}}
	}
	return packets(100*ms,
		join(header(word{fields: map[int][]byte{0: make([]byte, 8), 1: {0x10}, 3: tuned(5180), 5: dbm(-50)}}, one(0, -58), one(1, -49)),
			beacon(local(3), ssid("x"), ht(36)), []byte{3, 1, 9, 9}), // a frame check that looks like an element
		join(header(word{fields: map[int][]byte{1: {0}, 3: tuned(5180)}}, word{vendor: []byte{1, 2, 3}}, one(0, -60), one(1, -52)),
			beacon(local(4), ssid("y"), ht(36))),
	)
}

// The fixtures in testdata/capture are what the builders here write, so that a
// change of either is seen.
func TestFixtures(t *testing.T) {
	for name, want := range map[string][]byte{
		"beacons.pcap":   pcapFile(t, monitorLink, walkPackets()...),
		"beacons.pcapng": pcapngFile(t, monitorLink, walkPackets()...),
		"antennas.pcap":  pcapFile(t, monitorLink, antennaPackets()...),
	} {
		if *update {
			require.NoError(t, os.WriteFile(filepath.Join("..", "..", "..", "testdata", "capture", name), want, 0o644))
		}
		assert.Equal(t, want, fixture(t, name), name)
	}
}

func TestReadPcap(t *testing.T) {
	for _, format := range []string{"pcap", "pcapng"} {
		name := "beacons." + format
		raw := fixture(t, name)
		c, err := capture.Read(name, bytes.NewReader(raw), capture.Options{})
		require.NoError(t, err)
		assert.Equal(t, walkCapture(name, format), c)

		var z bytes.Buffer
		w := gzip.NewWriter(&z)
		_, err = w.Write(raw)
		require.NoError(t, err)
		require.NoError(t, w.Close())
		c, err = capture.Read(name, &z, capture.Options{})
		require.NoError(t, err)
		assert.Equal(t, walkCapture(name, format), c, "gzip")
	}
}

// The upper half of the link-type word holds flags: that a frame check of 4
// octets follows each frame, say.
func TestLinkTypeFlags(t *testing.T) {
	raw := fixture(t, "beacons.pcap")
	binary.LittleEndian.PutUint32(raw[20:], 127|0x2400_0000)
	c, err := capture.Read("beacons.pcap", bytes.NewReader(raw), capture.Options{})
	require.NoError(t, err)
	assert.Equal(t, walkCapture("beacons.pcap", "pcap"), c)
}

func TestReadAntennas(t *testing.T) {
	c, err := capture.Read("antennas.pcap", bytes.NewReader(fixture(t, "antennas.pcap")), capture.Options{Window: 10 * time.Second})
	require.NoError(t, err)
	require.Len(t, c.Scans, 1)
	assert.Equal(t, []radio.Heard{
		heard(3, "x", 5180, -50, 10*time.Second),
		heard(4, "y", 5180, -52, 9900*ms),
	}, c.Scans[0].Heard)
}

// A receiver that hops, frames out of order, and windows of another length.
func TestWindows(t *testing.T) {
	b := func(mhz, level int, n byte, channel byte) []byte {
		return join(simple(mhz, level), beacon(local(n), ssid("x"), ds(channel)))
	}
	ps := []packet{
		{start(), b(2412, -40, 1, 1)},
		{start().Add(700 * ms), b(2437, -50, 2, 6)},
		{start().Add(800 * ms), join(header(word{fields: map[int][]byte{1: {0}, 5: dbm(-50)}}), []byte{8, 0})}, // does not say where it listened
		{start().Add(-300 * ms), b(2462, -60, 3, 11)},                                                          // before the first
		{start().Add(400 * ms), b(2412, -44, 1, 1)},
		{start().Add(1500 * ms), b(2412, -48, 1, 1)},
	}
	c, err := capture.Read("f", bytes.NewReader(pcapFile(t, monitorLink, ps...)), capture.Options{Window: 500 * ms})
	require.NoError(t, err)
	at := func(d time.Duration) time.Time { return start().Add(d) }
	assert.Equal(t, []capture.Scan{
		{Time: at(-500 * ms), Took: 500 * ms, FreqsMHz: []int{2462}, Heard: []radio.Heard{heard(3, "x", 2462, -60, 300*ms)}},
		{Time: at(0), Took: 500 * ms, FreqsMHz: []int{2412}, Heard: []radio.Heard{heard(1, "x", 2412, -42, 100*ms)}},
		{Time: at(500 * ms), Took: 500 * ms, Heard: []radio.Heard{heard(2, "x", 2437, -50, 300*ms)}},
		{Time: at(1500 * ms), Took: 500 * ms, FreqsMHz: []int{2412}, Heard: []radio.Heard{heard(1, "x", 2412, -48, 500*ms)}},
	}, c.Scans)
	assert.Equal(t, []int{2412, 2437, 2462}, c.ListenedMHz)
	assert.Equal(t, []string{"the receiver moved over 3 channels: a window of 500ms speaks only of the channels that it came to; take one as long as a whole round"}, c.Warnings)
}

func TestFilteredCaptureIsDoubted(t *testing.T) {
	ask := join(simple(2412, -55), management(subProbeRequest, local(9), ssid("")))
	ps := packets(time.Second, join(simple(2412, -40), beacon(local(1), ds(1))), ask, ask, ask)
	c, err := capture.Read("f", bytes.NewReader(pcapFile(t, monitorLink, ps...)), capture.Options{})
	require.NoError(t, err)
	require.Len(t, c.Scans, 4)
	assert.Contains(t, c.Warnings, "3 of 4 scans hold no beacon: if frames were filtered when they were captured, their silence means nothing")
}

// Where the frequency of a reading comes from.
func TestPrimaryMHz(t *testing.T) {
	tests := []struct {
		he, ht, ds, tuned, want int
	}{
		{0, 0, 6, 2437, 2437}, {0, 0, 1, 2417, 2412}, {0, 6, 1, 2412, 2437}, // the BSS's own, not where it was heard
		{0, 0, 14, 2484, 2484}, {0, 0, 0, 2437, 2437}, {0, 0, 200, 2437, 2437},
		{0, 161, 161, 5785, 5805}, {0, 36, 0, 5180, 5180}, {0, 6, 0, 5180, 5180}, // 6 is no channel of 5 GHz
		{5, 0, 0, 5975, 5975}, {2, 0, 0, 5935, 5935}, {5, 36, 0, 6135, 5975}, {0, 37, 0, 6135, 6135},
		{5, 36, 0, 5180, 5180}, // no 6 GHz information counts in 5 GHz
		{0, 0, 11, 0, 2462}, {0, 149, 0, 0, 5745}, {37, 0, 0, 0, 6135}, {0, 0, 0, 0, 0}, {0, 0, 20, 0, 0},
		{0, 0, 6, 900, 2437}, // an unlikely radiotap channel
	}
	for _, tt := range tests {
		assert.Equal(t, tt.want, capture.PrimaryMHz(tt.he, tt.ht, tt.ds, tt.tuned), "%+v", tt)
	}
}

func TestReadPcapErrors(t *testing.T) {
	ask := join(simple(2412, -55), management(subProbeRequest, local(9), ssid("")))
	deaf := join(header(word{fields: map[int][]byte{3: tuned(2412)}}), beacon(local(1), ds(1)))
	good := join(simple(2412, -40), beacon(local(1), ds(1)))
	const monitor = "; capture in monitor mode with radiotap headers"
	const beacons = "; capture beacons in monitor mode with radiotap headers"
	tests := []struct {
		name, want string
		in         []byte
	}{
		{"raw 802.11", "f: link type 105 (IEEE 802.11) carries no radio information, so no levels" + monitor, pcapFile(t, 105, packets(ms, good)...)},
		{"raw 802.11 in pcapng", "f: link type 105 (IEEE 802.11) carries no radio information, so no levels" + monitor, pcapngFile(t, 105, packets(ms, good)...)},
		{"Ethernet", "f: link type 1 (Ethernet) carries neither beacons nor levels" + monitor, pcapFile(t, 1)},
		{"Prism", "f: link type 119 (Prism header) is not read: its levels have no unit" + monitor, pcapFile(t, 119)},
		{"AVS", "f: link type 163 (AVS header) is not read" + monitor, pcapFile(t, 163)},
		{"PPI", "f: link type 192 (per-packet information) is not read" + monitor, pcapFile(t, 192)},
		{"another", "f: link type 187 carries no radiotap header" + monitor, pcapFile(t, 187)},
		{"no packet", "f: there is no packet in it" + beacons, pcapFile(t, monitorLink)},
		{"no packet in pcapng", "f: there is no packet in it" + beacons, pcapngFile(t, monitorLink)},
		{"no beacon", "f: none of 2 packets is a beacon or a probe response (0 damaged, 0 malformed, 0 without a time)" + beacons, pcapFile(t, monitorLink, packets(ms, ask, ask)...)},
		{"no level", "f: none of 1 beacons and probe responses carries a level in dBm and a channel" + beacons, pcapFile(t, monitorLink, packets(ms, deaf)...)},
		{"cut header", "f: the pcap header can't be read: unexpected EOF", pcapFile(t, monitorLink)[:20]},
		{"cut first packet", "f: no packet can be read: unexpected EOF; give the file as it was written", pcapFile(t, monitorLink, packets(ms, good)...)[:50]},
		{"cut pcapng", "f: the pcapng header can't be read: unexpected EOF", pcapngFile(t, monitorLink)[:20]},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := capture.Read("f", bytes.NewReader(tt.in), capture.Options{})
			assert.EqualError(t, err, tt.want)
			var e *input.Error
			assert.ErrorAs(t, err, &e)
		})
	}
}

// A file that is cut anywhere gives what stood before the cut, with a warning,
// or an error; never anything else than the whole gives.
func TestCutAnywhere(t *testing.T) {
	for _, name := range []string{"beacons.pcap", "beacons.pcapng"} {
		raw := fixture(t, name)
		whole, err := capture.Read(name, bytes.NewReader(raw), capture.Options{})
		require.NoError(t, err)
		read := 0
		for n := range raw {
			c, err := capture.Read(name, bytes.NewReader(raw[:n]), capture.Options{})
			if err != nil {
				continue
			}
			read++
			require.LessOrEqual(t, c.Frames.All, whole.Frames.All)
			require.LessOrEqual(t, len(c.Scans), len(whole.Scans))
			if c.Frames.All > 4 {
				require.Equal(t, whole.Scans[0], c.Scans[0])
			}
		}
		assert.Greater(t, read, len(raw)/2)
	}
	for _, name := range []string{"iw-terminal.txt", "iw-loop.txt", "wpa.txt"} {
		raw := fixture(t, name)
		for n := range raw {
			c, err := capture.Read(name, bytes.NewReader(raw[:n]), capture.Options{})
			if err == nil {
				require.NotEmpty(t, c.Scans, "%s cut at %d", name, n)
			}
		}
	}
}

// A file can't make its reader hold more than a small part of a lying length.
func TestLyingLengths(t *testing.T) {
	good := join(simple(2412, -40), beacon(local(1), ds(1)))
	long := pcapFile(t, monitorLink, packets(ms, good)...)
	long = binary.LittleEndian.AppendUint32(long, uint32(start().Unix()))
	long = append(long, 0, 0, 0, 0, 0xff, 0xff, 0xff, 0x7f, 0xff, 0xff, 0xff, 0x7f)
	c, err := capture.Read("f", bytes.NewReader(append(long, make([]byte, 1000)...)), capture.Options{})
	require.NoError(t, err)
	assert.Equal(t, 1, c.Frames.All)
	assert.Contains(t, c.Warnings[0], "the file breaks off after 1 packets")

	// pcapng: a block of name records of 64 MiB.
	ng := pcapngFile(t, monitorLink, packets(ms, good)...)
	block := binary.LittleEndian.AppendUint32(nil, 4)
	block = binary.LittleEndian.AppendUint32(block, 64<<20)
	block = append(block, make([]byte, 64<<20)...)
	c, err = capture.Read("f", bytes.NewReader(append(ng, block...)), capture.Options{})
	require.NoError(t, err)
	assert.Equal(t, 1, c.Frames.All)
	require.NotEmpty(t, c.Warnings)
}

func TestTooManyReadings(t *testing.T) {
	ask := join(simple(2412, -55), management(subProbeRequest, local(9), ssid("")))
	good := join(simple(2412, -40), beacon(local(1), ds(1)))
	const want = "f: it holds more than 10 readings; cut it into parts, or take a longer window"
	for name, in := range map[string][]byte{
		"scans":    pcapFile(t, monitorLink, packets(time.Second, ask, ask, ask, ask, ask, ask, ask, ask, ask, ask, ask)...),
		"readings": pcapFile(t, monitorLink, packets(time.Second, good, good, good, good, good, good)...),
		"iw":       []byte(strings.Repeat(full(1), 6)),
		"wpa":      []byte(strings.Repeat(wpaHead, 11)),
	} {
		_, err := capture.Read("f", bytes.NewReader(in), capture.Options{}.Limited(10))
		assert.EqualError(t, err, want, name)
	}
}

// Damaged octets never panic; what can be read of a packet stays in bounds.
func TestDamagedOctets(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	for _, name := range []string{"beacons.pcap", "beacons.pcapng", "antennas.pcap"} {
		raw := fixture(t, name)
		for range 3000 {
			bad := bytes.Clone(raw)
			for range 1 + rng.IntN(6) {
				bad[rng.IntN(len(bad))] = byte(rng.Uint32())
			}
			if c, err := capture.Read(name, bytes.NewReader(bad), capture.Options{}); err == nil {
				checkCapture(t, c)
			}
		}
	}
}

func TestRadiotapOdd(t *testing.T) {
	h := func(words ...word) []byte { return header(words...) }
	level := map[int][]byte{5: dbm(-42)}
	cut := func(p []byte, length int) []byte { p[2] = byte(length); return p }
	tests := []struct {
		name string
		in   []byte
		want capture.HeaderView
	}{
		{"empty", nil, capture.HeaderView{}},
		{"short", make([]byte, 7), capture.HeaderView{}},
		{"version 1", append([]byte{1}, h(word{fields: level})[1:]...), capture.HeaderView{}},
		{"length below 8", cut(h(word{fields: level}), 7), capture.HeaderView{}},
		{"length beyond the packet", cut(h(word{fields: level}), 20), capture.HeaderView{}},
		{"length cuts a field", cut(h(word{fields: level}), 8), capture.HeaderView{}},
		{"present words without end", []byte{0, 0, 12, 0, 0, 0, 0, 0xa0, 0, 0, 0, 0x80}, capture.HeaderView{}},
		{"both namespaces", []byte{0, 0, 12, 0, 0, 0, 0, 0xe0, 0, 0, 0, 0}, capture.HeaderView{}},
		{"nothing", h(word{}), capture.HeaderView{Length: 8, Readable: true}},
		{"level", h(word{fields: level}), capture.HeaderView{Length: 9, DBm: -42, Level: true, Readable: true}},
		{"level of one antenna", h(word{}, word{fields: level}), capture.HeaderView{Length: 13, DBm: -42, Level: true, Antennas: true, Readable: true}},
		{"the best of antennas", h(word{}, word{fields: map[int][]byte{5: dbm(-60)}}, word{fields: level}, word{fields: map[int][]byte{5: dbm(-50)}}), capture.HeaderView{Length: 23, DBm: -42, Level: true, Antennas: true, Readable: true}},
		{"own before antennas", h(word{fields: level}, word{fields: map[int][]byte{5: dbm(-10)}}), capture.HeaderView{Length: 14, DBm: -42, Level: true, Readable: true}},
		{"dB is no dBm", h(word{fields: map[int][]byte{12: {60}}}), capture.HeaderView{Length: 9, Readable: true}},
		{"XChannel", h(word{fields: map[int][]byte{18: {0, 0, 0, 0, 0x3c, 0x14, 36, 0}}}), capture.HeaderView{Length: 16, FreqMHz: 5180, Readable: true}},
		{"frame check", h(word{fields: map[int][]byte{1: {0x10}}}), capture.HeaderView{Length: 9, FCS: true, Readable: true}},
		{"damaged", h(word{fields: map[int][]byte{1: {0x50}}}), capture.HeaderView{Length: 9, FCS: true, BadFCS: true, Readable: true}},
		{"bad PLCP", h(word{fields: map[int][]byte{14: {2, 0}}}), capture.HeaderView{Length: 10, BadFCS: true, Readable: true}},
		{"vendor before antennas", h(word{}, word{vendor: []byte{9}}, word{fields: level}), capture.HeaderView{Length: 24, DBm: -42, Level: true, Antennas: true, Readable: true}},
		{"HE-MU-other-user before antennas", h(word{fields: map[int][]byte{25: make([]byte, 6)}}, word{fields: level}), capture.HeaderView{Length: 19, DBm: -42, Level: true, Antennas: true, Readable: true}},
		{"bits above 31 of no known size", []byte{0, 0, 18, 0, 0x20, 0, 0, 0x80, 1, 0, 0, 0xa0, 0x20, 0, 0, 0, 0xd6, 0}, capture.HeaderView{Length: 18, DBm: -42, Level: true, Readable: true}},
		{"TLVs end it", []byte{0, 0, 14, 0, 0x20, 0, 0, 0xb0, 0x20, 0, 0, 0, 0xd6, 0}, capture.HeaderView{Length: 14, DBm: -42, Level: true, Readable: true}},
	}
	for _, tt := range tests {
		assert.Equal(t, tt.want, capture.ParseRadiotap(tt.in), tt.name)
	}
}

func TestFrameOdd(t *testing.T) {
	rt := simple(2412, -42)
	whole := beacon(local(1), ssid("x"), ds(3))
	group := local(1)
	group[0] = 3
	order := bytes.Clone(whole[:24])
	order[1] = 0x80
	order = join(order, []byte{0, 0, 0, 0}, whole[24:])
	b := func(name string, freq int) capture.FrameView {
		return capture.FrameView{Kind: "beacon", BSSID: radio.BSSID(local(1)), SSID: name, DBm: -42, Level: true, TunedMHz: 2412, FreqMHz: freq}
	}
	set := b("x", 2422)
	set.MaxBSSIDIndicator = 4
	tests := []struct {
		name string
		in   []byte
		want capture.FrameView
	}{
		{"whole", whole, b("x", 2422)},
		{"HT Control field", order, b("x", 2422)},
		{"no elements", whole[:36], b("", 2412)},
		{"cut in the fixed fields", whole[:30], b("", 2412)},
		{"cut in an element", whole[:len(whole)-1], b("x", 2412)},
		{"cut in the addresses", whole[:23], capture.FrameView{Kind: "malformed", TunedMHz: 2412}},
		{"no frame", nil, capture.FrameView{Kind: "malformed", TunedMHz: 2412}},
		{"group address", beacon(group), capture.FrameView{Kind: "malformed", BSSID: radio.BSSID(group), TunedMHz: 2412}},
		{"zero address", beacon([6]byte{}), capture.FrameView{Kind: "malformed", TunedMHz: 2412}},
		{"SSID of 33 octets", beacon(local(1), element(0, bytes.Repeat([]byte("a"), 33)...), ds(3)), b("", 2422)},
		{"two SSIDs", beacon(local(1), ssid("x"), ssid("y"), ds(3), ds(4)), b("x", 2422)},
		{"a set of 16 BSSIDs", beacon(local(1), ssid("x"), element(71, 4, 0, 4, 83, 2, 1, 0), ds(3)), set},
		{"a set beyond the last octet", beacon(local(1), ssid("x"), element(71, 9), ds(3)), b("x", 2422)},
		{"data", []byte{8, 0}, capture.FrameView{Kind: "other", TunedMHz: 2412}},
		{"protocol version 1", []byte{0x81, 0}, capture.FrameView{Kind: "other", TunedMHz: 2412}},
	}
	for _, tt := range tests {
		assert.Equal(t, tt.want, capture.ParseFrame(join(rt, tt.in)), tt.name)
	}
}

// One minute of thirty access points: some 18000 beacons.
func BenchmarkReadPcap(b *testing.B) {
	var ps []packet
	for i := range 18000 {
		n := byte(i % 30)
		ps = append(ps, packet{start().Add(time.Duration(i) * 3400 * time.Microsecond), join(simple(2412, -40-int(n)), beacon(local(n), ssid("Harbour Depot"), ds(1), make([]byte, 150)))})
	}
	raw := pcapFile(b, monitorLink, ps...)
	b.SetBytes(int64(len(raw)))
	for b.Loop() {
		_, err := capture.Read("f", bytes.NewReader(raw), capture.Options{})
		require.NoError(b, err)
	}
}

func BenchmarkReadIW(b *testing.B) {
	var text bytes.Buffer
	for i := range 200 {
		text.WriteString("2031-05-06T10:00:00Z\n")
		for n := range 30 {
			text.WriteString(full(byte(n), "last seen: 400 ms ago", "SSID: Harbour Depot", "HT capabilities:", "\tCapabilities: 0x1ac", "\t\tHT20"))
		}
		_ = i
	}
	b.SetBytes(int64(text.Len()))
	for b.Loop() {
		_, err := capture.Read("f", bytes.NewReader(text.Bytes()), capture.Options{})
		require.NoError(b, err)
	}
}
