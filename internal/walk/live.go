package walk

import (
	"slices"
	"time"

	"footrule/internal/radio"
)

// Now is one access point as the latest sweep heard it, on its strongest radio.
type Now struct {
	AP       int // index into Site.AccessPoints
	Radio    int // place in Site.Radios
	LevelDBm float64
}

func (s *Session) listen(sw radio.Sweep) {
	radioOf := s.site.RadioOf()
	refs := s.site.Radios()
	best := map[int]Now{}
	for _, h := range sw.Heard {
		k, ok := radioOf[h.BSSID]
		if !ok || !radio.LevelOK(h.RSSIDBm) {
			continue
		}
		ap := refs[k].AP
		if b, have := best[ap]; !have || h.RSSIDBm > b.LevelDBm {
			best[ap] = Now{AP: ap, Radio: k, LevelDBm: h.RSSIDBm}
		}
	}
	s.live = s.live[:0]
	for _, n := range best {
		s.live = append(s.live, n)
	}
	slices.SortFunc(s.live, func(a, b Now) int {
		if a.LevelDBm != b.LevelDBm {
			if a.LevelDBm > b.LevelDBm {
				return -1
			}
			return 1
		}
		return a.AP - b.AP
	})
	s.liveAt, s.hasLive = sw.Started.Add(sw.Took), true
}

// Live gives the access points of the latest sweep, strongest first, and when
// that sweep ended; ok is false before the first sweep.
func (s *Session) Live() (now []Now, at time.Time, ok bool) { return s.live, s.liveAt, s.hasLive }

// HeardNow counts the access points of the latest sweep at or above the
// threshold. A box with two bands counts once.
func (s *Session) HeardNow() int {
	n := 0
	for _, l := range s.live {
		if l.LevelDBm >= s.walk.Settings.ThresholdDBm {
			n++
		}
	}
	return n
}
