package tui

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"footrule/internal/canvas"
	"footrule/internal/draft"
	"footrule/internal/site"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/paulmach/orb"
)

// editBinding is one thing that keys do in the editor.
type editBinding struct {
	keys        []string
	name        string
	short, long string
	do          func(*Edit) tea.Cmd
}

// bindings gives what the keys do now.
func (m *Edit) bindings() []editBinding {
	out := []editBinding{}
	enter, long := "take hold", "take hold of what is at the cursor, and let it go again"
	switch {
	case m.held != nil:
		enter = "let go"
	case m.tool != holdTool:
		enter, long = "corner", "put a corner; on the first corner, or twice on the last of a wall, it is done"
	}
	out = append(out, editBinding{keys("enter", " "), "", enter, long, (*Edit).enter})
	if m.tool != holdTool {
		out = append(out,
			editBinding{keys("c"), "", "done", "close what is being drawn", (*Edit).finish},
			editBinding{keys("backspace"), "", "last corner", "take the last corner back", (*Edit).lastCorner})
	}
	move := func(dx, dy float64) func(*Edit) tea.Cmd { return func(m *Edit) tea.Cmd { return m.move(dx, dy) } }
	out = append(out,
		editBinding{keys("left", "h"), "arrows hjkl", "", "move the cursor; shift moves it by ten steps", move(-1, 0)},
		editBinding{keys("right", "l"), "", "", "", move(1, 0)}, editBinding{keys("up", "k"), "", "", "", move(0, 1)}, editBinding{keys("down", "j"), "", "", "", move(0, -1)},
		editBinding{keys("shift+left", "H"), "", "", "", move(-10, 0)}, editBinding{keys("shift+right", "L"), "", "", "", move(10, 0)},
		editBinding{keys("shift+up", "K"), "", "", "", move(0, 10)}, editBinding{keys("shift+down", "J"), "", "", "", move(0, -10)},
		editBinding{keys("["), "[ ]", "", "smaller and larger steps", func(m *Edit) tea.Cmd { return m.stepBy(-1) }},
		editBinding{keys("]"), "", "", "", func(m *Edit) tea.Cmd { return m.stepBy(1) }},
		editBinding{keys("g"), "", "", "go to a place in numbers", (*Edit).goTo},
		editBinding{keys("n", "tab"), "n N tab", "next", "choose the next thing on the floor, or the one before", func(m *Edit) tea.Cmd { return m.next(1) }},
		editBinding{keys("N", "shift+tab"), "", "", "", func(m *Edit) tea.Cmd { return m.next(-1) }},
		editBinding{keys("a"), "", "AP", "put an access point", (*Edit).addAP},
		editBinding{keys("p"), "", "point", "put a point to measure at", (*Edit).addPoint},
		editBinding{keys("w"), "", "wall", "draw a wall", func(m *Edit) tea.Cmd { return m.draw(wallTool, "") }},
		editBinding{keys("v"), "", "", "draw a void, where nobody can stand", func(m *Edit) tea.Cmd { return m.draw(areaTool, site.Void) }},
		editBinding{keys("z"), "", "", "draw a zone, a part with a name", func(m *Edit) tea.Cmd { return m.draw(areaTool, site.Zone) }},
		editBinding{keys("b"), "", "", "draw a part where nothing can be mounted", func(m *Edit) tea.Cmd { return m.draw(areaTool, site.NoMount) }},
		editBinding{keys("o"), "", "", "draw the outline anew", func(m *Edit) tea.Cmd { return m.draw(outlineTool, "") }},
		editBinding{keys("e"), "", "edit", "say more of what is chosen, or of the floor", (*Edit).edit},
		editBinding{keys("x", "delete"), "", "delete", "delete what is chosen", (*Edit).remove},
		editBinding{keys("u"), "", "undo", "take the last step back", (*Edit).undo},
		editBinding{keys("y", "ctrl+r"), "", "", "do it again", (*Edit).redo},
		editBinding{keys("f"), "", "", "the next floor", (*Edit).nextFloor},
		editBinding{keys("F"), "", "", "add a floor", (*Edit).addFloor},
		editBinding{keys("esc"), "", "", "give up what is under way", (*Edit).back},
		editBinding{keys("+", "="), "+ -", "", "zoom in and out", func(m *Edit) tea.Cmd { return m.zoomBy(1) }},
		editBinding{keys("-"), "", "", "", func(m *Edit) tea.Cmd { return m.zoomBy(-1) }},
		editBinding{keys("s", "ctrl+s"), "", "save", "save as a new revision of the plan", (*Edit).save},
		editBinding{keys("?", "f1"), "", "help", "this screen", func(m *Edit) tea.Cmd { m.help = 1; return nil }},
		editBinding{keys("q", "ctrl+c"), "", "quit", "quit", (*Edit).leave},
	)
	return out
}

// View gives the screen as text.
func (m *Edit) View() string {
	if m.w <= 0 || m.h <= 0 {
		return ""
	}
	if m.drawn {
		return m.text
	}
	m.frame.Resize(m.w, m.h)
	m.paint(&m.frame)
	m.text, m.drawn = m.frame.String(m.cfg.Profile), true
	return m.text
}

func (m *Edit) paint(c *canvas.Canvas) {
	l, ok := layoutOf(m.w, m.h, false)
	if !ok {
		c.Text(0, 0, m.words.tooSmall("the plan", m.w, m.h), m.look.text)
		return
	}
	right := fmt.Sprintf("revision %d", m.rev)
	if m.d.Changed() {
		right = "changed since " + right
	}
	n := c.Right(l.w, 0, l.w/2, right, m.look.text)
	x := c.Text(0, 0, "PLAN", m.look.chip) + 2
	x += c.Text(x, 0, canvas.Cut(m.d.Plan().Name, l.w-n-2-x, m.words.cut), m.look.strong) + 3
	if room := l.w - n - 2 - x; room > 0 {
		c.Text(x, 0, canvas.Cut(joined(" ", m.fl().ID, m.fl().Name), room, m.words.cut), m.look.text)
	}
	if m.help > 0 {
		m.paintHelp(c, l)
	} else {
		m.paintPlan(c, l.plan)
		m.paintScale(c, l.legend)
		m.paintSlip(&slip{c: c, r: l.slip})
	}
	c.Fill(0, l.rule, l.w, 1, m.words.rule, m.look.quiet)
	now := m.now()
	look := m.look.strong
	if now.alarm {
		look = m.look.accentStrong
	}
	c.Text(0, l.now, canvas.Cut(now.text, l.w, m.words.cut), look)
	m.paintKeys(c, l)
}

// now says in a sentence what to do, or what was just done.
func (m *Edit) now() note {
	switch {
	case m.typed != nil:
		return note{m.typed.label + ": " + canvas.Clean(m.typed.text) + "_", true}
	case m.store.busy:
		return note{"Saving.", false}
	case m.said.text != "":
		return m.said
	case m.held != nil:
		return note{"Move " + m.name(*m.held) + ", then enter; esc leaves it where it was.", false}
	case m.tool == wallTool:
		return note{"A wall of " + m.material() + ": enter puts its corners, c ends it.", false}
	case m.tool == areaTool:
		return note{"A " + string(m.kind) + ": enter puts its corners, c closes it.", false}
	case m.tool == outlineTool:
		return note{"The outline: enter puts its corners, c closes it.", false}
	case m.chosen != nil:
		return note{"Chosen: " + m.name(*m.chosen) + ". enter takes hold, e says more, x deletes.", false}
	}
	f := m.fl()
	switch {
	case len(m.d.Plan().AccessPoints) == 0:
		return note{"Put the access points: a at the cursor. w draws walls, o the outline.", false}
	case len(m.d.Plan().RadioOf()) == 0:
		return note{"No access point has a BSSID: n chooses one, e says it. s saves.", false}
	case len(f.Points) == 0:
		return note{"p puts points to measure at; without any, the walk lays a grid.", false}
	}
	return note{"Arrows move the cursor, n goes from thing to thing.", false}
}

func (m *Edit) paintKeys(c *canvas.Canvas, l layout) {
	if m.typed != nil {
		c.Text(0, l.keys, "enter takes it  esc leaves it  ctrl-u clears", m.look.quiet)
		return
	}
	if m.help > 0 {
		c.Text(0, l.keys, fmt.Sprintf("page %d of %d  any key goes on  esc closes", m.help, m.helpPages()), m.look.quiet)
		return
	}
	// Save, help and quit always stand.
	var names []string
	used := 0
	for _, b := range m.bindings() {
		if b.short != "" {
			names = append(names, keyName(b.keys[0])+" "+b.short)
			used += canvas.Width(names[len(names)-1]) + 2
		}
	}
	for used-2 > l.w && len(names) > 3 {
		k := len(names) - 4
		used -= canvas.Width(names[k]) + 2
		names = slices.Delete(names, k, k+1)
	}
	x := 0
	for _, s := range names {
		x += c.Text(x, l.keys, s, m.look.quiet) + 2
	}
}

// helpRows is how many lines of help a page has.
func (m *Edit) helpRows() int {
	l, ok := layoutOf(m.w, m.h, false)
	if !ok {
		return 1
	}
	return l.rule - 3
}

func (m *Edit) helpLines() (out []editBinding) {
	for _, b := range m.bindings() {
		if b.long != "" {
			out = append(out, b)
		}
	}
	return out
}

func (m *Edit) helpPages() int {
	rows := m.helpRows()
	return (len(m.helpLines()) + rows - 1) / rows
}

func (m *Edit) paintHelp(c *canvas.Canvas, l layout) {
	rows := m.helpRows()
	m.help = min(m.help, m.helpPages()) // the window may have grown
	lines := m.helpLines()[(m.help-1)*rows:]
	for i, b := range lines[:min(len(lines), rows)] {
		name := b.name
		if name == "" {
			name = keyNames(b.keys)
		}
		c.Text(2, 2+i, canvas.Cut(name, 14, m.words.cut), m.look.accent)
		c.Text(17, 2+i, canvas.Cut(b.long, l.w-19, m.words.cut), m.look.text)
	}
}

func (m *Edit) paintPlan(c *canvas.Canvas, r rect) {
	f := m.fl()
	b := f.BoundingBox().Extend(m.at).Pad(0.5)
	for _, p := range m.corners {
		b = b.Extend(p)
	}
	for _, ap := range m.d.Plan().AccessPoints {
		if ap.Floor == f.ID && f.BoundingBox().Pad(10).Contains(ap.At) {
			b = b.Extend(ap.At)
		}
	}
	m.view = canvas.Fit(b, r.w, r.h, 0)
	if m.zoom > 0 {
		m.view = m.view.Zoom(m.at, math.Pow(2, float64(m.zoom)))
	}
	v := m.view
	p := canvas.New(r.w, r.h)
	if m.cfg.Dark != nil {
		underlay(p, v, func(at orb.Point, side float64) bool { return m.cfg.Dark(f.ID, at, side) }, m.words, m.look.empty)
	}
	drawPlanOf(p, v, f, m.words, m.look)
	for i := range f.Points {
		if x, y, ok := v.Cell(f.Points[i].At); ok {
			p.Set(x, y, firstRune(m.words.done), m.look.text)
		}
	}
	short := shortNames(m.d.Plan())
	for i, ap := range m.d.Plan().AccessPoints {
		if x, y, ok := v.Cell(ap.At); ok && ap.Floor == f.ID {
			look := m.look.box
			if m.chosen != nil && m.chosen.Kind == draft.AP && m.chosen.Index == i {
				look = m.look.accentStrong
				look.Style |= canvas.Reverse
			}
			paintBox(p, x, y, short[i], look, m.cfg.Profile == canvas.None || m.cfg.ASCII)
		}
	}
	m.paintDrawing(p, v)
	if x, y, ok := v.Cell(m.at); ok {
		cell := p.At(x, y)
		if cell.Rune == 0 || cell.Rune == ' ' {
			p.Set(x, y, '+', m.look.accentStrong)
		}
		p.Set(x-1, y, '(', m.look.accentStrong)
		p.Set(x+1, y, ')', m.look.accentStrong)
	}
	c.Blit(p, r.x, r.y)
}

// paintDrawing shows what is being drawn or carried.
func (m *Edit) paintDrawing(p *canvas.Canvas, v canvas.Viewport) {
	d := canvas.NewDots(v.W, v.H)
	line := append(append([]orb.Point{}, m.corners...), m.at)
	switch {
	case len(m.corners) > 0:
	case m.held != nil:
		from, _ := m.d.At(*m.held)
		line = []orb.Point{from, m.at}
	default:
		return
	}
	for i := 1; i < len(line); i++ {
		x0, y0 := v.Dot(line[i-1])
		x1, y1 := v.Dot(line[i])
		d.Line(x0, y0, x1, y1)
	}
	if m.tool == areaTool || m.tool == outlineTool {
		x0, y0 := v.Dot(line[len(line)-1])
		x1, y1 := v.Dot(line[0])
		d.Dashes(x0, y0, x1, y1, 1, 2, 0)
	}
	d.Draw(p, 0, 0, m.words.glyphs, m.look.accent)
	for _, c := range m.corners {
		if x, y, ok := v.Cell(c); ok {
			p.Text(x, y, m.words.you, m.look.accentStrong)
		}
	}
}

func (m *Edit) paintScale(c *canvas.Canvas, r rect) {
	if m.view.PerCol > 0 {
		paintScaleBar(c, r.x, r.y, m.view.PerCol, m.words, m.look)
	}
}

func (m *Edit) paintSlip(s *slip) {
	w, f := m.words, m.fl()
	place := func(p orb.Point) string {
		return fmt.Sprintf("%s, %s %s", w.number(w.length(p[0]), 2), w.number(w.length(p[1]), 2), w.unit())
	}
	s.pair("Cursor", m.look.accentStrong, place(m.at), m.look.strong)
	s.pair("step", m.look.quiet, w.number(w.length(editSteps[m.step]), 2)+" "+w.unit(), m.look.quiet)
	s.gap()
	switch {
	case len(m.corners) > 0:
		last := m.corners[len(m.corners)-1]
		s.pair("from last corner", m.look.text, w.metres(distance(last, m.at)), m.look.strong)
		deg := math.Mod(math.Atan2(m.at[0]-last[0], m.at[1]-last[1])*180/math.Pi+360, 360)
		s.pair("direction", m.look.text, w.number(deg, 0)+" deg", m.look.text)
		s.pair("length", m.look.text, w.metres(draft.LengthM(append(append([]orb.Point{}, m.corners...), m.at), m.tool != wallTool)), m.look.text)
	case m.held != nil:
		from, _ := m.d.At(*m.held)
		s.pair("moved by", m.look.text, w.metres(distance(from, m.at)), m.look.strong)
	case m.chosen != nil:
		s.wrap(m.name(*m.chosen), m.look.strong, 2)
		for _, p := range m.d.Properties(*m.chosen) {
			v := canvas.Clean(p.Value)
			if v == "" {
				v = w.none
			}
			name, values := p.Name, []string{v}
			if strings.HasPrefix(name, "bssids ") {
				values = strings.Fields(v)
			}
			for _, v := range values {
				s.pair(name, m.look.quiet, canvas.Cut(v, max(6, s.r.w-canvas.Width(name)-1), w.cut), m.look.text)
				name = ""
			}
		}
	default:
		s.text("Floor "+joined(" ", f.ID, f.Name), m.look.strong)
		s.pair("area", m.look.text, w.area(f.Area()), m.look.text)
		s.pair("walls", m.look.text, fmt.Sprint(len(f.Walls)), m.look.text)
		s.pair("areas", m.look.text, fmt.Sprint(len(f.Areas)), m.look.text)
		s.pair("points", m.look.text, fmt.Sprint(len(f.Points)), m.look.text)
		aps := 0
		for _, ap := range m.d.Plan().AccessPoints {
			if ap.Floor == f.ID {
				aps++
			}
		}
		s.pair("access points", m.look.text, fmt.Sprint(aps), m.look.text)
		if n := len(m.d.Plan().Floors); n > 1 {
			s.pair("floors", m.look.text, fmt.Sprintf("%d of %d", m.floor+1, n), m.look.text)
		}
	}
}
