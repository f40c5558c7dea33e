package coverage

import (
	"math"
	"math/rand/v2"
	"slices"
)

// Slack under which a bound is rounded up all the same.
const wholeSlack = 1e-6

func whole(v float64) int { return int(math.Ceil(v - wholeSlack)) }

// rootSteps is how far the bound is climbed at first; it stops by itself once it
// gains no more.
const rootSteps = 3000

// root climbs the bound from scratch and builds choices by its multipliers.
func (s *solver) root() {
	ones := make([]float64, len(s.demand))
	scarce := make([]float64, len(s.demand))
	for r := range ones {
		ones[r] = 1
		scarce[r] = float64(s.demand[r]) / float64(len(s.rows[r]))
	}
	s.keep(s.greedy(nil, nil, ones))
	s.keep(s.greedy(nil, nil, scarce))
	u := make([]float64, len(s.demand))
	for r := range u { // feasible to begin with: no column is paid more than 1
		u[r] = math.Inf(1)
		for _, c := range s.rows[r] {
			u[r] = min(u[r], 1/float64(len(s.cols[c])))
		}
	}
	l := &lagrange{s: s, demand: s.demand}
	value := l.climb(u, rootSteps, func(step int, now []float64) int {
		if step%20 == 19 {
			s.keep(s.greedy(nil, nil, now))
		}
		return len(s.best)
	})
	s.u, s.bound = l.bestU, whole(value)
	s.keep(s.greedy(nil, nil, l.bestU))
	s.shake()
}

// shakes is how often shake tries, and shakeWork the entries that it looks at, at
// most.
const (
	shakes    = 200
	shakeWork = 60_000_000
)

// shake takes out a part of the best choice at random and fills up again, by
// weights a little off, until the bound is met or the work is done.
func (s *solver) shake() {
	rng := rand.New(rand.NewPCG(1, 2))
	now := slices.Clone(s.best)
	weight := make([]float64, len(s.demand))
	for range min(shakes, shakeWork/(3*s.nnz+1)) {
		if s.bound == len(s.best) || s.ctx.Err() != nil {
			return
		}
		share := 0.1 + 0.4*rng.Float64()
		var left []int
		for _, c := range now {
			if rng.Float64() >= share {
				left = append(left, c)
			}
		}
		for r := range weight {
			weight[r] = (s.u[r] + 0.01) * (0.3 + rng.Float64())
		}
		if next := s.exchange(s.greedy(left, nil, weight)); len(next) <= len(now) {
			now = next
			s.keep(now)
		}
	}
}
