package tui

import (
	"fmt"
	"strings"

	"footrule/internal/canvas"
	"footrule/internal/walk"
)

// drawRecording draws what has to be read at arm's length while recording: the
// facing, the scans, and how many are heard.
func (m *Model) drawRecording(s *slip) {
	rec := m.s.Recording()
	v := m.s.Pending()
	big, arrow := 1, 1
	switch {
	case s.r.w >= 40 && s.r.h >= 34:
		big, arrow = 2, 2
	case m.bigNow() && s.r.h >= 24: // large figures, and the facing as a word
		big = 2
	}
	o := m.words.offset(m.s.Offset())
	if o != "" {
		o = "nudged " + o
	}
	s.pair("At "+v.Point, m.look.accentStrong, "", m.look.text)
	s.text(o, m.look.accent)
	verb := "Face "
	if m.s.Phase() == walk.Turning {
		verb = "Turn to "
	}
	if deg := rec.Facing; deg == walk.NoFacing {
		s.text("Stand as you like", m.look.strong)
	} else {
		s.text(verb+strings.ToUpper(facing(deg)), m.look.strong)
		word := m.bigNow() && m.bigText(s.c, s.r.x, s.r.y+s.y, s.r.w, facing(deg), 1, m.look.accentStrong) > 0
		if word {
			s.y += 5
		}
		switch rest := 1 + big + 1 + 2 + 5*big; {
		case m.cfg.ASCII && !word:
			s.gap()
		case !m.cfg.ASCII && (!word || s.room() > 5*arrow+rest):
			m.drawArrow(s, deg, arrow)
		}
	}
	s.gap()
	for range big + 1 {
		s.c.Bar(s.r.x, s.r.y+s.y, s.r.w, float64(rec.All)/float64(max(1, rec.AllWant)), m.words.glyphs, m.look.full, m.look.empty)
		s.gap()
	}
	s.pair(fmt.Sprintf("scan %d of %d", rec.All, rec.AllWant), m.look.text, facingCount(rec), m.look.text)
	s.gap()
	heard, need := 0, m.s.Walk().Settings.Need
	if rec.All > 0 {
		heard = m.s.HeardIn(v)
	}
	look, word := m.look.strong, "enough"
	switch {
	case rec.All == 0:
		look, word = m.look.quiet, ""
	case heard < need:
		look, word = m.look.accentStrong, "too few"
	}
	x := s.r.x
	y := s.r.y + s.y
	for _, d := range fmt.Sprint(heard) {
		m.drawPixels(s.c, x, y, digits[d-'0'], big, look)
		x += 7 * big
	}
	s.c.Text(x+1, y, "heard", look)
	s.c.Text(x+1, y+2*big, fmt.Sprintf("need %d", need), m.look.text)
	s.c.Text(x+1, y+4*big, word, look)
	s.y += 5 * big
}

func facingCount(rec walk.Recording) string {
	if rec.Of < 2 {
		return ""
	}
	return fmt.Sprintf("facing %d of %d", rec.Nth, rec.Of)
}

// digits are 3 by 5 pictures, a bit a pixel, the top row highest.
var digits = [10]uint16{
	0b111_101_101_101_111, 0b010_110_010_010_111, 0b111_001_111_100_111, 0b111_001_111_001_111, 0b101_101_111_001_001,
	0b111_100_111_001_111, 0b111_100_111_101_111, 0b111_001_001_010_010, 0b111_101_111_101_111, 0b111_101_111_001_111,
}

// drawArrow draws a large arrow for a facing in five rows, times big.
func (m *Model) drawArrow(s *slip, deg float64, big int) {
	cols, rows := 10*big, 5*big
	if s.room() < rows {
		return
	}
	d := canvas.NewDots(cols, rows)
	step := [8][2]float64{{0, -1}, {.7, -.7}, {1, 0}, {.7, .7}, {0, 1}, {-.7, .7}, {-1, 0}, {-.7, -.7}}[eighthOf(deg)]
	cx, cy, unit := float64(cols)-.5, float64(2*rows)-.5, float64(big)
	r := 9 * unit
	side := [2]float64{-step[1], step[0]}
	tip := [2]float64{cx + r*step[0], cy + r*step[1]}
	// across draws a line through the shaft, back dots behind the tip and half dots to each side.
	across := func(back, half float64) {
		bx, by := tip[0]-back*step[0], tip[1]-back*step[1]
		d.Line(bx-half*side[0], by-half*side[1], bx+half*side[0], by+half*side[1])
	}
	for back := 0.0; back <= 2*r; back += .5 {
		if back <= 6*unit {
			across(back, back)
		} else {
			across(back, 1.5*unit)
		}
	}
	d.Draw(s.c, s.r.x, s.r.y+s.y, m.words.glyphs, m.look.accentStrong)
	s.y += rows
}

// drawPaused says why the scan failed.
func (m *Model) drawPaused(s *slip) {
	rec := m.s.Recording()
	s.text("Paused", m.look.accentStrong)
	s.gap()
	s.wrap(m.words.alarm(sentence(m.fault)), m.look.accent, 8)
	s.gap()
	s.wrap(fmt.Sprintf("%d of %d scans are taken and count.", rec.All, rec.AllWant), m.look.text, 3)
}

// drawReview says what does not fit, or why it is not saved.
func (m *Model) drawReview(s *slip) {
	v := m.s.Pending()
	s.pair("At "+v.Point, m.look.accentStrong, fmt.Sprintf("%d heard", m.s.HeardIn(v)), m.look.text)
	s.gap()
	switch {
	case m.store.out:
		s.text("Saving", m.look.text)
		return
	case m.check.asked:
		s.text("Comparing with the fit", m.look.text)
		return
	case m.store.err != nil:
		s.text("Not saved", m.look.accentStrong)
		s.wrap(m.words.alarm(sentence(m.store.err)), m.look.accent, 6)
		s.gap()
		s.wrap("The visit waits here. Make room or mend the disk, then space tries again.", m.look.text, 4)
		return
	}
	s.text("Odd, so not saved yet", m.look.strong)
	s.gap()
	for i, d := range m.check.doubts {
		if left := len(m.check.doubts) - i; s.room() < 7 && left > 1 {
			s.text(fmt.Sprintf("and %d more", left), m.look.quiet)
			break
		}
		s.wrap(m.words.alarm(d.Text), m.look.accent, s.room()-3)
		s.gap()
	}
	s.text("space repeats", m.look.strong)
	s.text("enter keeps", m.look.strong)
}

// drawReasons draws the list a reason is picked from.
func (m *Model) drawReasons(s *slip) {
	r := m.reasons
	s.wrap(r.title, m.look.strong, 3)
	s.gap()
	for i, item := range r.items {
		mark, look := "  ", m.look.text
		if i == r.at {
			mark, look = m.words.next+" ", m.look.accentStrong
		}
		s.text(fmt.Sprintf("%s%d  %s", mark, i+1, item), look)
	}
}
