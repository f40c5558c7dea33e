package main

import (
	"context"
	"fmt"
	"slices"

	"footrule/internal/doubt"
	"footrule/internal/infra"
	"footrule/internal/site"
	"footrule/internal/walk"
	"footrule/tui"

	"github.com/paulmach/orb"
)

// find looks for what does not fit in a whole walk.
func find(ctx context.Context, plan *site.Site, w walk.Walk) ([]tui.Finding, error) {
	rep, err := doubt.Find(ctx, plan, []walk.Walk{w}, doubt.Options{Brief: true})
	if err != nil {
		return nil, err
	}
	if !w.Completed { // a walk that goes on may get there yet
		rep.Findings = slices.DeleteFunc(rep.Findings, func(f doubt.Finding) bool { return f.Kind == doubt.Unreached })
	}
	return findings(plan, rep), nil
}

// findings says what does not fit in the words of the screen: a title, the
// evidence, what to do, and where.
func findings(plan *site.Site, rep *doubt.Report) []tui.Finding {
	var out []tui.Finding
	for i := range rep.Findings {
		f := &rep.Findings[i]
		t := tui.Finding{Title: findingTitle(plan, f), Evidence: f.Text, Do: f.Do, AP: -1}
		switch {
		case len(f.APs) > 0:
			t.AP = f.APs[0]
			ap := &plan.AccessPoints[t.AP]
			t.Floor, t.At = ap.Floor, ap.At
		case len(f.Visits) > 0:
			t.Floor, t.At = plan.Floors[f.Visits[0].Floor].ID, f.Visits[0].At
		case f.When != nil:
			t.Floor, t.At = plan.Floors[f.When.Floor].ID, f.When.At
		default:
			t.Floor, t.At = plan.Floors[0].ID, plan.Floors[0].BoundingBox().Center()
		}
		if len(f.Seems) > 0 && plan.Floors[f.Seems[0].Floor].ID == t.Floor {
			at := orb.Point(f.Seems[0].At)
			t.Seems = &at
		}
		out = append(out, t)
	}
	return out
}

// findingTitle names a finding in a few words.
func findingTitle(plan *site.Site, f *doubt.Finding) string {
	ap, also := "", ""
	for i, k := range f.APs {
		switch i {
		case 0:
			ap = plan.AccessPoints[k].ID
		case 1:
			also = plan.AccessPoints[k].ID
		}
	}
	point, other := "", ""
	for i := range f.Visits {
		switch i {
		case 0:
			point = f.Visits[i].Name()
		case 1:
			other = f.Visits[i].Name()
		}
	}
	switch f.Kind {
	case doubt.Moved:
		return ap + " hangs elsewhere"
	case doubt.Labels:
		if len(f.APs) > 2 {
			return fmt.Sprintf("%s and %d more mixed up", ap, len(f.APs)-1)
		}
		return ap + " and " + also + " swapped"
	case doubt.Power:
		return ap + " changed its power"
	case doubt.Event:
		return "many APs changed at once"
	case doubt.Dies:
		return ap + " fell silent"
	case doubt.Dead:
		return ap + " was never heard"
	case doubt.Unreached:
		return ap + ": no point near it"
	case doubt.Scale:
		return "points and APs: two scales"
	case doubt.Point:
		return point + " recorded elsewhere"
	case doubt.Exchange:
		return point + " and " + other + " swapped"
	case doubt.Receiver:
		return f.Receiver + " reports otherwise"
	case doubt.Slope:
		return ap + " does not fall off"
	}
	return string(f.Kind)
}

// prepFindings says what the infrastructure lacks in the words of the screen.
func prepFindings(plan *site.Site) []tui.Finding {
	var out []tui.Finding
	rep := infra.Examine(plan)
	for _, want := range []infra.Status{infra.Fails, infra.Doubtful} {
		for _, f := range rep.Findings {
			if f.Status != want {
				continue
			}
			c := infra.CheckOf(f.Check)
			t := tui.Finding{Title: c.Title, Evidence: f.Text, Do: "Checked against " + c.Against + ".", AP: -1, Floor: plan.Floors[0].ID, At: plan.Floors[0].BoundingBox().Center()}
			for i := range plan.AccessPoints {
				if len(f.Subjects) > 0 && plan.AccessPoints[i].ID == f.Subjects[0] {
					t.AP, t.Floor, t.At = i, plan.AccessPoints[i].Floor, plan.AccessPoints[i].At
					t.Title = plan.AccessPoints[i].ID + ": " + c.Title
				}
			}
			out = append(out, t)
		}
	}
	return out
}
