package tui

import (
	"fmt"
	"math"

	"footrule/internal/canvas"
	"footrule/internal/say"
	"footrule/internal/walk"
)

// View gives the screen as text.
func (r *Replay) View() string {
	m := r.ms[r.on]
	if !r.both || m.help || m.answering() {
		return m.View()
	}
	if r.w <= 0 || r.h <= 0 {
		return ""
	}
	l, ok := layoutOf(r.w, r.h, false)
	if !ok {
		return m.View()
	}
	r.frame.Resize(r.w, r.h)
	r.drawBoth(&r.frame, l)
	return r.frame.String(r.cfg.Profile)
}

// bothRows is what stands below two plans: the name of the walk, its error and its
// fit, what the shades mean, and the changes.
const bothRows = 9

// drawBoth draws two walks side by side, and below what changed between them.
func (r *Replay) drawBoth(c *canvas.Canvas, l layout) {
	m := r.ms[r.on]
	m.drawHeader(c, l)
	half := (l.w - 2) / 2
	for i, t := range r.ms {
		x := i * (half + 2)
		p := t.drawPlan(half, l.rule-1-bothRows)
		c.Blit(&p.canvas, x, 1)
		t.drawCursor(c, rect{x, 1, half, l.rule - 1 - bothRows}, p)
		s := &slip{c: c, r: rect{x, l.rule - bothRows, half, bothRows}}
		look := m.look.strong
		if i == r.on {
			look = m.look.accentStrong
		}
		at := "before the first visit"
		if v := r.latest(i); v != nil {
			at = canvas.Clean(v.Point) + " " + timeOf(walk.Fact{Visit: v}).Format("15:04")
		}
		s.pair(canvas.Clean(t.s.Walk().Name), look, at, m.look.quiet)
		for _, line := range t.fitWords() {
			s.text(line, m.look.text)
		}
	}
	if lens := m.lensShown(); lens == levelLens || lens == heardLens || lens == errorLens {
		m.drawShades(c, rect{0, l.rule - bothRows + 3, l.w, 1})
	}
	s := &slip{c: c, r: rect{0, l.rule - bothRows + 4, l.w, bothRows - 4}}
	if len(r.changes) == 0 {
		s.text("No point yet that both have been to.", m.look.quiet)
	} else {
		r.drawChanges(s)
	}
	c.Fill(0, l.rule, l.w, 1, m.words.rule, m.look.quiet)
	m.drawNow(c, l)
	m.drawKeys(c, l)
}

// fitWords says in two lines how large the error is and how the fit stands.
func (m *Model) fitWords() []string {
	st, w := &m.standing, m.words
	if !st.Ready() {
		return []string{fmt.Sprintf("No fit yet: %d of %s.", st.Points, say.Plural(st.Need, "point", "points"))}
	}
	within := "error not known"
	if !math.IsNaN(st.CE50M.Value) {
		within = joined(" ", "half within", w.number(w.length(st.CE50M.Value), 1), w.interval(w.length(st.CE50M.Half), 1), w.unit())
	}
	fit := "exponent"
	for _, e := range st.Exponents {
		fit = joined("  ", fit, joined(" ", string(e.Band)+"GHz", w.number(e.Value, 1), w.interval(e.Half, 1)))
	}
	return []string{within, fit}
}

// drawChanges lists the largest changes in as many columns as there is room.
func (r *Replay) drawChanges(s *slip) {
	m := r.ms[r.on]
	w := m.words
	s.text("Levels in dB, second walk less first (points of both)", m.look.quiet)
	const colW = 36
	cols := max(1, s.r.w/colW)
	rows := s.room()
	for i, ch := range r.changes {
		x, y := i/rows*colW, i%rows
		if i/rows >= cols {
			return
		}
		look := m.look.text
		if math.Abs(ch.MeanDB.Value) > ch.MeanDB.Half && math.Abs(ch.MeanDB.Value) >= 3 {
			look = m.look.accentStrong
		}
		name := canvas.Cut(m.apName(ch.AP, m.s.Site().AccessPoints[ch.AP].ID), 10, w.cut)
		s.c.Text(s.r.x+x, s.r.y+s.y+y, fmt.Sprintf("%s/%s", name, ch.Band), look)
		s.c.Right(s.r.x+x+20, s.r.y+s.y+y, 6, w.signed(ch.MeanDB.Value, 1), look)
		s.c.Text(s.r.x+x+21, s.r.y+s.y+y, joined(" ", w.interval(ch.MeanDB.Half, 1), fmt.Sprintf("(%d)", ch.Points)), m.look.quiet)
	}
}

// drawPlayed says what was known after the latest fact that was played.
func (m *Model) drawPlayed(s *slip) {
	v := m.replay.latest(m.track)
	switch {
	case v == nil:
		s.text("Before the first visit", m.look.accentStrong)
		s.gap()
		s.wrap("Space plays the walk, right goes on by one visit.", m.look.text, 4)
		return
	default:
		s.pair("At "+canvas.Clean(v.Point), m.look.accentStrong, timeOf(walk.Fact{Visit: v}).Format("15:04:05"), m.look.quiet)
		s.pair(canvas.Clean(v.ID), m.look.quiet, taken(v), m.look.quiet)
	}
	if p := m.replay.cfg.Tracks[m.track].Player; p.Fact(p.At()-1).Mark != nil {
		s.wrap(markText(m.s, p.Fact(p.At()-1).Mark), m.look.accent, 2)
	}
	fit := m.fitRows()
	room := s.room() - len(fit) - 1
	for i, d := range m.standing.Odd {
		if i == 2 || room < 8 {
			break
		}
		lines := len(canvas.Wrap(m.words.alarm(d.Text), s.r.w))
		s.wrap(m.words.alarm(d.Text), m.look.accent, min(4, lines))
		room -= min(4, lines)
	}
	s.gap()
	m.drawLevels(s, max(3, s.room()-len(fit)-1))
	s.y = max(s.y+1, s.r.h-len(fit))
	for _, row := range fit {
		m.drawFitRow(s, row)
	}
}

// playedLine says how the replay stands, or asks for a visit.
func (m *Model) playedLine() note {
	r := m.replay
	if r.typed != nil {
		return note{"Go to the visit at point, with ID or number: " + canvas.Clean(*r.typed) + "_", true}
	}
	text := r.state() + "."
	if n := len(m.standing.Odd); n > 0 && m.known == r.cfg.Tracks[m.track].Player.At() {
		return note{text + " " + m.standing.Odd[0].Text, true}
	}
	return note{string(text[0]-'a'+'A') + text[1:], false}
}

// taken says how a visit was made: how many scans, and over how many facings.
func taken(v *walk.Visit) string {
	facings := map[float64]bool{}
	for _, sc := range v.Scans {
		facings[sc.FacingDeg] = true
	}
	text := say.Plural(len(v.Scans), "scan", "scans")
	if len(facings) == 0 || facings[walk.NoFacing] {
		return text
	}
	return text + ", " + say.Plural(len(facings), "facing", "facings")
}
