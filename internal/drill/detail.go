package drill

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"footrule/internal/doubt"
	"footrule/internal/say"
	"footrule/internal/site"
	"footrule/internal/walk"
)

// How near an answer has to be for all of a part; for half of it, twice so far.
// Where the program found the fault itself, its own uncertainty is allowed too.
const (
	leastPlaceM = 4.0
	leastVisits = 3
	leastDB     = 3.0
	leastFactor = 0.03
)

// detail is the share of a place, a moment or a size that an answer got.
func (c *Case) detail(p part, f *Fault, a *Answer, e Evidence) (float64, string) {
	found := e.found(c, f)
	switch p {
	case thePlace:
		if a.At == nil {
			return 0, fmt.Sprintf("not said: %s", coordinates(*f.At))
		}
		slack := leastPlaceM
		if found != nil && len(found.Seems) > 0 {
			slack = max(slack, 2*found.Seems[0].SDM)
		}
		off := distance(*a.At, *f.At)
		return within(off, slack), fmt.Sprintf("%s m off; %s m is as near as the levels allow", decimal(off, 1), decimal(slack, 1))
	case theMoment:
		if a.Since == "" {
			return 0, "not said: " + c.moment(f, e.Walks)
		}
		return c.momentShare(f, a.Since, found, e)
	}
	if a.Size == 0 {
		return 0, "not said: " + sized(f.Kind, f.Size)
	}
	if f.Kind.Unit() == "dB" {
		slack := leastDB
		if found != nil && found.SE > 0 {
			slack = max(slack, 2*found.SE)
		}
		off := math.Abs(a.Size - f.Size)
		if f.Kind == Receiver { // which of them is off, levels don't tell
			off = min(off, math.Abs(a.Size+f.Size))
		}
		return within(off, slack), fmt.Sprintf("%s dB off; %s dB is as near as the levels allow", decimal(off, 1), decimal(slack, 1))
	}
	if a.Size < 0 {
		return 0, "a factor is above 0: " + sized(f.Kind, f.Size)
	}
	off := min(math.Abs(math.Log(a.Size/f.Size)), math.Abs(math.Log(a.Size*f.Size))) // either way round
	return within(off, leastFactor), fmt.Sprintf("it was %s", sized(f.Kind, f.Size))
}

func within(off, slack float64) float64 {
	switch {
	case off <= slack:
		return 1
	case off <= 2*slack:
		return .5
	}
	return 0
}

// made is the visits of walks in the order in which they were made.
func made(walks []walk.Walk) []*walk.Visit {
	var out []*walk.Visit
	for i := range walks {
		for k := range walks[i].Visits {
			out = append(out, &walks[i].Visits[k])
		}
	}
	slices.SortStableFunc(out, func(a, b *walk.Visit) int { return start(a).Compare(start(b)) })
	return out
}

// momentShare holds a moment against the visits: the trainee names a point, which
// may have been visited more than once.
func (c *Case) momentShare(f *Fault, since string, found *doubt.Finding, e Evidence) (float64, string) {
	visits := made(e.Walks)
	off := math.MaxInt
	for i, v := range visits {
		if v.Point == since {
			off = min(off, abs(i-f.After))
		}
	}
	slack := leastVisits
	if found != nil && found.Early != nil && found.Late != nil {
		for i, v := range visits {
			if v.ID == found.Early.ID || v.ID == found.Late.ID {
				slack = max(slack, abs(i-f.After))
			}
		}
	}
	if off == math.MaxInt {
		return 0, fmt.Sprintf("%s was not walked; %s", since, c.moment(f, e.Walks))
	}
	return within(float64(off), float64(slack)), fmt.Sprintf("%s off; %s", say.Count(off, "visit"), c.moment(f, e.Walks))
}

func abs(v int) int { return max(v, -v) }

// moment says when a fault came.
func (c *Case) moment(f *Fault, walks []walk.Walk) string {
	visits := made(walks)
	if f.After < len(visits) {
		return fmt.Sprintf("it came after %s, before %s", say.Count(f.After, "visit"), called(visits[f.After]))
	}
	return fmt.Sprintf("it comes after %s", say.Count(f.After, "visit"))
}

func called(v *walk.Visit) string {
	if v.Point != "" {
		return v.Point
	}
	return v.ID
}

// Says is the truth about a planted fault in a sentence.
func (c *Case) Says(f *Fault) string {
	switch f.Kind {
	case Labels:
		return fmt.Sprintf("%s hang at each other's places: the labels are exchanged", listed(f.APs))
	case Moved:
		return fmt.Sprintf("%s hangs at %s, %s m from its place on the plan (%s)", f.APs[0], coordinates(*f.At), decimal(f.Size, 1), coordinates(c.ap(f.APs[0]).At))
	case Power:
		return fmt.Sprintf("the power of %s changed by %s after %s", listed(f.APs), sized(f.Kind, f.Size), say.Count(f.After, "visit"))
	case Dead:
		return fmt.Sprintf("%s never sent anything", listed(f.APs))
	case Dies:
		return fmt.Sprintf("%s fell silent after %s", listed(f.APs), say.Count(f.After, "visit"))
	case Point:
		return fmt.Sprintf("whoever was to stand at %s stood at %s, %s m away", f.Points[0], coordinates(*f.At), decimal(f.Size, 1))
	case Storey:
		return fmt.Sprintf("%s hangs on floor %s, and is drawn on floor %s", f.APs[0], c.built(f.APs[0]).Floor, c.ap(f.APs[0]).Floor)
	case Exchange:
		return fmt.Sprintf("%s are recorded as each other, %s m apart: whoever was to stand at one stood at the other", listed(f.Points), decimal(f.Size, 1))
	case Receiver:
		return fmt.Sprintf("the receiver of the second walk reports %s more than that of the first", decimal(f.Size, 1)+" dB")
	case Scale:
		return fmt.Sprintf("the access points are drawn to another scale than the rest: their places are %s times what they should be", decimal(f.Size, 2))
	case Plan:
		return fmt.Sprintf("the plan is drawn to a wrong scale: one metre on it is %s m of the building", decimal(f.Size, 2))
	case Line:
		return fmt.Sprintf("all %d access points hang on one line, so that its two sides can't be told apart", len(c.Building.AccessPoints))
	case Facing:
		return fmt.Sprintf("the walk was made with one facing only: whatever was behind the surveyor is up to %s dB too weak, at every point", decimal(f.Size, 0))
	case Few:
		return fmt.Sprintf("only %d of %d points were walked", fewPoints, len(c.points()))
	case Stale:
		return fmt.Sprintf("at %s the receiver listed what it had heard before, as if it were new", strings.Join(f.Points, ", "))
	}
	return f.Kind.Name()
}

// ap finds an access point of the plan, built one of the building.
func (c *Case) ap(id string) *site.AccessPoint    { return find(c.Plan, id) }
func (c *Case) built(id string) *site.AccessPoint { return find(c.Building, id) }

func find(s *site.Site, id string) *site.AccessPoint {
	i := slices.IndexFunc(s.AccessPoints, func(a site.AccessPoint) bool { return a.ID == id })
	return &s.AccessPoints[i]
}
