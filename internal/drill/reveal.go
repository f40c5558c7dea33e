package drill

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"footrule/internal/doubt"
	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/radio"
	"footrule/internal/radio/synthetic"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

// Revealed lays the truth beside what the walks made of it. Estimates are NaN
// where there is none.
type Revealed struct {
	Bands    []BandTruth
	APs      []APTruth
	Programs []string // what the program finds in the walks

	// Half and nine in ten of the fixes are within so many metres: as the walks
	// measured it, and at places where nobody walked, held against where somebody
	// really stood.
	WalkedCE50M, WalkedCE90M float64
	TrueCE50M, TrueCE90M     float64
	Missing                  string // why there is no estimate
}

// BandTruth is how levels really fall in a band.
type BandTruth struct {
	Band             radio.Band
	Exponent, TrueN  float64 // the true one is the mean over radios
	ExponentHalf     float64 // of the 95 % interval
	ShadowDB, TrueDB float64 // spread of a visit's level about the model, and of the shadowing alone
}

// APTruth is where an access point is: by the plan, really, and by the levels.
type APTruth struct {
	ID          string
	Plan, Truth orb.Point // both in the plan's metres
	Seems       *orb.Point
	Floors      [3]string // of the plan, of the truth, of Seems; empty where the building has one
	Silent      bool      // it never sent, or no more
}

// hiddenPlaces are the places at which fixes are held against the truth.
const hiddenPlaces = 40

// Reveal lays open a case. Its only errors are those of ctx and of the building.
func Reveal(ctx context.Context, c *Case, e Evidence) (Revealed, error) {
	nan := math.NaN()
	r := Revealed{WalkedCE50M: nan, WalkedCE90M: nan, TrueCE50M: nan, TrueCE90M: nan}
	r.bands(c)
	r.accessPoints(c, &e)
	if e.Report != nil {
		for _, f := range e.Report.Findings {
			r.Programs = append(r.Programs, f.Text)
		}
	}
	if len(made(e.Walks)) == 0 {
		r.Missing = "nothing was walked"
		return r, nil
	}
	fit, err := propagation.Estimate(propagation.Observe(c.Plan, walk.Stays(c.Plan, e.Walks, walk.ByVisit)), propagation.Options{})
	if err != nil {
		r.Missing = err.Error()
		return r, nil
	}
	for i := range r.Bands {
		b := &r.Bands[i]
		if k := slices.IndexFunc(fit.Groups, func(g propagation.Group) bool { return g.Band == b.Band }); k >= 0 {
			g := &fit.Groups[k]
			b.Exponent, b.ExponentHalf, b.ShadowDB = g.Exponent.Est, (g.Exponent.Hi-g.Exponent.Lo)/2, g.SigmaDB.Est
		}
	}
	judged, err := position.Judge(ctx, c.Plan, e.Walks, position.Options{Fix: position.PerVisit, Seed: 1})
	if err := ctx.Err(); err != nil {
		return r, err
	}
	if err != nil {
		r.Missing = err.Error()
		return r, nil
	}
	r.WalkedCE50M, r.WalkedCE90M = judged.Statistics.CE50M, judged.Statistics.CE90M
	return r, r.held(ctx, c, e.Walks)
}

// bands lists the truth of each band.
func (r *Revealed) bands(c *Case) {
	for _, t := range c.Truth.Radios {
		i := slices.IndexFunc(r.Bands, func(b BandTruth) bool { return b.Band == t.Band })
		if i < 0 {
			i = len(r.Bands)
			r.Bands = append(r.Bands, BandTruth{Band: t.Band, Exponent: math.NaN(), ExponentHalf: math.NaN(), ShadowDB: math.NaN(), TrueDB: t.SigmaDB})
		}
		r.Bands[i].TrueN += t.Exponent
	}
	for i := range r.Bands {
		n := 0.0
		for _, t := range c.Truth.Radios {
			if t.Band == r.Bands[i].Band {
				n++
			}
		}
		r.Bands[i].TrueN /= n
	}
}

// accessPoints lists those that are not where or what the plan says, in truth or
// by the levels.
func (r *Revealed) accessPoints(c *Case, e *Evidence) {
	seems, on := map[int]*orb.Point{}, map[int]string{}
	if e.Report != nil {
		for _, f := range e.Report.Findings {
			for i, ap := range f.APs {
				switch {
				case f.Kind == doubt.Moved && len(f.Seems) > 0:
					seems[ap], on[ap] = &f.Seems[0].At, c.Plan.Floors[f.Seems[0].Floor].ID
				case f.Kind == doubt.Labels && i < len(f.AtPlaceOf):
					other := &c.Plan.AccessPoints[f.AtPlaceOf[i]]
					seems[ap], on[ap] = &other.At, other.Floor
				}
			}
		}
	}
	for i, ap := range c.Plan.AccessPoints {
		t := APTruth{ID: ap.ID, Plan: ap.At, Truth: c.onPlan(c.Building.AccessPoints[i].At), Seems: seems[i]}
		elsewhere := ap.Floor != c.Building.AccessPoints[i].Floor
		if len(c.Plan.Floors) > 1 {
			t.Floors = [3]string{ap.Floor, c.Building.AccessPoints[i].Floor, on[i]}
		}
		for _, f := range c.Faults {
			t.Silent = t.Silent || (f.Kind == Dead || f.Kind == Dies) && slices.Contains(f.APs, ap.ID)
		}
		if t.Silent || elsewhere || t.Seems != nil || distance(t.Plan, t.Truth) > .1 {
			r.APs = append(r.APs, t)
		}
	}
}

// held holds fixes by the fit to the walks against places where nobody walked,
// in the metres of the building.
func (r *Revealed) held(ctx context.Context, c *Case, walks []walk.Walk) error {
	clock := synthetic.NewSimulatedClock(handedOn.Add(24 * time.Hour))
	sound := *c // the test is taken with a sound receiver that stands where it says
	sound.Truth = c.Truth.Clone()
	sound.Truth.Strays = nil
	sound.Faults = slices.DeleteFunc(slices.Clone(c.Faults), func(f Fault) bool { return f.Kind == Stale })
	sc, err := NewScanner(&sound, math.MaxInt, clock)
	if err != nil {
		return err
	}
	rng := source(c.Seed, "held "+c.ID)
	box := c.Building.Floors[0].BoundingBox()
	test := walk.Walk{Header: walk.Header{ID: "held", Receiver: "simulated", Settings: walk.DefaultSettings()}}
	for len(test.Visits) < hiddenPlaces {
		p := orb.Point{box.Min[0] + rng.Float64()*(box.Max[0]-box.Min[0]), box.Min[1] + rng.Float64()*(box.Max[1]-box.Min[1])}
		at := c.onPlan(p)
		floor := &c.Building.Floors[len(test.Visits)%len(c.Building.Floors)]
		plan := c.Plan.Floor(floor.ID)
		if !floor.Walkable(p) || !plan.Walkable(at) {
			continue
		}
		v := walk.Visit{ID: fmt.Sprintf("V%03d", len(test.Visits)+1), Seq: len(test.Visits) + 1, Floor: floor.ID, At: at}
		if v.Scans, err = sc.stay(ctx, clock, spot{site.Point{At: at}, floor.ID}, test.Settings); err != nil {
			return err
		}
		test.Visits = append(test.Visits, v)
	}
	var train []string
	for _, w := range walks {
		train = append(train, w.ID)
	}
	got, err := position.Judge(ctx, c.Plan, append(slices.Clone(walks), test), position.Options{Train: train, Test: []string{"held"}, Fix: position.PerVisit, Seed: 1})
	if err != nil {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		r.Missing = err.Error()
		return nil
	}
	by := 1.0
	if s := c.Truth.PlanScale; s != 0 {
		by = s
	}
	r.TrueCE50M, r.TrueCE90M = by*got.Statistics.CE50M, by*got.Statistics.CE90M
	return nil
}
