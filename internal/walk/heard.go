package walk

import (
	"bytes"
	"slices"

	"footrule/internal/radio"
)

// Means gives every BSSID that a visit heard with the mean of its levels over
// the scans that heard it, in ascending BSSID; name and channel are the first.
func (v *Visit) Means() []radio.Reading {
	n := map[radio.BSSID]int{}
	at := map[radio.BSSID]int{}
	var out []radio.Reading
	for _, sc := range v.Scans {
		for _, r := range sc.Readings {
			k, ok := at[r.BSSID]
			if !ok {
				k = len(out)
				at[r.BSSID] = k
				out = append(out, r)
			}
			n[r.BSSID]++
			out[k].RSSIDBm += (r.RSSIDBm - out[k].RSSIDBm) / float64(n[r.BSSID])
		}
	}
	slices.SortFunc(out, func(a, b radio.Reading) int { return bytes.Compare(a.BSSID[:], b.BSSID[:]) })
	return out
}

// HeardIn counts the access points that a visit heard at or above the walk's
// threshold: those with a radio whose mean level, over the scans that heard it,
// is there. A box with two bands counts once.
func (s *Session) HeardIn(v *Visit) int {
	stays := Stays(s.site, []Walk{{Visits: []Visit{*v}}}, ByVisit)
	if len(stays) == 0 {
		return 0
	}
	aps := map[int]bool{}
	for k, r := range s.site.Radios() {
		if l := stays[0].Levels[k]; l.Heard > 0 && l.MeanDBm >= s.walk.Settings.ThresholdDBm {
			aps[r.AP] = true
		}
	}
	return len(aps)
}
