package route

import (
	"math/rand/v2"
	"slices"
)

const (
	nearStraight = 16 // neighbours looked at, by straight line
	nearWalked   = 10 // of these kept, by walkable way
	longestBlock = 3  // places that an Or-opt move carries
	bridgeReach  = 50 // longest piece that a double bridge exchanges
	kicksEach    = 30 // double bridges tried for each place
	mostKicks    = 20000
	tieM         = 1e-6 // a gain below a micrometre is rounding
)

// search improves a closed tour of all places and of one more, the gap: it lies
// at distance 0 from every place, so that the tour is open where the gap is.
// Given a home, the gap cannot be taken away from it.
type search struct {
	m    *metric
	home int32 // −1 for none
	gap  int32
	near [][]int32
	tour []int32 // place at a position
	pos  []int32 // position of a place
	todo []int32 // places whose surroundings changed
	in   []bool  // in todo
	log  [][2]int32
}

func newSearch(m *metric, home int) *search {
	n := len(m.places)
	s := &search{m: m, home: int32(home), gap: int32(n), near: neighbours(m), in: make([]bool, n+1)}
	s.tour = s.greedy()
	s.pos = make([]int32, n+1)
	for i, c := range s.tour {
		s.pos[c] = int32(i)
	}
	return s
}

// heldM keeps the gap beside its home: no sum of real gains reaches it.
const heldM = 1e9

func (s *search) dist(a, b int32) float64 {
	if a == s.gap || b == s.gap {
		if s.home >= 0 && (a == s.home || b == s.home) {
			return -heldM
		}
		return 0
	}
	return s.m.dist(a, b)
}

// below is a lower bound of dist that costs nothing.
func (s *search) below(a, b int32) float64 {
	if a == s.gap || b == s.gap {
		return s.dist(a, b)
	}
	return s.m.straight(a, b)
}

// run gives the places in order from one side of the gap to the other.
func (s *search) run() []int32 {
	n := len(s.tour)
	for _, c := range s.tour {
		s.push(c)
	}
	s.improve()
	s.kick(min(kicksEach*n, mostKicks))
	out := make([]int32, 0, n-1)
	at := int(s.pos[s.gap])
	for i := 1; i < n; i++ {
		out = append(out, s.tour[(at+i)%n])
	}
	if s.home >= 0 && out[0] != s.home {
		slices.Reverse(out)
	}
	return out
}

func (s *search) push(c int32) {
	if !s.in[c] {
		s.in[c] = true
		s.todo = append(s.todo, c)
	}
}

func (s *search) after(c int32) int32 {
	if i := int(s.pos[c]) + 1; i < len(s.tour) {
		return s.tour[i]
	}
	return s.tour[0]
}

func (s *search) before(c int32) int32 {
	if i := s.pos[c]; i > 0 {
		return s.tour[i-1]
	}
	return s.tour[len(s.tour)-1]
}

// improve makes moves until none shortens the tour, and gives the gain in metres.
func (s *search) improve() float64 {
	gain := 0.0
	for len(s.todo) > 0 {
		c := s.todo[len(s.todo)-1]
		s.todo = s.todo[:len(s.todo)-1]
		s.in[c] = false
		if c == s.gap {
			continue
		}
		for {
			g := s.twoOpt(c)
			if g == 0 {
				g = s.orOpt(c)
			}
			if g == 0 {
				break
			}
			gain += g
		}
	}
	return gain
}

// twoOpt replaces an edge of a and one other edge by the edges across.
func (s *search) twoOpt(a int32) float64 {
	for _, forward := range []bool{true, false} {
		step := s.after
		if !forward {
			step = s.before
		}
		b := step(a)
		dab := s.dist(a, b)
		try := func(c int32) float64 {
			g := dab - s.dist(a, c)
			if g <= tieM {
				return -1 // nor will the others, which are further off
			}
			d := step(c)
			if c == b || d == a {
				return 0
			}
			g += s.dist(c, d)
			if g-s.below(b, d) <= tieM {
				return 0
			}
			if g -= s.dist(b, d); g <= tieM {
				return 0
			}
			if forward {
				s.reversePath(b, c)
			} else {
				s.reversePath(c, b)
			}
			for _, x := range []int32{a, b, c, d} {
				s.push(x)
			}
			return g
		}
		for _, c := range s.near[a] {
			if g := try(c); g > 0 {
				return g
			} else if g < 0 {
				break
			}
		}
		if g := try(s.gap); g > 0 {
			return g
		}
	}
	return 0
}

// orOpt carries a block of up to longestBlock places that begins or ends at a
// to beside a neighbour of a.
func (s *search) orOpt(a int32) float64 {
	for _, forward := range []bool{true, false} {
		end := a // the block runs from a, forward or back, to end
		for size := 1; size <= longestBlock; size++ {
			if size > 1 {
				if forward {
					end = s.after(end)
				} else {
					end = s.before(end)
				}
			}
			if end == s.gap || size > len(s.tour)-3 {
				break
			}
			first, last := a, end
			if !forward {
				first, last = end, a
			}
			p, q := s.before(first), s.after(last)
			freed := s.dist(p, first) + s.dist(last, q) - s.dist(p, q)
			if freed <= tieM {
				continue
			}
			for k := -1; k < len(s.near[a]); k++ {
				c := s.gap
				if k >= 0 {
					c = s.near[a][k]
				}
				dac := s.dist(a, c)
				if k >= 0 && freed-dac <= tieM {
					break
				}
				if s.within(c, first, last) {
					continue
				}
				// a comes beside c; the block's other end beside d, which
				// follows c or comes before it.
				for _, d := range []int32{s.after(c), s.before(c)} {
					if s.within(d, first, last) {
						continue // c is p or q: the block would stay
					}
					g := freed + s.dist(c, d) - dac
					if g-s.below(end, d) <= tieM {
						continue
					}
					if g -= s.dist(end, d); g <= tieM {
						continue
					}
					s.carry(first, last, c, d, a)
					for _, x := range []int32{p, q, first, last, c, d} {
						s.push(x)
					}
					return g
				}
			}
		}
	}
	return 0
}

// within reports whether c lies on the way from first to last.
func (s *search) within(c, first, last int32) bool {
	n := int32(len(s.tour))
	return (s.pos[c]-s.pos[first]+n)%n <= (s.pos[last]-s.pos[first]+n)%n
}

// carry puts the block first…last between c and d, neighbours in either order,
// with a, one of its ends, beside c.
func (s *search) carry(first, last, c, d, a int32) {
	if s.after(c) != d {
		c, d = d, c
		if a == first {
			a = last
		} else {
			a = first
		}
	}
	// Now c comes before d, and a shall follow c.
	p, q := s.before(first), s.after(last)
	n := int32(len(s.tour))
	if ahead := (s.pos[c] - s.pos[q] + n) % n; ahead <= (s.pos[p]-s.pos[d]+n)%n {
		// p [first…last] q…c d becomes p q…c [last…first] d
		s.reverse(s.pos[first], s.pos[c])
		s.reverse(s.pos[c], s.pos[q])
		if a == first {
			s.reverse(s.pos[last], s.pos[first])
		}
	} else {
		// c d…p [first…last] q becomes c [last…first] d…p q
		s.reverse(s.pos[d], s.pos[last])
		s.reverse(s.pos[p], s.pos[d])
		if a == first {
			s.reverse(s.pos[last], s.pos[first])
		}
	}
}

// reversePath turns round the way from place a forward to place b, or what is
// left of the tour, whichever is shorter: as a closed tour both are the same.
func (s *search) reversePath(a, b int32) {
	n := int32(len(s.tour))
	if i, j := s.pos[a], s.pos[b]; 2*((j-i+n)%n+1) <= n {
		s.reverse(i, j)
	} else {
		s.reverse((j+1)%n, (i-1+n)%n)
	}
}

// reverse turns round the positions from i forward to j.
func (s *search) reverse(i, j int32) {
	s.log = append(s.log, [2]int32{i, j})
	n := int32(len(s.tour))
	for k := ((j-i+n)%n + 1) / 2; k > 0; k-- {
		a, b := s.tour[j], s.tour[i]
		s.tour[i], s.tour[j] = a, b
		s.pos[a], s.pos[b] = i, j
		if i++; i == n {
			i = 0
		}
		if j--; j < 0 {
			j = n - 1
		}
	}
}

// kick exchanges two neighbouring pieces of the tour, repairs, and takes all
// of it back where that did not pay.
func (s *search) kick(times int) {
	n := int32(len(s.tour))
	if n < 5 { // 2-opt has found the best of three
		return
	}
	rng := rand.New(rand.NewPCG(0x666f6f74, 0x72756c65)) // any will do
	reach := min(bridgeReach, (n-2)/2)
	for range times {
		s.log = s.log[:0]
		i := rng.Int32N(n)
		j := (i + rng.Int32N(reach)) % n
		k := (j + 1 + rng.Int32N(reach)) % n
		// p [i…j] [j+1…k] q becomes p [j+1…k] [i…j] q
		m := (j + 1) % n
		p, a, b, c, d, q := s.tour[(i-1+n)%n], s.tour[i], s.tour[j], s.tour[m], s.tour[k], s.tour[(k+1)%n]
		loss := s.dist(p, c) + s.dist(d, a) + s.dist(b, q) - s.dist(p, a) - s.dist(b, c) - s.dist(d, q)
		if loss > heldM/2 {
			continue
		}
		first := (k - j + n) % n // size of the piece that comes first then
		s.reverse(i, k)
		s.reverse(i, (i+first-1)%n)
		s.reverse((i+first)%n, k)
		for _, x := range []int32{p, a, b, c, d, q} {
			s.push(x)
		}
		if s.improve()-loss < 0 {
			for x := len(s.log) - 1; x >= 0; x-- {
				s.log = s.log[:x+1]
				i, j := s.log[x][0], s.log[x][1]
				s.reverse(i, j)
			}
		}
	}
}
