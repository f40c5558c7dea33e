package grouping

import (
	"fmt"
	"math"
	"strings"

	"footrule/internal/median"
	"footrule/internal/say"
)

// Limits of what looks like a phone's hotspot.
const (
	hotspotPlaces = 2    // heard at no more places
	hotspotShare  = 0.05 // or at no more than this share of all
	// movingDB is the sd of levels at one place from which the sender seems to
	// move: facings and scatter make 2 to 4 dB (common practice).
	movingDB = 6.0
)

// nomap at the end of an SSID asks not to be used for locating (common practice).
const nomap = "_nomap"

// keptOut says why a BSS that is not on the plan is left out by default; empty
// where it is not. alone says that no other BSS shares its SSID or the pattern of
// its address.
func (h *Heard) keptOut(b *BSS, alone bool) string {
	if b.ID.Group() || b.ID.IsZero() {
		return "a group address or all zeros, which no BSS has"
	}
	for _, s := range b.SSIDs {
		if strings.HasSuffix(s, nomap) {
			return fmt.Sprintf("its SSID ends in %s: its owner asks not to be used for locating", nomap)
		}
	}
	if !b.ID.Local() || !alone || len(b.SSIDs) > 1 {
		return ""
	}
	why := "looks like a phone's hotspot: locally administered, alone with its SSID, "
	if few := max(hotspotPlaces, int(hotspotShare*float64(len(h.Places)))); len(h.Places) > 2*hotspotPlaces && b.Places <= few {
		return why + fmt.Sprintf("heard at %d of %s", b.Places, say.Count(len(h.Places), "place"))
	}
	if sd := b.moves(); sd >= movingDB {
		return why + fmt.Sprintf("its level at one place varies by an sd of %.0f dB", sd)
	}
	return ""
}

// moves is the median, over places with at least three samples, of the standard
// deviation there in dB; NaN where there is no such place.
func (b *BSS) moves() float64 {
	at := map[int][]float64{}
	for _, s := range b.Samples {
		at[s.Place] = append(at[s.Place], s.DBm)
	}
	var sds []float64
	for _, v := range at {
		if len(v) < 3 {
			continue
		}
		m, q := 0.0, 0.0
		for _, x := range v {
			m += x / float64(len(v))
		}
		for _, x := range v {
			q += (x - m) * (x - m)
		}
		sds = append(sds, math.Sqrt(q/float64(len(v)-1)))
	}
	return median.Of(sds)
}
