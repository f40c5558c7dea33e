package draft

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"footrule/internal/input"
	"footrule/internal/radio"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// Draft is a plan being edited.
type Draft struct {
	plan         *site.Site
	past, future []*site.Site
	saved        *site.Site
}

// mostSteps bounds the history.
const mostSteps = 500

// New begins with a plan, which counts as saved.
func New(plan *site.Site) *Draft { return &Draft{plan: plan, saved: plan} }

// Plan is the plan as it stands: read only.
func (d *Draft) Plan() *site.Site { return d.plan }

// Changed reports whether the plan differs from what was saved.
func (d *Draft) Changed() bool { return d.plan != d.saved }

// Saved says that a plan of this draft is on disk.
func (d *Draft) Saved(plan *site.Site) { d.saved = plan }

// Undo takes the latest step back; false where there is none.
func (d *Draft) Undo() bool {
	n := len(d.past)
	if n == 0 {
		return false
	}
	d.future = append(d.future, d.plan)
	d.plan, d.past = d.past[n-1], d.past[:n-1]
	return true
}

// Redo makes the step that was taken back last again; false where there is none.
func (d *Draft) Redo() bool {
	n := len(d.future)
	if n == 0 {
		return false
	}
	d.past = append(d.past, d.plan)
	d.plan, d.future = d.future[n-1], d.future[:n-1]
	return true
}

// step makes a step on a copy; where the result is no plan nothing is changed and
// the error says why.
func (d *Draft) step(change func(s *site.Site) error) error {
	next := d.plan.Clone()
	if err := change(next); err != nil {
		return err
	}
	if err := next.Validate(); err != nil {
		var in *input.Error
		if errors.As(err, &in) {
			return fmt.Errorf("%s; %s", in.What, in.Want)
		}
		return err
	}
	d.past = append(d.past, d.plan)
	if len(d.past) > mostSteps {
		d.past = slices.Delete(d.past, 0, len(d.past)-mostSteps)
	}
	d.plan, d.future = next, nil
	return nil
}

// Kind says what a Ref names.
type Kind string

// The kinds.
const (
	AP      Kind = "access point"
	Point   Kind = "point"
	Outline Kind = "outline"
	Wall    Kind = "wall"
	Area    Kind = "area"
)

// Ref names a thing on a floor that has a place: the access point or point at
// Index, or corner Corner of the outline, or of the wall or area at Index.
type Ref struct {
	Kind          Kind
	Floor         int // index into Site.Floors
	Index, Corner int
}

// Near lists what can be taken hold of within a distance of a place in metres,
// the nearest first; of equals access points and points come before corners.
func (d *Draft) Near(floor int, at orb.Point, within float64) []Ref {
	type found struct {
		ref  Ref
		dist float64
	}
	var all []found
	add := func(r Ref, p orb.Point) {
		if dist := planar.Distance(p, at); dist <= within {
			all = append(all, found{r, dist})
		}
	}
	f := &d.plan.Floors[floor]
	for i, ap := range d.plan.AccessPoints {
		if ap.Floor == f.ID {
			add(Ref{AP, floor, i, 0}, ap.At)
		}
	}
	for i, p := range f.Points {
		add(Ref{Point, floor, i, 0}, p.At)
	}
	for i, w := range f.Walls {
		for k, p := range w.Line {
			add(Ref{Wall, floor, i, k}, p)
		}
	}
	for i, a := range f.Areas {
		for k, p := range a.Polygon {
			add(Ref{Area, floor, i, k}, p)
		}
	}
	for k, p := range f.Outline {
		add(Ref{Outline, floor, 0, k}, p)
	}
	slices.SortStableFunc(all, func(a, b found) int { return cmp.Compare(a.dist, b.dist) })
	out := make([]Ref, len(all))
	for i := range all {
		out[i] = all[i].ref
	}
	return out
}

// place gives where the place of a thing is kept; nil where there is no such thing.
func place(s *site.Site, r Ref) *orb.Point {
	if r.Floor < 0 || r.Floor >= len(s.Floors) || r.Index < 0 || r.Corner < 0 {
		return nil
	}
	f := &s.Floors[r.Floor]
	corner := func(ps []orb.Point) *orb.Point {
		if r.Corner < len(ps) {
			return &ps[r.Corner]
		}
		return nil
	}
	switch r.Kind {
	case AP:
		if r.Index < len(s.AccessPoints) && s.AccessPoints[r.Index].Floor == f.ID {
			return &s.AccessPoints[r.Index].At
		}
	case Point:
		if r.Index < len(f.Points) {
			return &f.Points[r.Index].At
		}
	case Outline:
		return corner(f.Outline)
	case Wall:
		if r.Index < len(f.Walls) {
			return corner(f.Walls[r.Index].Line)
		}
	case Area:
		if r.Index < len(f.Areas) {
			return corner(f.Areas[r.Index].Polygon)
		}
	}
	return nil
}

// At is where a thing is; false where there is no such thing.
func (d *Draft) At(r Ref) (orb.Point, bool) {
	p := place(d.plan, r)
	if p == nil {
		return orb.Point{}, false
	}
	return *p, true
}

// errGone is what a step on a thing that is not there ends in.
var errGone = errors.New("it is not there any more; choose again")

// Move takes a thing to a place.
func (d *Draft) Move(r Ref, to orb.Point) error {
	return d.step(func(s *site.Site) error {
		p := place(s, r)
		if p == nil {
			return errGone
		}
		*p = round(to)
		return nil
	})
}

// round keeps places to the millimetre: a plan is not known more exactly.
func round(p orb.Point) orb.Point {
	return orb.Point{math.Round(p[0]*1000) / 1000, math.Round(p[1]*1000) / 1000}
}

func rounded(line []orb.Point) []orb.Point {
	out := make([]orb.Point, len(line))
	for i := range line {
		out[i] = round(line[i])
	}
	return out
}

// Delete takes a thing away; of the outline one corner, of a wall or an area all
// of it.
func (d *Draft) Delete(r Ref) error {
	return d.step(func(s *site.Site) error {
		if place(s, r) == nil {
			return errGone
		}
		f := &s.Floors[r.Floor]
		switch r.Kind {
		case AP:
			s.AccessPoints = slices.Delete(s.AccessPoints, r.Index, r.Index+1)
		case Point:
			f.Points = slices.Delete(f.Points, r.Index, r.Index+1)
		case Outline:
			f.Outline = slices.Delete(f.Outline, r.Corner, r.Corner+1)
		case Wall:
			f.Walls = slices.Delete(f.Walls, r.Index, r.Index+1)
		case Area:
			f.Areas = slices.Delete(f.Areas, r.Index, r.Index+1)
		}
		return nil
	})
}

// AddWall draws a wall of a material along corners.
func (d *Draft) AddWall(floor int, material string, line []orb.Point) error {
	return d.step(func(s *site.Site) error {
		s.Floors[floor].Walls = append(s.Floors[floor].Walls, site.Wall{Material: material, Line: rounded(line)})
		return nil
	})
}

// AddArea draws an area of a kind, and gives it the first free ID of its kind.
func (d *Draft) AddArea(floor int, kind site.AreaKind, corners []orb.Point) error {
	return d.step(func(s *site.Site) error {
		f := &s.Floors[floor]
		id := free(string(kind)+"-", 1, func(id string) bool {
			return slices.ContainsFunc(f.Areas, func(a site.Area) bool { return a.ID == id })
		})
		f.Areas = append(f.Areas, site.Area{ID: id, Kind: kind, Polygon: rounded(corners)})
		return nil
	})
}

// SetOutline draws the outline anew.
func (d *Draft) SetOutline(floor int, corners []orb.Point) error {
	return d.step(func(s *site.Site) error {
		s.Floors[floor].Outline = rounded(corners)
		return nil
	})
}

// AddPoint puts a point where somebody can stand, with the first free ID.
func (d *Draft) AddPoint(floor int, at orb.Point) (id string, err error) {
	id = free("P", 2, d.taken)
	return id, d.step(func(s *site.Site) error {
		s.Floors[floor].Points = append(s.Floors[floor].Points, site.Point{ID: id, At: round(at)})
		return nil
	})
}

// defaultHeightM is where an access point hangs if nothing else is said: under
// a ceiling (common practice: 2.5 to 4 m).
const defaultHeightM = 2.8

// AddAP puts an access point with the first free ID. Its height and bands are
// those of the last one of the plan, its radios have no BSSID yet.
func (d *Draft) AddAP(floor int, at orb.Point) (id string, err error) {
	id = free("AP-", 2, d.taken)
	return id, d.step(func(s *site.Site) error {
		ap := site.AccessPoint{ID: id, Floor: s.Floors[floor].ID, At: round(at), HeightM: defaultHeightM}
		bands := []radio.Band{radio.Band2, radio.Band5}
		if n := len(s.AccessPoints); n > 0 {
			last := &s.AccessPoints[n-1]
			ap.HeightM, bands = last.HeightM, nil
			for _, r := range last.Radios {
				bands = append(bands, r.Band)
			}
		}
		for _, b := range bands {
			ap.Radios = append(ap.Radios, site.Radio{Band: b})
		}
		s.AccessPoints = append(s.AccessPoints, ap)
		return nil
	})
}

// AddFloor adds a storey with the outline of another one, 3.5 m above the highest.
func (d *Draft) AddFloor(like int) (index int, err error) {
	id := free("", 1, func(id string) bool { return d.plan.Floor(id) != nil })
	err = d.step(func(s *site.Site) error {
		top := s.Floors[0].ElevationM
		for i := range s.Floors {
			top = max(top, s.Floors[i].ElevationM)
		}
		s.Floors = append(s.Floors, site.Floor{ID: id, ElevationM: top + 3.5, Outline: slices.Clone(s.Floors[like].Outline)})
		return nil
	})
	return len(d.plan.Floors) - 1, err
}

// taken reports whether an access point or a point has an ID.
func (d *Draft) taken(id string) bool {
	for i := range d.plan.Floors {
		if d.plan.Floors[i].Point(id) != nil {
			return true
		}
	}
	return slices.ContainsFunc(d.plan.AccessPoints, func(a site.AccessPoint) bool { return a.ID == id })
}

// free gives the first ID with a number of so many digits that is not taken.
func free(prefix string, digits int, taken func(string) bool) string {
	for n := 1; ; n++ {
		if id := fmt.Sprintf("%s%0*d", prefix, digits, n); !taken(id) {
			return id
		}
	}
}
