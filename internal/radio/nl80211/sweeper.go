package nl80211

import (
	"context"
	"fmt"
	"slices"

	"footrule/internal/radio"
)

// DefaultFullEvery is how many sweeps a [Sweeper] takes from one full sweep to
// the next. With half a second for a limited one and ten for a full one, a
// quarter of the time goes into full sweeps, and a changed channel is noticed
// within 40 s (judgement).
const DefaultFullEvery = 60

// forgetAfter is how many full sweeps in a row a learned channel may be
// silent before it is left out. One can miss a channel by chance.
const forgetAfter = 3

// Sweeper takes sweeps limited to the channels of a site, and now and then a
// full one to find access points that changed theirs. It implements
// radio.Scanner:
//
//  1. The first sweep is full, and each Every-th after it.
//  2. A sweep that was asked for particular channels is passed on as it is.
//  3. A full sweep that failed is still due.
//  4. Channels given to [NewSweeper] stay; learned ones are forgotten after
//     three full sweeps in which the site was silent there.
//
// It is used from one goroutine at a time.
type Sweeper struct {
	scanner radio.Scanner
	every   int
	belongs func(radio.BSSID) bool
	since   int // sweeps since the last full one; negative: a full one is due
	given   []int
	learned map[int]int // MHz → full sweeps without the site
}

// NewSweeper limits the sweeps of a scanner. freqsMHz are channels known
// beforehand and may be empty; every is the number of sweeps from one full
// sweep to the next, at least 1 (1: all are full), 0 means [DefaultFullEvery];
// belongs tells whose channels to learn, nil means everybody's.
func NewSweeper(s radio.Scanner, freqsMHz []int, every int, belongs func(radio.BSSID) bool) (*Sweeper, error) {
	for _, f := range freqsMHz {
		if _, ok := radio.BandOf(f); !ok {
			return nil, fmt.Errorf("%w: %d MHz; give channel centres as 2437 or 5180", ErrFrequency, f)
		}
	}
	switch {
	case every == 0:
		every = DefaultFullEvery
	case every < 0:
		return nil, fmt.Errorf("a full sweep every %d sweeps; give 1 or more", every)
	}
	if belongs == nil {
		belongs = func(radio.BSSID) bool { return true }
	}
	return &Sweeper{
		scanner: s, every: every, belongs: belongs, since: -1,
		given: slices.Clone(freqsMHz), learned: map[int]int{},
	}, nil
}

// Full makes the next sweep a full one.
func (s *Sweeper) Full() { s.since = -1 }

// FreqsMHz lists the channels of the next limited sweep, ascending; empty
// means that it will be a full one.
func (s *Sweeper) FreqsMHz() []int {
	out := slices.Clone(s.given)
	for f := range s.learned {
		out = append(out, f)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// NextFull reports whether the next sweep will be a full one.
func (s *Sweeper) NextFull() bool {
	return s.since < 0 || s.since+1 >= s.every || len(s.given)+len(s.learned) == 0
}

// Scan implements radio.Scanner.
func (s *Sweeper) Scan(ctx context.Context, req radio.Request) (radio.Sweep, error) {
	if len(req.FreqsMHz) > 0 {
		return s.scanner.Scan(ctx, req)
	}
	full := s.NextFull()
	if !full {
		req.FreqsMHz = s.FreqsMHz()
	}
	sweep, err := s.scanner.Scan(ctx, req)
	if err != nil {
		return radio.Sweep{}, err
	}
	if full {
		s.since = 0
		for f := range s.learned {
			s.learned[f]++
		}
	} else {
		s.since++
	}
	for _, h := range sweep.Heard {
		if s.belongs(h.BSSID) {
			s.learned[h.FreqMHz] = 0
		}
	}
	for f, silent := range s.learned {
		if silent >= forgetAfter {
			delete(s.learned, f)
		}
	}
	return sweep, nil
}
