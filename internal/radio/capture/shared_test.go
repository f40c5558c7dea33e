package capture_test

import (
	"encoding/csv"
	"encoding/json"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"footrule/internal/radio"
	"footrule/internal/radio/capture"

	"github.com/gopacket/gopacket/pcapgo"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The open captures that stand beside the repository: text of iw from the
// fixtures of kellyjonbrazil/jc, radiotap captures of
// NetworkDeviceTaxonomy/wifi_taxonomy, odd ones of the-tcpdump-group/tcpdump.

func sharedDir(t *testing.T) string {
	t.Helper()
	dir := filepath.Join("..", "..", "..", "..", "shared", "data", "captures")
	if _, err := os.Stat(dir); err != nil {
		t.Skipf("the open captures are not beside the repository: %v", err)
	}
	return dir
}

func sharedFiles(t *testing.T, sub, ext string) []string {
	t.Helper()
	var out []string
	err := filepath.WalkDir(filepath.Join(sharedDir(t), sub), func(p string, d fs.DirEntry, err error) error {
		if err == nil && filepath.Ext(p) == ext {
			out = append(out, p)
		}
		return err
	})
	require.NoError(t, err)
	require.NotEmpty(t, out)
	return out
}

func packetsOf(t *testing.T, path string) []packet {
	t.Helper()
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	r, err := pcapgo.NewReader(f)
	require.NoError(t, err)
	var out []packet
	for {
		data, ci, err := r.ReadPacketData()
		if err != nil {
			return out
		}
		out = append(out, packet{ci.Timestamp, data})
	}
}

func readFile(t *testing.T, path string, o capture.Options) (*capture.Capture, error) {
	t.Helper()
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	return capture.Read(filepath.Base(path), f, o)
}

// Against MANIFEST.csv, which another reader made.
func TestCapturesAgainstManifest(t *testing.T) {
	dir := filepath.Join(sharedDir(t), "radiotap")
	f, err := os.Open(filepath.Join(dir, "MANIFEST.csv"))
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Equal(t, []string{"file", "bytes", "frames", "beacons", "probe_responses", "bssids", "freq_mhz", "dbm_of_these", "without_dbm", "radiotap_present_words", "bad_fcs_frames"}, rows[0])
	require.Len(t, rows, 41)
	frames := 0
	for _, row := range rows[1:] {
		num := func(i int) int {
			v, err := strconv.Atoi(row[i])
			require.NoError(t, err)
			return v
		}
		path := filepath.Join(dir, filepath.FromSlash(row[0]))
		c, err := readFile(t, path, capture.Options{})
		require.NoError(t, err, row[0])
		n := c.Frames
		assert.Equal(t, "pcap", c.Format)
		assert.Equal(t, []int{num(2), num(3), num(4), num(8), num(10), 0, 0}, []int{n.All, n.Beacons, n.ProbeResponses, n.NoLevel, n.BadFCS, n.Malformed, n.NoTime}, row[0])
		assert.Equal(t, n.All, n.Other+n.Beacons+n.ProbeResponses, row[0])
		frames += n.All

		// Levels in file order.
		var dbm, bssids, freqs []string
		for _, p := range packetsOf(t, path) {
			v := capture.ParseFrame(p.data)
			if v.Level {
				dbm = append(dbm, strconv.Itoa(v.DBm))
				bssids = append(bssids, v.BSSID.String())
				freqs = append(freqs, strconv.Itoa(v.TunedMHz))
			}
		}
		assert.Equal(t, row[7], strings.Join(dbm, " "), row[0])
		assert.Equal(t, row[5], strings.Join(sorted(bssids), " "), row[0])
		assert.Equal(t, row[6], strings.Join(sorted(freqs), " "), row[0])

		// The same levels, now as scans: one window over the whole file gives the mean of each BSSID.
		whole, err := readFile(t, path, capture.Options{Window: 10000 * time.Hour})
		require.NoError(t, err)
		require.Len(t, whole.Scans, 1, row[0])
		var heard []string
		sum, in := 0.0, 0.0
		for _, h := range whole.Scans[0].Heard {
			heard = append(heard, h.BSSID.String())
			k := 0.0
			for i, b := range bssids {
				if b == h.BSSID.String() {
					v, _ := strconv.Atoi(dbm[i])
					sum += float64(v)
					k++
				}
			}
			in += h.RSSIDBm * k
		}
		assert.Equal(t, row[5], strings.Join(heard, " "), row[0])
		assert.InDelta(t, sum, in, 1e-9, row[0])
	}
	assert.Equal(t, 1206, frames)
}

func sorted(s []string) []string {
	s = slices.Clone(s)
	slices.Sort(s)
	return slices.Compact(s)
}

// Against what jc's parser makes of the same text. It nests the later fields
// of a BSS under the section before them, so keys are taken by their ends.
func TestIWAgainstJC(t *testing.T) {
	dir := filepath.Join(sharedDir(t), "iw")
	want := map[string]int{"iw-scan0": 2, "iw-scan1": 26}
	for name, n := range want {
		raw, err := os.ReadFile(filepath.Join(dir, name+".json"))
		require.NoError(t, err)
		var rows []map[string]any
		require.NoError(t, json.Unmarshal(raw, &rows))
		require.Len(t, rows, n)
		c, err := readFile(t, filepath.Join(dir, name+".out"), capture.Options{MaxAge: time.Minute})
		require.NoError(t, err)
		assert.Equal(t, []string{"wlan0"}, c.Interfaces)
		assert.Empty(t, c.Warnings)
		require.Len(t, c.Scans, 1)
		var heard []radio.Heard
		for _, row := range rows {
			b, err := radio.ParseBSSID(row["bssid"].(string))
			require.NoError(t, err)
			heard = append(heard, radio.Heard{
				Reading: radio.Reading{
					BSSID:   b,
					SSID:    capture.SSIDOf(capture.Unescape(field(t, row, "ssid"))),
					FreqMHz: int(number(t, field(t, row, "freq"))),
					RSSIDBm: number(t, field(t, row, "signal", "signal_dbm")),
				},
				Age: time.Duration(number(t, field(t, row, "last_seen", "last_seen_ms"))) * time.Millisecond,
			})
		}
		assert.Equal(t, heard, c.Scans[0].Heard, name)
	}
	// Its one BSSID is blanked out in part, so nothing can be told of it.
	_, err := readFile(t, filepath.Join(dir, "iw-scan2.out"), capture.Options{})
	assert.EqualError(t, err, `iw-scan2.out:1: none of 1 results can be used: BSSID "xx:xx:xx:xx:3e:41" is not six octets joined by colons`)
}

// field finds the value of the key, or of one that ends in it.
func field(t *testing.T, row map[string]any, keys ...string) string {
	t.Helper()
	for _, k := range keys {
		for name, v := range row {
			if name == k || strings.HasSuffix(name, "_"+k) && !strings.Contains(name, "center") {
				switch v := v.(type) {
				case string:
					return v
				case float64:
					return strconv.FormatFloat(v, 'g', -1, 64)
				}
			}
		}
	}
	t.Fatalf("no %v in %v", keys, row)
	return ""
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	s, _, _ = strings.Cut(s, " ")
	v, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return v
}

var (
	dumpLine   = regexp.MustCompile(`^ +\d+  \d{4}-`)
	dumpSignal = regexp.MustCompile(`(-?\d+)dBm signal`)
	dumpFreq   = regexp.MustCompile(` (\d{4}) MHz`)
)

// Against the text that tcpdump prints of the odd captures.
func TestOddAgainstTcpdump(t *testing.T) {
	want := map[string]string{
		"ieee802.11_exthdr.pcap":              "none of 6 beacons and probe responses carries a level in dBm and a channel",
		"ieee802.11_htc.pcap":                 "none of 1 packets is a beacon or a probe response (0 damaged, 0 malformed",
		"ieee802.11_meshhdr-oobr.pcap":        "none of 1 packets is a beacon or a probe response (0 damaged, 1 malformed",
		"ieee802.11_meshid.pcap":              "",
		"ieee802.11_parse_elements_oobr.pcap": "link type 105",
		"ieee802.11_rates_oobr.pcap":          "none of 1 packets is a beacon or a probe response (0 damaged, 1 malformed",
		"ieee802.11_rx-stbc.pcap":             "none of 3 packets is a beacon or a probe response (0 damaged, 0 malformed",
		"ieee802.11_tim_ie_oobr.pcap":         "link type 105",
		"radiotap-heapoverflow.pcap":          "none of 1 packets is a beacon or a probe response (0 damaged, 1 malformed",
	}
	files := sharedFiles(t, "radiotap-odd", ".pcap")
	require.Len(t, files, len(want))
	for _, path := range files {
		name := filepath.Base(path)
		c, err := readFile(t, path, capture.Options{})
		if want[name] != "" {
			assert.ErrorContains(t, err, want[name], name)
		} else {
			require.NoError(t, err, name)
			assert.Equal(t, capture.Frames{All: 3, Beacons: 1, ProbeResponses: 1, Other: 1}, c.Frames)
			require.Len(t, c.Scans, 1)
			require.Len(t, c.Scans[0].Heard, 1)
			assert.Equal(t, radio.Reading{BSSID: radio.BSSID{0x18, 0x31, 0xbf, 0x57, 0xda, 0x1c}, FreqMHz: 5745, RSSIDBm: -34}, c.Scans[0].Heard[0].Reading)
		}
		if strings.Contains(name, "oobr") || strings.Contains(name, "heapoverflow") {
			continue // tcpdump prints what it can of a header that lies; here nothing of it counts
		}
		text, err := os.ReadFile(strings.TrimSuffix(path, ".pcap") + ".out")
		require.NoError(t, err)
		var lines []string
		for _, l := range strings.Split(string(text), "\n") {
			if dumpLine.MatchString(l) {
				lines = append(lines, l)
			}
		}
		ps := packetsOf(t, path)
		require.Len(t, lines, len(ps), name)
		for i, l := range lines {
			v := capture.ParseFrame(ps[i].data)
			h := capture.ParseRadiotap(ps[i].data)
			wantKind := "other"
			switch {
			case strings.Contains(l, " Beacon ("):
				wantKind = "beacon"
			case strings.Contains(l, " Probe Response ("):
				wantKind = "probe response"
			}
			assert.Equal(t, wantKind, v.Kind, l)
			m := dumpSignal.FindStringSubmatch(l)
			require.Equal(t, m != nil, h.Level, l)
			if m != nil {
				assert.Equal(t, m[1], strconv.Itoa(h.DBm), l)
			}
			if m := dumpFreq.FindStringSubmatch(l); m != nil {
				assert.Equal(t, m[1], strconv.Itoa(h.FreqMHz), l)
			} else {
				assert.Zero(t, h.FreqMHz, l)
			}
		}
	}
}
