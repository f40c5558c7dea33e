package tui

import (
	"footrule/internal/canvas"
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
		for _, b := range bindings(s.mode) {
			if b.long == "" || seen[keyNames(b.keys)+b.long] {
				continue
			}
			seen[keyNames(b.keys)+b.long] = true
			if title != "" {
				out = append(out, helpLine{title: title})
				title = ""
			}
			out = append(out, helpLine{keys: keyNames(b.keys), does: b.long})
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
		{w.you, "you"}, {"[7]", "access point"}, {w.void, "nobody can stand there"}} {
		out = append(out, helpLine{keys: k[0], does: k[1]})
	}
	for _, s := range sections {
		if s.mode != now {
			list(s)
		}
	}
	return out
}

// drawHelp draws the help in as many columns as fit.
func (m *Model) drawHelp(c *canvas.Canvas, l layout) {
	const keyW = 15
	lines := m.helpLines()
	rows := l.rule - 2
	cols := max(1, l.w/64)
	if n := (len(lines) + rows - 1) / rows; n < cols {
		cols = n
	}
	w := l.w / cols
	for i, h := range lines {
		col, row := i/rows, i%rows
		if col >= cols {
			break
		}
		x, y := col*w, 2+row
		if h.title != "" {
			c.Text(x, y, canvas.Cut(h.title, w-2, m.words.cut), m.look.strong)
			continue
		}
		c.Text(x+2, y, canvas.Cut(h.keys, keyW-1, m.words.cut), m.look.accent)
		c.Text(x+2+keyW, y, canvas.Cut(h.does, w-keyW-4, m.words.cut), m.look.text)
	}
}
