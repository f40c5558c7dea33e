package capture

import (
	"math"
	"slices"
	"time"

	"footrule/internal/radio"
)

// list turns the scans of a text into scans with times, without stale results.
func (s *source) list(scans []listing) error {
	offset, timed := s.bootOffset(scans)
	all := len(scans) > 0
	stale := 0
	for i := range scans {
		l := &scans[i]
		sc, oldest := l.fold(s.o.MaxAge)
		if len(sc.Heard) == 0 && len(l.bss)+l.bad > 0 { // it heard something, so it is no silence
			stale++
			continue
		}
		sc.Took = oldest
		switch {
		case !l.stamp.IsZero() && l.begins:
			sc.Time = l.stamp
		case !l.stamp.IsZero():
			sc.Time = l.stamp.Add(-oldest)
		case timed && !math.IsNaN(l.end):
			sc.Time = bootTime(offset, l.end).Add(-oldest)
		case !s.o.Time.IsZero():
			sc.Time = s.o.Time.UTC().Add(-oldest)
			all = all && len(scans) == 1
		default:
			all = false
		}
		s.c.Scans = append(s.c.Scans, sc)
	}
	if stale > 0 {
		s.warn("%d of %d scans hold nothing but results that can't be used or are older than %v: they are left out", stale, len(scans), s.o.MaxAge)
	}
	if len(s.c.Scans) == 0 {
		return s.fail(0, "every result in it is older than "+s.o.MaxAge.String(), "scan anew, or allow an older age")
	}
	s.c.Timed = all
	if !all && len(s.c.Scans) > 1 {
		s.warn("not every scan says when it was taken: write a time before each (date -Is), or scan with a newer iw")
	}
	if all {
		slices.SortStableFunc(s.c.Scans, func(a, b Scan) int { return a.Time.Compare(b.Time) })
	}
	return nil
}

// fold makes a scan of the results not older than maxAge; of a BSSID that is
// listed twice (on two frequencies) the younger result counts. A result
// without an age counts as listed at once; where only boot clocks are given,
// ages count from the latest of them.
func (l *listing) fold(maxAge time.Duration) (Scan, time.Duration) {
	latest := math.Inf(-1)
	for _, b := range l.bss {
		if b.booted {
			latest = max(latest, b.boot)
		}
	}
	var sc Scan
	var oldest time.Duration
	at := make(map[radio.BSSID]int, len(l.bss))
	for _, b := range l.bss {
		if !b.age && b.booted {
			b.heard.Age = time.Duration(min(latest-b.boot, 1e9) * float64(time.Second))
		}
		if b.heard.Age > maxAge {
			sc.DroppedStale++
			continue
		}
		oldest = max(oldest, b.heard.Age)
		k, twice := at[b.heard.BSSID]
		if !twice {
			at[b.heard.BSSID] = len(sc.Heard)
			sc.Heard = append(sc.Heard, b.heard)
		} else if b.heard.Age < sc.Heard[k].Age {
			sc.Heard[k] = b.heard
		}
	}
	return sc, oldest
}

// bootOffset is the time at which the boot clock stood at 0, from the first
// scan that has both clocks, else from Options.Time as the end of the last
// scan. There is none where the boot clock runs back, as after a new start.
func (s *source) bootOffset(scans []listing) (time.Time, bool) {
	last := math.Inf(-1)
	var offset time.Time
	for i := range scans {
		l := &scans[i]
		if math.IsNaN(l.end) {
			continue
		}
		if l.end < last {
			s.warn("the boot clock runs back between two scans: it tells no times here")
			return time.Time{}, false
		}
		last = l.end
		if !l.stamp.IsZero() && !l.begins && offset.IsZero() {
			offset = bootTime(l.stamp, -l.end)
		}
	}
	if offset.IsZero() && !s.o.Time.IsZero() && last >= 0 {
		offset = bootTime(s.o.Time.UTC(), -last)
	}
	return offset, !offset.IsZero()
}

// bootTime adds seconds of the boot clock, which has millisecond steps.
func bootTime(t time.Time, s float64) time.Time {
	return t.Add(time.Duration(math.Round(s*1000)) * time.Millisecond)
}
