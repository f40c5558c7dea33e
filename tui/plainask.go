package tui

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"footrule/internal/say"
	"footrule/internal/walk"
)

// another asks for another point, the nearest named first.
func (p *plain) another() error {
	stops := p.s.Stops()
	var todo []int
	for i := range stops {
		if p.s.Status(i) == walk.Todo {
			todo = append(todo, i)
		}
	}
	cur, _ := p.s.Current()
	floor, from := stops[cur].Floor, stops[cur].At
	if f, at, ok := p.s.Here(); ok {
		floor, from = f, at
	}
	sortNearest(todo, stops, floor, from)
	todo = todo[:min(len(todo), 9)]
	choices := []Choice{{"b", "goes back"}}
	for k, i := range todo {
		choices = append(choices, Choice{strconv.Itoa(k + 1), stops[i].Point})
	}
	got, err := p.ask(Ask{AskPoint, stops[cur].Point, choices})
	if err != nil || got == "b" {
		return err
	}
	k, err := strconv.Atoi(got)
	if err != nil || k < 1 || k > len(todo) {
		return fmt.Errorf("%q is no number of a point", got)
	}
	return p.keep(context.Background(), func() (walk.Fact, error) { return p.s.Choose(todo[k-1], p.cfg.Clock()) })
}

// nudge moves the stand by a quarter of a metre.
func (p *plain) nudge(point string) error {
	for {
		got, err := p.ask(Ask{AskPoint, point, []Choice{{"b", "is right so"}, {"l", "left"}, {"r", "right"}, {"u", "up"}, {"d", "down"}}})
		if err != nil || got == "b" {
			return err
		}
		step := map[string][2]float64{"l": {-1, 0}, "r": {1, 0}, "u": {0, 1}, "d": {0, -1}}[got]
		if err := p.s.Nudge(step[0]*nudgeM, step[1]*nudgeM); err != nil {
			p.say("! %s", sentence(err))
			continue
		}
		if o := p.words.offset(p.s.Offset()); o != "" {
			p.say("Nudged %s.", o)
		} else {
			p.say("Not nudged.")
		}
	}
}

// reason asks why.
func (p *plain) reason(point string, items []string) (string, error) {
	choices := make([]Choice, len(items))
	for i, r := range items {
		choices[i] = Choice{strconv.Itoa(i + 1), r}
	}
	got, err := p.ask(Ask{AskReason, point, choices})
	if err != nil {
		return "", err
	}
	k, err := strconv.Atoi(got)
	if err != nil {
		return "", err
	}
	return items[k-1], nil
}

func (p *plain) void(ctx context.Context) error {
	st := p.s.Walk().Standing()
	if len(st) == 0 {
		p.say("! No visit stands yet.")
		return nil
	}
	last := st[len(st)-1]
	reason, err := p.reason(last.Point, voidReasons)
	if err != nil {
		return err
	}
	return p.keep(ctx, func() (walk.Fact, error) { return p.s.VoidVisit(last.ID, reason, p.cfg.Clock()) })
}

// keep stores a mark; where that fails nothing has changed.
func (p *plain) keep(ctx context.Context, propose func() (walk.Fact, error)) error {
	f, err := propose()
	if err != nil {
		p.say("! %s", sentence(err))
		return nil
	}
	if err := p.cfg.Store(f); err != nil {
		p.say("! Not saved, nothing has changed. %s", sentence(err))
		return nil
	}
	p.s.Apply(f)
	if text := markText(p.s, f.Mark); text != "" {
		p.say("%s", text)
	}
	if f.Mark.Kind == walk.Void || f.Mark.Kind == walk.Unvoid {
		p.judge(ctx)
	}
	return nil
}

// over says that nothing is left and asks what then.
func (p *plain) over() error {
	if p.s.Walk().Completed {
		return errQuit
	}
	p.say("")
	p.say("All points are done.")
	p.ring(1)
	got, err := p.ask(Ask{AskOver, "", []Choice{{"f", "finishes the walk"}, {"u", "takes the last step back"}}})
	if err != nil {
		return err
	}
	before := len(p.s.Walk().Marks)
	err = p.keep(context.Background(), func() (walk.Fact, error) {
		if got == "u" {
			return p.s.Undo(p.cfg.Clock())
		}
		return p.s.FinishWalk(p.cfg.Clock())
	})
	if err == nil && p.pilot != nil && len(p.s.Walk().Marks) == before {
		return errQuit // what failed for a pilot would fail for ever
	}
	return err
}

// judge fits the walk so far and says how it stands.
func (p *plain) judge(ctx context.Context) {
	if p.cfg.Judge == nil {
		return
	}
	st, err := p.cfg.Judge(ctx, *p.s.Walk())
	if err != nil {
		p.say("! No fit. %s", sentence(err))
		return
	}
	if p.cfg.Find != nil && !p.cfg.NoFindings && st.Ready() {
		if fs, err := p.cfg.Find(ctx, *p.s.Walk()); err == nil {
			st.Findings = fs
		}
	}
	p.standing = st
	p.say("%s", standingText(p.words, &st))
	for _, f := range st.Findings {
		if !p.warned[f.Title] {
			p.warned[f.Title] = true
			p.say("! %s. %s %s", f.Title, f.Evidence, f.Do)
		}
	}
	for _, w := range st.Warnings {
		// The same warning with other figures is no news.
		if key := strings.Map(noDigit, w); !p.warned[key] {
			p.warned[key] = true
			p.say("! %s", w)
		}
	}
}

// noDigit drops digits from a text.
func noDigit(r rune) rune {
	if '0' <= r && r <= '9' {
		return -1
	}
	return r
}

// standingText says in a sentence how the fit and its error stand.
func standingText(w words, st *Standing) string {
	if !st.Ready() {
		if st.Need > st.Points {
			return fmt.Sprintf("No fit yet: %d of %s.", st.Points, say.Plural(st.Need, "point", "points"))
		}
		return "No fit yet."
	}
	est := func(name string, e Estimate, unit string) string {
		return joined(" ", name, w.number(e.Value, 1), w.interval(e.Half, 1), unit)
	}
	metres := func(name string, e Estimate) string {
		return est(name, Estimate{w.length(e.Value), w.length(e.Half)}, w.unit())
	}
	parts := []string{}
	for _, e := range st.Exponents {
		parts = append(parts, est("exponent at "+string(e.Band)+" GHz", e.Estimate, ""))
	}
	for _, e := range st.SpreadsDB {
		parts = append(parts, est("spread at "+string(e.Band)+" GHz", e.Estimate, "dB"))
	}
	parts = append(parts, metres("half within", st.CE50M), metres("9 of 10 within", st.CE90M))
	if f := st.FiveMoreM; !math.IsNaN(f.Half) {
		after := w.interval(w.length(f.Half), 1)
		if !math.IsNaN(f.Value) {
			after = w.number(w.length(f.Value), 1) + " " + after
		}
		parts[len(parts)-2] += " (" + after + " after 5 more points)"
	}
	if !math.IsNaN(st.RMSM) {
		parts = append(parts, metres("RMS", Estimate{st.RMSM, math.NaN()}))
	}
	if !math.IsNaN(st.BoundM) {
		parts = append(parts, metres("bound", Estimate{st.BoundM, math.NaN()}))
	}
	return fmt.Sprintf("Fit from %s: %s.", say.Plural(st.Points, "point", "points"), joined(", ", parts...))
}

// sortNearest sorts stops by their distance from a place, other floors last.
func sortNearest(order []int, stops []walk.Stop, floor string, from [2]float64) {
	far := func(i int) float64 {
		d := math.Hypot(stops[i].At[0]-from[0], stops[i].At[1]-from[1])
		if stops[i].Floor != floor {
			d += 1e6 // farther than anything on a floor
		}
		return d
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(far(a), far(b)) })
}
