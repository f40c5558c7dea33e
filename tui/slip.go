package tui

import (
	"fmt"
	"math"

	"footrule/internal/canvas"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

// slip writes downwards into a column of the screen.
type slip struct {
	c *canvas.Canvas
	r rect
	y int // rows used
}

func (s *slip) room() int { return s.r.h - s.y }

func (s *slip) text(t string, l canvas.Look) {
	if s.room() > 0 {
		s.c.Text(s.r.x, s.r.y+s.y, canvas.Cut(t, s.r.w, '~'), l)
		s.y++
	}
}

func (s *slip) wrap(t string, l canvas.Look, most int) {
	lines := canvas.Wrap(t, s.r.w)
	for i, line := range lines {
		if i == most-1 && len(lines) > most {
			line = canvas.Cut(line+" "+lines[i+1], s.r.w, '~')
		}
		if i < most {
			s.text(line, l)
		}
	}
}

// pair writes t at the left and v at the right of one row.
func (s *slip) pair(t string, tl canvas.Look, v string, vl canvas.Look) {
	if s.room() <= 0 {
		return
	}
	n := canvas.Width(v)
	s.c.Text(s.r.x, s.r.y+s.y, canvas.Cut(t, s.r.w-n-1, '~'), tl)
	s.c.Right(s.r.x+s.r.w, s.r.y+s.y, s.r.w, v, vl)
	s.y++
}

func (s *slip) gap() { s.y++ }

// drawSlip draws what stands beside the plan.
func (m *Model) drawSlip(c *canvas.Canvas, r rect) {
	s := &slip{c: c, r: r}
	if m.reading {
		m.drawWarnings(s)
		return
	}
	switch md := m.mode(); md {
	case namingAP, namingPoint, namingPlace, namingMoment, namingSize:
		m.drawAnswer(s)
	case looking, gazing:
		m.drawLensSlip(s)
	case replaying:
		m.drawPlayed(s)
	case recording, turning:
		m.drawRecording(s)
	case paused:
		m.drawPaused(s)
	case reasoning:
		m.drawReasons(s)
	case doubting, stuck, checking:
		if m.s.Phase() == walk.Reviewing {
			m.drawReview(s)
			return
		}
		m.drawGoing(s)
	default:
		m.drawGoing(s)
	}
}

// drawGoing says where to go, what is heard, and how the fit stands.
func (m *Model) drawGoing(s *slip) {
	if m.bigNow() {
		m.drawBig(s)
		return
	}
	m.drawTarget(s)
	fit := m.fitRows()
	below := len(fit) + 1
	// What stands below is hung from the lower end, so that it does not move with
	// the number of rows in the table.
	if free := s.room() - below; free >= 20 && len(m.history) > 2 {
		h := min(12, free-12)
		plot := *s
		plot.y = s.r.h - below - h
		m.drawHistory(&plot, h)
		below += h + 1
	}
	m.drawLevels(s, max(3, s.room()-below))
	s.y = max(s.y+1, s.r.h-len(fit))
	for _, row := range fit {
		m.drawFitRow(s, row)
	}
}

// drawTarget says which point is next, how far and which way.
func (m *Model) drawTarget(s *slip) {
	top := s.y
	i, ok := m.s.Current()
	if m.picking && m.sel >= 0 {
		i, ok = m.sel, true
	}
	switch {
	case !ok && m.s.Walk().Completed:
		s.text("The walk is finished", m.look.strong)
	case !ok:
		s.text("All points are done", m.look.strong)
	default:
		st := m.s.Stops()[i]
		name := "To " + st.Point
		if m.picking {
			name = "Choose " + st.Point
		}
		f := m.s.Site().Floor(st.Floor)
		zone := ""
		if f != nil {
			if a := f.AreaAt(st.At); a != nil {
				zone = canvas.Cut(a.ID, 12, m.words.cut)
			}
		}
		s.pair(name, m.look.accentStrong, zone, m.look.quiet)
		m.drawWayWords(s, i)
	}
	if o := m.words.offset(m.s.Offset()); o != "" && !m.picking {
		s.text("nudged "+o, m.look.accent)
	}
	s.y = max(s.y, top+3)
}

// legTo is the way from a place to stop i of its floor, straight where no other
// is known, and the eighth of the circle that it sets out in; ok is false where
// there is no way to go.
func (m *Model) legTo(i int, from orb.Point) (leg Leg, k int, ok bool) {
	at := m.s.Stops()[i].At
	leg = Leg{distance(from, at), []orb.Point{from, at}}
	if cur, ok := m.s.Current(); ok && cur == i && m.guide.have {
		leg = m.guide.leg
	}
	if len(leg.Via) < 2 {
		return leg, -1, false
	}
	k, ok = eighth(leg.Via[0], leg.Via[1])
	return leg, k, ok
}

// drawWayWords says the way to stop i: along the turning points where it is the
// current stop, straight otherwise.
func (m *Model) drawWayWords(s *slip, i int) {
	st := m.s.Stops()[i]
	floor, from, here := m.s.Here()
	switch {
	case !here:
		s.text("the first point of the walk", m.look.text)
		return
	case floor != st.Floor:
		name := st.Floor
		if f := m.s.Site().Floor(st.Floor); f != nil && f.Name != "" {
			name = f.Name
		}
		s.text("on another floor: "+name, m.look.strong)
		return
	}
	leg, k, ok := m.legTo(i, from)
	if !ok {
		s.text("here", m.look.strong)
		return
	}
	parts := m.words.leg(leg)
	if len(parts) < 2 {
		s.text(fmt.Sprintf("%c %s", m.words.arrows[k], parts[0]), m.look.strong)
		return
	}
	s.text(fmt.Sprintf("%c %s", m.words.arrows[k], parts[0]), m.look.strong)
	then := "then " + parts[1]
	if len(parts) > 2 {
		then += ", then " + parts[2]
	}
	if canvas.Width(then) > s.r.w {
		then = "then " + parts[1] + " " + m.words.more
	}
	s.text(then, m.look.text)
}

// levels lines up what was heard with what the fit expects where the surveyor
// is to stand. Access points that were expected at the threshold or above and
// were not heard come last.
func (m *Model) levels() {
	m.rows = m.rows[:0]
	now, _, ok := m.s.Live()
	if !ok {
		return
	}
	floor, at := m.place()
	site := m.s.Site()
	radios := site.Radios()
	band := func(k int) levelRow {
		r := radios[k]
		return levelRow{ap: r.AP, radio: site.AccessPoints[r.AP].Radios[r.Radio].Band, level: math.NaN(), fit: math.NaN()}
	}
	level := m.standing.Level
	heard := make([]bool, len(site.AccessPoints))
	for _, n := range now {
		heard[n.AP] = true
		row := band(n.Radio)
		row.level = n.LevelDBm
		if level != nil {
			row.fit = level(n.Radio, floor, at)
		}
		m.rows = append(m.rows, row)
	}
	if level == nil {
		return
	}
	for ap := range site.AccessPoints {
		if heard[ap] {
			continue
		}
		best := levelRow{fit: math.Inf(-1)}
		for _, k := range m.refs[ap].radios {
			if v := level(k, floor, at); v > best.fit {
				best = band(k)
				best.fit = v
			}
		}
		if best.fit >= m.s.Walk().Settings.ThresholdDBm {
			m.rows = append(m.rows, best)
		}
	}
}

// drawLevels draws the table of live levels in at most n rows.
func (m *Model) drawLevels(s *slip, n int) {
	end := s.y + n
	need := m.s.Walk().Settings.Need
	if _, _, ok := m.s.Live(); !ok {
		if m.scan.err != nil {
			s.wrap(m.words.alarm("No scan. "+sentence(m.scan.err)), m.look.accent, max(1, n-1))
		} else {
			s.text("Listening", m.look.quiet)
		}
		return
	}
	heard := m.s.HeardNow()
	look := m.look.strong
	if heard < need {
		look = m.look.accentStrong
	}
	when := "Heard now"
	if m.replay != nil {
		when = "Heard there"
	}
	s.pair(when, m.look.text, fmt.Sprintf("%d, need %d", heard, need), look)
	if m.scan.err != nil {
		s.wrap(m.words.alarm("Old: no new scan. "+sentence(m.scan.err)), m.look.accent, 3)
	}
	s.row(m.look.quiet, "AP", "dBm", "fit", "off")
	for i, row := range m.rows {
		if s.y == end-1 && i < len(m.rows)-1 {
			s.text(fmt.Sprintf("%d more", len(m.rows)-i), m.look.quiet)
			return
		}
		if s.y >= end {
			return
		}
		ap := m.s.Site().AccessPoints[row.ap]
		look := m.look.text
		if !(row.level >= m.s.Walk().Settings.ThresholdDBm) {
			look = m.look.quiet
		}
		if s.r.w >= 34 {
			m.drawGauge(s, row.level)
		}
		s.row(look, m.apName(row.ap, ap.ID), m.words.number(row.level, 0), m.words.number(row.fit, 0), m.words.signed(row.level-row.fit, 0))
	}
}

// apName is the name of an access point with its number on the plan where the
// name does not carry it.
func (m *Model) apName(i int, id string) string {
	id = canvas.Clean(id)
	n := len(id) - len(m.short[i])
	if n >= 0 && id[n:] == m.short[i] {
		return id
	}
	return m.short[i] + " " + id
}

// row writes a row of the table of levels: a name and three numbers in columns
// that end at 16, 22 and 28.
func (s *slip) row(l canvas.Look, name, a, b, c string) {
	if s.room() <= 0 {
		return
	}
	x, y := s.r.x, s.r.y+s.y
	s.c.Text(x, y, canvas.Cut(name, 11, '~'), l)
	s.c.Right(x+16, y, 5, a, l)
	s.c.Right(x+22, y, 5, b, l)
	s.c.Right(x+28, y, 5, c, l)
	s.y++
}

// drawGauge draws a level as a bar to the right of the table, −90 dBm empty and
// −40 dBm full.
func (m *Model) drawGauge(s *slip, level float64) {
	if s.room() <= 0 || math.IsNaN(level) {
		return
	}
	full := m.look.full
	if step := canvas.LevelScale.Step(level); step >= 0 {
		full.Fg = canvas.Ramp(canvas.Steps - 1 - step).As16(6)
	}
	s.c.Bar(s.r.x+30, s.r.y+s.y, s.r.w-30, (level+90)/50, m.words.glyphs, full, m.look.empty)
}
