package position

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"footrule/internal/parallel"
	"footrule/internal/propagation"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

// Protocol says how what is judged is kept apart from what was fitted.
type Protocol string

// The protocols.
const (
	LeaveOneOut  Protocol = "leave-one-out"  // a place is judged by a fit to all other places
	LeaveAreaOut Protocol = "leave-area-out" // a place is judged by a fit to the places of all other areas
	TrainTest    Protocol = "train-test"     // walks are judged by a fit to other walks
)

// Unit says what one fix is made from.
type Unit string

// The units.
const (
	PerVisit  Unit = "visit"  // all scans of a visit
	PerFacing Unit = "facing" // the scans of one facing of it
)

// Options choose what is judged and how. The zero value is the default.
type Options struct {
	Method      Method   // "" is Trilaterate
	Protocol    Protocol // "" is LeaveOneOut, or TrainTest where Train and Test are given
	Fix         Unit     // "" is PerFacing for LeaveOneOut, PerVisit for TrainTest
	Train, Test []string // IDs of walks, for TrainTest
	Propagation propagation.Options
	Targets     []Target
	EachAP      bool   // judge without each access point as well, which takes as long again for each
	Seed        uint64 // of the bootstrap
	Resamples   int    // of the bootstrap; 0 is DefaultResamples
}

// DefaultResamples make the ends of a 95 % interval good to a tenth of its width.
const DefaultResamples = 2000

// mostRefits bounds the refits of leave-one-out. With more places than that,
// several are left out together, which errs on the safe side.
const mostRefits = 300

// Judged is one fix and how far off it is.
type Judged struct {
	Walk, Visit string
	Place       walk.Place
	Point       string // empty where only coordinates are known
	Floor       string // ID of the floor where the surveyor stood
	At          orb.Point
	FacingDeg   float64 // walk.NoFacing for a whole visit
	Scans       int

	Fix               Fix
	ErrorM            float64             // on the plan, whatever the floor; NaN where not located
	VectorM           orb.Point           // fix less truth, where located
	Area              string              // zone that the surveyor stood in, empty for none
	FixFloor, FixArea string              // floor and zone that the fix lies in, where located
	Ellipse           Ellipse             // about the fix, widened for the uncertainty of the fit; zero for none
	Doubts            []propagation.Doubt // levels far off the fit, which did not have the place
	OneSide           bool                // all access points heard are to one side of the place
	BoundM            float64             // Cramér-Rao bound there, NaN where there is none
}

// Errors is the position error of a site as judged.
type Errors struct {
	Method   Method
	Protocol Protocol
	Fix      Unit

	Summary
	Quantiles string // how quantiles are taken
	Targets   []Outcome
	Areas     []AreaErrors // by floor and zone, in the plan's order
	Removals  []Removal    // with EachAP, the most needed first
	Widening  float64      // of ellipses, for the uncertainty of the fit

	Judged []Judged         // by place in order of its first stay, then in order of stays
	Fit    *propagation.Fit // to everything that was fitted, cut into stays as the fixes are
	Refits int              // fits that fixes were made from
}

// Judge measures the position error of walks on a site.
//
//  1. The place that is judged was not in the fit, nor in what the fit started
//     from: leave-one-out leaves out all stays at it, in all walks; leave-area-out
//     all stays at the places of its area; train-test fits to other walks, which
//     may have been to the same places.
//  2. The fit is made from stays cut like the fixes: by visit or by facing.
//  3. Every fix counts once. Intervals are bootstrapped over places, since the
//     fixes of one place share its shadowing.
//  4. Targets are judged over places: one place counts as within the distance
//     by the share of its fixes that are, the sum rounded down. A fix that is
//     not located is not within.
//  5. Equal input and seed give equal results, whatever the number of processors.
func Judge(ctx context.Context, s *site.Site, walks []walk.Walk, o Options) (*Errors, error) {
	return judgeWatched(ctx, s, walks, o, nil)
}

// judgeWatched shows watch, if set, the fit by which each place is judged. It
// is called from several goroutines.
func judgeWatched(ctx context.Context, s *site.Site, walks []walk.Walk, o Options, watch func(place int, f *propagation.Fit)) (*Errors, error) {
	if err := o.complete(walks); err != nil {
		return nil, err
	}
	split := walk.ByVisit
	if o.Fix == PerFacing {
		split = walk.ByFacing
	}
	j := &judge{ctx: ctx, grid: NewGrid(s), o: o, watch: watch}
	var err error
	if o.Protocol == TrainTest {
		err = j.trainTest(walk.Stays(s, named(walks, o.Train), split), walk.Stays(s, named(walks, o.Test), split))
	} else {
		err = j.leaveOneOut(walk.Stays(s, walks, split))
	}
	if err != nil {
		return nil, err
	}
	e, err := j.errors()
	if err == nil && o.EachAP {
		e.Removals, err = j.removals(ctx)
	}
	if err != nil {
		return nil, err
	}
	return e, nil
}

func (o *Options) complete(walks []walk.Walk) error {
	if o.Protocol == "" {
		o.Protocol = LeaveOneOut
		if len(o.Train) > 0 && len(o.Test) > 0 {
			o.Protocol = TrainTest
		}
	}
	if o.Method == "" {
		o.Method = Trilaterate
	}
	if o.Fix == "" {
		o.Fix = PerFacing
		if o.Protocol == TrainTest {
			o.Fix = PerVisit
		}
	}
	if o.Resamples == 0 {
		o.Resamples = DefaultResamples
	}
	switch {
	case !slices.Contains(Methods(), o.Method):
		return fmt.Errorf("no method %q; use one of %v", o.Method, Methods())
	case o.Protocol != LeaveOneOut && o.Protocol != LeaveAreaOut && o.Protocol != TrainTest:
		return fmt.Errorf("no protocol %q; use %s, %s or %s", o.Protocol, LeaveOneOut, LeaveAreaOut, TrainTest)
	case o.Fix != PerVisit && o.Fix != PerFacing:
		return fmt.Errorf("no fix from a %q; use %s or %s", o.Fix, PerVisit, PerFacing)
	case o.Resamples < 100:
		return fmt.Errorf("%d resamples are too few for an interval; use 100 or more", o.Resamples)
	case o.Protocol == TrainTest && (len(o.Train) == 0 || len(o.Test) == 0):
		return errors.New("train-test needs walks to train on and walks to test; name at least one of each")
	case o.Protocol != TrainTest && len(o.Train)+len(o.Test) > 0:
		return fmt.Errorf("%s uses all walks; to train on some and test others, use train-test", o.Protocol)
	}
	for _, id := range slices.Concat(o.Train, o.Test) {
		if !slices.ContainsFunc(walks, func(w walk.Walk) bool { return w.ID == id }) {
			return fmt.Errorf("there is no walk %q; name one that the site has", id)
		}
	}
	for _, id := range o.Train {
		if slices.Contains(o.Test, id) {
			return fmt.Errorf("walk %q is both trained on and tested, which flatters; test another", id)
		}
	}
	for _, t := range o.Targets {
		if _, err := t.Check(0, 0); err != nil {
			return err
		}
	}
	return nil
}

func named(walks []walk.Walk, ids []string) []walk.Walk {
	var out []walk.Walk
	for _, w := range walks {
		if slices.Contains(ids, w.ID) {
			out = append(out, w)
		}
	}
	return out
}

// judge is one judgement under way.
type judge struct {
	ctx  context.Context
	grid *Grid
	o    Options

	fit    *propagation.Fit
	refits int
	judged []Judged
	places int
	watch  func(place int, f *propagation.Fit)

	widening float64 // of ellipses

	train, test []walk.Stay      // test is all there is where places are left out
	from        *propagation.Fit // where the fit sets out, nil for nothing
}

// learn prepares the method from all stays that may be learned from.
func (j *judge) learn(d *propagation.Data) learner {
	return learnerOf(j.o.Method)(&lessons{grid: j.grid, data: d, fit: j.fit})
}

func (j *judge) trainTest(train, test []walk.Stay) error {
	if len(test) == 0 {
		return errors.New("the walks to test have no visit on the site's floors; name others")
	}
	d := propagation.Observe(j.grid.site, train)
	fit, err := j.estimate(d)
	if err != nil {
		return fmt.Errorf("the walks to train on can't be fitted: %w", err)
	}
	j.train, j.test = train, test
	j.fit, j.refits, j.widening = fit, 1, widening(d, fit)
	byPlace := j.order(test)
	l := j.learn(d).without(fit, nil)
	return j.over(len(byPlace), byPlace, func(p int) {
		for _, i := range byPlace[p] {
			j.judged[i] = j.one(&test[i], l, fit)
		}
	})
}

func (j *judge) leaveOneOut(stays []walk.Stay) error {
	byPlace := j.order(stays)
	if len(byPlace) < 2 {
		return fmt.Errorf("%s needs stays at 2 places or more, and there are %d; walk more points", j.o.Protocol, len(byPlace))
	}
	d := propagation.Observe(j.grid.site, stays)
	fit, err := j.estimate(d)
	if err != nil {
		return fmt.Errorf("the walks can't be fitted: %w", err)
	}
	j.test = stays
	j.fit, j.widening = fit, widening(d, fit)
	folds, err := j.folds(stays, byPlace)
	if err != nil {
		return err
	}
	j.refits = len(folds)
	without, learned := j.refitter(d), j.learn(d)
	return j.over(len(folds), byPlace, func(fold int) {
		places := folds[fold]
		f, err := without(places...)
		var l Locator
		if err == nil {
			l = learned.without(f, places)
		}
		for _, p := range places {
			if j.watch != nil {
				j.watch(p, f)
			}
			for _, i := range byPlace[p] {
				if err != nil {
					j.judged[i] = j.one(&stays[i], nil, nil)
					j.judged[i].Fix.Reason = fmt.Sprintf("no fit without this place: %v", err)
					continue
				}
				j.judged[i] = j.one(&stays[i], l, f)
			}
		}
	})
}

// order groups stays by place, in order of first stays, as Observe does.
func (j *judge) order(stays []walk.Stay) [][]int {
	out := groups(len(stays), func(i int) walk.Place { return stays[i].Place() })
	j.judged = make([]Judged, len(stays))
	j.places = len(out)
	return out
}

// groups parts 0 to n−1 by a key, in order of the first of each.
func groups[K comparable](n int, key func(i int) K) [][]int {
	at := map[K]int{}
	var out [][]int
	for i := range n {
		g := key(i)
		k, ok := at[g]
		if !ok {
			k = len(out)
			at[g] = k
			out = append(out, nil)
		}
		out[k] = append(out[k], i)
	}
	return out
}

// over judges in n parts, on all processors, and brings what was judged into the
// order of places.
func (j *judge) over(n int, byPlace [][]int, part func(i int)) error {
	if err := parallel.Until(j.ctx, n, part); err != nil {
		return err
	}
	out := make([]Judged, 0, len(j.judged))
	for _, stays := range byPlace {
		for _, i := range stays {
			out = append(out, j.judged[i])
		}
	}
	j.judged = out
	return nil
}

// one judges one stay; without a locator it is not located.
func (j *judge) one(st *walk.Stay, l Locator, f *propagation.Fit) Judged {
	r := Judged{
		Walk: st.Walk, Visit: st.Visit, Place: st.Place(), Point: st.Point, Floor: j.grid.site.Floors[st.Floor].ID, At: st.At,
		FacingDeg: st.FacingDeg, Scans: st.Scans, ErrorM: math.NaN(), BoundM: math.NaN(),
		Area: zone(&j.grid.site.Floors[st.Floor], st.At),
	}
	if l == nil {
		return r
	}
	r.Fix = l.Fix(st)
	r.Doubts, r.OneSide = f.Doubts(*st), oneSide(j.grid, f, st)
	if r.Fix.Located {
		r.VectorM = orb.Point{r.Fix.At[0] - st.At[0], r.Fix.At[1] - st.At[1]}
		r.ErrorM = math.Hypot(r.VectorM[0], r.VectorM[1])
		fl := &j.grid.site.Floors[r.Fix.Floor]
		r.FixFloor, r.FixArea = fl.ID, zone(fl, r.Fix.At)
		r.Ellipse = r.Fix.ellipse().Times(j.widening)
	}
	if c, ok := j.grid.Bound(f, st.Floor, st.At, st.Scans); ok {
		r.BoundM = c.RMS()
	}
	return r
}
