package grouping

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"footrule/internal/radio"
	"footrule/internal/say"
)

// links are weighed pairs, worked out when they are first asked for.
type links struct {
	prior float64
	every bool // complete linkage
	weigh func(i, j int) []Evidence
	memo  map[[2]int][]Evidence
}

func newLinks(prior float64, weigh func(i, j int) []Evidence) *links {
	return &links{prior: prior, weigh: weigh, memo: map[[2]int][]Evidence{}}
}

func (l *links) evidence(i, j int) []Evidence {
	if i > j {
		i, j = j, i
	}
	ev, ok := l.memo[[2]int{i, j}]
	if !ok {
		ev = l.weigh(i, j)
		l.memo[[2]int{i, j}] = ev
	}
	return ev
}

func (l *links) sum(i, j int) float64 { return sum(l.prior, l.evidence(i, j)) }

// between is the mean sum over the pairs of two groups (average linkage), or
// with every the least of them (complete linkage); −Inf where a pair is ruled out.
func (l *links) between(a, b []int) float64 {
	total, least := 0.0, math.Inf(1)
	for _, i := range a {
		for _, j := range b {
			s := l.sum(i, j)
			total, least = total+s, min(least, s)
		}
	}
	if l.every {
		return least
	}
	return total / float64(len(a)*len(b))
}

// cluster joins members whose sum is above 0, the best pairs first, as long as
// what is between the two groups that this joins is above 0 too.
func (l *links) cluster(members []int, candidate func(i, j int) bool) [][]int {
	type edge struct {
		i, j int
		sum  float64
	}
	var edges []edge
	group := map[int][]int{}
	for x, i := range members {
		group[i] = []int{i}
		for _, j := range members[x+1:] {
			if candidate(i, j) {
				if s := l.sum(i, j); s > 0 {
					edges = append(edges, edge{i, j, s})
				}
			}
		}
	}
	slices.SortStableFunc(edges, func(a, b edge) int { return cmp.Compare(b.sum, a.sum) })
	for _, e := range edges {
		a, b := group[e.i], group[e.j]
		if a[0] == b[0] || !(l.between(a, b) > 0) {
			continue
		}
		joined := slices.Concat(a, b)
		slices.Sort(joined)
		for _, k := range joined {
			group[k] = joined
		}
	}
	var out [][]int
	for _, i := range members {
		if g := group[i]; g[0] == i {
			out = append(out, g)
		}
	}
	return out
}

// transmitter is a group of BSSs that are taken for one radio.
type transmitter struct {
	members []int // into Heard.BSSs
	freqMHz int
	ssids   map[string]bool
	byPlace map[int]float64 // mean level in dBm
}

func (h *Heard) transmitter(members []int) transmitter {
	t := transmitter{members: members, ssids: map[string]bool{}, byPlace: map[int]float64{}}
	n, freqs := map[int]int{}, map[int]int{}
	for _, i := range members {
		b := &h.BSSs[i]
		if b.FreqMHz != 0 {
			freqs[b.FreqMHz] += len(b.Samples)
		}
		for _, s := range b.SSIDs {
			t.ssids[s] = true
		}
		for _, s := range b.Samples {
			t.byPlace[s.Place] += s.DBm
			n[s.Place]++
		}
	}
	for p := range t.byPlace {
		t.byPlace[p] /= float64(n[p])
	}
	if f := frequent(freqs); len(f) > 0 {
		t.freqMHz = f[0]
	}
	return t
}

// oneAP weighs whether two radios are in one access point.
func (h *Heard) oneAP(a, b *transmitter) []Evidence {
	out := []Evidence{h.nearness(a, b)}
	bandA, okA := radio.BandOf(a.freqMHz)
	bandB, okB := radio.BandOf(b.freqMHz)
	switch {
	case okA && a.freqMHz == b.freqMHz:
		out = append(out, Evidence{Channel, math.Inf(-1), 2, math.NaN(),
			fmt.Sprintf("both on %s, which two radios of one access point do not share", channelText(a.freqMHz))})
	case okA && okB && bandA == bandB:
		out = append(out, Evidence{Channel, bandTwice, 2, math.NaN(),
			fmt.Sprintf("both in %s GHz, and most access points have one radio a band", bandA)})
	}
	var diff, la, lb []float64
	for p := range h.Places {
		x, okA := a.byPlace[p]
		y, okB := b.byPlace[p]
		if okA && okB {
			diff, la, lb = append(diff, x-y), append(la, x), append(lb, y)
		}
	}
	out = append(out, placeLevels(diff, la, lb))
	if len(a.ssids) > 0 && len(b.ssids) > 0 {
		n := 0
		for s := range a.ssids {
			if b.ssids[s] {
				n++
			}
		}
		e := Evidence{SSID, ssidNone, n, math.NaN(), "no SSID in common"}
		if n > 0 {
			e.Weight, e.Text = ssidShared, say.Count(n, "SSID")+" in common"
		}
		out = append(out, e)
	}
	return out
}

// nearness weighs the least distance between addresses of two radios, with the
// bits that makers vary in the first octet left aside (common practice).
func (h *Heard) nearness(a, b *transmitter) Evidence {
	const aside = uint64(firstOctetBits) << 40
	least, octets := uint64(math.MaxUint64), false
	for _, i := range a.members {
		for _, j := range b.members {
			x, y := number(h.BSSs[i].ID)&^aside, number(h.BSSs[j].ID)&^aside
			least = min(least, max(x, y)-min(x, y))
			octets = octets || x>>8 == y>>8
		}
	}
	e := Evidence{Kind: Address, N: 1, Value: float64(least), Weight: octetsFar, Text: "addresses far from each other"}
	if octets {
		e.Weight, e.Text = octetsSame, fmt.Sprintf("addresses equal but for the last octet, %d apart", least)
	}
	if least <= 16 {
		e.Weight = octetsSame + octetsNear
		e.Text = fmt.Sprintf("addresses %d apart", least)
	}
	return e
}

// placeLevels weighs whether the levels of two radios rise and fall together
// from place to place.
func placeLevels(diff, a, b []float64) Evidence {
	n := len(diff)
	e := Evidence{Kind: ByPlace, N: n, Value: math.NaN()}
	if n < fewPlaces {
		e.Text = fmt.Sprintf("both heard at %s, too few to compare", say.Count(n, "place"))
		return e
	}
	_, mad := spread(diff)
	e.Value = mad
	r := correlation(a, b)
	switch {
	case mad <= placeTightDB && r >= placeTightR:
		e.Weight = placesTight
	case mad <= placeLooseDB && r >= placeLooseR:
		e.Weight = placesLoose
	case mad >= placeApartDB || r < placeApartR:
		e.Weight = placesApart
	default:
		e.Weight = placesWide
	}
	e.Text = fmt.Sprintf("levels by place: %s, median absolute difference %.1f dB about their offset, over %s", rText(r), mad, say.Count(n, "place"))
	return e
}

// addresses lists the BSSIDs of members.
func (h *Heard) addresses(members []int) []radio.BSSID {
	out := make([]radio.BSSID, len(members))
	for k, i := range members {
		out[k] = h.BSSs[i].ID
	}
	return out
}
