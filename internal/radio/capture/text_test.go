package capture_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"footrule/internal/input"
	"footrule/internal/radio"
	"footrule/internal/radio/capture"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func fixture(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "..", "testdata", "capture", name))
	require.NoError(t, err)
	return b
}

func heard(n byte, ssid string, mhz int, dBm float64, age time.Duration) radio.Heard {
	return radio.Heard{Reading: radio.Reading{BSSID: radio.BSSID(local(n)), SSID: ssid, FreqMHz: mhz, RSSIDBm: dBm}, Age: age}
}

const ms = time.Millisecond

// A terminal's record: prompts, boot clocks, a stale result, a hidden SSID, a
// scan that heard nothing, one that failed. The boot clock stands at 4207.517
// and 4267.000 when the two scans are listed, 59.483 s apart.
func TestReadIWTerminal(t *testing.T) {
	now := start()
	c, err := capture.Read("log.txt", strings.NewReader(string(fixture(t, "iw-terminal.txt"))), capture.Options{Time: now})
	require.NoError(t, err)
	assert.Equal(t, &capture.Capture{
		Name: "log.txt", Format: "iw", Interfaces: []string{"wlan0"},
		Scans: []capture.Scan{
			{Time: now.Add(-59483*ms - 1410*ms), Took: 1410 * ms, DroppedStale: 1, Heard: []radio.Heard{
				heard(1, "Harbour Depot", 2412, -61, 1410*ms),
				heard(2, "", 5180, -48, 30*ms),
			}},
			{Time: now.Add(-500 * ms), Took: 500 * ms, Heard: []radio.Heard{heard(2, `Café \😀`, 5180, -52, 500*ms)}},
			{Time: now},
		},
		Warnings: []string{"not every scan says when it was taken: write a time before each (date -Is), or scan with a newer iw"},
	}, c)
}

func TestReadIWLoop(t *testing.T) {
	c, err := capture.Read("loop.txt", strings.NewReader(string(fixture(t, "iw-loop.txt"))), capture.Options{})
	require.NoError(t, err)
	assert.Equal(t, &capture.Capture{
		Name: "loop.txt", Format: "iw", Interfaces: []string{"wlan0"}, Timed: true,
		Scans: []capture.Scan{
			{Time: start().Add(-400 * ms), Took: 400 * ms, Heard: []radio.Heard{heard(1, "a", 2437, -70, 400*ms), heard(2, "b", 2437, -71.5, 200*ms)}},
			{Time: start().Add(9600 * ms), Took: 400 * ms, Heard: []radio.Heard{heard(1, "a", 2437, -72, 400*ms)}},
		},
	}, c)
}

func TestReadWPA(t *testing.T) {
	c, err := capture.Read("wpa.txt", strings.NewReader(string(fixture(t, "wpa.txt"))), capture.Options{Time: start()})
	require.NoError(t, err)
	assert.Equal(t, &capture.Capture{
		Name: "wpa.txt", Format: "wpa", Timed: true,
		Scans: []capture.Scan{{Time: start(), Heard: []radio.Heard{
			heard(1, "Harbour Depot", 2412, -61, 0), heard(2, "", 5180, -48, 0), heard(3, " two\tabs ", 2462, -75, 0),
		}}},
		Warnings: []string{"the table carries no ages: results of earlier scans may stand in it"},
	}, c)
}

// block is one result of iw's text.
func block(n byte, fields ...string) string {
	return "BSS " + radio.BSSID(local(n)).String() + "(on wlan0)\n\t" + strings.Join(fields, "\n\t") + "\n"
}

func full(n byte, fields ...string) string {
	return block(n, append([]string{"freq: 2412", "signal: -60.00 dBm"}, fields...)...)
}

const wpaHead = "bssid / frequency / signal level / flags / ssid\n"

// What a text gives: how many readings each scan has, and the warnings.
func TestReadText(t *testing.T) {
	const cut = "1 of 2 results are left out; the first at line 5: the text ends in the middle of it"
	const guessed = "scans were told apart where a BSSID came again, because nothing stands between them: the first results of a scan may have been counted in the one before"
	const untimed = "not every scan says when it was taken: write a time before each (date -Is), or scan with a newer iw"
	const ages = "the table carries no ages: results of earlier scans may stand in it"
	tests := []struct {
		name, in string
		scans    []int
		timed    bool
		warnings []string
	}{
		{name: "iw one", in: full(1) + full(2), scans: []int{2}},
		{name: "iw CRLF", in: strings.ReplaceAll(full(1)+full(2), "\n", "\r\n"), scans: []int{2}},
		{name: "iw BOM", in: "\ufeff" + full(1), scans: []int{1}},
		{name: "iw without indentation", in: strings.ReplaceAll(full(1, "SSID: cash$ here", "BSS Load:")+full(2), "\t", ""), scans: []int{2}},
		{name: "iw of a terminal with escapes", in: "\x1b[?2004htech@cart:~$ iw dev wlan0 scan\r\n\x1b[?2004l\x1b]0;title\x07" + full(1) + "\x1b[?2004htech@cart:~$ \r\n", scans: []int{1}},
		{name: "iw root prompt between", in: "[root@cart ~]# iw dev wlan0 scan\n" + full(1) + "[root@cart ~]# iw wlan0 scan dump\n" + full(2), scans: []int{1, 1}, warnings: []string{untimed}},
		{name: "iw same BSSID again", in: full(1) + full(2) + full(1), scans: []int{2, 1}, warnings: []string{guessed, untimed}},
		{name: "iw same BSSID on another frequency: the younger", in: full(1, "last seen: 900 ms ago") + block(1, "freq: 2437", "signal: -50.00 dBm", "last seen: 10 ms ago"), scans: []int{1}},
		{name: "iw boot clocks tell scans apart", in: full(1, "last seen: 10.000s [boottime]", "last seen: 100 ms ago") + full(2, "last seen: 20.000s [boottime]", "last seen: 100 ms ago"), scans: []int{1, 1}, warnings: []string{untimed}},
		{name: "iw boot clocks hold a scan together", in: full(1, "last seen: 10.000s [boottime]", "last seen: 100 ms ago") + full(1, "last seen: 10.050s [boottime]", "last seen: 50 ms ago"), scans: []int{1}},
		{name: "iw cut before the level", in: full(1, "SSID: x") + block(2, "freq: 2412", "beacon interval: 100 TUs", "capab"), scans: []int{1}, warnings: []string{cut}},
		{name: "iw cut in the level", in: full(1, "SSID: x") + "BSS 02:00:5e:10:00:02(on wlan0)\n\tfreq: 2412\n\tsignal: -6", scans: []int{1}, warnings: []string{cut}},
		{name: "iw odd levels and frequencies", in: full(1) + block(2, "freq: 2412", "signal: 0.00 dBm") + block(3, "freq: 60480", "signal: -50.00 dBm") + block(4, "signal: -50.00 dBm"), scans: []int{1}, warnings: []string{"3 of 4 results are left out; the first at line 4: 0 dBm is no level of a receiver"}},
		{name: "iw blanked address", in: full(1) + strings.Replace(full(2), "02:00:5e", "xx:xx:xx", 1), scans: []int{1}, warnings: []string{`1 of 2 results are left out; the first at line 4: BSSID "xx:xx:xx:10:00:02" is not six octets joined by colons`}},
		{name: "iw group address", in: full(1) + strings.Replace(full(2), "02:00:5e", "03:00:5e", 1), scans: []int{1}, warnings: []string{"1 of 2 results are left out; the first at line 4: 03:00:5e:10:00:02 is no BSSID of an access point"}},
		{name: "iw two interfaces", in: full(1) + strings.Replace(full(2), "wlan0", "wlan1", 1), scans: []int{2}, warnings: []string{"levels of 2 interfaces stand in one capture (wlan0, wlan1): they don't compare with each other"}},
		{name: "iw time without offset", in: "2031-05-06 10:00:00\n" + full(1), scans: []int{1}, warnings: []string{"a time without its offset from UTC was passed over (date -Is writes one)"}},
		{name: "iw stamped", in: "### 1935914400.5\n" + full(1), scans: []int{1}, timed: true},
		{name: "iw nothing heard", in: "$ iw dev wlan0 scan\n$ iw dev wlan0 scan\n" + full(1), scans: []int{0, 1}, warnings: []string{untimed}},
		{name: "iw a scan that is only asked for", in: "$ iw dev wlan0 scan trigger\n$ iw dev wlan0 scan dump\n" + full(1), scans: []int{1}},
		{name: "iw all of a scan is stale", in: full(1, "last seen: 16000 ms ago") + "$ iw wlan0 scan\n" + full(1), scans: []int{1}, warnings: []string{"1 of 2 scans hold nothing but results that can't be used or are older than 15s: they are left out"}},
		{name: "wpa", in: wpaHead + "02:00:5e:10:00:01\t2412\t-61\t[ESS]\tx\n", scans: []int{1}, warnings: []string{ages}},
		{name: "wpa spaces", in: wpaHead + "02:00:5e:10:00:01  2412  -61  [ESS]  x\n02:00:5e:10:00:02 2412 -62\n", scans: []int{2}, warnings: []string{ages}},
		{name: "wpa two", in: "> scan_results\n" + wpaHead + "02:00:5e:10:00:01\t2412\t-61\t[ESS]\tx\n> scan_results\n" + wpaHead + "02:00:5e:10:00:01\t2412\t-63\t[ESS]\tx\n", scans: []int{1, 1}, warnings: []string{ages, untimed}},
		{name: "wpa two with times", in: "2031-05-06T10:00:00Z\n" + wpaHead + "02:00:5e:10:00:01\t2412\t-61\t[ESS]\tx\n2031-05-06T10:00:05Z\n" + wpaHead, scans: []int{1, 0}, timed: true, warnings: []string{ages}},
		{name: "wpa cut", in: wpaHead + "02:00:5e:10:00:01\t2412\t-61\t[ESS]\tx\n02:00:5e:10:00:02\t24", scans: []int{1}, warnings: []string{"1 of 2 results are left out; the first at line 3: it is no whole row of the table", ages}},
		{name: "wpa lost header", in: "02:00:5e:10:00:01\t2412\t-61\t[ESS]\tx\n", scans: []int{1}, warnings: []string{ages}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c, err := capture.Read("f", strings.NewReader(tt.in), capture.Options{})
			require.NoError(t, err)
			got := []int{}
			for _, s := range c.Scans {
				got = append(got, len(s.Heard))
			}
			assert.Equal(t, tt.scans, got)
			assert.Equal(t, tt.timed, c.Timed)
			assert.Equal(t, tt.warnings, c.Warnings)
			assert.Equal(t, strings.Fields(tt.name)[0], c.Format)
		})
	}
}

func TestReadTextTimes(t *testing.T) {
	boot := func(s string, age string) string {
		return full(1, "last seen: "+s+"s [boottime]", "last seen: "+age+" ms ago")
	}
	at := func(d time.Duration) time.Time { return start().Add(d) }
	tests := []struct {
		name, in string
		o        capture.Options
		want     []time.Time
		timed    bool
	}{
		{name: "one, by Options.Time", in: full(1, "last seen: 700 ms ago"), o: capture.Options{Time: start()}, want: []time.Time{at(-700 * ms)}, timed: true},
		{name: "two, by Options.Time alone", in: full(1) + "$ iw x scan\n" + full(1), o: capture.Options{Time: start()}, want: []time.Time{start(), start()}},
		{name: "boot clocks before Options.Time", in: boot("100.000", "200") + boot("103.500", "100"), o: capture.Options{Time: start()}, want: []time.Time{at(-3600 * ms), at(-100 * ms)}, timed: true},
		{name: "boot clocks beside a time", in: boot("100.000", "200") + "2031-05-06T10:00:00Z\n" + boot("103.500", "100"), want: []time.Time{at(-3600 * ms), at(-100 * ms)}, timed: true},
		{name: "boot clock runs back", in: boot("100.000", "200") + boot("3.500", "100"), want: []time.Time{{}, {}}},
		{name: "stamp before a sweep that is seen begins it", in: "2031-05-06T10:00:00Z\n$ iw dev wlan0 scan\n" + full(1, "last seen: 700 ms ago"), want: []time.Time{start()}, timed: true},
		{name: "stamp before a dump ends it", in: "2031-05-06T10:00:00Z\n$ iw dev wlan0 scan dump\n" + full(1, "last seen: 700 ms ago"), want: []time.Time{at(-700 * ms)}, timed: true},
		{name: "stamps out of order are sorted", in: "2031-05-06T10:00:09Z\n" + full(1) + "2031-05-06T12:00:00+02:00\n" + full(2), want: []time.Time{start(), at(9 * time.Second)}, timed: true},
		{name: "only one of two is stamped", in: "2031-05-06T10:00:00Z\n" + full(1) + "$ iw x scan\n" + full(1), want: []time.Time{start(), {}}},
		{name: "boot clocks without ages", in: full(1, "last seen: 8.000s [boottime]") + full(2, "last seen: 10.000s [boottime]"), o: capture.Options{Time: start()}, want: []time.Time{at(-2 * time.Second)}, timed: true},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c, err := capture.Read("f", strings.NewReader(tt.in), tt.o)
			require.NoError(t, err)
			var got []time.Time
			for _, s := range c.Scans {
				got = append(got, s.Time)
			}
			assert.Equal(t, tt.want, got)
			assert.Equal(t, tt.timed, c.Timed)
		})
	}
}

func TestStampOf(t *testing.T) {
	tests := []struct {
		in        string
		want      time.Time
		ok, vague bool
	}{
		{in: "2031-05-06T10:00:00Z", want: start(), ok: true},
		{in: "2031-05-06T12:00:00+02:00", want: start(), ok: true},
		{in: "2031-05-06T12:00:00+0200", want: start(), ok: true},
		{in: "2031-05-06 12:00:00+02:00", want: start(), ok: true},
		{in: "2031-05-06T12:00:00,250000000+02:00", want: start().Add(250 * ms), ok: true},
		{in: "=== 2031-05-06T10:00:00Z ===", want: start(), ok: true},
		{in: "[1935914400]", want: time.Unix(1935914400, 0).UTC(), ok: true},
		{in: "1935914400.25", want: time.Unix(1935914400, 250e6).UTC(), ok: true},
		{in: "Tue May  6 10:00:00 UTC 2031", want: start(), ok: true},
		{in: "Tue May  6 10:00:00 CEST 2031", want: start(), vague: true},
		{in: "2031-05-06 10:00:00", vague: true},
		{in: "12345678"}, {in: ""}, {in: "NaN"}, {in: "1e300"}, {in: "signal: -60.00 dBm"}, {in: strings.Repeat("1", 100)},
	}
	for _, tt := range tests {
		got, ok, vague := capture.StampOf(tt.in)
		assert.Equal(t, []any{tt.ok, tt.vague}, []any{ok, vague}, tt.in)
		if ok {
			assert.Equal(t, tt.want, got, tt.in)
		}
	}
}

func TestSSIDOf(t *testing.T) {
	tests := map[string]string{
		"":                         "",
		"\x00\x00":                 "",
		"Depot":                    "Depot",
		"a\x00b\n\x1b[31m":         "a\x00b\n\x1b[31m",
		"Café \\ 😀":                "Café \\ 😀",
		"\xff\\a":                  `\xff\x5ca`,
		"\xc3":                     `\xc3`,
		"ok\xe2\x82":               `ok\xe2\x82`,
		"\ufffd":                   "\ufffd",
		strings.Repeat("a", 32):    strings.Repeat("a", 32),
		strings.Repeat("a", 33):    "",
		strings.Repeat("\xfe", 32): strings.Repeat(`\xfe`, 32),
	}
	for in, want := range tests {
		assert.Equal(t, want, capture.SSIDOf([]byte(in)), "%q", in)
	}
}

// The escapes of iw (\xNN for all that does not print, and for the backslash)
// and of wpa_supplicant (\\ \" \e \n \r \t \xNN).
func TestUnescape(t *testing.T) {
	tests := map[string]string{
		`plain`: "plain", `\x41\x5c`: `A\`, `\\\"\e\n\r\t`: "\\\"\x1b\n\r\t",
		`\q`: `\q`, `\x4`: `\x4`, `\xzz`: `\xzz`, `end\`: `end\`, `\xFF`: "\xff",
	}
	for in, want := range tests {
		assert.Equal(t, want, string(capture.Unescape(in)), in)
	}
}

// Refused, with the whole message.
func TestReadErrors(t *testing.T) {
	known := "give a pcapng file with radiotap headers, or a pcap file with radiotap headers, or the table that wpa_cli scan_results prints, or the text that iw dev IFACE scan prints"
	tests := []struct {
		name, in, want string
		o              capture.Options
	}{
		{name: "empty", in: "", want: "f: the file is empty; give a capture"},
		{name: "prose", in: "hello\nworld\n", want: "f: this is no capture of a known format; " + known},
		{name: "UTF-16", in: "\xff\xfeB\x00S\x00S\x00", want: "f:1: the text is in UTF-16; save it as UTF-8"},
		{name: "percent", in: full(1) + block(2, "freq: 2412", "signal: 45/100"), want: "f:6: the level is 45/100, a share without a unit and not dBm; record with an adapter whose driver reports dBm"},
		{name: "wpa percent", in: wpaHead + "02:00:5e:10:00:01\t2412\t61\t[ESS]\tx\n", want: "f:2: the level is 61, a percentage or a figure without a unit and not dBm; record with an adapter whose driver reports dBm"},
		{name: "wpa zero", in: wpaHead + "02:00:5e:10:00:01\t2412\t0\t[ESS]\tx\n", want: "f:2: the level is 0, a percentage or a figure without a unit and not dBm; record with an adapter whose driver reports dBm"},
		{name: "wpa none", in: wpaHead, want: "f: there are no scan results in it; give the whole output of wpa_cli scan_results"},
		{name: "wpa all bad", in: wpaHead + "02:00:5e:10:00:01\t60480\t-61\t[ESS]\tx\n", want: "f:2: none of 1 results can be used: 60480 MHz is in no band of a WLAN"},
		{name: "failed", in: "$ iw dev wlan0 scan\ncommand failed: Operation not permitted (-1)\n", want: `f:2: the scan failed: "command failed: Operation not permitted (-1)"; scan again as root, or when no other scan is running`},
		{name: "no level", in: block(1, "freq: 2412", "SSID: x"), want: "f:1: none of 1 results can be used: the text ends in the middle of it"},
		{name: "only a command", in: "$ iw dev wlan0 scan\n", want: "f: there are no scan results in it; give the whole output of iw dev IFACE scan"},
		{name: "stale", in: full(1, "last seen: 20000 ms ago"), want: "f: every result in it is older than 15s; scan anew, or allow an older age"},
		{name: "window", in: full(1), o: capture.Options{Window: ms}, want: "f: the window of 1ms is too short; give at least 10ms"},
		{name: "age", in: full(1), o: capture.Options{MaxAge: -1}, want: "f: the age of -1ns is negative; give how old a result may be"},
		{name: "gzip", in: "\x1f\x8bxx", want: "f: the gzip header can't be read: unexpected EOF; give the file as it was written"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c, err := capture.Read("f", strings.NewReader(tt.in), tt.o)
			assert.Nil(t, c)
			assert.EqualError(t, err, tt.want)
			var e *input.Error
			assert.ErrorAs(t, err, &e)
		})
	}
}

// Warnings of one kind, and hostile interfaces, don't pile up.
func TestLongText(t *testing.T) {
	var b strings.Builder
	for range 3000 {
		b.WriteString(strings.Repeat("x", 90000) + "\n")
		if b.Len() > 2e6 {
			break
		}
	}
	in := full(1, "SSID: "+strings.Repeat("y", 100000)) + b.String() + full(2)
	c, err := capture.Read("f", strings.NewReader(in), capture.Options{})
	require.NoError(t, err)
	require.Len(t, c.Scans, 1)
	assert.Equal(t, []radio.Heard{heard(1, "", 2412, -60, 0), heard(2, "", 2412, -60, 0)}, c.Scans[0].Heard)
}
