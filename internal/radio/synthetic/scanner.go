package synthetic

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"time"

	"footrule/internal/radio"
	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// passiveFactor is how much longer a passive sweep takes than an active one: on
// five channels 0.59 s against 0.34 s, measured with nl80211.
const passiveFactor = 0.59 / 0.34

// cacheTime is how long a BSS that is no longer heard stays listed: 30 s in
// cfg80211.
const cacheTime = 30 * time.Second

// loudestDBm is the most that a level is reported as.
const loudestDBm = -1

// Scanner takes sweeps of a simulated site. It implements [radio.Scanner] and
// [radio.Placer]; Place may be called while a Scan runs and holds for the next.
type Scanner struct {
	building *building
	seed     uint64
	clock    Clock
	start    time.Time

	mu      sync.Mutex
	stand   stand
	sweeps  uint64
	drift   []float64 // dB: the receiver, then every radio
	driftAt time.Time
	last    map[radio.BSSID]radio.Heard // with the age at lastAt
	lastAt  map[radio.BSSID]time.Time   // when it was really heard
}

// stand is where the receiver is.
type stand struct {
	floorID string
	floor   int // −1: nowhere
	at      orb.Point
	facing  float64
	since   time.Time
	means   []float64 // per radio, dBm, with shadowing and body
}

// New makes a scanner of a site whose plan is s and whose truth is t. The seed
// decides shadowing and all noise. A truth whose lists do not fit the site or
// whose values cannot be is an error.
func New(s *site.Site, t Truth, seed uint64, c Clock) (*Scanner, error) {
	if err := s.Validate(); err != nil {
		return nil, fmt.Errorf("synthetic site %q: %w", s.Name, err)
	}
	if err := t.check(s); err != nil {
		return nil, fmt.Errorf("synthetic site %q: %w", s.Name, err)
	}
	b := newBuilding(s.Clone(), t.Clone(), seed)
	sc := &Scanner{building: b, seed: seed, clock: c, start: c.Now(),
		stand: stand{floor: -1}, drift: make([]float64, 1+len(b.refs)),
		last: map[radio.BSSID]radio.Heard{}, lastAt: map[radio.BSSID]time.Time{}}
	return sc, nil
}

func (t *Truth) check(s *site.Site) error {
	if a, b := len(t.AccessPoints), len(s.AccessPoints); a != b {
		return fmt.Errorf("the truth has %d access points, the plan %d", a, b)
	}
	if a, b := len(t.Radios), len(s.Radios()); a != b {
		return fmt.Errorf("the truth has %d radios, the plan %d", a, b)
	}
	for i, ap := range t.AccessPoints {
		if s.FloorIndex(ap.Floor) < 0 {
			return fmt.Errorf("%s really hangs on floor %q, which is not on the plan", s.AccessPoints[i].ID, ap.Floor)
		}
	}
	for _, f := range t.Foreign {
		if s.FloorIndex(f.Floor) < 0 {
			return fmt.Errorf("a foreign radio hangs on floor %q, which is not on the plan", f.Floor)
		}
	}
	if !(t.ShadowLengthM > 0) {
		return fmt.Errorf("a correlation length of %g m; it is above 0", t.ShadowLengthM)
	}
	if t.SweepMin < 0 || t.SweepMax < t.SweepMin {
		return fmt.Errorf("sweeps of %v to %v", t.SweepMin, t.SweepMax)
	}
	if (t.DriftDB > 0 || t.APDriftDB > 0) && t.DriftTime <= 0 {
		return fmt.Errorf("a drift within %v", t.DriftTime)
	}
	if !(t.APShare >= 0 && t.APShare <= 1) || !(t.StaleRate >= 0 && t.StaleRate <= 1) {
		return fmt.Errorf("shares of %g (common to an AP) and %g (stale); they are 0 to 1", t.APShare, t.StaleRate)
	}
	for k := range t.Radios {
		if err := t.checkRadio(&t.Radios[k]); err != nil {
			return fmt.Errorf("radio %d: %w", k, err)
		}
	}
	for k := range t.Foreign {
		if err := t.checkRadio(&t.Foreign[k].Radio); err != nil {
			return fmt.Errorf("foreign radio %d: %w", k, err)
		}
	}
	return nil
}

func (t *Truth) checkRadio(r *Radio) error {
	if _, ok := t.FloorDBm[r.Band]; !ok {
		return fmt.Errorf("no floor of hearing for band %q", r.Band)
	}
	if !(r.MissRate >= 0 && r.MissRate <= 1) || !(r.SigmaDB >= 0) {
		return fmt.Errorf("a miss rate of %g and a spread of %g dB", r.MissRate, r.SigmaDB)
	}
	if v := r.Level1mDBm + r.Exponent; math.IsNaN(v) || math.IsInf(v, 0) {
		return fmt.Errorf("%g dBm at 1 m and an exponent of %g", r.Level1mDBm, r.Exponent)
	}
	return nil
}

// Truth gives a copy of how the site really is.
func (s *Scanner) Truth() Truth { return s.building.truth.Clone() }

// Model is the level in dBm of a radio (its place in Site.Radios) at a place by
// the propagation model, without shadowing and body. The place is where someone
// really stands. NaN where the plan has no such floor.
func (s *Scanner) Model(radio int, floor string, at orb.Point) float64 {
	if f := s.building.real.FloorIndex(floor); f >= 0 {
		return s.building.model(radio, f, at)
	}
	return math.NaN()
}

// Mean is Model with shadowing: what many scans there would average to, but
// for the body, steps and drift.
func (s *Scanner) Mean(radio int, floor string, at orb.Point) float64 {
	if f := s.building.real.FloorIndex(floor); f >= 0 {
		return s.building.mean(radio, f, at)
	}
	return math.NaN()
}

// Place puts the receiver where it is recorded to be; see Truth.Strays and
// Truth.PlanScale. A facing below 0 is none.
func (s *Scanner) Place(floor string, at orb.Point, facingDeg float64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.stand.means != nil && s.stand.floorID == floor && s.stand.at == at && s.stand.facing == facingDeg {
		return
	}
	b := s.building
	st := stand{floorID: floor, floor: b.real.FloorIndex(floor), at: at, facing: facingDeg, since: s.clock.Now()}
	if st.floor >= 0 {
		really := b.truth.really(floor, at)
		st.means = make([]float64, len(b.refs))
		for k := range st.means {
			st.means[k] = b.mean(k, st.floor, really) - b.body(k, st.floor, really, facingDeg)
		}
	}
	s.stand = st
}

// Scan takes a sweep where the receiver was placed last. It is an error to
// scan before that, or on a floor that the plan does not have.
func (s *Scanner) Scan(ctx context.Context, req radio.Request) (radio.Sweep, error) {
	s.mu.Lock()
	st, n := s.stand, s.sweeps
	s.mu.Unlock()
	if st.floor < 0 {
		return radio.Sweep{}, fmt.Errorf("the simulated receiver stands on floor %q, which is not on the plan; place it first", st.floorID)
	}
	rng := rand.New(rand.NewPCG(s.seed, streamSweep<<56+n))
	t := &s.building.truth
	took := t.SweepMin + time.Duration(rng.Float64()*float64(t.SweepMax-t.SweepMin))
	if req.Passive {
		took = time.Duration(float64(took) * passiveFactor)
	}
	sweep := radio.Sweep{Interface: "synthetic", Started: s.clock.Now(), Took: took, FreqsMHz: slices.Clone(req.FreqsMHz)}
	if err := s.clock.Sleep(ctx, took); err != nil {
		return radio.Sweep{}, fmt.Errorf("sweep given up: %w", err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.sweeps++
	end := sweep.Started.Add(took)
	s.drifts(rng, end)
	for k := range s.building.refs {
		for _, h := range s.hear(rng, k, st, end, took) {
			switch {
			case len(req.FreqsMHz) > 0 && !slices.Contains(req.FreqsMHz, h.FreqMHz):
			case end.Add(-h.Age).Before(req.NotBefore):
				sweep.DroppedStale++
			default:
				sweep.Heard = append(sweep.Heard, h)
			}
		}
	}
	return sweep, nil
}

// drifts moves the drift of receiver and radios on to a moment.
func (s *Scanner) drifts(rng *rand.Rand, to time.Time) {
	t := &s.building.truth
	keep := 0.0 // the first time, from the stationary distribution
	if !s.driftAt.IsZero() && t.DriftTime > 0 {
		keep = math.Exp(-max(0, to.Sub(s.driftAt).Seconds()) / t.DriftTime.Seconds())
	}
	s.driftAt = to
	for i := range s.drift {
		sd := t.APDriftDB
		if i == 0 {
			sd = t.DriftDB
		}
		s.drift[i] = keep*s.drift[i] + sd*math.Sqrt(1-keep*keep)*rng.NormFloat64()
	}
}

// hear gives what a sweep lists of radio k. What it draws does not depend on
// what is heard, so that a fault changes nothing but what it concerns.
func (s *Scanner) hear(rng *rand.Rand, k int, st stand, end time.Time, took time.Duration) []radio.Heard {
	t, r := &s.building.truth, s.building.radio(k)
	level := st.means[k] + s.drift[0] + s.drift[1+k] + t.ReceiverOffsetDB + t.ScatterDB*rng.NormFloat64()
	since := end.Sub(s.start)
	for _, step := range r.Steps {
		if since >= step.After {
			level += step.DB
		}
	}
	silent := rng.Float64() < r.MissRate
	if ap := s.building.refs[k].AP; ap < len(t.AccessPoints) {
		silent = silent || t.AccessPoints[ap].Dies && since >= t.AccessPoints[ap].DiesAfter
	}
	var out []radio.Heard
	for _, b := range r.BSSs {
		v := level + b.OffsetDB + t.BSSScatterDB*rng.NormFloat64()
		floor := t.FloorDBm[r.Band] + t.FloorSoftDB*rng.NormFloat64()
		age := time.Duration(rng.Float64() * float64(took))
		listed := rng.Float64() < t.StaleRate
		if !silent && v > floor {
			h := radio.Heard{Age: age, Reading: radio.Reading{BSSID: b.ID, SSID: b.SSID, FreqMHz: r.FreqMHz,
				RSSIDBm: min(math.Round(v), loudestDBm)}}
			s.last[b.ID], s.lastAt[b.ID] = h, end.Add(-age)
			out = append(out, h)
			continue
		}
		at, ok := s.lastAt[b.ID]
		if ok && listed && at.Before(st.since) && end.Sub(at) < cacheTime {
			h := s.last[b.ID]
			h.Age = end.Sub(at)
			out = append(out, h)
		}
	}
	return out
}
