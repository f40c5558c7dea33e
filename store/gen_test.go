package store_test

import (
	"bufio"
	"fmt"
	"io"
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"

	"footrule/internal/radio"
	"footrule/internal/site"
	"footrule/internal/walk"
	"footrule/store"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/require"
)

// An invented hall of one floor with six access points and points every 5 m.
func hall() *site.Site {
	s := &site.Site{Name: "Harbour Depot", ReceiverHeightM: 1.2}
	f := site.Floor{ID: "G", Name: "Ground", Outline: orb.Ring{{0, 0}, {60, 0}, {60, 24}, {0, 24}}}
	for i := range 40 {
		f.Points = append(f.Points, site.Point{ID: fmt.Sprintf("P%02d", i+1), At: orb.Point{2.5 + 5*float64(i%10), 3 + 5*float64(i/10)}})
	}
	f.Walls = []site.Wall{{Material: "brick", Line: orb.LineString{{20, 0}, {20, 10}}}}
	f.Areas = []site.Area{{ID: "shaft", Kind: site.Void, Polygon: orb.Ring{{50, 20}, {54, 20}, {54, 24}, {50, 24}}}}
	s.Floors = []site.Floor{f}
	power := 17.0
	for i := range 6 {
		s.AccessPoints = append(s.AccessPoints, site.AccessPoint{ID: fmt.Sprintf("AP-%02d", i+1), Floor: "G", At: orb.Point{5 + 10*float64(i), 12}, HeightM: 2.8,
			Radios: []site.Radio{{Band: radio.Band5, BSSIDs: []radio.BSSID{bssid(i)}, TxPowerDBm: &power}}})
	}
	return s
}

func bssid(i int) radio.BSSID {
	return radio.BSSID{0x02, 0x00, 0x5e, 0x10, byte(i >> 8), byte(i)}
}

var day = time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)

// csvOptions shape an invented walk.csv.
type csvOptions struct {
	rows, perScan, scans int
	bssids               int
}

func (o csvOptions) fill() csvOptions {
	if o.perScan == 0 {
		o.perScan = 20
	}
	if o.scans == 0 {
		o.scans = 12
	}
	if o.bssids == 0 {
		o.bssids = 120
	}
	return o
}

// writeWalk writes an invented walk: visits of 12 scans in four facings, 20
// readings each, of 120 BSSIDs.
func writeWalk(w io.Writer, o csvOptions) error {
	o = o.fill()
	rnd := rand.New(rand.NewPCG(7, 11))
	b := bufio.NewWriterSize(w, 1<<20)
	fmt.Fprintln(b, "time,visit,point,floor,x_m,y_m,facing_deg,scan,bssid,ssid,freq_mhz,rssi_dbm")
	n := 0
	var row []byte
	for v := 0; n < o.rows; v++ {
		for sc := 0; sc < o.scans && n < o.rows; sc++ {
			at := day.Add(time.Duration(v*60+sc*4)*time.Second + time.Duration(rnd.IntN(1000))*time.Millisecond).Format("2006-01-02T15:04:05.000Z07:00")
			from := rnd.IntN(o.bssids)
			for k := 0; k < o.perScan && n < o.rows; k++ {
				i := (from + k) % o.bssids
				row = fmt.Appendf(row[:0], "%s,V%06d,P%02d,G,%.2f,%.2f,%d,%d,%s,depot-%d,%d,%d\n", at, v+1, v%40+1, 2.5+5*float64(v%10), 3+5*float64(v/10%4), 90*(sc*4/o.scans%4), sc+1,
					bssid(i), i%4, 5180+20*(i%8), -40-rnd.IntN(50))
				if _, err := b.Write(row); err != nil {
					return err
				}
				n++
			}
		}
	}
	return b.Flush()
}

// newStore makes a site file in a directory of the test.
func newStore(t testing.TB, opt store.Options) (*store.Store, string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "depot.footrule")
	if opt.Version == "" {
		opt.Version = "test"
	}
	s, err := store.Create(path, hall(), opt)
	require.NoError(t, err)
	t.Cleanup(func() { _ = s.Close() })
	return s, path
}

// visit invents a visit from a seed: equal seeds give equal visits.
func visit(seed uint64) walk.Visit {
	rnd := rand.New(rand.NewPCG(seed, 3))
	v := walk.Visit{ID: fmt.Sprintf("V%04d", seed), Seq: int(seed), Point: fmt.Sprintf("P%02d", seed%40+1), Floor: "G", At: orb.Point{rnd.Float64() * 60, rnd.Float64() * 24}}
	for i := range 1 + rnd.IntN(12) {
		sc := walk.Scan{Time: day.Add(time.Duration(seed)*time.Minute + time.Duration(rnd.Int64N(int64(time.Minute)))), FacingDeg: float64(i % 4 * 90), DroppedStale: rnd.IntN(3)}
		if rnd.IntN(5) == 0 {
			sc.FacingDeg = walk.NoFacing
		}
		if seed%3 == 0 && rnd.IntN(3) > 0 {
			sc.FreqsMHz = []int{2437, 5180 + 20*rnd.IntN(3)}
		}
		for k := range rnd.IntN(25) {
			l := float64(-30 - rnd.IntN(70))
			if rnd.IntN(4) == 0 {
				l += rnd.Float64()
			}
			sc.Readings = append(sc.Readings, radio.Reading{BSSID: bssid(k), SSID: "depot", FreqMHz: 5180 + 20*(k%3), RSSIDBm: l, MaxBSSIDIndicator: int(seed % 2 * uint64(k%4))})
		}
		v.Scans = append(v.Scans, sc)
	}
	return v
}

func header(id string) walk.Header {
	return walk.Header{ID: id, Name: id, Surveyor: "T. Ester", Receiver: "wlan0", Source: walk.Live, Started: day, PlanRev: 1, Settings: walk.DefaultSettings(), Program: "test"}
}
