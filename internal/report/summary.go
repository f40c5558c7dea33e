package report

import (
	"fmt"

	"footrule/internal/infra"
	"footrule/internal/position"
	"footrule/internal/say"
)

// summary is the page for who reads no further.
func (w *writer) summary() {
	w.section("Summary")
	if w.walked.simulated > 0 {
		of := "The walks"
		if w.walked.other > 0 {
			of = fmt.Sprintf("%d of the %d walks", w.walked.simulated, len(w.Walks))
		}
		w.note(of + " behind this report are simulated. Nothing in it was measured in a building.")
	}
	switch {
	case w.Errors != nil && len(w.Errors.Targets) > 0:
		for i, t := range w.Errors.Targets {
			tone := Note
			switch t.Verdict {
			case position.Passed:
				tone = Met
			case position.Failed:
				tone = Missed
			}
			w.Blocks = append(w.Blocks, Text{sentence(w.Verdicts[i]), tone})
		}
	case w.Errors != nil:
		w.note("No target was given for this report, so that nothing is passed or failed; the errors that were found are below.")
	case len(w.Walks) == 0:
		w.note("Nobody has walked the site yet: what follows is a prediction and a check of the plan, and no measurement.")
	default:
		w.note("The position error could not be judged: " + sentence(w.NotJudged))
	}
	if n := len(w.Asked); n > 0 && w.Errors == nil {
		w.note(fmt.Sprintf("So the %s that %s asked for %s neither passed nor failed: nothing was judged.", plural(n, "target"), wasWere(n), isAre(n)))
	}
	var rows [][]string
	if e := w.Errors; e != nil {
		s := &e.Statistics
		ci := func(key string) string { return span(e.CI95[key].Lo, e.CI95[key].Hi, 2) }
		rows = append(rows,
			[]string{"half of the fixes are within (CE50)", say.Fixed(s.CE50M, 2) + " m", ci("ce50_m")},
			[]string{"9 of 10 fixes are within (CE90)", say.Fixed(s.CE90M, 2) + " m", ci("ce90_m")},
			[]string{"mean error", say.Fixed(s.MeanM, 2) + " m", ci("mean_m")},
			[]string{"fixes located", percent(e.Coverage.Est(), 0) + " %", span(100*e.Coverage.CI95.Lo, 100*e.Coverage.CI95.Hi, 0)},
			[]string{"places judged", whole(e.Points), "–"})
	}
	if w.Cover != nil {
		o := w.Cover.Options
		rows = append(rows, []string{fmt.Sprintf("area that hears %d access points or more, predicted", o.Need), percent(w.Cover.Shares().Need, 1) + " %", "–"})
	}
	if w.Doubts != nil && w.Doubts.Missing == "" {
		rows = append(rows, []string{"things that do not fit between plan and walks", whole(len(w.Doubts.Findings)), "–"})
	}
	r := &w.Infra
	rows = append(rows, []string{"checks of the infrastructure that fail, are doubtful, not known, hold",
		fmt.Sprintf("%d, %d, %d, %d", r.Count(infra.Fails), r.Count(infra.Doubtful), r.Count(infra.Unknown), r.Count(infra.Holds)), "–"})
	w.table("The main figures", rows, "what", "found#", "95 % interval#")
	if w.Next != nil {
		w.say(smallerError + sentence(w.Next.Says))
	}
	w.say(fmt.Sprintf("What these figures can and cannot say stands in the last section; how they were reached in “%s”.", methodTitle))
}

const methodTitle = "Method and equipment"
