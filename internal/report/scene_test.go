package report_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"footrule/internal/coverage"
	"footrule/internal/doubt"
	"footrule/internal/infra"
	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/radio"
	"footrule/internal/report"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/require"
)

// names are those of an invented hall; hostile ones try what text can try.
type names struct{ site, floor, walk, surveyor, reason, customer, answer string }

var plain = names{"Hall of the <Mill> & Weir", "Ground", "monday", "R. Alder", "blocked by a stack", "Weir & Sons", "racks of steel"}

var hostile = names{
	"<script>alert(1)</script>", "</title><svg onload=x>", "\x1b[31mred\x07", `" onmouseover="x`, "\u202egnp.exe\u2066", "אולם <b>בדיקה</b> 12", "]]><!--{{.}}\x00\u200f",
}

// hall is an invented hall of 36 by 20 m with five access points and 24 places, two
// of them on the plan without a visit, and levels of n = 3 with 3 dB of shadowing.
func hall(t testing.TB, n names) *report.Input {
	t.Helper()
	if halls[n] == nil {
		halls[n] = newHall(t, n)
	}
	in := *halls[n]
	in.Walks = slices.Clone(in.Walks)
	return &in
}

var halls = map[names]*report.Input{}

func newHall(t testing.TB, n names) *report.Input {
	t.Helper()
	s := &site.Site{Name: n.site, ReceiverHeightM: 1.2}
	f := site.Floor{ID: "G", Name: n.floor, Outline: orb.Ring{{0, 0}, {36, 0}, {36, 20}, {0, 20}},
		Walls: []site.Wall{{Material: "brick", Line: orb.LineString{{18, 0}, {18, 14}}}},
		Areas: []site.Area{{ID: "shaft", Kind: site.Void, Polygon: orb.Ring{{24, 8}, {27, 8}, {27, 11}, {24, 11}}}, {ID: "west", Kind: site.Zone, Polygon: orb.Ring{{0, 0}, {18, 0}, {18, 20}, {0, 20}}}},
		Taped: []site.Taped{{From: site.Spot{ID: "P01"}, To: site.Spot{ID: "P06"}, DistanceM: 30.1}}}
	for i := range 24 {
		f.Points = append(f.Points, site.Point{ID: fmt.Sprintf("P%02d", i+1), At: orb.Point{3 + 6*float64(i%6), 2.5 + 5*float64(i/6)}})
	}
	s.Floors = []site.Floor{f}
	power := 17.0
	for i, at := range []orb.Point{{5, 5}, {31, 4}, {6, 16}, {30, 17}, {16, 10}} {
		s.AccessPoints = append(s.AccessPoints, site.AccessPoint{ID: fmt.Sprintf("AP-%d", i+1), Floor: "G", At: at, HeightM: 2.8,
			Radios: []site.Radio{{Band: radio.Band5, BSSIDs: []radio.BSSID{{2, 0, 0x5e, 0x30, byte(i), 1}}, TxPowerDBm: &power}}})
	}
	s.Answers = []site.Answer{{Question: "building-walls", Text: n.answer, By: n.surveyor, At: time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)}}
	w := walkOf(s, n)
	in := &report.Input{Customer: n.customer, Author: n.surveyor, Program: "test", Date: time.Date(2026, 3, 3, 0, 0, 0, 0, time.UTC), Addresses: report.Drop,
		Site: s, PlanRev: 2, Floors: []int{0}, Walks: []walk.Walk{w}, Basis: "the two-level fit of 1 walk"}
	var err error
	in.Fit, err = propagation.Estimate(propagation.Observe(s, walk.Stays(s, in.Walks, walk.ByVisit)), propagation.Options{})
	require.NoError(t, err)
	in.Cover, err = coverage.Predict(t.Context(), s, in.Fit, coverage.Options{})
	require.NoError(t, err)
	in.Expected = []report.Expected{{InHull: 0.5, BoundMedian: 2, Bound90: 3, Mean: 2.25, Median: 2, Ninety: 3, Most: 5}, {}}
	in.Holes = in.Cover.Holes()
	in.Asked = []position.Target{{Share: 0.5, WithinM: 8, Confidence: 0.95}, {Share: 0.9, WithinM: 4, Confidence: 0.95}}
	in.Errors, err = position.Judge(t.Context(), s, in.Walks, position.Options{Seed: 1, Resamples: 200, Targets: in.Asked})
	require.NoError(t, err)
	in.Verdicts = []string{"target: the first", "target: the second"}
	in.Ellipses = "95 % ellipses are what they are"
	in.Doubts, err = doubt.Find(t.Context(), s, in.Walks, doubt.Options{})
	require.NoError(t, err)
	in.Doubts.Power.Text, in.Doubts.Advice = []string{"an access point off its place by so much"}, []string{"tape one long distance"}
	for range in.Doubts.Findings {
		in.DoubtTitles = append(in.DoubtTitles, "something does not fit")
	}
	in.Infra = infra.Examine(s)
	in.InfraVerdict = "nothing fails, and not all is known yet"
	in.Next = &report.Next{Says: "go on", Points: []report.NextPoint{{Name: "P24", OnPlan: true, Floor: "G", At: orb.Point{33, 17.5}, BuysM: 0.25, WayM: 12}}, WalkM: 12, Minutes: 3}
	return in
}

func walkOf(s *site.Site, n names) walk.Walk {
	rng := rand.New(rand.NewPCG(1, 2))
	start := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	w := walk.Walk{Header: walk.Header{ID: "w1", Name: n.walk, Surveyor: n.surveyor, Receiver: "adapter A", Adapter: "wlan0, driver mac80211_hwsim", Source: walk.Live, Started: start, Settings: walk.DefaultSettings(), Program: "test"}}
	for i, p := range s.Floors[0].Points[:23] {
		v := walk.Visit{ID: fmt.Sprintf("v%d", i+1), Seq: i + 1, Point: p.ID, Floor: "G", At: p.At}
		var shadow []float64
		for range s.AccessPoints {
			shadow = append(shadow, 3*rng.NormFloat64())
		}
		for k := range 8 {
			sc := walk.Scan{Time: start.Add(time.Duration(i*60+k*4) * time.Second), FacingDeg: float64(k / 4 * 180)}
			for a := range s.AccessPoints {
				d := s.Distance3D(site.RadioRef{AP: a}, 0, p.At)
				level := math.Round(-40 - 30*math.Log10(d) + shadow[a] + 1.5*rng.NormFloat64())
				if level >= -90 {
					sc.Readings = append(sc.Readings, radio.Reading{BSSID: s.AccessPoints[a].Radios[0].BSSIDs[0], SSID: n.site, FreqMHz: 5180 + 20*a, RSSIDBm: level})
				}
			}
			sc.Readings = append(sc.Readings, radio.Reading{BSSID: radio.BSSID{2, 0xaa, 0xbb, 0xcc, 0xdd, 0xee}, SSID: "neighbour-net", FreqMHz: 2412, RSSIDBm: -70})
			v.Scans = append(v.Scans, sc)
		}
		w.Visits = append(w.Visits, v)
	}
	w.Marks = []walk.Mark{{Seq: 24, Kind: walk.Skip, Target: "P24", Reason: n.reason}, {Seq: 25, Kind: walk.Void, Target: "v23", Reason: n.reason},
		{Seq: 26, Kind: walk.Void, Target: "v22", Reason: "by mistake"}, {Seq: 27, Kind: walk.Unvoid, Target: "v22"}}
	return w
}
