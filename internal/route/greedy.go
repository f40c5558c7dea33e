package route

import (
	"cmp"
	"math"
	"slices"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/quadtree"
)

// neighbours lists the nearest places of each place.
func neighbours(m *metric) [][]int32 {
	var bound orb.MultiPoint
	for i := range m.places {
		bound = append(bound, m.places[i].at)
	}
	tree := quadtree.New(bound.Bound().Pad(1))
	for i := range m.places {
		// In bounds by construction.
		_ = tree.Add(indexed{m.places[i].at, int32(i)})
	}
	out := make([][]int32, len(m.places))
	var buf []orb.Pointer
	for i := range out {
		buf = tree.KNearest(buf, m.places[i].at, nearStraight+1)
		var found []edge
		for _, p := range buf {
			if j := p.(indexed).i; j != int32(i) {
				found = append(found, edge{j, m.dist(int32(i), j)})
			}
		}
		slices.SortFunc(found, func(a, b edge) int {
			return cmp.Or(cmp.Compare(a.dist, b.dist), cmp.Compare(a.to, b.to))
		})
		for _, e := range found[:min(len(found), nearWalked)] {
			out[i] = append(out[i], e.to)
		}
	}
	return out
}

type indexed struct {
	at orb.Point
	i  int32
}

func (p indexed) Point() orb.Point { return p.at }

// greedy joins places by the shortest edges that leave a path, then the paths
// end to end, each to the nearest end left.
func (s *search) greedy() []int32 {
	n := int32(len(s.m.places))
	type pair struct {
		d    float64
		a, b int32
	}
	var pairs []pair
	for a := range n {
		for _, b := range s.near[a] {
			if a < b || !slices.Contains(s.near[b], a) {
				pairs = append(pairs, pair{s.m.dist(a, b), a, b})
			}
		}
	}
	slices.SortFunc(pairs, func(p, q pair) int {
		return cmp.Or(cmp.Compare(p.d, q.d), cmp.Compare(p.a, q.a), cmp.Compare(p.b, q.b))
	})
	joined := make([][]int32, n)
	path := make([]int32, n) // union-find
	for i := range path {
		path[i] = int32(i)
	}
	root := func(i int32) int32 {
		for path[i] != i {
			path[i] = path[path[i]]
			i = path[i]
		}
		return i
	}
	degree := func(a int32) int {
		if a == s.home {
			return len(joined[a]) + 1 // the gap is its other neighbour
		}
		return len(joined[a])
	}
	for _, p := range pairs {
		if ra, rb := root(p.a), root(p.b); ra != rb && degree(p.a) < 2 && degree(p.b) < 2 {
			path[ra] = rb
			joined[p.a] = append(joined[p.a], p.b)
			joined[p.b] = append(joined[p.b], p.a)
		}
	}
	var ends []int32
	for a := range n {
		if len(joined[a]) < 2 {
			ends = append(ends, a)
		}
	}
	tour := []int32{s.gap}
	done := make([]bool, n)
	from := s.home
	if from < 0 {
		from = ends[0]
	}
	for {
		for at := from; ; { // along the path to its other end
			tour = append(tour, at)
			done[at] = true
			i := slices.IndexFunc(joined[at], func(b int32) bool { return !done[b] })
			if i < 0 {
				break
			}
			at = joined[at][i]
		}
		last := tour[len(tour)-1]
		best, least := int32(-1), math.Inf(1)
		for _, e := range ends {
			if !done[e] && s.m.straight(last, e) < least {
				if d := s.m.dist(last, e); d < least {
					best, least = e, d
				}
			}
		}
		if best < 0 {
			return tour
		}
		from = best
	}
}
