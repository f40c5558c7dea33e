package tui

import (
	"footrule/internal/canvas"

	tea "github.com/charmbracelet/bubbletea"
)

// helpLine is a title, or keys with what they do.
type helpLine struct{ title, keys, does string }

// helpLines gives the help from the bindings: what is possible now first, then
// the marks, then what other modes add.
func (m *Model) helpLines() []helpLine {
	var out []helpLine
	seen := map[string]bool{}
	list := func(s section) {
		title := s.title
		for _, b := range m.bindings(s.mode) {
			name := b.name
			if name == "" {
				name = keyNames(b.keys)
			}
			if b.long == "" || seen[name+b.long] {
				continue
			}
			seen[name+b.long] = true
			if title != "" {
				out = append(out, helpLine{title: title})
				title = ""
			}
			out = append(out, helpLine{keys: name, does: b.long})
		}
	}
	now := m.mode()
	for _, s := range sections {
		if s.mode == now {
			list(section{"Now: " + s.title, s.mode})
		}
	}
	w := m.words
	out = append(out, helpLine{title: "Marks"})
	for _, k := range [][2]string{{w.todo, "to do"}, {w.next, "next"}, {w.done, "done"}, {w.skipped, "skipped"},
		{w.you, "you"}, {"[7]", "access point"}, {w.void, "nobody can stand there"},
		{"fit", "the level that the fit expects at the next point"}, {"off", "heard less fit"}} {
		out = append(out, helpLine{keys: k[0], does: k[1]})
	}
	for _, s := range sections {
		if s.mode != now && m.sectionShown(s.mode) {
			list(s)
		}
	}
	return out
}

// helpKey turns the pages of the help.
func (m *Model) helpKey(k string) tea.Cmd {
	switch k {
	case " ", "enter", "n", "tab", "right", "down":
		if m.page++; m.page >= m.helpPages() {
			m.help = false
		}
	case "p", "shift+tab", "left", "up":
		m.page = max(0, m.page-1)
	case "?", "f1", "esc", "backspace":
		m.help = false
	case "q", "ctrl+c":
		return m.leave()
	}
	return nil
}

// helpShape gives how many lines and columns the help has in this window.
func (m *Model) helpShape() (rows, cols int) {
	l, ok := layoutOf(m.w, m.h, m.bigNow())
	if !ok {
		return 1, 1
	}
	return l.rule - 3, max(1, l.w/64)
}

func (m *Model) helpPages() int {
	rows, cols := m.helpShape()
	return (len(m.helpLines()) + rows*cols - 1) / (rows * cols)
}

// drawHelp draws a page of the help in as many columns as fit.
func (m *Model) drawHelp(c *canvas.Canvas, l layout) {
	const keyW = 15
	lines := m.helpLines()
	rows, cols := m.helpShape()
	m.page = min(m.page, m.helpPages()-1) // the window may have grown
	lines = lines[min(len(lines), m.page*rows*cols):]
	w := l.w / cols
	for i, h := range lines[:min(len(lines), rows*cols)] {
		x, y := i/rows*w, 2+i%rows
		if h.title != "" {
			c.Text(x, y, canvas.Cut(h.title, w-2, m.words.cut), m.look.strong)
			continue
		}
		c.Text(x+2, y, canvas.Cut(h.keys, keyW-1, m.words.cut), m.look.accent)
		c.Text(x+2+keyW, y, canvas.Cut(h.does, w-keyW-4, m.words.cut), m.look.text)
	}
}
