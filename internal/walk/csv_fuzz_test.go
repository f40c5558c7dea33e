package walk_test

import (
	"bytes"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"footrule/internal/input"
	"footrule/internal/radio"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What can be read can be written and read again, equal.
func FuzzReadCSV(f *testing.F) {
	f.Add([]byte(csvHead + csvLine()))
	f.Add([]byte(csvHead + csvLine("bssid", "", "rssi_dbm", "") + csvLine("scan", "2", "ssid", "\"a,\n\"\"b\"")))
	f.Add([]byte("\xef\xbb\xbfrssi_dbm,bssid,scan,floor,point,visit,time,x\r\n-61.5,02:00:5e:10:01:00,1,G,P01,V1,2026-03-01T09:00:00+01:00,\r\n"))
	f.Add([]byte(strings.TrimSpace(csvHead) + ",max_bssid_indicator,listened_mhz\n" + strings.TrimSpace(csvLine()) + ",3,2437 5180\n"))
	f.Add([]byte(strings.ReplaceAll(csvHead, ",", ";")))
	f.Add([]byte("\xff\xfet\x00i\x00"))
	f.Fuzz(func(t *testing.T, text []byte) {
		s := csvSite()
		got, err := walk.ReadCSV(bytes.NewReader(text), "walk.csv", s)
		if err != nil {
			var in *input.Error
			require.ErrorAs(t, err, &in)
			require.NotContains(t, in.Error(), "\n")
			return
		}
		for _, v := range got.Visits {
			for _, sc := range v.Scans {
				require.True(t, sc.FacingDeg == walk.NoFacing || sc.FacingDeg >= 0 && sc.FacingDeg < 360)
				for _, r := range sc.Readings {
					require.True(t, radio.LevelOK(r.RSSIDBm))
				}
			}
		}
		var b bytes.Buffer
		if err := walk.WriteCSV(&b, walk.Walk{Visits: got.Visits}); err != nil {
			require.ErrorContains(t, err, "in the year") // an offset can push a time out of the years 0 to 9999
			return
		}
		again, err := walk.ReadCSV(&b, "again", s)
		require.NoError(t, err)
		require.Equal(t, got.Visits, again.Visits)
	})
}

func TestWriteCSVRoundTrip(t *testing.T) {
	rnd := rand.New(rand.NewPCG(4, 5))
	names := []string{"depot", "", "a,b", "\"", "line\nend", "cr\r\nlf", " blank ", "Büro", "\t", "a\\b"}
	for range 200 {
		var w walk.Walk
		for v := range rnd.IntN(4) + 1 {
			vi := walk.Visit{ID: "V " + string(rune('a'+v)), Seq: v + 1, Point: []string{"", "P01", "no, \"such\""}[rnd.IntN(3)], Floor: "G", At: orb.Point{rnd.NormFloat64() * 1e3, rnd.Float64()}}
			for sc := range rnd.IntN(4) + 1 {
				s := walk.Scan{ID: []string{"s", "1,", "ß"}[rnd.IntN(3)] + string(rune('0'+sc)), Time: time.Unix(rnd.Int64N(4e9), rnd.Int64N(1e9)).UTC(), FacingDeg: rnd.Float64() * 360}
				if rnd.IntN(3) == 0 {
					s.FacingDeg = walk.NoFacing
				}
				for k := range rnd.IntN(4) {
					s.Readings = append(s.Readings, radio.Reading{BSSID: radio.BSSID{2, 0, 0, 0, 0, byte(k)}, SSID: names[rnd.IntN(len(names))], FreqMHz: []int{0, 2412, 5180, 5955}[rnd.IntN(4)], RSSIDBm: -rnd.Float64()*119 - math.SmallestNonzeroFloat64})
				}
				vi.Scans = append(vi.Scans, s)
			}
			w.Visits = append(w.Visits, vi)
		}
		var b bytes.Buffer
		require.NoError(t, walk.WriteCSV(&b, w))
		got, err := walk.ReadCSV(bytes.NewReader(b.Bytes()), "walk.csv", csvSite())
		require.NoError(t, err, b.String())
		require.Equal(t, w.Visits, got.Visits)
	}
}

func TestWriteCSV(t *testing.T) {
	live := walk.Visit{ID: "V0001", Seq: 1, Point: "P01", Floor: "G", At: orb.Point{3, 4}, Scans: []walk.Scan{
		{Time: csvTime("2026-03-01T09:00:00.5Z"), FacingDeg: 90, Readings: []radio.Reading{{BSSID: csvMAC("02:00:5e:10:01:00"), SSID: "de\xffpot", FreqMHz: 5180, RSSIDBm: -61}}},
		{ID: "1", Time: csvTime("2026-03-01T09:00:04Z"), FacingDeg: walk.NoFacing}}}
	voided := walk.Visit{ID: "V0002", Seq: 2, Floor: "G", Scans: live.Scans}
	a := walk.Walk{Header: walk.Header{ID: "a"}, Visits: []walk.Visit{live, voided}, Marks: []walk.Mark{{Seq: 3, Kind: walk.Void, Target: "V0002"}}}
	var b strings.Builder
	require.NoError(t, walk.WriteCSV(&b, a))
	assert.Equal(t, csvHead+
		`2026-03-01T09:00:00.5Z,V0001,P01,G,3,4,90,1',02:00:5e:10:01:00,de\xffpot,5180,-61`+"\n"+
		"2026-03-01T09:00:04Z,V0001,P01,G,3,4,,1,,,,\n", b.String())

	b.Reset()
	require.NoError(t, walk.WriteCSV(&b, a, walk.Walk{Header: walk.Header{ID: "b"}, Visits: []walk.Visit{live}}))
	got, err := readCSV(b.String())
	require.NoError(t, err)
	assert.Equal(t, []string{"a/V0001", "b/V0001"}, []string{got.Visits[0].ID, got.Visits[1].ID})

	for want, spoil := range map[string]func(*walk.Visit){
		"cannot be a name":     func(v *walk.Visit) { v.Point = "P\n" },
		"a level of 0 dBm":     func(v *walk.Visit) { v.Scans[0].Readings[0].RSSIDBm = 0 },
		"a level of NaN dBm":   func(v *walk.Visit) { v.Scans[0].Readings[0].RSSIDBm = math.NaN() },
		"a facing of 400":      func(v *walk.Visit) { v.Scans[0].FacingDeg = 400 },
		"no place on a plan":   func(v *walk.Visit) { v.At[1] = math.NaN() },
		"in the year 20000":    func(v *walk.Visit) { v.Scans[0].Time = time.Date(20000, 1, 1, 0, 0, 0, 0, time.UTC) },
		"a name and a floor":   func(v *walk.Visit) { v.Floor = "" },
		"a name of 300 bytes,": func(v *walk.Visit) { v.ID = strings.Repeat("x", 300) },
	} {
		bad := live
		bad.Scans = []walk.Scan{live.Scans[0]}
		bad.Scans[0].Readings = []radio.Reading{live.Scans[0].Readings[0]}
		spoil(&bad)
		require.ErrorContains(t, walk.WriteCSV(&strings.Builder{}, walk.Walk{Visits: []walk.Visit{bad}}), want)
	}
}
