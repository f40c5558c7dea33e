package tui

import (
	"fmt"
	"math"
	"strings"

	"footrule/internal/canvas"
	"footrule/internal/say"
	"footrule/internal/site"
	"footrule/internal/walk"
)

// fitRow is one line of the running fit: a name with a value, or a sentence.
type fitRow struct {
	name, value, half, unit string
	note                    string
	look                    canvas.Look
}

// fitRows says where the fit and its error stand.
func (m *Model) fitRows() []fitRow {
	st, w := &m.standing, m.words
	var out []fitRow
	tell := func(text string, l canvas.Look) {
		for _, line := range canvas.Wrap(text, 28) {
			out = append(out, fitRow{note: line, look: l})
		}
	}
	if m.cfg.Judge == nil {
		return nil
	}
	if !st.Ready() {
		switch {
		case m.judge.err != nil:
			tell(w.alarm("No fit. "+sentence(m.judge.err)), m.look.accent)
		case st.Need > st.Points:
			tell(fmt.Sprintf("No fit yet: %d of %s.", st.Points, say.Plural(st.Need, "point", "points")), m.look.quiet)
		default:
			tell("No fit yet.", m.look.quiet)
		}
		return out
	}
	est := func(name string, e Estimate, decimals int, unit string) {
		out = append(out, fitRow{name: name, value: w.number(e.Value, decimals), half: w.interval(e.Half, decimals), unit: unit})
	}
	exponent := "Exponent "
	if m.cfg.ASCII { // its ± is wider
		exponent = "Expon. "
	}
	for _, e := range st.Exponents {
		est(exponent+string(e.Band)+"GHz", e.Estimate, 1, "")
	}
	for _, e := range st.SpreadsDB {
		est("Spread "+string(e.Band)+"GHz", e.Estimate, 1, "dB")
	}
	metres := func(name string, e Estimate) {
		est(name, Estimate{w.length(e.Value), w.length(e.Half)}, 1, w.unit())
	}
	metres("Half within", st.CE50M)
	if f := st.FiveMoreM; !math.IsNaN(f.Half) {
		row := fitRow{name: " after 5 more", half: w.interval(w.length(f.Half), 1), unit: w.unit()}
		if !math.IsNaN(f.Value) {
			row.value = w.number(w.length(f.Value), 1)
		}
		out = append(out, row)
	}
	metres("9 of 10", st.CE90M)
	if !math.IsNaN(st.RMSM) {
		out = append(out, fitRow{name: "RMS / bound", value: w.number(w.length(st.RMSM), 1), half: "/ " + w.number(w.length(st.BoundM), 1), unit: w.unit()})
	}
	from := fmt.Sprintf("%s, %s readings", say.Plural(st.Points, "point", "points"), grouped(st.Readings))
	if m.judge.err != nil {
		tell(w.alarm("Old: from "+from+". "+sentence(m.judge.err)), m.look.accent)
	} else {
		tell(from, m.look.quiet)
	}
	for i, f := range st.Findings {
		if i == 2 {
			out = append(out, fitRow{note: fmt.Sprintf("and %d more, 5 shows them", len(st.Findings)-2), look: m.look.accent})
			break
		}
		out = append(out, fitRow{note: w.alarm(f.Title), look: m.look.accentStrong})
	}
	switch n := len(st.Warnings); {
	case n == 0:
	case m.h < 40 || n > 2:
		out = append(out, fitRow{note: say.Plural(n, "warning, w reads it", "warnings, w reads them"), look: m.look.accent})
	default:
		for _, text := range st.Warnings {
			tell(w.alarm(text), m.look.accent)
		}
	}
	return out
}

// drawFitRow draws a row in columns: the value ends at column 19, the
// half of its interval at 25, the unit after it.
func (m *Model) drawFitRow(s *slip, r fitRow) {
	if r.name == "" {
		s.text(r.note, r.look)
		return
	}
	if s.room() <= 0 {
		return
	}
	x, y := s.r.x, s.r.y+s.y
	s.c.Text(x, y, r.name, m.look.text)
	end := x + 19
	if m.cfg.ASCII { // its ± is wider
		end--
	}
	s.c.Right(end, y, 6, r.value, m.look.strong)
	n := s.c.Text(end+1, y, r.half, m.look.text)
	at := max(x+26, end+2+n)
	if u := canvas.Width(r.unit); at+u > x+s.r.w { // dB for dBm would be another unit
		at = max(x+s.r.w-u, end+1+n)
	}
	s.c.Text(at, y, r.unit, m.look.quiet)
	s.y++
}

// drawWarnings writes out what is to be doubted about the fit.
func (m *Model) drawWarnings(s *slip) {
	s.text("Warnings about the fit", m.look.strong)
	s.gap()
	for i, text := range m.standing.Warnings {
		if left := len(m.standing.Warnings) - i; s.room() < 5 && left > 1 {
			s.text(fmt.Sprintf("and %d more", left), m.look.quiet)
			return
		}
		s.wrap(m.words.alarm(text), m.look.accent, s.room())
		s.gap()
	}
}

// drawHistory draws in h rows how the error fell with the points walked: the
// half of the fixes in one line, the ends of its interval in two others.
func (m *Model) drawHistory(s *slip, h int) {
	top := 0.0
	for _, st := range m.history {
		top = max(top, st.ce50M.Value)
		if hi := st.ce50M.Value + st.ce50M.Half; hi > top { // a half may be NaN
			top = hi
		}
	}
	first, last := m.history[0].points, m.history[len(m.history)-1].points
	if !(top > 0) || h < 5 || s.room() < h {
		return
	}
	s.text("Half within, by points walked", m.look.quiet)
	h -= 2
	const axis = 6
	w := s.r.w - axis
	line := func(value func(Estimate) float64) *canvas.Dots {
		d := canvas.NewDots(w, h)
		px, py := math.NaN(), math.NaN()
		for _, st := range m.history {
			x := float64(st.points-first) / float64(last-first) * float64(2*w-1)
			y := (1 - max(0, value(st.ce50M))/top) * float64(4*h-1)
			d.Line(px, py, x, y)
			px, py = x, y
		}
		return d
	}
	x, y := s.r.x+axis, s.r.y+s.y
	s.c.Right(x-1, y, axis-1, m.words.number(m.words.length(top), 1), m.look.quiet)
	s.c.Right(x-1, y+h-1, axis-1, "0 "+m.words.unit(), m.look.quiet)
	line(func(e Estimate) float64 { return e.Value - e.Half }).Draw(s.c, x, y, m.words.glyphs, m.look.empty)
	line(func(e Estimate) float64 { return e.Value + e.Half }).Draw(s.c, x, y, m.words.glyphs, m.look.empty)
	line(func(e Estimate) float64 { return e.Value }).Draw(s.c, x, y, m.words.glyphs, m.look.full)
	s.y += h
	s.c.Text(x, s.r.y+s.y, fmt.Sprint(first), m.look.quiet)
	s.c.Right(s.r.x+s.r.w, s.r.y+s.y, w, fmt.Sprint(last), m.look.quiet)
	s.y++
}

// alarm marks a sentence that wants attention, also without colour.
func (w words) alarm(s string) string { return "! " + w.say(s) }

// nowLine says in a sentence what to do, after what was just done.
func (m *Model) nowLine() note {
	next := m.nextStep()
	switch {
	case m.said.text == "":
		return next
	case next.text == "" || m.asking != walking:
		return m.said
	case m.reasons != nil:
		return next
	case m.answering():
		return m.said
	}
	return note{m.said.text + " " + next.text, m.said.alarm || next.alarm}
}

func (m *Model) nextStep() note {
	if m.replay != nil && m.replay.typed != nil {
		return m.playedLine()
	}
	if m.answering() {
		return m.answerNow()
	}
	switch m.mode() {
	case recording:
		return note{"Stand still.", false}
	case turning:
		return note{"Turn to face " + facing(m.s.Recording().Facing) + ", then space.", true}
	case paused:
		return note{"The scan failed. Space tries again.", true}
	case checking:
		if m.bye {
			return note{"Saving, then quitting.", false}
		}
		if m.store.out {
			return note{"Saving.", false}
		}
		return note{"Comparing with the fit.", false}
	case doubting:
		return note{"Not saved yet: space repeats, enter keeps.", true}
	case stuck:
		return note{"Not saved: space tries again.", true}
	case reasoning:
		return note{"Press the number of the reason.", false}
	case looking, gazing:
		return note{m.readout(), false}
	case replaying:
		return m.playedLine()
	case choosing:
		return note{m.s.Stops()[m.sel].Point + " is " + m.stopState(m.sel) + ". Space goes there.", false}
	case over:
		if m.s.Walk().Completed {
			return note{"Nothing is left to do. q quits.", false}
		}
		if m.said.text == "" {
			return note{"All done. f finishes the walk; 4 shows the error, 5 what does not fit.", false}
		}
		return note{"All done. f finishes the walk, q quits.", false}
	}
	i, ok := m.s.Current()
	if !ok {
		return note{}
	}
	st := m.s.Stops()[i]
	if m.s.Progress().Done == 0 {
		if lack := lacks(m.s.Site(), m.cfg.File); lack != "" {
			return note{lack, true}
		}
	}
	text := "Go to " + st.Point
	if deg := m.firstFacing(); deg != walk.NoFacing {
		text += ", face " + facing(deg)
	}
	return note{text + ", then space.", false}
}

// lacks says what the plan has to have before a walk is worth it; empty where it
// has that.
func lacks(s *site.Site, file string) string {
	switch {
	case len(s.AccessPoints) == 0:
		return "No access points yet: q, then footrule plan " + file + " --edit."
	case len(s.RadioOf()) == 0:
		return "No BSSID yet, so none is heard: q, footrule plan " + file + " --edit, e."
	}
	return ""
}

// stopState says how a stop stands.
func (m *Model) stopState(i int) string {
	switch m.s.Status(i) {
	case walk.Done:
		if v := m.s.VisitAt(i); v != nil {
			return fmt.Sprintf("done, %d heard", m.s.HeardIn(v))
		}
		return "done"
	case walk.Skipped:
		return joined(": ", "skipped", m.s.Reason(i))
	}
	return "to do"
}

func (m *Model) firstFacing() float64 {
	if f := m.s.Walk().Settings.FacingsDeg; len(f) > 0 {
		return f[0]
	}
	return walk.NoFacing
}

// keyLine lists the keys that have a short name, as many as fit in w columns.
func keyLine(bs []binding, w int) []string {
	var out []string
	used := 0
	// The last two, help and quit, always stand.
	tail := 0
	for _, b := range bs {
		if b.short == "help" || b.short == "quit" {
			tail += canvas.Width(keyName(b.keys[0])) + 1 + canvas.Width(b.short) + 2
		}
	}
	for _, b := range bs {
		if b.short == "" {
			continue
		}
		s := keyName(b.keys[0]) + " " + b.short
		last := b.short == "help" || b.short == "quit"
		n := canvas.Width(s) + 2
		if !last && used+n+tail > w {
			continue
		}
		out = append(out, s)
		used += n
	}
	return out
}

// joined keeps parts that are not empty.
func joined(sep string, parts ...string) string {
	var out []string
	for _, p := range parts {
		if p != "" {
			out = append(out, p)
		}
	}
	return strings.Join(out, sep)
}
