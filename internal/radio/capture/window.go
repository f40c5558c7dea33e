package capture

import (
	"bytes"
	"fmt"
	"maps"
	"slices"
	"time"

	"footrule/internal/radio"
)

// windows cuts frames into scans.
//
// Laws:
//  1. Windows are Options.Window long and begin with the first frame of the
//     file, of whatever kind; a frame belongs to the window of its own time,
//     whatever its place in the file.
//  2. The level of a BSSID in a window is the arithmetic mean in dB of its
//     beacons and probe responses there.
//  3. A window in which any frame arrived whole is a scan, also when it holds
//     no beacon: the receiver listened and heard none. A window without one
//     is no scan: nothing shows that the receiver listened.
//  4. A scan listened on the channels that its frames of whatever kind came
//     in on, as far as they tell. One that missed a channel altogether says
//     nothing of the access points there.
//  5. The SSID is the first in the window that is not hidden; the frequency
//     that of the last frame; the age counts from the last frame to the end
//     of the window.
type windows struct {
	s     *source
	first time.Time
	at    map[int64]*window
	tuned map[int]bool
	off   int // frames with a level but without a frequency of a WLAN
}

// window is what arrived in one.
type window struct {
	heard map[radio.BSSID]*tally
	tuned []int // channels, unsorted; none where some frame does not tell
	mute  bool  // a frame did not tell
}

// listen enters where the receiver was tuned.
func (w *window) listen(freqMHz int) {
	if !inBand(freqMHz) {
		w.mute = true
	} else if !slices.Contains(w.tuned, freqMHz) {
		w.tuned = append(w.tuned, freqMHz)
	}
}

// freqsMHz lists the channels, ascending; nil where frames do not tell them.
func (w *window) freqsMHz() []int {
	if w.mute || len(w.tuned) == 0 {
		return nil
	}
	slices.Sort(w.tuned)
	return w.tuned
}

// tally gathers the frames of a BSSID in a window.
type tally struct {
	n       int
	sum     int // dBm
	ssid    string
	freqMHz int
	maxInd  int // max BSSID indicator
	last    time.Time
}

func newWindows(s *source) *windows {
	return &windows{s: s, at: map[int64]*window{}, tuned: map[int]bool{}}
}

func (w *windows) add(f frame) error {
	if w.first.IsZero() {
		w.first = f.time
	}
	carries := w.s.c.Frames.count(f)
	if f.kind == malformed || f.kind == badFCS {
		return nil
	}
	if inBand(f.tunedMHz) {
		w.tuned[f.tunedMHz] = true
	}
	k := int64(f.time.Sub(w.first) / w.s.o.Window)
	if f.time.Before(w.first.Add(time.Duration(k) * w.s.o.Window)) {
		k-- // division truncates towards zero
	}
	in := w.at[k]
	if in == nil {
		if err := w.s.take(); err != nil {
			return err
		}
		in = &window{heard: map[radio.BSSID]*tally{}}
		w.at[k] = in
	}
	in.listen(f.tunedMHz)
	if !carries {
		return nil
	}
	if !inBand(f.freqMHz) {
		w.off++
		return nil
	}
	t := in.heard[f.bssid]
	if t == nil {
		if err := w.s.take(); err != nil {
			return err
		}
		t = &tally{last: f.time}
		in.heard[f.bssid] = t
	}
	t.n++
	t.sum += f.dBm
	if t.ssid == "" {
		t.ssid = f.ssid
	}
	t.maxInd = max(t.maxInd, f.maxInd)
	if !f.time.Before(t.last) {
		t.last, t.freqMHz = f.time, f.freqMHz
	}
	return nil
}

func (w *windows) finish() error {
	c, n := w.s.c, &w.s.c.Frames
	used := n.Beacons + n.ProbeResponses - n.NoLevel - w.off
	if used == 0 {
		want := "capture beacons in monitor mode with radiotap headers"
		switch {
		case n.All == 0:
			return w.s.fail(0, "there is no packet in it", want)
		case n.Beacons+n.ProbeResponses > 0:
			return w.s.fail(0, fmt.Sprintf("none of %d beacons and probe responses carries a level in dBm and a channel", n.Beacons+n.ProbeResponses), want)
		default:
			return w.s.fail(0, fmt.Sprintf("none of %d packets is a beacon or a probe response (%d damaged, %d malformed, %d without a time)", n.All, n.BadFCS, n.Malformed, n.NoTime), want)
		}
	}
	for _, k := range slices.Sorted(maps.Keys(w.at)) {
		sc := Scan{Time: w.first.Add(time.Duration(k) * w.s.o.Window).UTC(), Took: w.s.o.Window, FreqsMHz: w.at[k].freqsMHz()}
		end := sc.Time.Add(sc.Took)
		for id, t := range w.at[k].heard {
			sc.Heard = append(sc.Heard, radio.Heard{
				Reading: radio.Reading{BSSID: id, SSID: t.ssid, FreqMHz: t.freqMHz, RSSIDBm: float64(t.sum) / float64(t.n), MaxBSSIDIndicator: t.maxInd},
				Age:     end.Sub(t.last),
			})
		}
		slices.SortFunc(sc.Heard, func(a, b radio.Heard) int { return bytes.Compare(a.BSSID[:], b.BSSID[:]) })
		c.Scans = append(c.Scans, sc)
	}
	c.Timed = true
	c.ListenedMHz = slices.Sorted(maps.Keys(w.tuned))
	w.doubts()
	return nil
}

// doubts warns of what was left out and of what silence does not mean.
func (w *windows) doubts() {
	n := &w.s.c.Frames
	for _, d := range []struct {
		n    int
		what string
	}{
		{n.BadFCS, "arrived damaged and are left out"},
		{n.Malformed, "are malformed and are left out"},
		{n.NoLevel, "are beacons or probe responses without a level in dBm and are left out"},
		{w.off, "tell no channel of a WLAN and are left out"},
		{n.NoTime, "carry no time and are left out"},
		{n.Foreign, "come from an interface without radiotap headers and are left out"},
	} {
		if d.n > 0 {
			w.s.warn("%d of %d frames %s", d.n, n.All, d.what)
		}
	}
	silent := 0
	for i := range w.s.c.Scans {
		if len(w.s.c.Scans[i].Heard) == 0 {
			silent++
		}
	}
	if 2*silent > len(w.s.c.Scans) {
		w.s.warn("%d of %d scans hold no beacon: if frames were filtered when they were captured, their silence means nothing", silent, len(w.s.c.Scans))
	}
	switch tuned := w.s.c.ListenedMHz; {
	case len(tuned) == 1:
		w.s.warn("the receiver listened on %d MHz alone: the silence of access points on other channels says nothing", tuned[0])
	case len(tuned) > 1:
		w.s.warn("the receiver moved over %d channels: a window of %v speaks only of the channels that it came to; take one as long as a whole round", len(tuned), w.s.o.Window)
	}
}
