package grouping

import (
	"bytes"
	"cmp"
	"slices"

	"footrule/internal/radio"
	"footrule/internal/site"
	"footrule/internal/walk"
)

// Sample is one BSS in one scan.
type Sample struct {
	Scan    int // place among all scans of the walks
	Place   int // index into Heard.Places
	FreqMHz int // 0 where unknown
	DBm     float64
}

// BSS is what the walks heard of one BSSID.
type BSS struct {
	ID           radio.BSSID
	SSIDs        []string // not empty ones, each once, the most frequent first; hostile text
	FreqMHz      int      // the most frequent, 0 where unknown
	Samples      []Sample // ascending by Scan
	Places       int      // where it was heard
	StrongestDBm float64
	weakestDBm   float64
	freqs        []int // all, the most frequent first
}

// Heard is what walks heard, scan by scan.
type Heard struct {
	Scans  int
	Places []walk.Place
	BSSs   []BSS           // ascending by ID
	Sets   []MultipleBSSID // that beacons announced, ascending by Transmitted; of one that changed, the latest
}

// Listen gathers the standing visits of walks. A BSSID that a scan lists twice
// counts as first listed.
func Listen(s *site.Site, walks []walk.Walk) Heard {
	var h Heard
	places := map[walk.Place]int{}
	index := map[radio.BSSID]int{}
	type tally struct {
		ssids  map[string]int
		freqs  map[int]int
		places map[int]bool
	}
	var tallies []tally
	sets := map[radio.BSSID]int{}
	for wi := range walks {
		for _, v := range walks[wi].Standing() {
			key := walk.Place{Floor: s.FloorIndex(v.Floor), Point: v.Point}
			if v.Point == "" {
				key.At = v.At
			}
			p, ok := places[key]
			if !ok {
				p = len(h.Places)
				places[key] = p
				h.Places = append(h.Places, key)
			}
			for _, sc := range v.Scans {
				n := h.Scans
				h.Scans++
				for _, r := range sc.Readings {
					if r.MaxBSSIDIndicator > 0 {
						sets[r.BSSID] = r.MaxBSSIDIndicator
					}
					i, ok := index[r.BSSID]
					if !ok {
						i = len(h.BSSs)
						index[r.BSSID] = i
						h.BSSs = append(h.BSSs, BSS{ID: r.BSSID, StrongestDBm: r.RSSIDBm, weakestDBm: r.RSSIDBm})
						tallies = append(tallies, tally{map[string]int{}, map[int]int{}, map[int]bool{}})
					}
					b, t := &h.BSSs[i], &tallies[i]
					if m := len(b.Samples); m > 0 && b.Samples[m-1].Scan == n {
						continue
					}
					b.Samples = append(b.Samples, Sample{Scan: n, Place: p, FreqMHz: r.FreqMHz, DBm: r.RSSIDBm})
					b.StrongestDBm, b.weakestDBm = max(b.StrongestDBm, r.RSSIDBm), min(b.weakestDBm, r.RSSIDBm)
					if r.SSID != "" {
						t.ssids[r.SSID]++
					}
					if r.FreqMHz != 0 {
						t.freqs[r.FreqMHz]++
					}
					t.places[p] = true
				}
			}
		}
	}
	for i := range h.BSSs {
		b, t := &h.BSSs[i], &tallies[i]
		b.SSIDs = frequent(t.ssids)
		if b.freqs = frequent(t.freqs); len(b.freqs) > 0 {
			b.FreqMHz = b.freqs[0]
		}
		b.Places = len(t.places)
	}
	for b, n := range sets {
		h.Sets = append(h.Sets, MultipleBSSID{Transmitted: b, MaxIndicator: n})
	}
	slices.SortFunc(h.Sets, func(a, b MultipleBSSID) int { return bytes.Compare(a.Transmitted[:], b.Transmitted[:]) })
	slices.SortFunc(h.BSSs, func(a, b BSS) int { return bytes.Compare(a.ID[:], b.ID[:]) })
	return h
}

// frequent lists the keys, the most frequent first and equals in their order.
func frequent[K cmp.Ordered](n map[K]int) []K {
	var out []K
	for k := range n {
		out = append(out, k)
	}
	slices.SortFunc(out, func(a, b K) int { return cmp.Or(cmp.Compare(n[b], n[a]), cmp.Compare(a, b)) })
	return out
}

// band is the band that the BSS was heard in; empty where unknown.
func (b *BSS) band() radio.Band {
	band, _ := radio.BandOf(b.FreqMHz)
	return band
}

// mayShare reports whether a and b were ever on one channel, as far as is known.
func mayShare(a, b *BSS) bool {
	return a.FreqMHz == 0 || b.FreqMHz == 0 || slices.ContainsFunc(a.freqs, func(f int) bool { return slices.Contains(b.freqs, f) })
}

// ssid is the most frequent SSID; empty where none was heard.
func (b *BSS) ssid() string {
	if len(b.SSIDs) == 0 {
		return ""
	}
	return b.SSIDs[0]
}
