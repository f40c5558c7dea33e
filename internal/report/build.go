package report

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"footrule/internal/site"
	"footrule/internal/walk"
)

// writer writes the document of an input.
type writer struct {
	*Document
	*Input
	walked  walked
	hashKey string // "" until it is asked for
}

// sections are the parts of a report, in their order.
var sections = []func(*writer){
	(*writer).summary,
	(*writer).aim,
	(*writer).method,
	(*writer).plans,
	(*writer).levels,
	(*writer).coverage,
	(*writer).errors,
	(*writer).doubts,
	(*writer).infrastructure,
	(*writer).scale,
	(*writer).further,
	(*writer).questions,
	(*writer).cautions,
}

// New writes the report.
func New(in *Input) *Document {
	w := &writer{Document: &Document{Title: in.Title, Author: in.Author, Program: in.Program, Date: in.Date}, Input: in, walked: walkedOf(in)}
	if w.Document.Title == "" {
		w.Document.Title = "WLAN positioning at " + in.Site.Name
	}
	w.Subtitle = "Survey report: levels, coverage and position error"
	if len(in.Walks) == 0 {
		w.Subtitle = "Report on the plan, before any walk: predicted coverage, and infrastructure"
	}
	w.Facts = []Fact{{"Site", in.Site.Name}, {"For", or(in.Customer, "not named")}, {"By", or(in.Author, "not named")}}
	if !in.Date.IsZero() {
		w.fact("Date of this report", in.Date.Format(time.DateOnly))
	}
	if len(in.Walks) > 0 {
		w.fact("Walked", w.walked.days())
	} else {
		w.fact("Walked", "not yet")
	}
	plan := "as given"
	if in.PlanRev > 0 {
		plan = fmt.Sprintf("revision %d", in.PlanRev)
	}
	w.fact("Plan", plan)
	w.fact("Program", "footrule "+in.Program)
	for _, s := range sections {
		s(w)
	}
	return w.Document
}

func (w *writer) fact(name, value string) {
	w.Facts = append(w.Facts, Fact{name, value})
}

// floorName is what a floor is called.
func floorName(f *site.Floor) string {
	if f.Name == "" {
		return "floor " + f.ID
	}
	return f.Name
}

// walked is what walks hold, counted.
type walked struct {
	first, last      time.Time
	stands           map[walk.Place]bool // places of visits that count
	visits, scans    int
	readings         int
	foreign          int // readings of radios that are not on the plan
	voided           []leftOut
	skipped          []leftOut
	simulated, other int  // walks
	faced            bool // several directions at one stay
}

// leftOut is something that does not count, and why.
type leftOut struct{ walk, what, why string }

func walkedOf(in *Input) walked {
	out := walked{stands: map[walk.Place]bool{}}
	ours := in.Site.RadioOf()
	for i := range in.Walks {
		w := &in.Walks[i]
		if w.Source == walk.Synthetic {
			out.simulated++
		} else {
			out.other++
		}
		for _, v := range w.Standing() {
			out.visits++
			p := walk.Place{Floor: in.Site.FloorIndex(v.Floor), Point: v.Point}
			if v.Point == "" {
				p.At = v.At
			}
			out.stands[p] = true
			for _, s := range v.Scans {
				out.faced = out.faced || s.FacingDeg != v.Scans[0].FacingDeg
				out.scans++
				out.readings += len(s.Readings)
				for _, r := range s.Readings {
					if _, ok := ours[r.BSSID]; !ok {
						out.foreign++
					}
				}
				if out.first.IsZero() || s.Time.Before(out.first) {
					out.first = s.Time
				}
				if s.Time.After(out.last) {
					out.last = s.Time
				}
			}
		}
		out.marks(w)
	}
	return out
}

// marks gathers what the surveyor took out, as it stands at the end.
func (o *walked) marks(w *walk.Walk) {
	name := map[string]string{}
	for i := range w.Visits {
		v := &w.Visits[i]
		name[v.ID] = "visit " + v.ID
		if v.Point != "" {
			name[v.ID] = "visit at " + v.Point
		}
	}
	var voided, skipped []leftOut
	drop := func(list []leftOut, what string) []leftOut {
		return slices.DeleteFunc(list, func(l leftOut) bool { return l.what == what })
	}
	for _, m := range w.Marks {
		switch m.Kind {
		case walk.Void:
			voided = append(drop(voided, m.Target), leftOut{w.Name, m.Target, m.Reason})
		case walk.Unvoid:
			voided = drop(voided, m.Target)
		case walk.Skip:
			skipped = append(drop(skipped, m.Target), leftOut{w.Name, m.Target, m.Reason})
		case walk.Unskip:
			skipped = drop(skipped, m.Target)
		}
	}
	for i := range voided {
		voided[i].what = or(name[voided[i].what], "visit "+voided[i].what)
	}
	o.voided, o.skipped = append(o.voided, voided...), append(o.skipped, skipped...)
}

func (o *walked) days() string {
	if o.first.IsZero() {
		return "no scan that counts"
	}
	a, b := o.first.UTC().Format(time.DateOnly), o.last.UTC().Format(time.DateOnly)
	if a == b {
		return a
	}
	return a + " to " + b
}

// floorList names the floors that are shown.
func (w *writer) floorList() string {
	var names []string
	for _, i := range w.Input.Floors {
		names = append(names, floorName(&w.Site.Floors[i]))
	}
	return strings.Join(names, ", ")
}
