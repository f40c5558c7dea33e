package drawing

import (
	"cmp"
	"math"
	"slices"

	"github.com/paulmach/orb"
)

// end is one end of a line: 2i is the start of line i, 2i+1 its end.
type end struct {
	line int
	at   orb.Point
}

// mostNear is how many ends around one place are looked at; a plan has a few.
const mostNear = 64

// join joins open lines by their ends where those are within tol of each other,
// nearest first, each end once. It gives what became rings, and the chains that
// stayed open.
func join(lines []orb.LineString, tol float64) (rings []orb.Ring, open []orb.LineString) {
	ends := make([]end, 0, 2*len(lines))
	for i, l := range lines {
		ends = append(ends, end{i, l[0]}, end{i, l[len(l)-1]})
	}
	mate := make([]int, len(ends))
	for i := range mate {
		mate[i] = -1
	}
	for _, p := range nearPairs(ends, lines, tol) {
		if mate[p.a] < 0 && mate[p.b] < 0 {
			mate[p.a], mate[p.b] = p.b, p.a
		}
	}
	done := make([]bool, len(lines))
	// Chains that begin at a free end first, then what runs in a circle.
	for _, free := range []bool{true, false} {
		for e := range ends {
			if done[e/2] || free != (mate[e] < 0) {
				continue
			}
			chain := orb.LineString{}
			at := e
			for at >= 0 && !done[at/2] {
				done[at/2] = true
				l := slices.Clone(lines[at/2])
				if at%2 == 1 {
					slices.Reverse(l)
				}
				if n := len(chain); n > 0 && apart(chain[n-1], l[0]) <= tol {
					l = l[1:]
				}
				chain = append(chain, l...)
				at = mate[at^1]
			}
			if free {
				open = append(open, chain)
				continue
			}
			if n := len(chain); n > 1 && apart(chain[0], chain[n-1]) <= tol {
				chain = chain[:n-1]
			}
			rings = append(rings, orb.Ring(chain))
		}
	}
	return rings, open
}

type pairOfEnds struct {
	a, b int
	d    float64
}

// nearPairs lists pairs of ends within tol, the nearest first.
func nearPairs(ends []end, lines []orb.LineString, tol float64) []pairOfEnds {
	type cell struct{ x, y int64 }
	grid := map[cell][]int{}
	size := max(tol, 1e-6)
	of := func(p orb.Point) cell { return cell{int64(math.Floor(p[0] / size)), int64(math.Floor(p[1] / size))} }
	var out []pairOfEnds
	for e := range ends {
		c := of(ends[e].at)
		for dx := int64(-1); dx <= 1; dx++ {
			for dy := int64(-1); dy <= 1; dy++ {
				for _, o := range grid[cell{c.x + dx, c.y + dy}] {
					if o/2 == e/2 && len(lines[e/2]) < 4 { // a line does not close on itself before it has three sides
						continue
					}
					if d := apart(ends[e].at, ends[o].at); d <= tol {
						out = append(out, pairOfEnds{o, e, d})
					}
				}
			}
		}
		if len(grid[c]) < mostNear {
			grid[c] = append(grid[c], e)
		}
	}
	slices.SortStableFunc(out, func(a, b pairOfEnds) int { return cmp.Compare(a.d, b.d) })
	return out
}

// gap finds the two ends of open chains that are nearest to each other without
// being joined.
func gap(open []orb.LineString) (a, b orb.Point) {
	best := math.Inf(1)
	if len(open) > 200 { // the first ones say enough
		open = open[:200]
	}
	for i, l := range open {
		try := func(p, q orb.Point) {
			if d := apart(p, q); d < best {
				best, a, b = d, p, q
			}
		}
		s, e := l[0], l[len(l)-1]
		try(s, e)
		for _, m := range open[:i] {
			for _, q := range []orb.Point{m[0], m[len(m)-1]} {
				try(s, q)
				try(e, q)
			}
		}
	}
	return a, b
}

func apart(a, b orb.Point) float64 { return math.Hypot(a[0]-b[0], a[1]-b[1]) }
