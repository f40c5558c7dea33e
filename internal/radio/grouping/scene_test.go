package grouping_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"footrule/internal/radio"
	"footrule/internal/radio/synthetic"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/require"
)

// world is an invented site as it really is, and a walk of it.
type world struct {
	truth *site.Site // with every BSSID where it really is
	walk  walk.Walk
	radio map[radio.BSSID]string // of our BSSIDs and of neighbours
	ap    map[radio.BSSID]string
	ours  map[radio.BSSID]bool
}

// pattern gives the address of BSS n of radio k of access point i.
type pattern func(i, k, n int) radio.BSSID

func lowBits(i, k, n int) radio.BSSID {
	return radio.BSSID{0x02, 0, 0x5e, 0x20, byte(i), byte(k<<4 | n)}
}

func firstOctet(i, k, n int) radio.BSSID {
	return radio.BSSID{0x02 | byte(n)<<2, 0, 0x5e, 0x20, 0, byte(i<<2 | k)}
}

// scattered addresses follow no pattern within a radio.
func scattered(i, k, n int) radio.BSSID {
	return radio.BSSID{0x02, 0, 0x5e, byte(n * 37), byte(i*11 + n), byte(i*64 + k*16 + n*53)}
}

// simulate walks the demo's building with n BSSs a radio and neighbours that
// send two BSSs from each of theirs.
func simulate(t testing.TB, seed uint64, n int, p pattern) world {
	t.Helper()
	s := synthetic.DemoSite()
	w := world{truth: s, radio: map[radio.BSSID]string{}, ap: map[radio.BSSID]string{}, ours: map[radio.BSSID]bool{}}
	for i := range s.AccessPoints {
		ap := &s.AccessPoints[i]
		for k := range ap.Radios {
			ap.Radios[k].BSSIDs = nil
			for b := range n {
				a := p(i, k, b)
				ap.Radios[k].BSSIDs = append(ap.Radios[k].BSSIDs, a)
				w.radio[a], w.ap[a], w.ours[a] = fmt.Sprint(i, k), fmt.Sprint(i), true
			}
		}
	}
	env := synthetic.Office()
	env.SSIDs = []string{"works", "guests", "things", "voice"}
	truth := env.Truth(s, seed)
	for i := range truth.Foreign {
		f := &truth.Foreign[i]
		more := f.BSSs[0]
		more.ID[4] |= 0x80
		more.SSID += "-b"
		f.BSSs = append(f.BSSs, more)
		f.BSSs[0].ID = radio.BSSID{0x02, 0, 0x5e, 0xf1, byte(i), 0x40}
		f.BSSs[1].ID = radio.BSSID{0x02, 0, 0x5e, 0xf1, byte(i), 0x41}
		for _, b := range f.BSSs {
			w.radio[b.ID], w.ap[b.ID] = fmt.Sprint("f", i), fmt.Sprint("f", i)
		}
	}
	clock := synthetic.NewSimulatedClock(time.Date(2030, 3, 4, 9, 0, 0, 0, time.UTC))
	sc, err := synthetic.New(s, truth, seed, clock)
	require.NoError(t, err)
	w.walk = walk.Walk{Header: walk.Header{ID: "w", Receiver: "simulated"}, Visits: visits(t, s, sc, clock)}
	return w
}

// visits stands at every point of the ground floor, four facings of two scans.
func visits(t testing.TB, s *site.Site, sc *synthetic.Scanner, clock *synthetic.SimulatedClock) []walk.Visit {
	t.Helper()
	var out []walk.Visit
	for _, pt := range s.Floors[0].Points {
		out = append(out, visit(t, s.Floors[0].ID, pt.ID, pt.At, sc, clock))
	}
	return out
}

func visit(t testing.TB, floor, point string, at orb.Point, sc *synthetic.Scanner, clock *synthetic.SimulatedClock) walk.Visit {
	t.Helper()
	v := walk.Visit{ID: "v" + point, Point: point, Floor: floor, At: at}
	for _, deg := range []float64{0, 90, 180, 270} {
		sc.Place(floor, at, deg)
		since := clock.Now()
		for range 2 {
			sw, err := sc.Scan(context.Background(), radio.Request{NotBefore: since})
			require.NoError(t, err)
			v.Scans = append(v.Scans, walk.Scan{Time: sw.Started, FacingDeg: deg, Readings: sw.Readings()})
		}
	}
	return v
}
