package export_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"

	"footrule/internal/export"
	"footrule/internal/radio"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/parquet-go/parquet-go"
	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var day = time.Date(2026, 3, 1, 9, 0, 0, 123456789, time.UTC)

// hall is an invented site with three access points.
func hall() *site.Site {
	s := &site.Site{Name: "Hall ../4", ReceiverHeightM: 1.2, Floors: []site.Floor{{ID: "G", Outline: orb.Ring{{0, 0}, {0, 12}, {20, 12}, {20, 0}},
		Walls: []site.Wall{{Material: "brick", Line: orb.LineString{{5, 0}, {5, 7.00000000001}}}}, Points: []site.Point{{ID: "P1", At: orb.Point{3, 4}}}}}}
	for i := range 3 {
		s.AccessPoints = append(s.AccessPoints, site.AccessPoint{ID: fmt.Sprintf("AP-%d", i), Floor: "G", At: orb.Point{float64(2 + 7*i), float64(2 + 4*(i%2))}, HeightM: 2.8,
			Radios: []site.Radio{{Band: radio.Band5, BSSIDs: []radio.BSSID{{2, 0, 0x5e, 0x10, 0, byte(i)}}}}})
	}
	return s
}

// walks are invented from a seed: voided visits, empty scans, odd names and levels.
func walks(seed uint64) []walk.Walk {
	rnd := rand.New(rand.NewPCG(seed, 1))
	var out []walk.Walk
	for n := range 2 {
		w := walk.Walk{Header: walk.Header{ID: fmt.Sprintf("w/%d", n), Name: "mon\x1b[31mday", Surveyor: "T. Ester", Receiver: "wlan0", Source: walk.Live, Started: day,
			PlanRev: 1, Settings: walk.DefaultSettings(), Program: "test", Completed: n == 0}}
		for i := range 12 {
			v := walk.Visit{ID: fmt.Sprintf("V%d", i), Seq: i + 1, Point: []string{"P1", ""}[i%2], Floor: "G", At: orb.Point{3 + rnd.Float64()*9, 4}}
			for j := range 4 {
				sc := walk.Scan{ID: fmt.Sprint(j + 1), Time: day.Add(time.Duration(i)*time.Minute + time.Duration(j)*time.Second), FacingDeg: float64(90 * j), DroppedStale: j}
				if j == 2 {
					sc.FacingDeg = walk.NoFacing
				}
				if n == 1 {
					sc.FreqsMHz = []int{5180, 5260}
				}
				for k := range (i + j) % 5 {
					sc.Readings = append(sc.Readings, radio.Reading{BSSID: radio.BSSID{2, 0, 0x5e, 0x10, 0, byte(k)}, SSID: []string{"depotnet", `a,"b"`, "caf\xe9", "", "x\x1b]0;y\a"}[k],
						FreqMHz: []int{5180, 0}[k%2], RSSIDBm: -40 - 50*rnd.Float64(), MaxBSSIDIndicator: k * n})
				}
				v.Scans = append(v.Scans, sc)
			}
			w.Visits = append(w.Visits, v)
		}
		w.Marks = []walk.Mark{{Seq: 13, Time: day, Kind: walk.Void, Target: "V3", Reason: "a door\nwas open"}, {Seq: 14, Time: day, Kind: walk.Skip, Target: "P9", Undo: true}}
		out = append(out, w)
	}
	return out
}

func data(seed uint64) *export.Data {
	return &export.Data{Site: hall(), Rev: 2, Plans: map[uint64]*site.Site{1: hall()}, Walks: walks(seed)}
}

// all writes every format and gives the files by name.
func all(t *testing.T, d *export.Data) map[string][]byte {
	t.Helper()
	out := map[string][]byte{}
	for _, f := range export.Formats() {
		for _, file := range f.Files(d) {
			var b bytes.Buffer
			require.NoError(t, file.Write(&b), file.Name)
			require.NotContains(t, out, file.Name)
			out[file.Name] = b.Bytes()
		}
	}
	return out
}

func TestEqualInputEqualBytes(t *testing.T) {
	assert.Equal(t, all(t, data(1)), all(t, data(1)))
}

// walk.csv gives the visits that count back, as far as the format goes; its
// companion says what is not in it.
func TestCSVRoundTrip(t *testing.T) {
	d := data(2)
	files := all(t, d)
	tables := 0
	for name := range files {
		if !strings.HasSuffix(name, ".csv") {
			continue
		}
		tables++
		got, err := walk.ReadCSV(bytes.NewReader(files[name]), name, d.Site)
		require.NoError(t, err)
		k := slices.IndexFunc(d.Walks, func(w walk.Walk) bool {
			return strings.Contains(string(files[strings.TrimSuffix(name, ".csv")+".json"]), `"walk": "`+w.ID+`"`)
		})
		require.GreaterOrEqual(t, k, 0)
		var want []walk.Visit
		for _, v := range d.Walks[k].Standing() {
			v := *v
			v.Scans = slices.Clone(v.Scans)
			for j := range v.Scans {
				v.Scans[j].DroppedStale = 0
				v.Scans[j].Readings = slices.Clone(v.Scans[j].Readings)
				for r := range v.Scans[j].Readings {
					v.Scans[j].Readings[r].SSID = walk.SSIDText(v.Scans[j].Readings[r].SSID)
				}
			}
			v.Seq = len(want) + 1
			want = append(want, v)
		}
		require.Equal(t, want, got.Visits)
		beside := string(files[strings.TrimSuffix(name, ".csv")+".json"])
		assert.Contains(t, beside, `"voided": [`+"\n    \"V3\"\n  ]")
		assert.Contains(t, beside, `"reason": "a door\nwas open"`)
	}
	assert.Equal(t, len(d.Walks), tables)
}

// JSON Lines give everything back.
func TestLinesRoundTrip(t *testing.T) {
	d := data(3)
	var got []walk.Walk
	text := all(t, d)["walks.jsonl"]
	assert.NotContains(t, string(text), "\x1b")
	for line := range bytes.Lines(text) {
		got = readLine(t, got, line)
	}
	want := d.Walks
	require.Equal(t, want, got)
}

// readLine is a reader of the format that knows only its field names.
func readLine(t *testing.T, walks []walk.Walk, line []byte) []walk.Walk {
	var l struct {
		Record, Walk, Visit, Name, Surveyor, Receiver, Digest, Program, Point, Floor, BSSID, SSID, Kind, Target, Reason string
		Source                                                                                                          walk.Source
		Started, Time                                                                                                   time.Time
		PlanRevision                                                                                                    uint64 `json:"plan_revision"`
		Settings                                                                                                        struct {
			Facings   []float64 `json:"facings_deg"`
			Scans     int       `json:"scans_per_facing"`
			Need      int
			Threshold float64 `json:"threshold_dbm"`
		}
		Seed            uint64
		Completed, Undo bool
		Seq             int
		X               float64  `json:"x_m"`
		Y               float64  `json:"y_m"`
		Facing          *float64 `json:"facing_deg"`
		Listened        []int    `json:"listened_mhz"`
		Stale           int      `json:"dropped_stale"`
		Hex             []byte   `json:"-"`
		SSIDHex         string   `json:"ssid_hex"`
		Freq            int      `json:"freq_mhz"`
		RSSI            float64  `json:"rssi_dbm"`
		Indicator       int      `json:"max_bssid_indicator"`
	}
	require.NoError(t, json.Unmarshal(line, &l))
	var w *walk.Walk
	if len(walks) > 0 {
		w = &walks[len(walks)-1]
	}
	switch l.Record {
	case "walk":
		return append(walks, walk.Walk{Header: walk.Header{ID: l.Walk, Name: l.Name, Surveyor: l.Surveyor, Receiver: l.Receiver, Source: l.Source, Started: l.Started, PlanRev: l.PlanRevision,
			Settings: walk.Settings{FacingsDeg: l.Settings.Facings, ScansPerFacing: l.Settings.Scans, Need: l.Settings.Need, ThresholdDBm: l.Settings.Threshold},
			Digest:   l.Digest, Seed: l.Seed, Program: l.Program, Completed: l.Completed}})
	case "visit":
		w.Visits = append(w.Visits, walk.Visit{ID: l.Visit, Seq: l.Seq, Point: l.Point, Floor: l.Floor, At: orb.Point{l.X, l.Y}})
	case "scan":
		v := &w.Visits[len(w.Visits)-1]
		sc := walk.Scan{ID: l.Name, Time: l.Time, FacingDeg: walk.NoFacing, FreqsMHz: l.Listened, DroppedStale: l.Stale}
		if l.Facing != nil {
			sc.FacingDeg = *l.Facing
		}
		v.Scans = append(v.Scans, sc)
	case "reading":
		v := &w.Visits[len(w.Visits)-1]
		sc := &v.Scans[len(v.Scans)-1]
		b, err := radio.ParseBSSID(l.BSSID)
		require.NoError(t, err)
		if l.SSIDHex != "" {
			_, err := fmt.Sscanf(l.SSIDHex, "%x", &l.Hex)
			require.NoError(t, err)
			l.SSID = string(l.Hex)
		}
		sc.Readings = append(sc.Readings, radio.Reading{BSSID: b, SSID: l.SSID, FreqMHz: l.Freq, RSSIDBm: l.RSSI, MaxBSSIDIndicator: l.Indicator})
	case "mark":
		w.Marks = append(w.Marks, walk.Mark{Seq: l.Seq, Time: l.Time, Kind: walk.MarkKind(l.Kind), Target: l.Target, Reason: l.Reason, Undo: l.Undo})
	default:
		require.Equal(t, "site", l.Record)
	}
	return walks
}

// No BSSID nor SSID is in any file once they are hidden, what belongs together
// still does, and the same salt gives the same names.
func TestHidden(t *testing.T) {
	for _, how := range []export.Hiding{export.Hash, export.Drop} {
		d, left := data(4).Hide(how, "salt")
		again, _ := data(4).Hide(how, "salt")
		assert.Equal(t, all(t, d), all(t, again))
		for name, b := range all(t, d) {
			for _, secret := range []string{"5e:10", "depotnet", "caf"} {
				assert.False(t, bytes.Contains(b, []byte(secret)), "%s in %s of %s", secret, name, how)
			}
		}
		was := data(4)
		ours := d.Site.RadioOf()
		for i := range was.Walks {
			for j := range was.Walks[i].Visits {
				for k := range was.Walks[i].Visits[j].Scans {
					a, b := was.Walks[i].Visits[j].Scans[k].Readings, d.Walks[i].Visits[j].Scans[k].Readings
					if how == export.Drop {
						a = slices.DeleteFunc(slices.Clone(a), func(r radio.Reading) bool { _, ok := was.Site.RadioOf()[r.BSSID]; return !ok })
					}
					require.Len(t, b, len(a))
					for r := range a {
						require.Equal(t, a[r].RSSIDBm, b[r].RSSIDBm)
						want, known := was.Site.RadioOf()[a[r].BSSID]
						got, still := ours[b[r].BSSID]
						require.Equal(t, known, still)
						require.Equal(t, want, got)
						require.False(t, b[r].BSSID.Group())
						require.True(t, b[r].BSSID.Local())
					}
				}
			}
		}
		assert.Equal(t, how == export.Drop, left > 0)
		assert.Equal(t, data(4), data(4), "what went in stays")
		other, _ := data(4).Hide(how, "pepper")
		if how == export.Hash {
			assert.NotEqual(t, d.Site, other.Site)
		}
	}
	kept, left := data(4).Hide(export.Keep, "")
	assert.Zero(t, left)
	assert.Equal(t, all(t, data(4)), all(t, kept))
}

// Whatever things are called, no file leaves the folder it is put in.
func FuzzNames(f *testing.F) {
	for _, s := range []string{"", "..", "../../etc/passwd", "a/b", `c:\d`, "con", "NUL.txt", ".", "...", "\x1b[2J", "x\x00y", strings.Repeat("ä", 300), "a\u202eb", "-rf", "site=%2F"} {
		f.Add(s, s)
	}
	f.Fuzz(func(t *testing.T, name, id string) {
		d := data(1)
		d.Site.Name, d.Site.Floors[0].ID = id, name
		for i := range d.Walks {
			d.Walks[i].Name, d.Walks[i].ID = name, fmt.Sprint(id, i)
		}
		seen := map[string]bool{}
		for _, format := range export.Formats() {
			for _, file := range format.Files(d) {
				require.True(t, filepath.IsLocal(file.Name), "%q", file.Name)
				require.False(t, seen[strings.ToLower(file.Name)], "%q", file.Name)
				seen[strings.ToLower(file.Name)] = true
				for part := range strings.SplitSeq(file.Name, "/") {
					require.Less(t, len(part), 240)
					require.NotContains(t, []string{"", ".", ".."}, part)
					require.False(t, strings.ContainsFunc(part, func(r rune) bool {
						return unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || strings.ContainsRune(`\:*?"<>|`, r)
					}), "%q", part)
				}
			}
		}
	})
}

// The tables read back with the columns that the folders name; see duckdb_test.go
// for a reader that is not of the library that wrote them.
func TestParquet(t *testing.T) {
	d := data(5)
	files := all(t, d)
	name := "readings/site=Hall ..%2F4/walk=w%2F1/part-0.parquet"
	require.Contains(t, files, name)
	type row struct {
		Visit  string   `parquet:"visit"`
		Counts bool     `parquet:"counts"`
		BSSID  *string  `parquet:"bssid,optional"`
		RSSI   *float64 `parquet:"rssi_dbm,optional"`
		AP     *string  `parquet:"access_point,optional"`
		Facing *float64 `parquet:"facing_deg,optional"`
	}
	rows, err := parquet.Read[row](bytes.NewReader(files[name]), int64(len(files[name])))
	require.NoError(t, err)
	n := 0
	for _, v := range d.Walks[1].Visits {
		for _, sc := range v.Scans {
			if len(sc.Readings) == 0 {
				require.Nil(t, rows[n].BSSID)
				require.Nil(t, rows[n].RSSI)
				n++
			}
			for _, r := range sc.Readings {
				require.Equal(t, v.ID, rows[n].Visit)
				require.Equal(t, v.ID != "V3", rows[n].Counts)
				require.Equal(t, r.BSSID.String(), *rows[n].BSSID)
				require.Equal(t, r.RSSIDBm, *rows[n].RSSI)
				require.Equal(t, r.BSSID[5] < 3, rows[n].AP != nil)
				require.Equal(t, sc.FacingDeg == walk.NoFacing, rows[n].Facing == nil)
				n++
			}
		}
	}
	require.Len(t, rows, n)
}

// GDAL opens what is written, in degrees and in metres.
func TestGDAL(t *testing.T) {
	ogrinfo, err := exec.LookPath("ogrinfo")
	if err != nil {
		t.Skip("ogrinfo of GDAL is not here (Debian: gdal-bin)")
	}
	for name, drawing := range map[string]*site.Drawing{"metres": nil, "degrees": {File: "x.geojson", Kind: site.DrawingWGS84, Origin: orb.Point{8.5, 47.3}, MetresPerUnit: 1}} {
		d := data(6)
		d.Site.Floors[0].Drawing = drawing
		dir := t.TempDir()
		for file, b := range all(t, d) {
			if !strings.HasSuffix(file, ".geojson") {
				continue
			}
			path := filepath.Join(dir, filepath.Base(file))
			require.NoError(t, os.WriteFile(path, b, 0o600))
			out, err := exec.Command(ogrinfo, "-ro", "-al", path).CombinedOutput()
			require.NoError(t, err, string(out))
			text := string(out)
			require.NotContains(t, text, "ERROR")
			require.NotContains(t, text, "Warning")
			switch filepath.Base(file) {
			case "access-points.geojson":
				assert.Contains(t, text, "Feature Count: 3")
				if drawing == nil {
					assert.Contains(t, text, "POINT (9 6)")
				}
			case "walls.geojson":
				if drawing == nil {
					assert.Contains(t, text, "LINESTRING (5 0,5 7)")
				}
			case "areas.geojson":
				assert.Contains(t, text, "Geometry: Polygon")
			}
			assert.Equal(t, name == "degrees", strings.Contains(text, "WGS 84"))
			assert.Equal(t, name == "metres", strings.Contains(text, `ENGCRS["plan"`))
		}
		one := filepath.Join(dir, "one.geojson")
		f, err := os.Create(one)
		require.NoError(t, err)
		for _, format := range export.Formats() {
			if format.Name == "geojson" {
				require.NoError(t, format.One(d, f))
			}
		}
		require.NoError(t, f.Close())
		out, err := exec.Command(ogrinfo, "-ro", "-al", "-so", one).CombinedOutput()
		require.NoError(t, err)
		assert.Contains(t, string(out), "Feature Count: 6")
	}
}
