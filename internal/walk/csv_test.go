package walk_test

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"footrule/internal/input"
	"footrule/internal/radio"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// An invented plan of two floors.
func csvSite() *site.Site {
	return &site.Site{Name: "Harbour Depot", Floors: []site.Floor{
		{ID: "G", Outline: orb.Ring{{0, 0}, {60, 0}, {60, 24}, {0, 24}}, Points: []site.Point{{ID: "P01", At: orb.Point{3, 4}}, {ID: "P02", At: orb.Point{8, 4}}},
			Areas: []site.Area{{ID: "shaft", Kind: site.Void, Polygon: orb.Ring{{50, 20}, {54, 20}, {54, 23}, {50, 23}}}}},
		{ID: "1", ElevationM: 4, Outline: orb.Ring{{0, 0}, {60, 0}, {60, 24}, {0, 24}}, Points: []site.Point{{ID: "Q01", At: orb.Point{5, 6}}}},
	}, AccessPoints: []site.AccessPoint{{ID: "AP-01", Floor: "G", At: orb.Point{5, 4}, HeightM: 2.8, Radios: []site.Radio{{Band: radio.Band5, BSSIDs: []radio.BSSID{csvMAC("02:00:5e:10:01:00")}}}}}}
}

func csvMAC(s string) radio.BSSID {
	b, err := radio.ParseBSSID(s)
	if err != nil {
		panic(err)
	}
	return b
}

const csvHead = "time,visit,point,floor,x_m,y_m,facing_deg,scan,bssid,ssid,freq_mhz,rssi_dbm\n"

func readCSV(text string) (walk.Reads, error) {
	return walk.ReadCSV(strings.NewReader(text), "walk.csv", csvSite())
}

// csvLine is a good row with some columns changed.
func csvLine(change ...string) string {
	cols := map[string]string{"time": "2026-03-01T09:00:00Z", "visit": "V1", "point": "P01", "floor": "G", "x_m": "3", "y_m": "4", "facing_deg": "90", "scan": "1",
		"bssid": "02:00:5e:10:01:00", "ssid": "depot", "freq_mhz": "5180", "rssi_dbm": "-61"}
	for i := 0; i+1 < len(change); i += 2 {
		if _, ok := cols[change[i]]; !ok {
			panic(change[i])
		}
		cols[change[i]] = change[i+1]
	}
	out := make([]string, 0, len(cols))
	for _, c := range strings.Split(strings.TrimSpace(csvHead), ",") {
		out = append(out, cols[c])
	}
	return strings.Join(out, ",") + "\n"
}

func csvTime(s string) time.Time {
	t, err := time.Parse(time.RFC3339Nano, s)
	if err != nil {
		panic(err)
	}
	return t.UTC()
}

func TestReadCSVWhole(t *testing.T) {
	text := csvHead +
		csvLine() +
		csvLine("visit", "V2", "point", "P02", "x_m", "", "y_m", "", "facing_deg", "", "rssi_dbm", "-70.25", "ssid", `"a,""b""`+"\n"+`c"`) + // rows of V1 and of its scans are not adjacent
		csvLine("bssid", "02-00-5E-10-01-01", "time", "2026-03-01T09:59:59.5+01:00", "freq_mhz", "2437.0") + // half a second before the first row
		csvLine("scan", "2", "facing_deg", "360", "bssid", "", "rssi_dbm", "", "time", "2026-03-01t09:00:05z") +
		csvLine("bssid", "02:00:5e:10:01:02", "rssi_dbm", "-120", "freq_mhz", "", "ssid", "") +
		strings.TrimSuffix(csvLine("visit", "V3", "point", "", "floor", "1", "x_m", "1e1", "y_m", "2.5", "time", "2026-03-01 09:01:00.123456789-08:30"), "\n")
	got, err := readCSV(text)
	require.NoError(t, err)
	want := []walk.Visit{
		{ID: "V1", Seq: 1, Point: "P01", Floor: "G", At: orb.Point{3, 4}, Scans: []walk.Scan{
			{ID: "1", Time: csvTime("2026-03-01T08:59:59.5Z"), FacingDeg: 90, Readings: []radio.Reading{
				{BSSID: csvMAC("02:00:5e:10:01:00"), SSID: "depot", FreqMHz: 5180, RSSIDBm: -61},
				{BSSID: csvMAC("02:00:5e:10:01:01"), SSID: "depot", FreqMHz: 2437, RSSIDBm: -61},
				{BSSID: csvMAC("02:00:5e:10:01:02"), RSSIDBm: -120}}},
			{ID: "2", Time: csvTime("2026-03-01T09:00:05Z"), FacingDeg: 0}}},
		{ID: "V2", Seq: 2, Point: "P02", Floor: "G", At: orb.Point{8, 4}, Scans: []walk.Scan{
			{ID: "1", Time: csvTime("2026-03-01T09:00:00Z"), FacingDeg: walk.NoFacing, Readings: []radio.Reading{{BSSID: csvMAC("02:00:5e:10:01:00"), SSID: "a,\"b\"\nc", FreqMHz: 5180, RSSIDBm: -70.25}}}}},
		{ID: "V3", Seq: 3, Floor: "1", At: orb.Point{10, 2.5}, Scans: []walk.Scan{
			{ID: "1", Time: csvTime("2026-03-01T17:31:00.123456789Z"), FacingDeg: 90, Readings: []radio.Reading{{BSSID: csvMAC("02:00:5e:10:01:00"), SSID: "depot", FreqMHz: 5180, RSSIDBm: -61}}}}},
	}
	assert.Equal(t, want, got.Visits)
	assert.Equal(t, walk.Tally{Rows: 6, Readings: 5, Unknown: 2, NoFreq: 1}, got.Tally)
	assert.Equal(t, []string{"1 reading has no frequency"}, got.Warnings)
}

func TestReadCSVColumnsInAnyOrder(t *testing.T) {
	got, err := readCSV("\xef\xbb\xbfrssi_dbm, bssid ,scan,battery,floor,point,visit,time,\"note, long\"\r\n" +
		"-61,02:00:5e:10:01:00,1,99,G,P01,V1,2026-03-01T09:00:00Z,\r\n\r\n" +
		"-62,02:00:5e:10:01:01,1,99,G,P01,V1,2026-03-01T09:00:00Z,\"two\r\nlines\"\r\n")
	require.NoError(t, err)
	assert.Equal(t, []walk.Visit{{ID: "V1", Seq: 1, Point: "P01", Floor: "G", At: orb.Point{3, 4}, Scans: []walk.Scan{{ID: "1", Time: csvTime("2026-03-01T09:00:00Z"), FacingDeg: walk.NoFacing,
		Readings: []radio.Reading{{BSSID: csvMAC("02:00:5e:10:01:00"), RSSIDBm: -61}, {BSSID: csvMAC("02:00:5e:10:01:01"), RSSIDBm: -62}}}}}}, got.Visits)
	assert.Equal(t, []string{`2 columns that a walk does not have were left out: "battery", "note, long"`, "2 readings have no frequency"}, got.Warnings)
}

// A scan says which channels it listened on, a reading how many BSSIDs its
// radio may have; both columns are written only where there is something to say.
func TestReadCSVListened(t *testing.T) {
	head := strings.TrimSpace(csvHead) + ",max_bssid_indicator,listened_mhz\n"
	line := func(more string, change ...string) string {
		return strings.TrimSpace(csvLine(change...)) + "," + more + "\n"
	}
	text := head + line("3,5180 2437 5180") + line(",2437 5180", "bssid", "02:00:5e:10:01:01") +
		line(",", "scan", "2") + line(",2412", "scan", "3", "bssid", "", "rssi_dbm", "", "ssid", "", "freq_mhz", "")
	got, err := readCSV(text)
	require.NoError(t, err)
	scans := got.Visits[0].Scans
	require.Len(t, scans, 3)
	assert.Equal(t, []int{2437, 5180}, scans[0].FreqsMHz)
	assert.Equal(t, []int{3, 0}, []int{scans[0].Readings[0].MaxBSSIDIndicator, scans[0].Readings[1].MaxBSSIDIndicator})
	assert.Nil(t, scans[1].FreqsMHz)
	assert.Equal(t, []int{2412}, scans[2].FreqsMHz)
	var b strings.Builder
	require.NoError(t, walk.WriteCSV(&b, walk.Walk{Visits: got.Visits}))
	assert.Contains(t, b.String(), "-61,3,2437 5180\n")
	again, err := readCSV(b.String())
	require.NoError(t, err)
	assert.Equal(t, got.Visits, again.Visits)

	for more, want := range map[string]string{
		"9,":     `walk.csv:2:73: max_bssid_indicator "9" is none; write n from 1 to 8 for a radio of up to 2^n BSSIDs, or nothing`,
		",36":    `walk.csv:2:74: listened_mhz "36" is in no band; write MHz: 2401 to 2495, 5150 to 5925 or 5926 to 7125, or nothing`,
		",5180;": `walk.csv:2:74: listened_mhz "5180;" is no whole number; write the channel's centre frequency in MHz, such as 5180, or nothing`,
	} {
		_, err := readCSV(head + line(more))
		assert.EqualError(t, err, want)
	}
	_, err = readCSV(head + line(",2412") + line(",2412 5180", "bssid", "02:00:5e:10:01:01"))
	assert.EqualError(t, err, `walk.csv:3: scan "1" of visit "V1" listened on 2412 5180 MHz here and on 2412 MHz on line 2; write the channels of a scan in each of its rows`)
}

func TestReadCSVErrors(t *testing.T) {
	utf16 := func(s string) string {
		var b strings.Builder
		for _, r := range s {
			b.WriteByte(byte(r))
			b.WriteByte(0)
		}
		return b.String()
	}
	tests := []struct {
		name, text string
		line, col  int
		want       string // in the message
	}{
		{"empty file", "", 1, 0, "the file is empty; begin with a line of column names: time,visit"},
		{"only line ends", "\n\r\n\n", 1, 0, "the file is empty"},
		{"header only", csvHead, 1, 0, "no rows after the header"},
		{"no header", csvLine(), 1, 1, "the first line is no header of a walk"},
		{"missing columns", "time,visit,point,bssid,rssi_dbm\n", 1, 1, "columns floor, scan missing"},
		{"no place", "time,visit,floor,scan,bssid,rssi_dbm\n", 1, 1, "column point (or x_m and y_m) missing"},
		{"half a place", "time,visit,point,floor,scan,bssid,rssi_dbm,x_m\n", 1, 1, "column y_m missing"},
		{"column twice", "time,visit,point,floor,scan,bssid,rssi_dbm,visit\n", 1, 44, "column visit stands twice, as column 2 and 8"},
		{"semicolons", strings.ReplaceAll(csvHead+csvLine(), ",", ";"), 1, 5, "columns are separated by semicolons"},
		{"tabs", strings.ReplaceAll(csvHead+csvLine(), ",", "\t"), 1, 5, "columns are separated by tabs"},
		{"UTF-16 with mark", "\xff\xfe" + utf16(csvHead+csvLine()), 1, 1, "the text is UTF-16; save the file as UTF-8"},
		{"UTF-16 without mark", utf16(csvHead + csvLine()), 1, 1, "the text is UTF-16"},
		{"not UTF-8", csvHead + csvLine() + csvLine("ssid", "caf\xe9"), 3, 61, "byte 0xe9 is not UTF-8"},
		{"NUL", csvHead + csvLine("ssid", "a\x00b"), 2, 59, "a NUL byte"},
		{"too few fields", csvHead + csvLine() + "2026-03-01T09:00:00Z,V1\n", 3, 1, "2 fields where the header has 12"},
		{"too many fields", csvHead + csvLine("ssid", "a,b"), 2, 1, "13 fields where the header has 12; put a value with commas in quotes"},
		{"open quote", csvHead + csvLine("ssid", `"depot`) + csvLine(), 2, 58, "a quotation mark that is not closed"},
		{"open quote in a long file", csvHead + csvLine("ssid", `"depot`) + strings.Repeat(csvLine(), 2000), 2, 1, "a record of more than 65536 bytes; look for a quotation mark that is not closed"},
		{"quote inside", csvHead + csvLine("ssid", `de"pot`), 2, 60, "a quotation mark inside a field"},
		{"text after quote", csvHead + csvLine("ssid", `"de"pot`), 2, 62, "text after a closing quotation mark"},
		{"bare CR", csvHead + csvLine("ssid", "a\rb"), 2, 59, "a bare carriage return"},
		{"long line", csvHead + csvLine("ssid", strings.Repeat("x", walk.MaxCSVRecord)), 2, 1, "a record of more than 65536 bytes; put one reading on a line"},
		{"error after a quoted line end", csvHead + csvLine("ssid", "\"a\nb\"", "rssi_dbm", "x"), 3, 9, `rssi_dbm "x" is no number`},

		{"no time", csvHead + csvLine("time", ""), 2, 1, `time "" is no time`},
		{"no offset", csvHead + csvLine("time", "2026-03-01T09:00:00"), 2, 1, "has no UTC offset; write RFC 3339"},
		{"no such day", csvHead + csvLine("time", "2026-02-30T09:00:00Z"), 2, 1, "is no time of any day"},
		{"short hour", csvHead + csvLine("time", "2026-03-01T9:00:00Z"), 2, 1, "is no time"},
		{"decimal comma", csvHead + csvLine("time", `"2026-03-01T09:00:00,5Z"`), 2, 1, "has no UTC offset that can be read"},
		{"finer than ns", csvHead + csvLine("time", "2026-03-01T09:00:00.1234567891Z"), 2, 1, "is finer than a nanosecond"},
		{"unix time", csvHead + csvLine("time", "1772355600"), 2, 1, "is no time"},
		{"no visit", csvHead + csvLine("visit", ""), 2, 22, "visit is empty"},
		{"long visit", csvHead + csvLine("visit", strings.Repeat("v", 201)), 2, 22, "visit has 201 bytes; write at most 200"},
		{"visit with line end", csvHead + csvLine("visit", "\"a\nb\""), 2, 22, `visit "a\nb" has a control character`},
		{"no scan", csvHead + csvLine("scan", ""), 2, 38, "scan is empty"},
		{"no floor", csvHead + csvLine("floor", ""), 2, 29, "floor is empty"},
		{"unknown floor", csvHead + csvLine("floor", "B1"), 2, 29, `floor "B1" is not a floor of the site; write one of: G, 1`},
		{"no place at all", csvHead + csvLine("point", "", "x_m", "", "y_m", ""), 2, 25, "point is empty and so are the coordinates"},
		{"unknown point", csvHead + csvLine("point", "P99", "x_m", "", "y_m", ""), 2, 25, `point "P99" is not a point of floor G; write x_m and y_m too`},
		{"point of another floor", csvHead + csvLine("point", "Q01", "x_m", "", "y_m", ""), 2, 25, `point "Q01" is not a point of floor G, but of floor 1`},
		{"x without y", csvHead + csvLine("y_m", ""), 2, 33, "y_m is empty and x_m is not"},
		{"y without x", csvHead + csvLine("x_m", ""), 2, 31, "x_m is empty and y_m is not"},
		{"x is NaN", csvHead + csvLine("x_m", "NaN"), 2, 31, `x_m "NaN" is no number`},
		{"x is infinite", csvHead + csvLine("x_m", "1e999"), 2, 31, "is no number"},
		{"x is hexadecimal", csvHead + csvLine("x_m", "0x1p4"), 2, 31, "is no number"},
		{"x has groups", csvHead + csvLine("x_m", "1_000"), 2, 31, "is no number"},
		{"x is degrees of nowhere", csvHead + csvLine("x_m", "3500000"), 2, 31, "is more than 100 km from the plan's origin"},
		{"blank before a number", csvHead + csvLine("x_m", " 3"), 2, 31, `x_m " 3" is no number`},
		{"facing", csvHead + csvLine("facing_deg", "361"), 2, 35, `facing_deg "361" is no direction`},
		{"facing below", csvHead + csvLine("facing_deg", "-1"), 2, 35, "is no direction"},
		{"facing in words", csvHead + csvLine("facing_deg", "north"), 2, 35, "is no direction"},
		{"no bssid", csvHead + csvLine("bssid", ""), 2, 40, "bssid is empty and rssi_dbm is not"},
		{"no rssi", csvHead + csvLine("rssi_dbm", ""), 2, 69, "rssi_dbm is empty and bssid is not"},
		{"short bssid", csvHead + csvLine("bssid", "02:00:5e:10:01"), 2, 40, "is not six octets joined by colons"},
		{"group bssid", csvHead + csvLine("bssid", "ff:ff:ff:ff:ff:ff"), 2, 40, "is zero or a group address"},
		{"zero bssid", csvHead + csvLine("bssid", "00:00:00:00:00:00"), 2, 40, "is zero or a group address"},
		{"level 0", csvHead + csvLine("rssi_dbm", "0"), 2, 69, "rssi_dbm is 0, which receivers write for none; leave the row out"},
		{"level −0.0", csvHead + csvLine("rssi_dbm", "-0.0"), 2, 69, "which receivers write for none"},
		{"level above", csvHead + csvLine("rssi_dbm", "5"), 2, 69, `rssi_dbm "5" is no level`},
		{"level below", csvHead + csvLine("rssi_dbm", "-121"), 2, 69, "is no level; write dBm, at least -120 and below 0"},
		{"level just below", csvHead + csvLine("rssi_dbm", "-120.001"), 2, 69, "is no level"},
		{"level in words", csvHead + csvLine("rssi_dbm", "-61dBm"), 2, 69, "is no number"},
		{"level NaN", csvHead + csvLine("rssi_dbm", "nan"), 2, 69, "is no number"},
		{"frequency in GHz", csvHead + csvLine("freq_mhz", "5.18"), 2, 64, `freq_mhz "5.18" is no whole number`},
		{"frequency in no band", csvHead + csvLine("freq_mhz", "868"), 2, 64, `freq_mhz "868" is in no band`},
		{"long ssid", csvHead + csvLine("ssid", strings.Repeat("s", 129)), 2, 58, "ssid has 129 bytes"},

		{"visit moved", csvHead + csvLine() + csvLine("x_m", "3.5"), 3, 0, `visit "V1" is at point "P01" (3.5, 4) on floor G here and at point "P01" (3, 4) on floor G on line 2`},
		{"visit renamed its point", csvHead + csvLine() + csvLine("point", "P02"), 3, 0, `visit "V1" is at point "P02"`},
		{"visit changed floors", csvHead + csvLine() + csvLine() + csvLine("floor", "1"), 4, 0, "on floor 1 here"},
		{"scan turned", csvHead + csvLine() + csvLine("facing_deg", "180"), 3, 0, `scan "1" of visit "V1" faces 180° here and 90° on line 2`},
		{"scan without facing", csvHead + csvLine() + csvLine("facing_deg", ""), 3, 0, "faces nowhere here and 90° on line 2"},
		{"scan too long", csvHead + csvLine() + csvLine("bssid", "02:00:5e:10:01:01", "time", "2026-03-01T09:00:30.001Z"), 3, 0, `scan "1" of visit "V1" has rows 30.001s apart, the first on line 2`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := readCSV(tt.text)
			var in *input.Error
			require.ErrorAs(t, err, &in)
			assert.Equal(t, "walk.csv", in.File)
			assert.Contains(t, in.Error(), tt.want)
			assert.Equal(t, [2]int{tt.line, tt.col}, [2]int{in.Line, in.Col}, in.Error())
			assert.NotContains(t, in.Error(), "\n")
		})
	}
}

// Receivers list a BSSID twice in one scan: the first counts.
func TestReadCSVListedTwice(t *testing.T) {
	got, err := readCSV(csvHead + csvLine() + csvLine("rssi_dbm", "-64") + csvLine() + csvLine() + csvLine("rssi_dbm", "-80", "bssid", "02-00-5E-10-01-00"))
	require.NoError(t, err)
	assert.Equal(t, []radio.Reading{{BSSID: csvMAC("02:00:5e:10:01:00"), SSID: "depot", FreqMHz: 5180, RSSIDBm: -61}}, got.Visits[0].Scans[0].Readings)
	assert.Equal(t, walk.Tally{Rows: 5, Readings: 1, Same: 2, SameLine: 4, Second: 2, SecondLine: 3}, got.Tally)
	assert.Equal(t, []string{
		"2 rows that repeat a reading word for word were left out, the first on line 4",
		"2 second listings of a BSSID in one scan were left out and the first kept, the first case on line 3"}, got.Warnings)
}

// A file whose scan column is always the same must not pass as one scan with
// many second listings.
func TestReadCSVScansNotTold(t *testing.T) {
	var b strings.Builder
	b.WriteString(csvHead)
	for i := range 40 {
		b.WriteString(csvLine("rssi_dbm", fmt.Sprint(-50-i%7), "time", csvTime("2026-03-01T09:00:00Z").Add(time.Duration(i)*time.Second/2).Format(time.RFC3339Nano)))
	}
	_, err := readCSV(b.String())
	var in *input.Error
	require.ErrorAs(t, err, &in)
	assert.Equal(t, 3, in.Line)
	assert.Contains(t, in.What, "34 of 40 rows list a BSSID again in the same scan with another level")
}

func TestReadCSVBigScan(t *testing.T) {
	var b strings.Builder
	b.WriteString(csvHead)
	for i := range 3000 {
		b.WriteString(csvLine("bssid", fmt.Sprintf("02:00:00:00:%02x:%02x", i>>8, i&255)))
	}
	b.WriteString(csvLine("bssid", "02:00:00:00:00:07"))
	for i := range 200 { // and a visit of many scans
		b.WriteString(csvLine("visit", "V2", "scan", fmt.Sprint(i%100)))
	}
	got, err := readCSV(b.String())
	require.NoError(t, err)
	assert.Len(t, got.Visits[0].Scans[0].Readings, 3000)
	assert.Len(t, got.Visits[1].Scans, 100)
	assert.Equal(t, walk.Tally{Rows: 3201, Readings: 3100, Unknown: 3000, Same: 101, SameLine: 3002}, got.Tally)
}

// Captured walks really stood there, so a place outside is kept and counted.
func TestReadCSVOutside(t *testing.T) {
	got, err := readCSV(csvHead + csvLine("visit", "A", "x_m", "-1") + csvLine("visit", "A", "x_m", "-1", "scan", "2") + csvLine("visit", "B", "x_m", "52", "y_m", "21") + csvLine("visit", "C"))
	require.NoError(t, err)
	assert.Len(t, got.Visits, 3)
	assert.Equal(t, []string{`2 visits stand outside the outline or in a void, the first is "A"; check scale and origin`}, got.Warnings)
}

func TestReadCSVEmptyRowBesideReadings(t *testing.T) {
	got, err := readCSV(csvHead + csvLine("bssid", "", "rssi_dbm", "", "freq_mhz", "junk") + csvLine() + csvLine("bssid", "", "rssi_dbm", "") + csvLine("bssid", "02:00:5e:10:01:01"))
	require.NoError(t, err)
	assert.Len(t, got.Visits[0].Scans, 1)
	assert.Len(t, got.Visits[0].Scans[0].Readings, 2)
	assert.Equal(t, csvMAC("02:00:5e:10:01:00"), got.Visits[0].Scans[0].Readings[0].BSSID)
	assert.Equal(t, 5180, got.Visits[0].Scans[0].Readings[1].FreqMHz)
}

func TestReadCSVStream(t *testing.T) {
	text := csvHead + csvLine("ssid", "\"a\nb\"") + csvLine("scan", "2")
	whole, err := readCSV(text)
	require.NoError(t, err)
	bytewise, err := walk.ReadCSV(iotest.OneByteReader(strings.NewReader(text)), "walk.csv", csvSite())
	require.NoError(t, err)
	assert.Equal(t, whole, bytewise)
	late, err := walk.ReadCSV(iotest.DataErrReader(strings.NewReader(text)), "walk.csv", csvSite())
	require.NoError(t, err)
	assert.Equal(t, whole, late)

	broken := errors.New("the cable is out")
	_, err = walk.ReadCSV(io.MultiReader(strings.NewReader(text), iotest.ErrReader(broken)), "walk.csv", csvSite())
	require.ErrorIs(t, err, broken)
	_, err = walk.ReadCSV(iotest.ErrReader(broken), "walk.csv", csvSite())
	require.ErrorIs(t, err, broken)
}

// A gatherer that is emptied now and then, and joined, gives what one that
// holds the whole file gives.
func TestGathererJoin(t *testing.T) {
	var rows []string
	for v := range 4 {
		for sc := range 3 {
			for k := range 5 {
				b := fmt.Sprintf("02:00:00:00:00:%02x", k%4) // one listed twice
				l := fmt.Sprint(-50 - k)
				rows = append(rows, csvLine("visit", fmt.Sprint("V", v), "scan", fmt.Sprint(sc), "bssid", b, "rssi_dbm", l, "freq_mhz", []string{"", "5180"}[k%2], "time", fmt.Sprintf("2026-03-01T09:00:%02d.%dZ", sc, 9-k)))
			}
		}
	}
	for i := range rows { // scattered, the same each time
		j := (i * 37) % len(rows)
		rows[i], rows[j] = rows[j], rows[i]
	}
	text := csvHead + strings.Join(rows, "")
	whole, err := readCSV(text)
	require.NoError(t, err)

	c, err := walk.NewCSVReader(strings.NewReader(text), "walk.csv", csvSite())
	require.NoError(t, err)
	g := walk.NewGatherer("walk.csv", csvSite())
	var parts []*walk.Part
	take := func() {
		for _, q := range g.Take() {
			joined := false
			for _, p := range parts {
				if p.Visit.ID == q.Visit.ID {
					require.NoError(t, g.Join(p, q))
					joined = true
				}
			}
			if !joined {
				parts = append(parts, q)
			}
		}
	}
	for {
		row, err := c.Next()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		require.NoError(t, g.Add(row))
		if g.Held() == 7 {
			take()
		}
	}
	take()
	var visits []walk.Visit
	for i, p := range parts {
		p.Visit.Seq = i + 1
		g.Settled(&p.Visit)
		visits = append(visits, p.Visit)
	}
	assert.Equal(t, whole.Visits, visits)
	got, want := g.Tally(), whole.Tally
	got.SecondLine, want.SecondLine = 0, 0 // of a part only the line of the scan is known
	got.SameLine, want.SameLine = 0, 0
	assert.Equal(t, want, got)
	assert.Equal(t, 48, got.Readings)
}

// The captures of real places, where they are at hand.
func TestReadCSVRealFiles(t *testing.T) {
	tests := []struct {
		site, file              string
		visits, scans, readings int // counted apart from this code, over the rows of the file
		outline                 orb.Ring
	}{
		{"rtt_library", "survey.csv", 3530, 3530, 20246, orb.Ring{{-2, -1.13}, {26.99, -1.13}, {26.99, 9.65}, {-2, 9.65}}},
		{"rtt_library", "test.csv", 3924, 3924, 23187, orb.Ring{{-2, -1.13}, {26.99, -1.13}, {26.99, 9.65}, {-2, 9.65}}},
		{"rtt_library", "survey-300.csv", 300, 300, 1717, orb.Ring{{-2, -1.13}, {26.99, -1.13}, {26.99, 9.65}, {-2, 9.65}}},
		{"rtt_library", "test-300.csv", 300, 300, 1768, orb.Ring{{-2, -1.13}, {26.99, -1.13}, {26.99, 9.65}, {-2, 9.65}}},
		{"ble_tetam", "survey.csv", 81, 2430, 29143, orb.Ring{{0, 0}, {20.66, 0}, {20.66, 17.641}, {0, 17.641}}},
		{"ble_tetam", "test.csv", 45, 1350, 16197, orb.Ring{{0, 0}, {20.66, 0}, {20.66, 17.641}, {0, 17.641}}},
	}
	for _, tt := range tests {
		t.Run(tt.site+"/"+tt.file, func(t *testing.T) {
			f, err := os.Open(filepath.Join("..", "..", "..", "shared", "data", tt.site, tt.file))
			if errors.Is(err, os.ErrNotExist) {
				t.Skip("the captures of real places are not at hand")
			}
			require.NoError(t, err)
			defer func() { _ = f.Close() }()
			got, err := walk.ReadCSV(f, tt.file, &site.Site{Floors: []site.Floor{{ID: "F", Outline: tt.outline}}})
			require.NoError(t, err)
			scans := 0
			for _, v := range got.Visits {
				scans += len(v.Scans)
			}
			assert.Equal(t, [3]int{tt.visits, tt.scans, tt.readings}, [3]int{len(got.Visits), scans, got.Tally.Readings})
			assert.Empty(t, got.Warnings)

			var b strings.Builder
			require.NoError(t, walk.WriteCSV(&b, walk.Walk{Visits: got.Visits}))
			again, err := walk.ReadCSV(strings.NewReader(b.String()), "again", &site.Site{Floors: []site.Floor{{ID: "F", Outline: tt.outline}}})
			require.NoError(t, err)
			assert.Equal(t, got.Visits, again.Visits)
		})
	}
}
