package nl80211_test

import (
	"bufio"
	"encoding/hex"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"footrule/internal/radio"
	"footrule/internal/radio/nl80211"

	"github.com/mdlayher/netlink"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// captured reads what a real kernel answered: its clock and its messages.
func captured(t testing.TB) (boot time.Duration, messages [][]byte) {
	t.Helper()
	f, err := os.Open("testdata/lab/scan.txt")
	require.NoError(t, err)
	defer f.Close()
	lines := bufio.NewScanner(f)
	for lines.Scan() {
		word, rest, _ := strings.Cut(lines.Text(), " ")
		switch word {
		case "boottime":
			ns, err := strconv.ParseInt(rest, 10, 64)
			require.NoError(t, err)
			boot = time.Duration(ns)
		case "message":
			b, err := hex.DecodeString(rest)
			require.NoError(t, err)
			messages = append(messages, b)
		}
	}
	require.NoError(t, lines.Err())
	return boot, messages
}

func power(dBm int) *int { return &dBm }

// The scene is that of lab/dump.sh: what the access points announced and the
// levels that the simulated air gave them.
func TestParseCaptured(t *testing.T) {
	boot, messages := captured(t)
	profiles := &nl80211.MultipleBSSID{MaxIndicator: 2, Profiles: []nl80211.Profile{
		{BSSID: radio.BSSID{2, 0, 0x5e, 0x20, 0, 0x11}, SSID: "guest"},
		{BSSID: radio.BSSID{2, 0, 0x5e, 0x20, 0, 0x12}, SSID: "floor"},
	}}
	load := &nl80211.Load{Stations: 7, Utilisation: 128.0 / 255, Admission: 10000}
	type row struct {
		bssid, ssid string
		freq        int
		dBm         float64
		country     string
		load        *nl80211.Load
		power       *int
		multiple    *nl80211.MultipleBSSID
		malformed   bool
	}
	var got []row
	for _, m := range messages {
		b, err := nl80211.ParseBSS(m, boot)
		require.NoError(t, err)
		assert.Equal(t, 100, b.BeaconTU)
		assert.False(t, b.Associated)
		assert.Greater(t, b.Age, time.Duration(0))
		assert.Less(t, b.Age, time.Second)
		got = append(got, row{b.BSSID.String(), b.SSID, b.FreqMHz, b.SignalDBm, b.Country, b.Load, b.TxPowerDBm, b.Multiple, b.Malformed})
	}
	// The kernel lists the two networks of the Multiple BSSID element as well,
	// and passes broken elements through.
	want := []row{
		{"02:00:5e:20:00:10", "depot", 2412, -50, "DE", load, power(17), profiles, false},
		{"02:00:5e:20:00:11", "guest", 2412, -50, "DE", load, power(17), nil, false},
		{"02:00:5e:20:00:12", "floor", 2412, -50, "DE", load, power(17), nil, false},
		{"02:00:5e:20:00:20", "\x1b[31m\n\x00\xff", 2412, -61, "", nil, nil, nil, false},
		{"02:00:5e:20:00:40", "broken", 2437, -83, "", nil, power(-3), nil, true},
		{"02:00:5e:20:00:30", "", 2437, -72, "", nil, nil, nil, false},
	}
	assert.Equal(t, want, got)
}

// message builds the attributes of a scan result; the defaults are usable.
type message struct {
	bssid    []byte
	freq     uint32
	mBm      *int32
	percent  *uint8
	seenMs   *uint32
	lastSeen uint64
	status   *uint32
	elements []byte
	beacon   []byte
	other    bool // no BSS in it
}

func usable() message {
	mBm, seen := int32(-6150), uint32(120)
	return message{bssid: []byte{2, 0, 0x5e, 0x10, 0, 1}, freq: 5180, mBm: &mBm, seenMs: &seen}
}

func (m message) encode(t testing.TB) []byte {
	t.Helper()
	ae := netlink.NewAttributeEncoder()
	ae.Uint32(46, 7) // generation
	ae.Uint32(3, 4)  // interface index
	if !m.other {
		ae.Nested(47, func(ae *netlink.AttributeEncoder) error {
			if m.bssid != nil {
				ae.Bytes(1, m.bssid)
			}
			if m.freq != 0 {
				ae.Uint32(2, m.freq)
			}
			if m.elements != nil {
				ae.Bytes(6, m.elements)
			}
			if m.mBm != nil {
				ae.Int32(7, *m.mBm)
			}
			if m.percent != nil {
				ae.Uint8(8, *m.percent)
			}
			if m.status != nil {
				ae.Uint32(9, *m.status)
			}
			if m.seenMs != nil {
				ae.Uint32(10, *m.seenMs)
			}
			if m.beacon != nil {
				ae.Bytes(11, m.beacon)
			}
			if m.lastSeen != 0 {
				ae.Uint64(15, m.lastSeen)
			}
			return nil
		})
	}
	b, err := ae.Encode()
	require.NoError(t, err)
	return b
}

const bootNow = time.Hour

func TestParseBSS(t *testing.T) {
	good := nl80211.BSS{BSSID: radio.BSSID{2, 0, 0x5e, 0x10, 0, 1}, FreqMHz: 5180, SignalDBm: -61.5, Age: 120 * time.Millisecond}
	with := func(f func(*nl80211.BSS)) nl80211.BSS {
		b := good
		f(&b)
		return b
	}
	one, two := uint32(1), uint32(2)
	tests := []struct {
		name string
		edit func(*message)
		want nl80211.BSS
	}{
		{"plain", func(*message) {}, good},
		{"time of hearing before the coarse age", func(m *message) { m.lastSeen = uint64(bootNow - 2*time.Second) },
			with(func(b *nl80211.BSS) { b.Age = 2 * time.Second })},
		{"time of hearing alone", func(m *message) { m.lastSeen, m.seenMs = uint64(bootNow-time.Second), nil },
			with(func(b *nl80211.BSS) { b.Age = time.Second })},
		{"time of hearing a little ahead", func(m *message) { m.lastSeen = uint64(bootNow + 50*time.Millisecond) },
			with(func(b *nl80211.BSS) { b.Age = 0 })},
		{"time of hearing in the future", func(m *message) { m.lastSeen = uint64(bootNow + time.Minute) }, good},
		{"time of hearing beyond all", func(m *message) { m.lastSeen = 1 << 63 }, good},
		{"associated", func(m *message) { m.status = &one }, with(func(b *nl80211.BSS) { b.Associated = true })},
		{"joined to an ad-hoc network", func(m *message) { m.status = &two }, good},
		{"name", func(m *message) { m.elements = []byte("\x00\x05depot") }, with(func(b *nl80211.BSS) { b.SSID = "depot" })},
		{"hidden by zeros", func(m *message) { m.elements = []byte("\x00\x03\x00\x00\x00") }, good},
		{"power in the beacon alone", func(m *message) { m.elements, m.beacon = []byte("\x00\x05depot"), []byte("\x00\x00\x23\x02\xfd\x00") },
			with(func(b *nl80211.BSS) { b.SSID, b.TxPowerDBm = "depot", power(-3) })},
		{"elements break off", func(m *message) { m.elements = []byte("\x00\x05depot\xdd\xff\x01") },
			with(func(b *nl80211.BSS) { b.SSID, b.Malformed = "depot", true })},
		{"percent beside dBm", func(m *message) { p := uint8(40); m.percent = &p }, good},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			m := usable()
			tt.edit(&m)
			got, err := nl80211.ParseBSS(m.encode(t), bootNow)
			require.NoError(t, err)
			// The name is kept beside the elements too; it is compared by SSID.
			assert.Equal(t, tt.want.SSID, got.SSID)
			want := tt.want
			want.Elements, got.Elements = nl80211.Elements{}, blank(t, want.Elements, got.Elements)
			assert.Equal(t, want, got)
		})
	}
}

// blank compares what elements say and clears them.
func blank(t *testing.T, want, got nl80211.Elements) nl80211.Elements {
	t.Helper()
	assert.Equal(t, want.Country, got.Country)
	assert.Equal(t, want.Load, got.Load)
	assert.Equal(t, want.TxPowerDBm, got.TxPowerDBm)
	assert.Equal(t, want.Multiple, got.Multiple)
	assert.Equal(t, want.Malformed, got.Malformed)
	return nl80211.Elements{}
}

func TestParseBSSRefuses(t *testing.T) {
	tests := []struct {
		name   string
		edit   func(*message)
		reason error
		text   string
	}{
		{"percent", func(m *message) { p := uint8(61); m.mBm, m.percent = nil, &p }, nl80211.ErrSignalPercent, "61 %"},
		{"no signal", func(m *message) { m.mBm = nil }, nl80211.ErrNoSignal, ""},
		{"positive level", func(m *message) { v := int32(300); m.mBm = &v }, nl80211.ErrLevel, "3 dBm"},
		{"zero level", func(m *message) { v := int32(0); m.mBm = &v }, nl80211.ErrLevel, "0 dBm"},
		{"level below noise", func(m *message) { v := int32(-12001); m.mBm = &v }, nl80211.ErrLevel, "-120.01 dBm"},
		{"no frequency", func(m *message) { m.freq = 0 }, nl80211.ErrFrequency, "0 MHz"},
		{"60 GHz", func(m *message) { m.freq = 58320 }, nl80211.ErrFrequency, "58320 MHz"},
		{"group address", func(m *message) { m.bssid = []byte{3, 0, 0, 0, 0, 1} }, nl80211.ErrBSSID, ""},
		{"no address", func(m *message) { m.bssid = make([]byte, 6) }, nl80211.ErrBSSID, ""},
		{"no age", func(m *message) { m.seenMs = nil }, nl80211.ErrNoAge, ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			m := usable()
			m.elements = []byte("\x00\x05depot")
			tt.edit(&m)
			got, err := nl80211.ParseBSS(m.encode(t), bootNow)
			var refusal *nl80211.Refusal
			require.ErrorAs(t, err, &refusal)
			require.ErrorIs(t, err, tt.reason)
			assert.Contains(t, err.Error(), tt.text)
			assert.Equal(t, []any{radio.BSSID(m.bssid), "depot", int(m.freq)}, []any{refusal.BSSID, refusal.SSID, refusal.FreqMHz})
			assert.Zero(t, got)
		})
	}
}

func TestParseBSSMalformed(t *testing.T) {
	tests := []struct {
		name, want string
		in         []byte
	}{
		{"nothing", "no BSS in 0 bytes", nil},
		{"no result", "no BSS in 16 bytes", message{other: true}.encode(t)},
		{"cut", "scan result: ", usable().encode(t)[:30]},
		{"short BSSID", "BSSID has 5 octets", message{bssid: []byte{2, 0, 0, 0, 1}}.encode(t)},
		{"no BSSID", "BSSID has 0 octets", message{freq: 2412}.encode(t)},
		{"attribute that runs past the end", "scan result: ", []byte{200, 0, 47, 0, 1, 2, 3, 4}},
	}
	for _, tt := range tests {
		_, err := nl80211.ParseBSS(tt.in, bootNow)
		require.ErrorContains(t, err, tt.want, tt.name)
		var refusal *nl80211.Refusal
		assert.NotErrorAs(t, err, &refusal, tt.name)
	}
}

// Element layouts: IEEE 802.11-2020, 9.4.2.8 (Country), 9.4.2.27 (BSS Load),
// 9.4.2.16 (TPC Report), 9.4.2.45 (Multiple BSSID) with its rule for the
// BSSID of index i: the low n bits count on by i modulo 2^n.
func TestParseElements(t *testing.T) {
	at := radio.BSSID{2, 0, 0x5e, 0x20, 0, 0xfe}
	id := func(last byte) radio.BSSID { return radio.BSSID{2, 0, 0x5e, 0x20, 0, last} }
	tests := []struct {
		name, in string
		want     nl80211.Elements
	}{
		{"none", "", nl80211.Elements{}},
		{"country", "\x07\x06DE \x01\x0d\x14", nl80211.Elements{Country: "DE"}},
		{"country without letters", "\x07\x06\x1b[ \x01\x0d\x14", nl80211.Elements{}},
		{"country too short", "\x07\x02DE", nl80211.Elements{}},
		{"load", "\x0b\x05\x02\x01\xff\x10\x27", nl80211.Elements{Load: &nl80211.Load{Stations: 258, Utilisation: 1, Admission: 10000}}},
		{"load of a wrong length", "\x0b\x04\x02\x01\xff\x10", nl80211.Elements{}},
		{"power", "\x23\x02\x14\x00", nl80211.Elements{TxPowerDBm: power(20)}},
		{"power of a wrong length", "\x23\x01\x14", nl80211.Elements{}},
		{"half an element", "\x23\x02\x14\x00\x07", nl80211.Elements{TxPowerDBm: power(20), Malformed: true}},
		{"multiple, nothing in it", "\x47\x01\x03", nl80211.Elements{Multiple: &nl80211.MultipleBSSID{MaxIndicator: 3}}},
		{"multiple, empty", "\x47\x00", nl80211.Elements{}},
		// Indices 1 and 3 of n = 2 from …fe: …ff and, wrapped, …fd.
		{"multiple", "\x47\x1c\x02" +
			"\x00\x0b\x53\x02\x01\x00\x00\x01a\x55\x01\x01\xdd" + // the vendor element at its end breaks off
			"\x00\x0a\x53\x02\x01\x00\x00\x01b\x55\x01\x03" + "\x01\x00",
			nl80211.Elements{Multiple: &nl80211.MultipleBSSID{MaxIndicator: 2, Profiles: []nl80211.Profile{{BSSID: id(0xff), SSID: "a"}, {BSSID: id(0xfd), SSID: "b"}}}}},
		{"multiple, profile over two elements", "\x47\x07\x02\x00\x04\x53\x02\x01\x00" + "\x47\x0a\x02\x00\x07\x00\x02ab\x55\x01\x01",
			nl80211.Elements{Multiple: &nl80211.MultipleBSSID{MaxIndicator: 2, Profiles: []nl80211.Profile{{BSSID: id(0xff), SSID: "ab"}}}}},
		{"multiple, index out of range", "\x47\x0a\x02\x00\x07\x53\x02\x01\x00\x55\x01\x04", nl80211.Elements{Multiple: &nl80211.MultipleBSSID{MaxIndicator: 2}, Malformed: false}},
		{"multiple, indicator out of range", "\x47\x0a\x09\x00\x07\x53\x02\x01\x00\x55\x01\x01", nl80211.Elements{Multiple: &nl80211.MultipleBSSID{MaxIndicator: 9}}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			assert.Equal(t, tt.want, nl80211.ParseElements(at, []byte(tt.in)))
		})
	}
}

func FuzzParseBSS(f *testing.F) {
	boot, messages := captured(f)
	for _, m := range messages {
		f.Add(m, int64(boot))
	}
	m := usable()
	f.Add(m.encode(f), int64(bootNow))
	m.mBm = nil
	f.Add(m.encode(f), int64(bootNow))
	f.Fuzz(func(t *testing.T, in []byte, boot int64) {
		b, err := nl80211.ParseBSS(in, time.Duration(boot))
		if err != nil {
			assert.Zero(t, b)
			return
		}
		_, ok := radio.BandOf(b.FreqMHz)
		assert.True(t, ok && radio.LevelOK(b.SignalDBm) && b.Age >= 0 && !b.BSSID.IsZero() && !b.BSSID.Group(), "%+v", b)
		assert.LessOrEqual(t, len(b.SSID), 32)
	})
}

func FuzzParseElements(f *testing.F) {
	f.Add([]byte("\x00\x05depot\x07\x06DE \x01\x0d\x14\x0b\x05\x02\x01\xff\x10\x27\x23\x02\x14\x00"))
	f.Add([]byte("\x47\x0d\x02\x00\x0a\x53\x02\x01\x00\x00\x01b\x55\x01\x03"))
	f.Add([]byte("\xdd\xff\x01"))
	f.Fuzz(func(t *testing.T, in []byte) {
		at := radio.BSSID{2, 0, 0x5e, 0x20, 0, 0xfe}
		e := nl80211.ParseElements(at, in)
		if e.Multiple != nil {
			for _, p := range e.Multiple.Profiles {
				assert.Equal(t, at[:5], p.BSSID[:5])
				assert.NotEqual(t, at, p.BSSID)
			}
		}
		// The whole elements before a break say the same without what follows.
		whole := 0
		for len(in) >= whole+2 && len(in) >= whole+2+int(in[whole+1]) {
			whole += 2 + int(in[whole+1])
		}
		assert.Equal(t, whole < len(in), e.Malformed)
		again := nl80211.ParseElements(at, in[:whole])
		assert.False(t, again.Malformed)
		again.Malformed = e.Malformed
		assert.Equal(t, e, again)
	})
}

// BenchmarkParseBSS reads the six results of a real kernel's dump.
func BenchmarkParseBSS(b *testing.B) {
	boot, messages := captured(b)
	b.ReportAllocs()
	for b.Loop() {
		for _, m := range messages {
			if _, err := nl80211.ParseBSS(m, boot); err != nil {
				b.Fatal(err)
			}
		}
	}
}
