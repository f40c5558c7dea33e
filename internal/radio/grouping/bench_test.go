package grouping_test

import (
	"fmt"
	"testing"

	"footrule/internal/radio"
	"footrule/internal/radio/grouping"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

// BenchmarkPropose is a large invented building: 100 access points of two
// radios of three BSSs on a line, 100 visits of 8 scans, each of which hears the
// nearest fifth.
func BenchmarkPropose(b *testing.B) {
	s := &site.Site{Name: "Row", ReceiverHeightM: 1.2, Floors: []site.Floor{{ID: "G", Outline: orb.Ring{{0, 0}, {1000, 0}, {1000, 10}, {0, 10}}}}}
	freqs := [2][]int{{2412, 2437, 2462}, {5180, 5260, 5500, 5580, 5660}}
	for i := range 100 {
		ap := site.AccessPoint{ID: fmt.Sprintf("AP-%03d", i), Floor: "G", At: orb.Point{10*float64(i) + 5, 5}, HeightM: 2.8}
		for k, band := range []radio.Band{radio.Band2, radio.Band5} {
			ap.Radios = append(ap.Radios, site.Radio{Band: band, BSSIDs: []radio.BSSID{lowBits(i, k, 0)}})
		}
		s.AccessPoints = append(s.AccessPoints, ap)
	}
	var w walk.Walk
	for p := range 100 {
		v := walk.Visit{ID: fmt.Sprint(p), Point: fmt.Sprint(p), Floor: "G", At: orb.Point{10*float64(p) + 5, 1}}
		for n := range 8 {
			sc := walk.Scan{FacingDeg: walk.NoFacing}
			for i := max(0, p-10); i < min(100, p+10); i++ {
				for k := range 2 {
					for j := range 3 {
						f := freqs[k][i%len(freqs[k])]
						level := -40 - 4*abs(float64(i-p)) + float64((i*7+k*3+n*5+p)%9-4)
						sc.Readings = append(sc.Readings, radio.Reading{BSSID: lowBits(i, k, j), SSID: fmt.Sprint("net", j), FreqMHz: f, RSSIDBm: level})
					}
				}
			}
			v.Scans = append(v.Scans, sc)
		}
		w.Visits = append(w.Visits, v)
	}
	h := grouping.Listen(s, []walk.Walk{w})
	for b.Loop() {
		if rep := grouping.Propose(s, h, grouping.Options{}); len(rep.Radios) != 200 {
			b.Fatalf("%d radios, not 200", len(rep.Radios))
		}
	}
}
