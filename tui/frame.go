package tui

import (
	"fmt"
	"strings"

	"footrule/internal/canvas"
)

// View gives the screen as text, made again only after something has changed.
func (m *Model) View() string {
	if m.w <= 0 || m.h <= 0 {
		return ""
	}
	if m.drawn {
		return m.view
	}
	m.frame.Resize(m.w, m.h)
	m.draw(m.frame)
	m.bytes = m.frame.AppendTo(m.bytes[:0], m.cfg.Profile)
	m.view, m.drawn = string(m.bytes), true
	return m.view
}

func (m *Model) draw(c *canvas.Canvas) {
	l, ok := layoutOf(m.w, m.h, m.bigNow())
	if !ok {
		c.Text(0, 0, m.words.tooSmall("the walk", m.w, m.h), m.look.text)
		return
	}
	m.drawHeader(c, l)
	switch md := m.mode(); {
	case m.help:
		m.drawHelp(c, l)
	case md == naming || md == grading:
		m.drawKinds(c, l)
	case md == marking:
		m.drawMarks(c)
	default:
		p := m.drawPlan(l.plan.w, l.plan.h)
		c.Blit(&p.canvas, l.plan.x, l.plan.y)
		m.drawCursor(c, l.plan, p)
		m.drawLegend(c, l.legend, p)
		m.drawSlip(c, l.slip)
	}
	c.Fill(0, l.rule, l.w, 1, m.words.rule, m.look.quiet)
	m.drawNow(c, l)
	m.drawKeys(c, l)
}

// drawHeader names the lens, what is walked, and how far it is.
func (m *Model) drawHeader(c *canvas.Canvas, l layout) {
	p := m.s.Progress()
	right := fmt.Sprintf("%d of %d points", p.Done, p.Done+p.Todo)
	h := m.s.Walk().Header
	if d := m.cfg.Clock().Sub(h.Started); !h.Started.IsZero() && d >= 0 {
		right += "   " + minutes(d)
	}
	right = joined("   ", canvas.Cut(h.Name, 20, m.words.cut), right)
	n := c.Right(l.w, 0, l.w/2, right, m.look.text)
	x := c.Text(0, 0, strings.ToUpper(m.lensShown().String()), m.look.chip) + 2
	room := l.w - n - 2
	x += c.Text(x, 0, canvas.Cut(m.cfg.Title, room-x, m.words.cut), m.look.strong) + 3
	if f := m.floorShown(); f != nil && room > x {
		c.Text(x, 0, canvas.Cut(joined(" ", f.ID, f.Name), room-x, m.words.cut), m.look.text)
	}
}

func (m *Model) drawNow(c *canvas.Canvas, l layout) {
	n := m.nowLine()
	text, look := n.text, m.look.strong
	if n.alarm {
		look = m.look.accentStrong
	}
	c.Text(0, l.now, canvas.Cut(text, l.w, m.words.cut), look)
}

func (m *Model) drawKeys(c *canvas.Canvas, l layout) {
	if m.help {
		c.Text(0, l.keys, fmt.Sprintf("page %d of %d  space on  p back  esc close  q quit", m.page+1, m.helpPages()), m.look.quiet)
		return
	}
	x := 0
	if m.mode() == marking {
		x += c.Text(0, l.keys, fmt.Sprintf("page %d of %d", m.ans.page+1, m.markPages()), m.look.quiet) + 2
	}
	for _, k := range keyLine(m.bindings(m.mode()), l.w-x) {
		x += c.Text(x, l.keys, k, m.look.quiet) + 2
	}
}
