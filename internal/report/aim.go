package report

import (
	"fmt"
	"slices"
	"time"

	"footrule/internal/infra"
	"footrule/internal/say"
	"footrule/internal/site"
)

// aims are the groups of questions that say what the site needs.
var aims = []string{"building", "locating", "devices"}

// aim says what the site is and what the customer needs.
func (w *writer) aim() {
	s := w.Site
	w.section("The site and what is asked of it")
	var rows [][]string
	for i := range s.Floors {
		f := &s.Floors[i]
		aps, zones := 0, 0
		for k := range s.AccessPoints {
			if s.AccessPoints[k].Floor == f.ID {
				aps++
			}
		}
		for _, a := range f.Areas {
			if a.Kind == site.Zone {
				zones++
			}
		}
		b := f.BoundingBox()
		rows = append(rows, []string{f.ID, or(f.Name, "–"), say.Fixed(f.ElevationM, 1), say.Fixed(b.Max[0]-b.Min[0], 1) + " by " + say.Fixed(b.Max[1]-b.Min[1], 1),
			say.Fixed(f.Area(), 0), whole(aps), whole(len(f.Points)), whole(zones)})
	}
	w.table("Floors", rows, "floor", "name", "elevation m#", "extent m#", "walkable m²#", "access points#", "points#", "zones#")
	if len(w.Input.Floors) < len(s.Floors) {
		w.note("Maps, and the figures that are taken from maps, are of " + w.floorList() + " only, as asked for. Levels, errors and checks are of the whole site.")
	}
	if t := w.targets(); len(t) > 0 {
		w.say("Asked of the positions:")
		w.list(t)
	} else {
		w.say("No share of places within a distance was asked for.")
	}
	rows = nil
	open := 0
	for _, q := range infra.Questions {
		if !slices.Contains(aims, q.Group) {
			continue
		}
		if a := s.Answer(q.ID); a != nil {
			rows = append(rows, []string{q.Text, a.Text, a.By, a.At.UTC().Format(time.DateOnly)})
		} else {
			open++
		}
	}
	if len(rows) > 0 {
		w.table("What the customer said of the building, of what is to be located, and of the devices", rows, "question", "answer", "by", "on")
	}
	if open > 0 {
		w.note(fmt.Sprintf("%s of the building, of what is to be located and of the devices %s not answered; the list is in “%s”. Whether the site does what it is for can't be said without them.",
			say.Count(open, "question"), isAre(open), questionsTitle))
	}
}

func isAre(n int) string {
	if n == 1 {
		return "is"
	}
	return "are"
}

func (w *writer) targets() []string {
	var out []string
	for _, t := range w.Asked {
		out = append(out, fmt.Sprintf("%.0f %% of the places within %g m, to be shown at %.0f %% confidence", 100*t.Share, t.WithinM, 100*t.Confidence))
	}
	return out
}
