//go:build linux

package main

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"footrule/internal/radio"
	"footrule/internal/radio/nl80211"

	"github.com/mdlayher/wifi"
)

// measures: what sweeps give, held against what the air sent.
func (l *lab) measures() {
	l.elements()
	l.levels()
	l.freshness()
	l.durations()
	l.refreshed()
	l.crowd()
	l.walk()
	l.lossy()
}

// truth is what the air says of its access points.
func (l *lab) truth() map[radio.BSSID]int {
	out := map[radio.BSSID]int{}
	for _, w := range strings.Fields(l.air("levels")) {
		f := strings.Split(w, ",")
		b, err := radio.ParseBSSID(f[0])
		must(err)
		var level int
		_, err = fmt.Sscan(f[2], &level)
		must(err)
		out[b] = level
	}
	return out
}

// elements: what access points announce comes through the kernel.
func (l *lab) elements() {
	l.air("clear",
		"ap 02:00:5e:20:00:10 freq=5180 level=-50 ssid=depot country=DE load=7,128 tpc=17 profiles=guest,floor",
		"ap 02:00:5e:20:00:20 freq=2412 level=-60 ssidhex=1b5b33316d0a00ff",
		"ap 02:00:5e:20:00:30 freq=2437 level=-70 ssid=unseen hidden",
		"ap 02:00:5e:20:00:40 freq=2462 level=-80 ssid=broken tpc=-3 broken")
	got := map[string]nl80211.BSS{}
	for n := 0; n < 5 && len(got) < 4+2; n++ { // the kernel lists the two profiles as well
		r, err := sweep(radio.Request{FreqsMHz: channels}, nl80211.Options{})
		must(err)
		for _, b := range r.BSSs {
			got[b.BSSID.String()] = b
		}
	}
	main := got["02:00:5e:20:00:10"]
	l.pass(main.Country == "DE" && main.Load != nil && main.Load.Stations == 7 && main.TxPowerDBm != nil && *main.TxPowerDBm == 17,
		"country, load, transmit power", "%q, %+v, %v", main.Country, main.Load, main.TxPowerDBm != nil)
	profiles := "none"
	if main.Multiple != nil {
		profiles = fmt.Sprintf("%d %+v", main.Multiple.MaxIndicator, main.Multiple.Profiles)
	}
	l.pass(profiles == "2 [{BSSID:02:00:5e:20:00:11 SSID:guest} {BSSID:02:00:5e:20:00:12 SSID:floor}]", "multiple BSSIDs", "%s", profiles)
	l.pass(got["02:00:5e:20:00:20"].SSID == "\x1b[31m\n\x00\xff", "hostile SSID", "%q", got["02:00:5e:20:00:20"].SSID)
	hidden := got["02:00:5e:20:00:30"]
	l.pass(hidden.SSID == "" && hidden.SignalDBm == -70, "hidden SSID", "%q at %g dBm", hidden.SSID, hidden.SignalDBm)
	broken, there := got["02:00:5e:20:00:40"]
	l.pass(there && broken.FreqMHz == 2462 && broken.SignalDBm == -80 && broken.SSID == "broken",
		"malformed elements keep their level", "%v %q %d MHz %g dBm", there, broken.SSID, broken.FreqMHz, broken.SignalDBm)
}

// levels: each level that a receiver can report comes out as it went in.
func (l *lab) levels() {
	want := map[radio.BSSID]int{}
	l.air("clear", "floor -120")
	for n, level := 0, -1; level >= -119; n, level = n+1, level-2 {
		b := radio.BSSID{2, 0, 0x5e, 0x21, 0, byte(n)}
		want[b] = level
		l.air(fmt.Sprintf("ap %s freq=%d level=%d", b, channels[n%len(channels)], level))
	}
	got := map[radio.BSSID]int{}
	for n := 0; n < 5 && len(got) < len(want); n++ {
		r, err := sweep(radio.Request{FreqsMHz: channels, Passive: true}, nl80211.Options{})
		must(err)
		for _, b := range r.BSSs {
			got[b.BSSID] = int(b.SignalDBm)
		}
	}
	wrong := 0
	for b, level := range want {
		if v, ok := got[b]; !ok || v != level {
			wrong++
		}
	}
	l.air("floor -95")
	l.pass(wrong == 0 && len(got) == len(want), "levels from -119 to -1 dBm", "%d of %d exact", len(want)-wrong, len(want))
}

// freshness: what has vanished is not in the next sweep, though the kernel
// remembers it for half a minute.
func (l *lab) freshness() {
	l.air(site...)
	s := open(nl80211.Options{})
	defer s.Close()
	gone := radio.BSSID{2, 0, 0x5e, 0x10, 2, 0}
	heard := func(req radio.Request) (bool, nl80211.Result) {
		r, err := s.ScanBSS(context.Background(), req)
		must(err)
		return slices.ContainsFunc(r.BSSs, func(b nl80211.BSS) bool { return b.BSSID == gone }), r
	}
	before := false
	for n := 0; n < 5 && !before; n++ {
		before, _ = heard(radio.Request{FreqsMHz: channels})
	}
	l.air("drop " + gone.String())
	after, r := heard(radio.Request{FreqsMHz: channels})
	l.pass(before && !after && len(r.BSSs) >= enough, "vanished access point", "heard before: %v, after: %v", before, after)
	oldest := time.Duration(0)
	for _, b := range r.BSSs {
		oldest = max(oldest, b.Age)
	}
	l.pass(oldest < r.Took+50*time.Millisecond, "ages", "oldest of a sweep of %v: %v", r.Took.Round(time.Millisecond), oldest.Round(time.Millisecond))
	_, r = heard(radio.Request{FreqsMHz: channels, NotBefore: time.Now().Add(time.Hour)})
	l.pass(len(r.BSSs) == 0 && r.DroppedStale >= enough, "not before a moment", "%d kept, %d dropped", len(r.BSSs), r.DroppedStale)
}

// durations: seconds a sweep. The bounds leave room for a loaded machine; that
// a limited sweep is faster by far is the point.
func (l *lab) durations() {
	l.air(site...)
	took := func(req radio.Request) (time.Duration, int) {
		r, err := sweep(req, nl80211.Options{})
		must(err)
		return r.Took.Round(10 * time.Millisecond), len(r.BSSs)
	}
	active, a := took(radio.Request{FreqsMHz: channels})
	passive, p := took(radio.Request{FreqsMHz: channels, Passive: true})

	// The sweeper: a full sweep first, then the site's channels, and a changed
	// channel is found by the next full one.
	s := open(nl80211.Options{})
	defer s.Close()
	w, err := nl80211.NewSweeper(s, nil, 4, func(b radio.BSSID) bool { return b[3] == 0x10 })
	must(err)
	var all time.Duration
	var seconds []string
	counts := []int{}
	changed := radio.BSSID{2, 0, 0x5e, 0x10, 5, 0}
	var there []bool
	for n := range 5 {
		if n == 1 {
			l.air("ap 02:00:5e:10:05:00 freq=5240 at=35,20 ssid=depot")
		}
		got, err := w.Scan(context.Background(), radio.Request{})
		must(err)
		if n == 0 {
			all = got.Took
		}
		seconds = append(seconds, fmt.Sprintf("%.2f", got.Took.Seconds()))
		counts = append(counts, len(got.Heard))
		there = append(there, slices.ContainsFunc(got.Heard, func(h radio.Heard) bool { return h.BSSID == changed }))
	}
	l.pass(a >= enough && p >= enough && 3*active < all && 3*passive < all, "seconds a sweep",
		"5 channels active %v, passive %v; all channels %v", active, passive, all.Round(10*time.Millisecond))
	l.pass(slices.Equal(there[1:], []bool{false, false, false, true}) && slices.Contains(w.FreqsMHz(), 5240), "changed channel",
		"heard %v in %s s; channels now %v", counts, strings.Join(seconds, " "), w.FreqsMHz())
}

// refreshed: the share of access points that one active scan hears anew, where
// they answer only the wildcard and their own SSID: our trigger against the
// Scan of mdlayher/wifi.
func (l *lab) refreshed() {
	l.air("clear")
	const each, scans = 3, 6
	for n, f := range channels {
		for k := range each {
			l.air(fmt.Sprintf("ap 02:00:5e:22:%02x:%02x freq=%d level=-60 ssid=depot strict", n, k, f))
		}
	}
	total := scans * each * len(channels)
	c, err := wifi.New()
	must(err)
	defer c.Close()
	all, err := c.Interfaces()
	must(err)
	ours, theirs := 0, 0
	var oursTook, theirsTook time.Duration
	for range scans {
		r, err := sweep(radio.Request{FreqsMHz: channels}, nl80211.Options{})
		must(err)
		ours += len(r.BSSs)
		oursTook += r.Took
	}
	// The library can't limit channels, so it is timed on all of them; once
	// will do.
	const libraryScans = 1
	for range libraryScans {
		began := time.Now()
		ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
		must(c.Scan(ctx, all[0]))
		cancel()
		took := time.Since(began)
		theirsTook += took
		bss, err := c.AccessPoints(all[0])
		must(err)
		for _, b := range bss {
			if b.Frequency != 0 && b.LastSeen < took {
				theirs++
			}
		}
	}
	share := float64(ours) / float64(total)
	theirShare := float64(theirs) / float64(total) * scans / libraryScans
	// All but for dwells in which the emulated machine falters.
	l.pass(share > 0.9 && theirShare < share, "refreshed by one scan",
		"ours %.0f %% in %.2f s a scan; mdlayher/wifi %.0f %% in %.2f s",
		100*share, oursTook.Seconds()/scans, 100*theirShare, theirsTook.Seconds()/libraryScans)
}

// crowd: 300 access points with levels that differ.
func (l *lab) crowd() {
	const total = 300
	freqs := []int{2412, 2437, 2462, 5180, 5200, 5220, 5240, 5745, 5765, 5785, 5805, 5825}
	l.air("clear")
	for n := range total {
		l.air(fmt.Sprintf("ap 02:00:5e:30:%02x:%02x freq=%d level=%d ssid=crowd-%d", n>>8, n&255, freqs[n%len(freqs)], -90+n%60, n))
	}
	want := l.truth()
	got := map[radio.BSSID]float64{}
	wrong, sweeps := 0, 0
	var first nl80211.Result
	for sweeps < 5 && len(got) < total {
		r, err := sweep(radio.Request{FreqsMHz: freqs, Passive: true}, nl80211.Options{})
		must(err)
		if sweeps == 0 {
			first = r
		}
		sweeps++
		for _, b := range r.BSSs {
			got[b.BSSID] = b.SignalDBm
			if b.SignalDBm != float64(want[b.BSSID]) {
				wrong++
			}
		}
	}
	l.pass(len(got) == total && wrong == 0 && len(first.BSSs) > total*8/10, "300 access points",
		"%d in the first sweep of %v, %d after %d, %d levels wrong", len(first.BSSs), first.Took.Round(10*time.Millisecond), len(got), sweeps, wrong)
}

// walk: at each point the levels are those of the model, and only what lies
// above the receiver's floor is heard.
func (l *lab) walk() {
	l.air("clear", "shadow 4", "seed 20", "floor -85")
	for n, f := range channels {
		l.air(fmt.Sprintf("ap 02:00:5e:40:00:%02x freq=%d at=%d,%d p1=-40 n=3.5 ssid=depot", n, f, 4+13*n, 3+9*(n%2)))
	}
	s := open(nl80211.Options{})
	defer s.Close()
	readings, worst, points := 0, 0.0, 0
	silent, missed, ghosts := 0, 0, 0
	began := time.Now()
	for y := 2.0; y < 16; y += 6 {
		for x := 2.0; x < 60; x += 8 {
			points++
			l.air(fmt.Sprintf("at %g %g", x, y))
			want := l.truth()
			got, err := s.Scan(context.Background(), radio.Request{FreqsMHz: channels})
			must(err)
			heard := map[radio.BSSID]bool{}
			for _, h := range got.Heard {
				heard[h.BSSID] = true
				readings++
				worst = max(worst, math.Abs(h.RSSIDBm-float64(want[h.BSSID])))
			}
			for b, level := range want {
				switch {
				case level < -85 && !heard[b]:
					silent++
				case level < -85:
					ghosts++
				case !heard[b]:
					missed++
				}
			}
		}
	}
	// An emulated machine may falter for a dwell now and then.
	l.pass(worst <= 1 && ghosts == 0 && missed <= readings/50 && readings > points && silent > 0, "walk",
		"%d points in %.1f s, %d readings, worst difference %g dB, %d silent as the model says, %d missed",
		points, time.Since(began).Seconds(), readings, worst, silent, missed)
	l.air("shadow 0", "floor -95")
}

// lossy: where frames are lost, a sweep misses access points as often as that,
// within five standard deviations of the binomial.
func (l *lab) lossy() {
	const loss, sweeps = 0.25, 20
	l.air(site...)
	for n := range channels { // no beacons but those of the dwell, no second chance by a probe
		l.air(fmt.Sprintf("ap 02:00:5e:10:%02x:00 freq=%d level=-60 ssid=depot silent", n+1, channels[n]))
	}
	l.air(fmt.Sprintf("loss %g", loss))
	heard := 0
	for range sweeps {
		r, err := sweep(radio.Request{FreqsMHz: channels, Passive: true}, nl80211.Options{})
		must(err)
		heard += len(r.BSSs)
	}
	l.air("loss 0")
	n := float64(sweeps * len(channels))
	share := float64(heard) / n
	// A dwell of 111 ms now and then holds two beacons of 102.4 ms, so the
	// share lies between those of one and of one and 8 % of two.
	low, high := 1-loss, 1-loss+0.08*loss*(1-loss)
	slack := 5 * math.Sqrt(loss*(1-loss)/n)
	l.pass(share > low-slack && share < high+slack, "lost frames", "%.0f %% heard where %.0f %% of the frames are lost", 100*share, 100*loss)
}
