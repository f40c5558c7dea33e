package position

import (
	"fmt"
	"slices"

	"footrule/internal/propagation"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

// Elsewhere is what places in no zone are called.
const Elsewhere = "elsewhere"

// AreaErrors is the position error in one area: a zone of a floor, or Elsewhere
// for the places of the floor that are in none. A place is in the first zone of
// the plan that it lies in.
type AreaErrors struct {
	Floor, Area string
	Summary
}

// zone is the ID of the first zone that a place lies in, empty for none.
func zone(f *site.Floor, at orb.Point) string {
	if a := f.AreaAt(at); a != nil {
		return a.ID
	}
	return ""
}

// rightFloor reports whether the fix is on the floor where the surveyor stood.
func (r *Judged) rightFloor() bool { return r.FixFloor == r.Floor }

// Held reports whether the ellipse holds the place, on its floor.
func (r *Judged) Held() bool {
	return r.hasEllipse() && r.rightFloor() && r.Ellipse.Holds(r.Fix.At, r.At)
}

func (r *Judged) hasEllipse() bool { return r.Ellipse.MajorM > 0 }

// areas gives the figures of every area that was judged, in the order of floors
// and zones of the plan, elsewhere last.
func (j *judge) areas() []AreaErrors {
	var out []AreaErrors
	add := func(floor, area, name string) {
		var in []Judged
		for i := range j.judged {
			if j.judged[i].Floor == floor && j.judged[i].Area == area {
				in = append(in, j.judged[i])
			}
		}
		if len(in) > 0 {
			out = append(out, AreaErrors{floor, name, summarise(in, j.o.Resamples, j.o.Seed)})
		}
	}
	for i := range j.grid.site.Floors {
		f := &j.grid.site.Floors[i]
		for k := range f.Areas {
			if f.Areas[k].Kind == site.Zone {
				add(f.ID, f.Areas[k].ID, f.Areas[k].ID)
			}
		}
		add(f.ID, "", Elsewhere)
	}
	return out
}

// folds are the places that are left out together: one, or all of an area. With
// more than mostRefits places several single ones go together.
func (j *judge) folds(stays []walk.Stay, byPlace [][]int) ([][]int, error) {
	if j.o.Protocol != LeaveAreaOut {
		folds := make([][]int, min(len(byPlace), mostRefits))
		for p := range byPlace {
			folds[p%len(folds)] = append(folds[p%len(folds)], p)
		}
		return folds, nil
	}
	type area struct {
		floor int
		zone  string
	}
	folds := groups(len(byPlace), func(p int) area {
		st := &stays[byPlace[p][0]]
		return area{st.Floor, zone(&j.grid.site.Floors[st.Floor], st.At)}
	})
	if len(folds) < 2 {
		return nil, fmt.Errorf("%s needs stays in 2 areas or more, and all are in one; give the plan zones, or use %s", LeaveAreaOut, LeaveOneOut)
	}
	return folds, nil
}

// refitter gives what fits again without places. For single places the fit to
// all is where a refit sets out; it goes on to the maximum of what is left. A
// whole area may take that so far away that a fit from nothing is as quick, and
// there are few areas.
func (j *judge) refitter(d *propagation.Data) func(places ...int) (*propagation.Fit, error) {
	if j.o.Protocol != LeaveAreaOut {
		return propagation.NewRefits(d, j.o.Propagation, j.fit).Without
	}
	return func(places ...int) (*propagation.Fit, error) {
		left := d.Subset(func(i int) bool { return !slices.Contains(places, d.PlaceOf[i]) })
		return propagation.EstimateFrom(left, j.o.Propagation, nil)
	}
}
