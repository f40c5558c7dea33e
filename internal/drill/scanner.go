package drill

import (
	"context"
	"slices"
	"sync"
	"time"

	"footrule/internal/radio"
	"footrule/internal/radio/synthetic"

	"github.com/paulmach/orb"
)

// Scanner takes sweeps of a case's building. What changes during a walk changes
// after a number of visits, not at a time of day: a walk may rest for days. It
// implements radio.Scanner and radio.Placer.
type Scanner struct {
	epochs []epoch // by visits made, the first from 0

	mu      sync.Mutex
	visits  int
	stale   []int
	place   place
	current int
	last    []radio.Heard // of the latest sweep
}

// epoch is how the building is from a number of visits on.
type epoch struct {
	after   int
	scanner *synthetic.Scanner
}

type place struct {
	floor  string
	at     orb.Point
	facing float64
	known  bool
}

// NewScanner gives a scanner of the case for somebody who has so many visits
// behind them, in all walks of the case.
func NewScanner(c *Case, visits int, clock synthetic.Clock) (*Scanner, error) {
	moments := []int{0}
	for _, f := range c.Faults {
		if f.After > 0 && !slices.Contains(moments, f.After) {
			moments = append(moments, f.After)
		}
	}
	slices.Sort(moments)
	s := &Scanner{visits: visits}
	if f := c.fault(Stale); f != nil {
		s.stale = f.Visits
	}
	for _, after := range moments {
		sc, err := synthetic.New(c.Building, c.truthAfter(after), c.sweeps, clock)
		if err != nil {
			return nil, err
		}
		s.epochs = append(s.epochs, epoch{after, sc})
	}
	s.turn()
	return s, nil
}

// truthAfter is how the building is after so many visits.
func (c *Case) truthAfter(visits int) synthetic.Truth {
	t := c.Truth.Clone()
	for _, f := range c.Faults {
		if f.After == 0 || f.After > visits {
			continue
		}
		for k, ref := range c.Building.Radios() {
			switch {
			case !slices.Contains(f.APs, c.Building.AccessPoints[ref.AP].ID):
			case f.Kind == Power:
				t.Radios[k].Level1mDBm += f.Size
			case f.Kind == Dies:
				t.AccessPoints[ref.AP].Dies = true
			}
		}
	}
	return t
}

// Visited says that one more visit was made and kept.
func (s *Scanner) Visited() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.visits++
	s.turn()
}

// turn goes to the epoch of the visits made.
func (s *Scanner) turn() {
	for i, e := range s.epochs {
		if e.after <= s.visits {
			s.current = i
		}
	}
	if p := s.place; p.known {
		s.epochs[s.current].scanner.Place(p.floor, p.at, p.facing)
	}
}

// Place puts the receiver where it is recorded to be, in the plan's metres.
func (s *Scanner) Place(floor string, at orb.Point, facingDeg float64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.place = place{floor, at, facingDeg, true}
	s.epochs[s.current].scanner.Place(floor, at, facingDeg)
}

// Scan takes a sweep. A stuck receiver gives what it heard last, as if it were
// new.
func (s *Scanner) Scan(ctx context.Context, req radio.Request) (radio.Sweep, error) {
	s.mu.Lock()
	sc, stuck := s.epochs[s.current].scanner, slices.Contains(s.stale, s.visits)
	s.mu.Unlock()
	sweep, err := sc.Scan(ctx, req)
	if err != nil {
		return sweep, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if stuck && s.last != nil {
		sweep.Heard = slices.Clone(s.last)
		for i := range sweep.Heard {
			sweep.Heard[i].Age = min(sweep.Heard[i].Age, sweep.Took, 100*time.Millisecond)
		}
		return sweep, nil
	}
	s.last = slices.Clone(sweep.Heard)
	return sweep, nil
}

// visit takes one sweep at a point.
func (s *Scanner) visit(ctx context.Context, p spot, facing float64) (radio.Sweep, error) {
	s.Place(p.floor, p.At, facing)
	return s.Scan(ctx, radio.Request{})
}
