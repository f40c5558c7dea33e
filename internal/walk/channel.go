package walk

import (
	"slices"
	"sort"
	"time"

	"footrule/internal/radio"
)

// channels are those that one radio was heard on, in order of time.
type channels []onChannel

type onChannel struct {
	at      time.Time
	freqMHz int
}

// channelsOf gathers on which channel every radio was when; nil where every
// scan of the walks listened on all channels. Radios change channel now and
// then, so a radio is taken to be where it was last or next heard, whichever
// is nearer in time.
func channelsOf(walks []Walk, radioOf map[radio.BSSID]int, radios int) []channels {
	some := false
	for i := range walks {
		for _, v := range walks[i].Standing() {
			some = some || slices.ContainsFunc(v.Scans, func(s Scan) bool { return len(s.FreqsMHz) > 0 })
		}
	}
	if !some {
		return nil
	}
	out := make([]channels, radios)
	for i := range walks {
		for _, v := range walks[i].Standing() {
			for _, sc := range v.Scans {
				for _, r := range sc.Readings {
					if k, ok := radioOf[r.BSSID]; ok && r.FreqMHz != 0 {
						out[k] = append(out[k], onChannel{sc.Time, r.FreqMHz})
					}
				}
			}
		}
	}
	for k, c := range out {
		slices.SortStableFunc(c, func(a, b onChannel) int { return a.at.Compare(b.at) })
		// Of a run on one channel the ends tell all.
		short := c[:0]
		for i := range c {
			if n := len(short); n >= 2 && short[n-1].freqMHz == c[i].freqMHz && short[n-2].freqMHz == c[i].freqMHz {
				short[n-1] = c[i]
			} else {
				short = append(short, c[i])
			}
		}
		out[k] = short
	}
	return out
}

// listened reports whether a scan of some channels could have heard the radio.
// Of one that was never heard with its channel nobody knows where it is, and
// a scan of some channels says nothing of it.
func (c channels) listened(s *Scan) bool {
	if len(c) == 0 {
		return false
	}
	i := sort.Search(len(c), func(i int) bool { return !c[i].at.Before(s.Time) })
	if i == len(c) || i > 0 && s.Time.Sub(c[i-1].at) <= c[i].at.Sub(s.Time) {
		i--
	}
	return slices.Contains(s.FreqsMHz, c[i].freqMHz)
}

// channelSet puts channels into the order of a Scan; nil for none.
func channelSet(freqsMHz []int) []int {
	if len(freqsMHz) == 0 {
		return nil
	}
	out := slices.Clone(freqsMHz)
	slices.Sort(out)
	return slices.Compact(out)
}
