package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"footrule/internal/figure"
	"footrule/internal/position"
	"footrule/internal/say"
	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// errors says how far off positions are.
func (w *writer) errors() {
	w.section("Position error")
	e := w.Errors
	if e == nil {
		w.say("Not judged: " + or(w.NotJudged, "nobody has walked yet") + ".")
		return
	}
	s := &e.Statistics
	w.say(fmt.Sprintf("%d of %s located, at %d of %s; %s, %s, one fix from each %s, model %s.", s.Located, fixes(s.Fixes), e.Located, say.Count(e.Points, "place"), e.Method, e.Protocol, e.Fix, e.Fit.Model))
	w.figuresOf(&e.Summary)
	if len(e.Targets) > 0 {
		w.part("The targets, and how the verdict was reached")
		w.verdicts(e)
	}
	w.part("How the errors are spread")
	w.distribution(e)
	w.vectors(e)
	if slices.ContainsFunc(w.Site.Floors, func(f site.Floor) bool {
		return slices.ContainsFunc(f.Areas, func(a site.Area) bool { return a.Kind == site.Zone })
	}) {
		w.part("Area by area")
		w.areas(e)
	}
	w.part("The worst places")
	var rows [][]string
	for _, p := range e.Worst(10) {
		off := say.Fixed(p.MeanErrorM, 1)
		name := p.Point
		if name == "" {
			name = place(p.At)
		}
		rows = append(rows, []string{name, p.Floor, p.Area, place(p.At), fmt.Sprintf("%d of %d", p.Located, p.Fixes), off, capital(p.Why)})
	}
	w.table("Places with the largest errors", rows, "place", "floor", "area", "at x, y m#", "fixes located#", "mean error m#", "why")
}

func fixes(n int) string {
	if n == 1 {
		return "1 fix"
	}
	return whole(n) + " fixes"
}

func wasWere(n int) string {
	if n == 1 {
		return "was"
	}
	return "were"
}

func (w *writer) figuresOf(s *position.Summary) {
	var rows [][]string
	st := &s.Statistics
	for _, r := range []struct {
		key, name string
		v         float64
	}{
		{"mean_m", "mean", st.MeanM}, {"rms_m", "RMS", st.RMSM}, {"ce50_m", "CE50 (CEP): half of the fixes are within", st.CE50M},
		{"ce90_m", "CE90: 9 of 10 are within", st.CE90M}, {"ce95_m", "CE95: 19 of 20 are within", st.CE95M}, {"max_m", "largest", st.MaxM},
	} {
		ci := "–"
		if i, ok := s.CI95[r.key]; ok {
			ci = span(i.Lo, i.Hi, 2)
		}
		rows = append(rows, []string{r.name, say.Fixed(r.v, 2), ci})
	}
	rows = append(rows, []string{"mean vector, right and up on the plan", say.Fixed(st.BiasM[0], 2) + ", " + say.Fixed(st.BiasM[1], 2), "–"},
		[]string{"bound for comparison, RMS", say.Fixed(s.BoundRMSM, 2), "–"})
	w.table("Position error", rows, "error", "m#", "95 % interval#")
	rows = nil
	for _, r := range []struct {
		name string
		position.Share
	}{
		{"located (coverage)", s.Coverage}, {"on the right floor", s.FloorDetection}, {"in the right zone", s.ZoneDetection}, {"true place in the 95 % ellipse", s.Ellipse},
	} {
		if r.Of > 0 {
			rows = append(rows, []string{r.name, percent(r.Est(), 0), span(100*r.CI95.Lo, 100*r.CI95.Hi, 0)})
		}
	}
	w.table("Shares of the fixes", rows, "share of fixes", "%#", "95 % interval#")
	if w.Ellipses != "" {
		w.say(sentence(w.Ellipses))
	}
}

func (w *writer) verdicts(e *position.Errors) {
	var rows [][]string
	for _, t := range e.Targets {
		rows = append(rows, []string{fmt.Sprintf("%.0f %% within %g m", 100*t.Share, t.WithinM), fmt.Sprintf("%d of %d", t.Within, t.Points),
			fmt.Sprintf("%.0f", 100*t.Confidence), fmt.Sprintf("%.0f to %.0f", math.Floor(100*t.Lo), math.Ceil(100*t.Hi)), string(t.Verdict)})
	}
	w.table("Targets", rows, "target", "places within#", "confidence %#", "one-sided bounds on the share %#", "verdict")
	for _, v := range w.Verdicts {
		w.say(sentence(v))
	}
	w.say("Passed means that the lower bound on the share reaches what is asked, failed that the upper bound stays below it, open that more places are needed to tell.")
}

// distribution draws which share of the fixes is within which distance.
func (w *writer) distribution(e *position.Errors) {
	var errs, bounds []float64
	for i := range e.Judged {
		j := &e.Judged[i]
		if !math.IsNaN(j.ErrorM) {
			errs = append(errs, j.ErrorM)
		}
		if j.Fix.Located && !math.IsNaN(j.BoundM) {
			bounds = append(bounds, j.BoundM)
		}
	}
	if len(errs) == 0 {
		return
	}
	c := figure.Chart{Title: "Share of the fixes within a distance of the true place", Y: figure.Axis{Title: "share of fixes, %", Hi: 100}}
	hi := slices.Max(errs)
	for _, t := range e.Targets {
		hi = max(hi, t.WithinM)
		c.Ticks = append(c.Ticks, figure.Tick{At: orb.Point{t.WithinM, 100 * t.Share}, Text: fmt.Sprintf("%.0f %% within %g m", 100*t.Share, t.WithinM)})
	}
	c.X = figure.Axis{Title: "distance, m", Hi: max(math.Ceil(hi*1.05), 1)}
	c.Lines = []figure.Curve{{Name: "position error", Pts: within(errs, len(e.Judged), c.X.Hi)}}
	if len(bounds) > 0 {
		c.Lines = append(c.Lines, figure.Curve{Name: "bound at the same places", Pts: within(bounds, len(bounds), c.X.Hi), Quiet: true})
	}
	st := &e.Statistics
	c.Desc = fmt.Sprintf("A curve that rises from 0 to %s %% of the fixes: half are within %s metres, nine of ten within %s, all that were located within %s.",
		percent(st.Coverage(), 0), say.Fixed(st.CE50M, 2), say.Fixed(st.CE90M, 2), say.Fixed(st.MaxM, 2))
	more := "Fixes that were not located count as not within"
	if len(c.Ticks) > 0 {
		more += ". Orange marks are the targets, which are judged over places"
	}
	w.picture(c.Figure(), more)
}

// within is the curve of the share, in %, of so many that is within a distance.
func within(v []float64, of int, hi float64) []orb.Point {
	v = slices.Clone(v)
	slices.Sort(v)
	out := []orb.Point{{0, 0}}
	share := 0.0
	for i, x := range v {
		if x > hi {
			break
		}
		out = append(out, orb.Point{x, share})
		share = 100 * float64(i+1) / float64(of)
		out = append(out, orb.Point{x, share})
	}
	return append(out, orb.Point{hi, share})
}

// vectors draws every fix from where the surveyor stood, floor by floor.
func (w *writer) vectors(e *position.Errors) {
	worst := map[string]bool{}
	for _, p := range e.Worst(5) {
		worst[fmt.Sprint(p.Place)] = true
	}
	for _, k := range w.Input.Floors {
		f := &w.Site.Floors[k]
		p := w.plan(k)
		seen := map[string]bool{}
		n, missing, elsewhere := 0, 0, 0
		for i := range e.Judged {
			j := &e.Judged[i]
			if j.Floor != f.ID {
				continue
			}
			if id := fmt.Sprint(j.Place); !seen[id] {
				seen[id] = true
				m := figure.Mark{Kind: figure.Stood, At: j.At}
				if worst[id] {
					p.Marks = append(p.Marks, figure.Mark{Kind: figure.Remark, At: j.At, Text: j.Point})
				}
				p.Marks = append(p.Marks, m)
			}
			switch {
			case !j.Fix.Located:
				missing++
			case j.FixFloor != f.ID:
				elsewhere++
			default:
				n++
				p.Arrows = append(p.Arrows, figure.Arrow{From: j.At, To: j.Fix.At})
			}
		}
		if len(seen) == 0 {
			continue
		}
		p.Title = floorName(f) + ": error vectors, metres"
		p.Legend = figure.Legend{Entries: []figure.Entry{{Step: figure.OfMark(figure.Stood), Text: "where the surveyor stood"}, {Step: figure.Pointed, Text: "to the fix"},
			{Step: figure.OfMark(figure.AccessPoint), Text: "access point"}, {Step: figure.OfMark(figure.Remark), Text: "among the five worst places"}}}
		p.Desc = fmt.Sprintf("%s %d arrows lead from %s to the fixes.", w.size(k), n, say.Count(len(seen), "place"))
		more := ""
		if missing > 0 {
			more += fmt.Sprintf("Not drawn: %s that %s not located. ", fixes(missing), wasWere(missing))
		}
		if elsewhere > 0 {
			more += fmt.Sprintf("Not drawn: %s on another floor. ", fixes(elsewhere))
		}
		w.picture(p.Figure(), strings.TrimSuffix(more, ". "))
	}
}

func (w *writer) areas(e *position.Errors) {
	var rows [][]string
	for i := range e.Areas {
		a := &e.Areas[i]
		s := &a.Statistics
		rows = append(rows, []string{a.Area, a.Floor, whole(a.Points), percent(a.Coverage.Est(), 0), say.Fixed(s.MeanM, 1), say.Fixed(s.CE50M, 1), span(a.CI95["ce50_m"].Lo, a.CI95["ce50_m"].Hi, 1),
			say.Fixed(s.CE90M, 1), span(a.CI95["ce90_m"].Lo, a.CI95["ce90_m"].Hi, 1), say.Fixed(a.BoundRMSM, 1)})
	}
	w.table("Position error, area by area", rows, "area", "floor", "places#", "located %#", "mean m#", "CE50 m#", "95 % interval#", "CE90 m#", "95 % interval#", "bound m#")
	w.say("A dash stands where there are too few places for an interval.")
}
