package route

import (
	"math"

	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// Tour is points in the order in which to walk them.
type Tour struct {
	Order   []int   // places in the given slice, each once
	LengthM float64 // along walkable ways, from the start where one was given; legs without a way enter by their straight line
	NoWay   int     // legs that no walkable way was found for
}

// noWayM is added to the straight line where there is no way, so that a tour
// has as few such legs as can be: more than any way on a floor is long, and no
// more, so that sums keep their digits.
const noWayM = 1e5

// Order makes a short open tour of points along walkable ways: from start to
// wherever it ends, or with start nil between whichever two points are best.
//
// Greedy edges, then 2-opt and Or-opt moves over the nearest 10 neighbours by
// walkable way (Bentley 1992), then rounds of a local double bridge and repair
// (Martin, Otto and Felten 1991), kept where they shorten the tour. The draws
// are those of a fixed seed: equal input gives an equal tour.
func Order(f *site.Floor, pts []site.Point, start *orb.Point) Tour {
	return NewWays(f).Order(pts, start)
}

// Order is [Order] on a floor whose ways are known.
func (w *Ways) Order(pts []site.Point, start *orb.Point) Tour {
	if len(pts) == 0 {
		return Tour{}
	}
	m := &metric{ways: w}
	for _, p := range pts {
		m.places = append(m.places, w.place(p.At))
	}
	home := -1
	if start != nil {
		home = len(m.places)
		m.places = append(m.places, w.place(*start))
	}
	m.remember()
	path := newSearch(m, home).run()
	if home < 0 && path[len(path)-1] < path[0] { // of the two senses the one that starts with the earlier point
		for i, j := 0, len(path)-1; i < j; i, j = i+1, j-1 {
			path[i], path[j] = path[j], path[i]
		}
	}
	var t Tour
	for i, c := range path {
		if int(c) != home {
			t.Order = append(t.Order, int(c))
		}
		if i == 0 {
			continue
		}
		p, q := &m.places[path[i-1]], &m.places[c]
		d, _, _ := w.between(p, q)
		if math.IsInf(d, 1) {
			d = planar.Distance(p.at, q.at)
			t.NoWay++
		}
		t.LengthM += d
	}
	return t
}

// mostKnown is the most distances that are remembered: 16 bytes each, 32 MB.
const mostKnown = 1 << 21

// metric is the distances between places. It remembers the latest ones, in
// slots by a hash of the pair.
type metric struct {
	ways   *Ways
	places []place
	known  []known
}

type known struct {
	i, j int32 // i < j; equal in an empty slot
	dist float64
}

func (m *metric) remember() {
	n := 1 << 8
	for n < 64*len(m.places) && n < mostKnown {
		n *= 2
	}
	m.known = make([]known, n)
}

// straight is never above dist.
func (m *metric) straight(i, j int32) float64 {
	p, q := m.places[i].at, m.places[j].at
	dx, dy := p[0]-q[0], p[1]-q[1]
	return math.Sqrt(dx*dx + dy*dy)
}

func (m *metric) dist(i, j int32) float64 {
	if i == j {
		return 0
	}
	if j < i {
		i, j = j, i
	}
	// Multiplicative hashing (Knuth, volume 3, section 6.4): the upper bits count.
	hash := (uint64(i)<<32 | uint64(j)) * 0x9e3779b97f4a7c15
	slot := &m.known[hash>>32&uint64(len(m.known)-1)]
	if slot.i != i || slot.j != j {
		d, _, _ := m.ways.between(&m.places[i], &m.places[j])
		if math.IsInf(d, 1) {
			d = m.straight(i, j) + noWayM
		}
		*slot = known{i, j, d}
	}
	return slot.dist
}
