package coverage

import (
	"context"
	"fmt"
	"math"

	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// PlaceOptions say how access points are added.
type PlaceOptions struct {
	Box      Box
	SpacingM float64 // between the places that are tried; 0 is [DefaultSpacingM]
	Move     bool    // those there are may be moved too
	Extra    int     // access points to add beyond what is needed, for the error alone
}

// Moved is an access point that is to hang elsewhere.
type Moved struct {
	ID       string
	From, To Mount
}

// Placement is where access points should be added.
type Placement struct {
	Added  []site.AccessPoint // planned: radios without BSSIDs
	Moved  []Moved
	Plan   *site.Site // the site with them
	Before *Map
	After  *Map
	Mounts int // places that were tried

	// Fewest is a proven lower bound on len(Added): no fewer at the places that were
	// tried do. Where it equals len(Added) the answer is the best there is.
	Fewest  int
	Optimal bool

	// ShortM2 is the area that hears too few even with an access point at every
	// place that was tried.
	ShortM2 float64
	// ErrorBeforeM and ErrorAfterM are the root mean square over the area of the
	// error to expect (see [Accuracy]), by which places of equal worth are chosen.
	ErrorBeforeM, ErrorAfterM float64

	Notes []string
}

// Place finds the fewest access points that must be added so that every cell
// hears what is needed, and of those that do, where the error to expect is small:
// first a [Multicover] of the cells by the places where one can hang, then swaps
// of one place for another that keep every cell served, as long as the error
// falls. That also takes them off one line, where that can be.
//
// With Move those that hang there may go elsewhere: the fewest are added, and then
// as many as can be stay where they are; none is moved where that saves none.
func Place(ctx context.Context, s *site.Site, source Source, o Options, p PlaceOptions) (*Placement, error) {
	out, err := placed(ctx, s, source, o, p)
	if err != nil || len(out.Moved) == 0 {
		return out, err
	}
	p.Move = false
	still, err := placed(ctx, s, source, o, p)
	if err != nil {
		return nil, err
	}
	if len(still.Added) <= len(out.Added) && still.ShortM2 <= out.ShortM2 {
		still.Fewest = out.Fewest
		still.Optimal = out.Optimal
		return still, nil
	}
	return out, nil
}

func placed(ctx context.Context, s *site.Site, source Source, o Options, p PlaceOptions) (*Placement, error) {
	o, err := o.filled(s)
	if err != nil {
		return nil, err
	}
	if p.SpacingM == 0 {
		p.SpacingM = DefaultSpacingM
	}
	if len(p.Box.Bands) == 0 {
		return nil, fmt.Errorf("an access point without a band; say which it has")
	}
	d := &placing{site: s, options: o, place: p}
	for _, floor := range o.Floors {
		m, err := Mounts(s, floor, p.SpacingM)
		if err != nil {
			return nil, err
		}
		d.mounts = append(d.mounts, m...)
	}
	if len(d.mounts) == 0 {
		return nil, fmt.Errorf("there is no place to hang an access point: all is void or kept free of mounts")
	}
	fit, notes, err := source(s)
	if err != nil {
		return nil, err
	}
	out := &Placement{Mounts: len(d.mounts), Notes: notes}
	if out.Before, err = Predict(ctx, s, fit, o); err != nil {
		return nil, err
	}
	trial := with(s, p.Box, d.mounts, "+")
	if d.fit, _, err = source(trial); err != nil {
		return nil, err
	}
	d.plan, d.first = trial, len(s.AccessPoints)
	known := false
	for _, k := range radiosByAP(trial)[d.first] {
		known = known || d.fit.Group(k) != nil
	}
	if !known {
		return nil, fmt.Errorf("the model knows nothing of the bands %v that an added access point would have; walk them, or predict from an environment", p.Box.Bands)
	}
	if err := d.look(ctx, out.Before); err != nil {
		return nil, err
	}
	d.solve(ctx, out)
	d.improve(ctx, out)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	d.carryOut(out)
	fit, _, err = source(out.Plan)
	if err != nil {
		return nil, err
	}
	if out.After, err = Predict(ctx, out.Plan, fit, o); err != nil {
		return nil, err
	}
	d.onLine(out)
	return out, nil
}

// hang gives the places of the access points on a floor.
func hang(s *site.Site, floor int) []orb.Point {
	var out []orb.Point
	for i := range s.AccessPoints {
		if s.AccessPoints[i].Floor == s.Floors[floor].ID {
			out = append(out, s.AccessPoints[i].At)
		}
	}
	return out
}

// lineWidth is the rms distance from the best line over the length along it below
// which access points count as on one line.
const lineWidth = 0.03

// onLine notes the floors whose access points all hang on one line.
func (d *placing) onLine(out *Placement) {
	for _, floor := range d.options.Floors {
		pts := hang(out.Plan, floor)
		if len(pts) < 3 {
			continue
		}
		var mx, my, xx, xy, yy float64
		n := float64(len(pts))
		for _, p := range pts {
			mx += p[0] / n
			my += p[1] / n
		}
		for _, p := range pts {
			xx += (p[0] - mx) * (p[0] - mx)
			xy += (p[0] - mx) * (p[1] - my)
			yy += (p[1] - my) * (p[1] - my)
		}
		mid, r := (xx+yy)/2, math.Hypot((xx-yy)/2, xy)
		if math.Sqrt(max(mid-r, 0)) < lineWidth*math.Sqrt(mid+r) {
			out.Notes = append(out.Notes, fmt.Sprintf("the access points of floor %s hang on one line, so that a place on one side of it cannot be told from the other; add one off the line", d.site.Floors[floor].ID))
		}
	}
}

// carryOut turns the chosen places into a plan: what can be moved there is moved,
// by the shortest ways first, and the rest is added.
func (d *placing) carryOut(out *Placement) {
	fresh := []Mount{}
	staying := map[int]bool{}
	for _, c := range d.chosen {
		if c < len(d.kept) {
			staying[d.kept[c]] = true
		} else {
			fresh = append(fresh, d.mounts[c-len(d.kept)])
		}
	}
	plan := d.site.Clone()
	if d.place.Move {
		type way struct {
			ap, to int
			length float64
		}
		taken := make([]bool, len(fresh))
		for {
			best := way{length: math.Inf(1)}
			for _, ap := range d.kept {
				if staying[ap] {
					continue
				}
				for i, m := range fresh {
					if l := planar.Distance(plan.AccessPoints[ap].At, m.At); !taken[i] && l < best.length-1e-9 {
						best = way{ap, i, l}
					}
				}
			}
			if math.IsInf(best.length, 1) {
				break
			}
			box := &plan.AccessPoints[best.ap]
			out.Moved = append(out.Moved, Moved{box.ID, Mount{plan.FloorIndex(box.Floor), box.At}, fresh[best.to]})
			box.At, box.Floor = fresh[best.to].At, plan.Floors[fresh[best.to].Floor].ID
			taken[best.to], staying[best.ap] = true, true
		}
		rest := fresh[:0]
		for i, m := range fresh {
			if !taken[i] {
				rest = append(rest, m)
			}
		}
		fresh = rest
	}
	before := len(plan.AccessPoints)
	out.Plan = with(plan, d.place.Box, fresh, "NEW-")
	out.Added = out.Plan.AccessPoints[before:]
	out.Fewest = min(out.Fewest, len(out.Added))
	out.Optimal = out.Fewest == len(out.Added)-d.extra
}
