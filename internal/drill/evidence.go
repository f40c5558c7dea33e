package drill

import (
	"fmt"
	"math"
	"slices"
	"time"

	"footrule/internal/doubt"
	"footrule/internal/say"
	"footrule/internal/walk"

	"gonum.org/v1/gonum/stat"
)

// leastWalked is how many visits a walk needs before levels can show a fault, the
// least that package doubt looks at.
const leastWalked = 8

func start(v *walk.Visit) time.Time {
	if len(v.Scans) == 0 {
		return time.Time{}
	}
	return v.Scans[0].Time
}

func (e *Evidence) walked() bool { return len(made(e.Walks)) >= leastWalked }

// found is what the program itself found of a fault in the walks, nil for nothing.
func (e *Evidence) found(c *Case, f *Fault) *doubt.Finding {
	if e.Report == nil {
		return nil
	}
	for i := range e.Report.Findings {
		g := &e.Report.Findings[i]
		kind := Kind(g.Kind)
		if g.Kind == doubt.Moved && c.Plan.Floors[g.Seems[0].Floor].ID != c.Plan.AccessPoints[g.APs[0]].Floor {
			kind = Storey
		}
		if kind != f.Kind {
			continue
		}
		about := len(f.APs) == 0 && len(f.Points) == 0
		for _, ap := range g.APs {
			about = about || slices.Contains(f.APs, c.Plan.AccessPoints[ap].ID)
		}
		for _, v := range g.Visits {
			about = about || slices.Contains(f.Points, v.Point)
		}
		if about {
			return g
		}
	}
	return nil
}

// shows says whether the walks could have shown a fault: they did where the
// program finds it in them, else by the sizes that they show in nine of ten cases.
func (e *Evidence) shows(c *Case, f *Fault) (Shown, string) {
	switch f.Kind {
	case Line:
		return Yes, "the plan alone shows it"
	case Plan:
		return Yes, fmt.Sprintf("the tape shows it: %s m in the building, %s m on the plan; levels never do", decimal(c.TapedM(), 1), decimal(c.planM(), 1))
	case Receiver:
		return Yes, "the two walks that were handed over show it at the points of both"
	case Facing, Few:
		return Yes, "the walk that was handed over shows it"
	}
	visits := made(e.Walks)
	if !e.walked() {
		return Guess, fmt.Sprintf("%s can't show it: what is named without levels is a guess and counts half", say.Count(len(visits), "visit"))
	}
	if f.Kind == Stale {
		return Yes, fmt.Sprintf("the scans of %s are the same to the decibel", say.Count(len(f.Points), "visit"))
	}
	if f.After >= len(visits) {
		return No, fmt.Sprintf("it comes after %s, and there are %d", say.Count(f.After, "visit"), len(visits))
	}
	if g := e.found(c, f); g != nil {
		return Yes, "the program finds it in the walk: " + g.Text
	}
	if f.Kind == Storey {
		return e.louder(c, f.APs[0])
	}
	could, why := e.outlook(c, f)
	if could {
		return Yes, why
	}
	return No, why
}

// louderDB is by how much an access point has to be louder on another floor than on
// its own before that tells; shadowing at three places makes less of it.
const louderDB = 3

// louder says whether an access point is heard louder on its real floor than on
// that of the plan, by the three places that hear it best on each.
func (e *Evidence) louder(c *Case, id string) (Shown, string) {
	const best = 3
	there, here := c.built(id).Floor, c.ap(id).Floor
	heard := map[string][]float64{}
	refs := c.Plan.Radios()
	for _, st := range walk.Stays(c.Plan, e.Walks, walk.ByVisit) {
		floor := c.Plan.Floors[st.Floor].ID
		for k, l := range st.Levels {
			if l.Heard > 0 && refs[k].Radio == 0 && c.Plan.AccessPoints[refs[k].AP].ID == id {
				heard[floor] = append(heard[floor], l.MeanDBm)
			}
		}
	}
	loudest := func(floor string) float64 {
		ls := heard[floor]
		slices.Sort(ls)
		if len(ls) < best {
			return math.NaN()
		}
		return stat.Mean(ls[len(ls)-best:], nil)
	}
	a, b := loudest(there), loudest(here)
	switch {
	case math.IsNaN(a):
		return No, fmt.Sprintf("fewer than %d visits on floor %s heard %s", best, there, id)
	case math.IsNaN(b):
		return Yes, fmt.Sprintf("%s is heard on floor %s, and by fewer than %d visits on floor %s", id, there, best, here)
	}
	why := fmt.Sprintf("where it is heard best %s has %s dBm on floor %s and %s dBm on floor %s", id, decimal(a, 0), there, decimal(b, 0), here)
	if a-b < louderDB {
		return No, why
	}
	return Yes, why
}

// outlook compares a fault with what the walks show in nine of ten cases.
func (e *Evidence) outlook(c *Case, f *Fault) (bool, string) {
	o := &e.Report.Power
	ap := -1
	if len(f.APs) > 0 {
		ap = slices.IndexFunc(o.APs, func(a doubt.APOutlook) bool { return c.Plan.AccessPoints[a.AP].ID == f.APs[0] })
	}
	size := math.Abs(f.Size)
	compare := func(need float64, what, unit string) (bool, string) {
		if math.IsNaN(need) {
			return false, fmt.Sprintf("the walk shows %s of no size", what)
		}
		return size >= need, fmt.Sprintf("the walk shows %s from %s %s on in nine of ten cases; it was %s", what, decimal(math.Ceil(need), 0), unit, decimal(size, 0)+" "+unit)
	}
	switch {
	case f.Kind == Moved && ap >= 0:
		return compare(o.APs[ap].MoveM, f.APs[0]+" off its place", "m")
	case f.Kind == Power && ap >= 0:
		could, why := compare(o.APs[ap].StepDB, "a change of "+f.APs[0], "dB")
		if !could {
			why += "; one that comes back to some points at its end shows it without any model"
		}
		return could, why
	case f.Kind == Dies && ap >= 0:
		if last := o.APs[ap].Dying; last != nil {
			return true, fmt.Sprintf("the walk shows %s falling silent before %s", f.APs[0], last.Name())
		}
		return false, fmt.Sprintf("too few places expect to hear %s after it fell silent", f.APs[0])
	case f.Kind == Point || f.Kind == Exchange:
		i := slices.IndexFunc(o.Visits, func(v doubt.VisitOutlook) bool { return v.Visit.Point == f.Points[0] })
		if i < 0 {
			return false, f.Points[0] + " was not walked"
		}
		return compare(o.Visits[i].OffM, f.Points[0]+" off its place", "m")
	}
	return false, "the program does not find it in the walk"
}

// planM is the taped wall on the plan.
func (c *Case) planM() float64 {
	b := c.Plan.Floors[0].BoundingBox()
	return b.Max[0] - b.Min[0]
}
