package drill

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"footrule/internal/radio"
	"footrule/internal/radio/synthetic"
	"footrule/internal/route"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

// Case is a spec with all that was drawn for it.
type Case struct {
	Spec                // with the title and the story as drawn
	Building *site.Site // as it stands
	Plan     *site.Site // as the trainee gets it
	Truth    synthetic.Truth
	Handed   bool // it comes with a walk that somebody else made
	Digest   string

	sweeps uint64 // seed of the levels
}

// maker is a case while faults are planted in it.
type maker struct {
	*Case
	rng     *rand.Rand
	manner  manner
	scanner *synthetic.Scanner // before any fault, to ask what is heard where
	points  []spot             // of the plan, floor by floor
	order   []int              // of points as Hand visits them, the first time
	taken   []string           // access points that have a fault
}

// MaxFaults is how many faults a case can have.
const MaxFaults = 4

// Make draws the case of a spec: the building first, then what is wrong. It is
// an error if a fault can't be planted as it is asked for.
func Make(s Spec) (*Case, error) {
	m := &maker{Case: &Case{Spec: s}}
	var ok bool
	if m.manner, ok = manners[s.Level]; !ok {
		return nil, fmt.Errorf("level %q; plain, middle or hard", s.Level)
	}
	m.Faults = slices.Clone(s.Faults)
	if len(m.Faults) > MaxFaults {
		return nil, fmt.Errorf("%d faults; at most %d, or nobody learns from it", len(m.Faults), MaxFaults)
	}
	line, floors := false, max(1, m.Floors)
	if m.Floors < 0 || m.Floors > MaxFloors {
		return nil, fmt.Errorf("%d floors; from 1 to %d", m.Floors, MaxFloors)
	}
	for i, f := range m.Faults {
		twice := slices.ContainsFunc(m.Faults[:i], func(o Fault) bool { return o.Kind == f.Kind })
		switch {
		case !f.Kind.Known() || f.Kind == Nothing:
			return nil, fmt.Errorf("no fault %q to plant; faults are %s", f.Kind, listed(Kinds()[1:]))
		case twice && !slices.Contains([]Kind{Labels, Moved, Power, Dead, Dies}, f.Kind):
			return nil, fmt.Errorf("%s can't be planted twice", f.Kind)
		case f.Kind == Line:
			line = true
		}
		floors = max(floors, f.Kind.family().floors)
	}
	words := source(s.Seed, "words "+s.ID)
	if s.Title == "" {
		m.Title = title(words)
	}
	var err error
	if m.Building, err = m.manner.draw(source(s.Seed, "building "+s.ID), m.Title, floors, line); err != nil {
		return nil, err
	}
	m.rng = source(s.Seed, "faults "+s.ID)
	m.sweeps = m.rng.Uint64()
	m.Truth = m.manner.truth(m.Building, m.sweeps)
	m.Plan = m.Building.Clone()
	for _, f := range m.Faults {
		m.Handed = m.Handed || f.Kind.family().handed
	}
	m.Handed = m.Handed || m.rng.IntN(2) == 0
	if m.scanner, err = synthetic.New(m.Building, m.Truth, m.sweeps, synthetic.NewSimulatedClock(time.Unix(0, 0))); err != nil {
		return nil, err
	}
	m.points, m.order = m.Case.points(), m.Case.order()
	for i := range m.Faults {
		f := &m.Faults[i]
		if err := f.Kind.family().plant(m, f); err != nil {
			return nil, fmt.Errorf("%s: %w", f.Kind, err)
		}
		m.taken = append(m.taken, f.APs...)
	}
	if err := m.Plan.Validate(); err != nil {
		return nil, fmt.Errorf("the plan of the case: %w", err)
	}
	if s.Story == "" {
		m.Story = story(words, m.Case)
	}
	m.Digest, err = m.digest()
	return m.Case, err
}

// TapedM is the length of the front wall, from 0, 0 along the x axis, as a tape
// has it in the building.
func (c *Case) TapedM() float64 {
	b := c.Building.Floors[0].BoundingBox()
	return b.Max[0] - b.Min[0]
}

// spot is a point with its floor.
type spot struct {
	site.Point
	floor string
}

// points lists those of the plan, floor by floor.
func (c *Case) points() []spot {
	var out []spot
	for _, f := range c.Plan.Floors {
		for _, p := range f.Points {
			out = append(out, spot{p, f.ID})
		}
	}
	return out
}

// order is that of the points on a short way, floor by floor, as places in points.
func (c *Case) order() []int {
	var out []int
	for i := range c.Building.Floors {
		f, n := &c.Building.Floors[i], len(out)
		for _, p := range route.Order(f, f.Points, nil).Order {
			out = append(out, n+p)
		}
	}
	return out
}

// fault finds the planted fault of a kind, nil for none.
func (c *Case) fault(k Kind) *Fault {
	if i := slices.IndexFunc(c.Faults, func(f Fault) bool { return f.Kind == k }); i >= 0 {
		return &c.Faults[i]
	}
	return nil
}

// digest tells two cases apart, and a case from what another version makes of its
// spec: it is over the plan, the faults and some levels.
func (c *Case) digest() (string, error) {
	h := sha256.New()
	for _, s := range []*site.Site{c.Building, c.Plan} {
		if err := site.Write(h, s); err != nil {
			return "", err
		}
	}
	sc, err := NewScanner(c, 0, synthetic.NewSimulatedClock(time.Unix(0, 0)))
	if err != nil {
		return "", err
	}
	sweep, err := sc.visit(context.Background(), c.points()[0], walk.NoFacing)
	if err != nil {
		return "", err
	}
	if err := json.NewEncoder(h).Encode(struct {
		Spec   Spec
		Handed bool
		Sweep  radio.Sweep
	}{c.Spec, c.Handed, sweep}); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// Really is where access point i really hangs, in the plan's metres.
func (c *Case) Really(i int) orb.Point { return c.onPlan(c.Building.AccessPoints[i].At) }

// onPlan turns a place in the building into the plan's metres.
func (c *Case) onPlan(p orb.Point) orb.Point {
	if s := c.Truth.PlanScale; s != 0 {
		return orb.Point{p[0] / s, p[1] / s}
	}
	return p
}

func distance(a, b orb.Point) float64 { return math.Hypot(a[0]-b[0], a[1]-b[1]) }

// round keeps drawn values to so many digits after the point.
func round(v float64, digits int) float64 {
	p := math.Pow10(digits)
	return math.Round(v*p) / p
}
