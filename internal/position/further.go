package position

import (
	"context"
	"fmt"
	"math"
	"slices"

	"footrule/internal/propagation"
	"footrule/internal/site"
	"footrule/internal/walk"
)

// FurtherOptions choose what is looked at. The zero value of each but More is
// the default.
type FurtherOptions struct {
	More        int    // further points to choose, at least 1
	Prefer      []Spot // where they should be if that is as good, such as points of the plan
	Only        []int  // floors where they may be; none for all
	Fix         Unit   // what the error is measured from; "" is PerVisit
	Propagation propagation.Options
	Targets     []Target
	Seed        uint64 // of the bootstrap
}

// Further is where to walk next, what that buys, and what was bought so far.
// All errors are the mean over the places where people walk, in metres: E of a
// [Prospect] times Scale, by which errors measured by leaving places out are as
// large as E says of the same places left out.
type Further struct {
	Errors  *Errors // radio-map fixes, by leave-one-out
	Scale   float64 // measured over E; NaN where nothing could be measured
	Places  int     // walked
	NowM    float64
	Chosen  []FurtherPoint // in the order of what they buy
	Behind  []Milestone    // from few places to all
	Targets []Spot         // where the error counts
	Floor   []float64      // per floor, NowM of its places alone; NaN where none counts
}

// FurtherPoint is a point to walk next.
type FurtherPoint struct {
	Spot
	Preferred int     // index into FurtherOptions.Prefer, −1 for a place of the grid
	BuysM     float64 // by how much it lowers the error after those before it
	ErrorM    float64 // with it and those before it
}

// Milestone is what some places of the walk are worth that lie all over the floors.
type Milestone struct {
	Places int
	MetM   float64 // mean error met at all other places, by what was learned from these; of all, by leave-one-out; NaN where they are too few for a fit
	ErrorM float64 // to expect
}

// leastToLookFurther is how many places a prospect needs: with fewer, none that
// is left out can be judged by the rest.
const leastToLookFurther = 5

// LookFurther measures the error of the walks so far and chooses further points.
// Fewer than 5 places, or floors without a place to go, are an error; so is the
// end of ctx.
func LookFurther(ctx context.Context, s *site.Site, walks []walk.Walk, o FurtherOptions) (*Further, error) {
	if o.More < 1 {
		return nil, fmt.Errorf("%d further points; ask for 1 or more", o.More)
	}
	if o.Fix == "" {
		o.Fix = PerVisit
	}
	d := propagation.Observe(s, walk.Stays(s, walks, walk.ByVisit))
	if n := len(d.Places); n < leastToLookFurther {
		return nil, fmt.Errorf("only %d of the %d places that it takes to say what more would buy; walk %d more, spread over the floor", n, leastToLookFurther, leastToLookFurther-n)
	}
	e, err := Judge(ctx, s, walks, Options{Method: RadioMap, Protocol: LeaveOneOut, Fix: o.Fix, Propagation: o.Propagation, Targets: o.Targets, Seed: o.Seed})
	if err != nil {
		return nil, err
	}
	fit := e.Fit
	if o.Fix != PerVisit {
		if fit, err = propagation.Estimate(d, o.Propagation); err != nil {
			return nil, err
		}
	}
	spots := Candidates(s, d, o.Prefer, Fine.Candidates)
	if !slices.ContainsFunc(spots, func(c Spot) bool { return o.Only == nil || slices.Contains(o.Only, c.Floor) }) {
		return nil, fmt.Errorf("nowhere to go: every place where somebody can stand is within %g m of one that was walked", fromWalkedM)
	}
	p := NewProspect(NewGrid(s), d, fit, spots, Fine)
	out := &Further{Errors: e, Places: len(d.Places), Targets: p.Targets}
	left, err := p.LeftOutM(ctx)
	if err != nil {
		return nil, err
	}
	out.Scale = scaleOf(d, e, left)
	steps, err := p.Choose(ctx, o.More, o.Only)
	if err != nil {
		return nil, err
	}
	now := p.ErrorM()
	out.NowM = out.size(now)
	for _, st := range steps {
		c := p.Candidates[st.Candidate]
		out.Chosen = append(out.Chosen, FurtherPoint{Spot: c, Preferred: slices.Index(o.Prefer, c), BuysM: out.size(now - st.ErrorM), ErrorM: out.size(st.ErrorM)})
		now = st.ErrorM
	}
	if out.Behind, err = out.behind(ctx, s, walks, d, p, o); err != nil {
		return nil, err
	}
	for fl := range s.Floors {
		out.Floor = append(out.Floor, out.size(p.floorM(fl)))
	}
	return out, nil
}

// size brings E to the size of the errors that were measured, where some were.
func (f *Further) size(e float64) float64 {
	if math.IsNaN(f.Scale) {
		return e
	}
	return e * f.Scale
}

// scaleOf is the mean error measured over the mean that was to be expected of
// the same fixes.
func scaleOf(d *propagation.Data, e *Errors, left []float64) float64 {
	place := map[walk.Place]int{}
	for i, pl := range d.Places {
		place[pl] = i
	}
	measured, expected := 0.0, 0.0
	for i := range e.Judged {
		j := &e.Judged[i]
		if n, ok := place[j.Place]; ok && !math.IsNaN(j.ErrorM) {
			measured, expected = measured+j.ErrorM, expected+left[n]
		}
	}
	return measured / expected
}

// counts are some numbers of places up to all of them, each about twice the one
// before.
func counts(all int) []int {
	out := []int{all}
	for n := all / 2; n >= leastToLookFurther; n /= 2 {
		out = append([]int{n}, out...)
	}
	return out
}

// behind learns from some of the places and meets the others.
func (f *Further) behind(ctx context.Context, s *site.Site, walks []walk.Walk, d *propagation.Data, p *Prospect, o FurtherOptions) ([]Milestone, error) {
	spots := make([]Spot, len(d.Places))
	for i, pl := range d.PlaceOf {
		spots[pl] = Spot{d.Floor[i], d.At[i]}
	}
	order := spread(spots)
	split := walk.ByVisit
	if o.Fix == PerFacing {
		split = walk.ByFacing
	}
	stays := walk.Stays(s, walks, split)
	grid := NewGrid(s)
	var out []Milestone
	for _, n := range counts(len(order)) {
		m := Milestone{n, f.Errors.Statistics.MeanM, f.size(p.OfM(order[:n]))}
		if n < len(order) {
			known := map[walk.Place]bool{}
			for _, i := range order[:n] {
				known[d.Places[i]] = true
			}
			var train, test []walk.Stay
			for _, st := range stays {
				if known[st.Place()] {
					train = append(train, st)
				} else {
					test = append(test, st)
				}
			}
			j := &judge{ctx: ctx, grid: grid, o: Options{Method: RadioMap, Protocol: TrainTest, Fix: o.Fix, Propagation: o.Propagation}}
			m.MetM = math.NaN()
			if err := j.trainTest(train, test); err == nil {
				m.MetM = summarise(j.judged, 0, 0).Statistics.MeanM
			}
			if err := ctx.Err(); err != nil {
				return nil, err
			}
		}
		out = append(out, m)
	}
	return out, nil
}

// Shrink is what further points would make of an error, as a share of it: the
// ratio of E with them to E now. It is quick enough to stand beside a walk that
// goes on: it chooses at the detail [Coarse], and measures nothing.
func Shrink(ctx context.Context, g *Grid, d *propagation.Data, f *propagation.Fit, prefer []Spot, more int) (float64, error) {
	spots := Candidates(g.site, d, prefer, Coarse.Candidates)
	if len(spots) == 0 {
		return 1, nil
	}
	p := NewProspect(g, d, f, spots, Coarse)
	steps, err := p.Choose(ctx, more, nil)
	if err != nil || len(steps) == 0 {
		return 1, err
	}
	return steps[len(steps)-1].ErrorM / p.ErrorM(), nil
}
