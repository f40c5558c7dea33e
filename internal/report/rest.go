package report

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"footrule/internal/infra"
	"footrule/internal/position"
	"footrule/internal/say"
)

// doubts names what does not fit, and what was left out.
func (w *writer) doubts() {
	w.section("What does not fit, and what was done about it")
	if d := w.Doubts; d != nil {
		switch {
		case d.Missing != "":
			w.note("Nothing could be looked for: " + sentence(d.Missing))
		case len(d.Findings) == 0:
			w.say(fmt.Sprintf("Nothing was found that does not fit between the plan and %s at %s.", say.Count(d.Visits, "visit"), say.Count(d.Places, "place")))
		default:
			var rows [][]string
			for i, f := range d.Findings {
				rows = append(rows, []string{w.DoubtTitles[i], sentence(f.Text), say.Fixed(f.LBF, 1), say.Fixed(f.Threshold, 1), sentence(f.Do)})
			}
			w.table("What does not fit between plan and walks", rows, "what", "found", "evidence#", "threshold#", "to do")
			w.note("These were not corrected: the fit and the errors of this report are of the plan and the walks as they stand.")
		}
		if len(d.Power.Text) > 0 {
			w.say("What these walks could have shown, in nine of ten cases:")
			w.list(sentences(d.Power.Text))
		}
	} else {
		w.say("No walk yet, so that nothing can be held against the plan.")
		return
	}
	for _, part := range []struct {
		caption, head, none string
		list                []leftOut
	}{
		{"Visits that the surveyor took out; they count nowhere in this report", "visit", "No visit was taken out.", w.walked.voided},
		{"Points that were skipped", "point", "No point was skipped.", w.walked.skipped},
	} {
		var rows [][]string
		for _, l := range part.list {
			rows = append(rows, []string{l.what, l.walk, or(l.why, "no reason given")})
		}
		if len(rows) == 0 {
			w.say(part.none)
			continue
		}
		w.table(part.caption, rows, part.head, "walk", "reason")
	}
}

func sentences(list []string) []string {
	var out []string
	for _, s := range list {
		out = append(out, sentence(s))
	}
	return out
}

// infrastructure lists the checks of what access points hang on.
func (w *writer) infrastructure() {
	w.section("Infrastructure")
	r := &w.Infra
	w.say(fmt.Sprintf("%s: %d fail, %d doubtful, %d not known, %d hold.", capital(w.InfraVerdict), r.Count(infra.Fails), r.Count(infra.Doubtful), r.Count(infra.Unknown), r.Count(infra.Holds)))
	w.checks(r.Findings)
	var rows [][]string
	for _, p := range r.Patching {
		m, from := "not known", "as built"
		if p.LengthM != nil {
			m = say.Fixed(*p.LengthM, 0)
			if !p.Measured {
				m = "about " + m
			}
		}
		if p.Proposed {
			from = "proposed"
		}
		rows = append(rows, []string{p.AP, p.Switch, whole(p.Port), m, from})
	}
	if len(rows) > 0 {
		w.table("Patching", rows, "access point", "switch", "port#", "link m#", "is")
	}
	if len(r.Unpatched) > 0 {
		w.note("No port is left for " + strings.Join(r.Unpatched, ", ") + ".")
	}
	w.note("These are checks of figures on paper: local codes and a licensed person decide.")
}

// checks lists the findings, the worst first; of what holds, check by check, how many
// and the tightest.
func (w *writer) checks(list []infra.Finding) {
	var rows [][]string
	open := 0
	row := func(f *infra.Finding, of, text string) {
		c := infra.CheckOf(f.Check)
		if f.Proposed {
			text += " (as proposed)"
		}
		rows = append(rows, []string{c.Title, of, string(f.Status), sentence(text), c.Against})
	}
	for _, s := range infra.Statuses {
		if s == infra.Holds {
			continue
		}
		for _, f := range alike(list, s) {
			if infra.CheckOf(f.Check).Group == walkDown {
				open++
				continue
			}
			row(&f, or(strings.Join(f.Subjects, ", "), "the site"), f.Text)
		}
	}
	for i := range infra.Checks {
		var these []*infra.Finding
		all, estimated := 0, 0
		for k := range list {
			if f := &list[k]; f.Check == infra.Checks[i].ID {
				all++
				if f.Status == infra.Holds {
					these = append(these, f)
					if f.Estimate {
						estimated++
					}
				}
			}
		}
		switch t := infra.Tightest(these); {
		case len(these) == 0:
		case len(these) == 1 || t == nil:
			row(these[0], or(strings.Join(these[0].Subjects, ", "), fmt.Sprintf("%d of %d", len(these), all)), these[0].Text)
		default:
			text := fmt.Sprintf("tightest is %s: %s", or(strings.Join(t.Subjects, ", "), "the site"), t.Text)
			if estimated > 0 {
				text += fmt.Sprintf("; %d by a length that is only estimated", estimated)
			}
			row(t, fmt.Sprintf("%d of %d", len(these), all), text)
		}
	}
	w.table("Checks", rows, "check", "of", "status", "figures", "checked against")
	if open > 0 {
		w.say(fmt.Sprintf("%s of what is not known %s questions of the walk-down, group by group: see “%s”.", whole(open), isAre(open), questionsTitle))
	}
}

// walkDown is the group of the check that questions are answered.
const walkDown = "walk-down"

// alike puts findings of one status that say the same of different things together.
func alike(list []infra.Finding, s infra.Status) []infra.Finding {
	var out []infra.Finding
	for _, f := range list {
		if f.Status != s {
			continue
		}
		i := slices.IndexFunc(out, func(o infra.Finding) bool {
			return o.Check == f.Check && o.Text == f.Text && o.Proposed == f.Proposed && o.Estimate == f.Estimate
		})
		if i < 0 {
			f.Subjects = slices.Clone(f.Subjects)
			out = append(out, f)
			continue
		}
		out[i].Subjects = append(out[i].Subjects, f.Subjects...)
	}
	return out
}

// further says what to do next.
func (w *writer) further() {
	w.section("What to do next")
	var do []string
	if w.Doubts != nil {
		for i, f := range w.Doubts.Findings {
			do = append(do, sentence(w.DoubtTitles[i]+": "+f.Do))
		}
		do = append(do, sentences(w.Doubts.Advice)...)
	}
	if n := w.Infra.Count(infra.Fails); n > 0 {
		do = append(do, fmt.Sprintf("Mend what fails in the infrastructure (%s).", say.Count(n, "check")))
	}
	if w.Errors != nil {
		for _, t := range w.Errors.Targets {
			do = append(do, settle(t)...)
		}
	}
	do = append(do, w.closing()...)
	if len(w.Walks) == 0 {
		do = append(do, "Walk the site: only what was heard there tells how levels really fall off, and how large errors are.")
	}
	w.list(do)
	if w.Next == nil {
		if w.NotNext != "" {
			w.say("Which points to walk next can't be said: " + sentence(w.NotNext))
		}
		return
	}
	w.say(smallerError + sentence(w.Next.Says))
	var rows [][]string
	for _, p := range w.Next.Points {
		kind := "a new one"
		if p.OnPlan {
			kind = "on the plan"
		}
		rows = append(rows, []string{p.Name, kind, p.Floor, place(p.At), say.Fixed(p.BuysM, 3), say.Fixed(p.WayM, 0)})
	}
	w.table("Points to walk next, in the order of a tour from where the last walk ended", rows, "point", "is", "floor", "at x, y m#", "lowers the mean error by m#", "way m#")
	w.say(fmt.Sprintf("The tour is %s m and takes some %s minutes. What points buy is a forecast of radio-map fixes.", say.Fixed(w.Next.WalkM, 0), say.Fixed(w.Next.Minutes, 0)))
}

// smallerError begins what further points would make of the error; that they may
// settle a target all the same is another matter.
const smallerError = "Further points, for a smaller error: "

// settle says what to do about a target that is not passed.
func settle(t position.Outcome) []string {
	what := fmt.Sprintf("the target of %.0f %% within %g m", 100*t.Share, t.WithinM)
	switch {
	case t.Verdict == position.Failed:
		return []string{"Decide about " + what + ", which is missed: more points at the rate so far would show the same. The worst places have their reasons, and the maps of the expected error and of the bound tell where access points are wanting."}
	case t.Verdict == position.Passed || t.MoreWithin == 0:
		return nil
	case t.MoreAtRate > 0:
		return []string{fmt.Sprintf("Walk %s to settle %s, which is open: at the rate so far it would be %s.", say.Count(t.MoreAtRate, "more place"), what, t.RateVerdict)}
	}
	return []string{fmt.Sprintf("Walk on to settle %s, which is open: %s, all within, would pass it.", what, say.Count(t.MoreWithin, "more place"))}
}

// closing names the largest holes with what would close them.
func (w *writer) closing() []string {
	const most = 3
	var out []string
	for _, h := range w.Holes[:min(most, len(w.Holes))] {
		if a := h.Added; a != nil {
			out = append(out, fmt.Sprintf("Hole of %s m² around %s on %s: one access point at %s closes %s m² of it.", say.Fixed(h.AreaM2, 1), place(h.Centre), floorName(&w.Site.Floors[h.Floor]), place(a.At), say.Fixed(a.ClosesM2, 1)))
		}
	}
	if n := len(w.Holes) - most; n > 0 && len(out) > 0 {
		out = append(out, fmt.Sprintf("And %s more, in the table of holes.", say.Count(n, "hole")))
	}
	return out
}

const questionsTitle = "Questions answered and open"

// questions lists the walk-down.
func (w *writer) questions() {
	w.section(questionsTitle)
	var answered, open [][]string
	for _, q := range infra.Questions {
		if a := w.Site.Answer(q.ID); a != nil {
			answered = append(answered, []string{q.Text, q.Group, a.Text, a.By, a.At.UTC().Format(time.DateOnly)})
		} else {
			open = append(open, []string{q.Text, q.Group})
		}
	}
	w.say(fmt.Sprintf("%d of %s that have to be answered on site are open.", len(open), say.Count(len(infra.Questions), "question")))
	if len(answered) > 0 {
		w.table("Answered", answered, "question", "of", "answer", "by", "on")
	}
	if len(open) > 0 {
		w.table("Open", open, "question", "of")
	}
}

// stood says how the levels were taken that devices will not be carried like.
func (w *writer) stood() string {
	switch {
	case len(w.Walks) == 0:
		return "A prediction is of a device that stands still, as high as the receiver."
	case w.walked.faced:
		return "Somebody stood still and faced known directions."
	}
	return "Somebody stood at known places; which way they faced was not recorded or was always the same."
}

// cautions says what the report does not, and what work on site asks for.
func (w *writer) cautions() {
	w.section("Cautions, and the limits of what is said here")
	w.part("What levels cannot tell")
	limits := []string{
		"Figures hold for the building, the access points and the receiver as they were on the days of the walks. Furniture, stock, doors and people change levels; so do channels and powers that are set by themselves.",
		"Other devices receive otherwise than the receiver of the walks: a few decibels more or less are usual, and errors grow with them.",
		w.stood() + " Moving devices, devices in pockets and on shelves do worse.",
		"A plan whose scale is wrong for points and access points alike looks right in levels; only a taped distance tells.",
		"An access point that hangs some metres off, a step of power of some 3 dB, or a point recorded some 5 m off may go unnoticed.",
		"A radio that was not heard is not therefore weak: receivers miss strong radios too, and how often is part of the model.",
		"Where nobody walked, errors and levels are predictions of the model: walls that the plan lacks are not in them.",
		"Intervals are about chance in the places that were walked. That the places were well chosen, and that later days are like those, is not in them.",
		"The bound is for a model that is exactly right and knows the levels alone; it is for comparison, and nobody's promise.",
	}
	if len(w.Walks) == 0 {
		limits[0] = "Figures are predicted from the plan and from what is common in such buildings. Furniture, stock, doors and people change levels; so do channels and powers that are set by themselves."
	}
	if w.walked.simulated > 0 {
		limits = append(limits, "Simulated walks know no building but the one that was simulated.")
	}
	w.list(limits)
	w.part("Work on site")
	w.list(infra.Cautions)
	w.part("Data protection")
	w.list([]string{
		"Addresses and names of neighbours' radios can be personal data. This report has none of them; the site file has those that were heard.",
		"Addresses of devices that people carry are not recorded.",
	})
}
