package tui

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"footrule/internal/draft"
	"footrule/internal/site"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/paulmach/orb"
)

func (m *Edit) snap() {
	s := editSteps[m.step]
	m.at = orb.Point{math.Round(m.at[0]/s) * s, math.Round(m.at[1]/s) * s}
}

func (m *Edit) move(dx, dy float64) tea.Cmd {
	s := editSteps[m.step]
	m.at[0] += dx * s
	m.at[1] += dy * s
	m.snap()
	return nil
}

func (m *Edit) stepBy(d int) tea.Cmd {
	m.step = min(max(m.step+d, 0), len(editSteps)-1)
	return nil
}

// reach is how far from the cursor a thing may be to be taken hold of: a cell or so.
func (m *Edit) reach() float64 { return max(1.2*m.view.PerCol, editSteps[m.step]/2, 0.1) }

// enter does what the tool does.
func (m *Edit) enter() tea.Cmd {
	switch {
	case m.held != nil:
		return m.drop()
	case m.tool != holdTool:
		return m.corner()
	}
	if near := m.d.Near(m.floor, m.at, m.reach()); len(near) > 0 {
		r := near[0]
		m.chosen, m.held = &r, &r
		m.at, _ = m.d.At(r)
		m.said = note{m.name(r) + " in hand: move it, then enter.", false}
		return nil
	}
	m.said = note{"Nothing is here to take hold of. a puts an access point, p a point, w draws a wall.", false}
	return nil
}

func (m *Edit) drop() tea.Cmd {
	r := *m.held
	m.held = nil
	return m.did("Moved "+m.name(r)+".", m.d.Move(r, m.at))
}

// corner adds a corner; on the first one the figure is closed, on the last one a
// wall is done.
func (m *Edit) corner() tea.Cmd {
	n := len(m.corners)
	switch {
	case m.tool == wallTool && n > 1 && distance(m.at, m.corners[n-1]) < 0.001:
		return m.finish()
	case m.tool != wallTool && n > 2 && distance(m.at, m.corners[0]) < 0.001:
		return m.finish()
	case n > 0 && distance(m.at, m.corners[n-1]) < 0.001:
		return nil
	}
	m.corners = append(m.corners, m.at)
	return nil
}

// finish makes what was drawn part of the plan.
func (m *Edit) finish() tea.Cmd {
	corners := m.corners
	var err error
	text := ""
	switch m.tool {
	case wallTool:
		if len(corners) < 2 {
			m.said = note{"A wall has two ends: enter puts a corner where the cursor is.", true}
			return nil
		}
		text, err = "Drew a wall of "+m.material()+".", m.d.AddWall(m.floor, m.material(), corners)
	case areaTool, outlineTool:
		if len(corners) < 3 {
			m.said = note{"An outline has three corners or more: enter puts one where the cursor is.", true}
			return nil
		}
		if m.tool == areaTool {
			text, err = "Drew a "+string(m.kind)+".", m.d.AddArea(m.floor, m.kind, corners)
		} else {
			text, err = "Drew the outline.", m.d.SetOutline(m.floor, corners)
		}
	default:
		return nil
	}
	if err == nil {
		m.corners, m.tool = nil, holdTool
	}
	return m.did(text, err)
}

// usual are materials to begin with; others are typed.
var usual = []string{"plasterboard", "brick", "concrete", "glass", "wood", "metal"}

// material is that of the next wall: the latest one's.
func (m *Edit) material() string {
	if w := m.fl().Walls; len(w) > 0 {
		return w[len(w)-1].Material
	}
	if ms := m.d.Plan().Materials(); len(ms) > 0 {
		return ms[0]
	}
	return usual[0]
}

func (m *Edit) draw(t editTool, kind site.AreaKind) tea.Cmd {
	if m.held != nil {
		return nil
	}
	m.tool, m.kind, m.corners, m.chosen = t, kind, nil, nil
	return nil
}

// back gives up what is under way, one thing at a time.
func (m *Edit) back() tea.Cmd {
	switch {
	case m.held != nil:
		m.held = nil
		m.said = note{"Left where it was.", false}
	case len(m.corners) > 0:
		m.corners = nil
	case m.tool != holdTool:
		m.tool = holdTool
	default:
		m.chosen = nil
	}
	return nil
}

func (m *Edit) lastCorner() tea.Cmd {
	if n := len(m.corners); n > 0 {
		m.corners = m.corners[:n-1]
	}
	return nil
}

func (m *Edit) addAP() tea.Cmd {
	id, err := m.d.AddAP(m.floor, m.at)
	if err == nil {
		m.chosen = &draft.Ref{Kind: draft.AP, Floor: m.floor, Index: len(m.d.Plan().AccessPoints) - 1}
	}
	return m.did("Put "+id+" here. e says its height, bands and BSSIDs.", err)
}

func (m *Edit) addPoint() tea.Cmd {
	id, err := m.d.AddPoint(m.floor, m.at)
	if err == nil {
		m.chosen = &draft.Ref{Kind: draft.Point, Floor: m.floor, Index: len(m.fl().Points) - 1}
	}
	return m.did("Put point "+id+" here.", err)
}

func (m *Edit) remove() tea.Cmd {
	r := m.chosen
	if r == nil {
		if near := m.d.Near(m.floor, m.at, m.reach()); len(near) > 0 {
			r = &near[0]
		}
	}
	if r == nil {
		m.said = note{"Choose what to delete first: n goes from one to the next.", false}
		return nil
	}
	name := m.name(*r)
	m.held, m.chosen = nil, nil
	return m.did("Deleted "+name+". u takes it back.", m.d.Delete(*r))
}

// next goes to the next thing on the floor, the nearest to the cursor first.
func (m *Edit) next(d int) tea.Cmd {
	all := m.d.Near(m.floor, m.at, math.Inf(1))
	if len(all) == 0 {
		return nil
	}
	// By kind and number, so that the order stays while the cursor moves along.
	slices.SortStableFunc(all, func(a, b draft.Ref) int {
		rank := map[draft.Kind]int{draft.AP: 0, draft.Point: 1, draft.Wall: 2, draft.Area: 3, draft.Outline: 4}
		if x := rank[a.Kind] - rank[b.Kind]; x != 0 {
			return x
		}
		if x := a.Index - b.Index; x != 0 {
			return x
		}
		return a.Corner - b.Corner
	})
	i := -1
	if m.chosen != nil {
		i = slices.Index(all, *m.chosen)
	}
	r := all[((i+d)%len(all)+len(all))%len(all)]
	m.chosen = &r
	m.at, _ = m.d.At(r)
	return nil
}

// name says what a thing is.
func (m *Edit) name(r draft.Ref) string {
	f := &m.d.Plan().Floors[r.Floor]
	switch r.Kind {
	case draft.AP:
		if r.Index < len(m.d.Plan().AccessPoints) {
			return m.d.Plan().AccessPoints[r.Index].ID
		}
	case draft.Point:
		if r.Index < len(f.Points) {
			return "point " + f.Points[r.Index].ID
		}
	case draft.Wall:
		if r.Index < len(f.Walls) {
			return fmt.Sprintf("corner %d of a wall of %s", r.Corner+1, f.Walls[r.Index].Material)
		}
	case draft.Area:
		if r.Index < len(f.Areas) {
			return fmt.Sprintf("corner %d of %s", r.Corner+1, f.Areas[r.Index].ID)
		}
	}
	return fmt.Sprintf("corner %d of the outline", r.Corner+1)
}

// edit asks for what can be said of the chosen thing, one after the other; with
// nothing chosen for what can be said of the floor.
func (m *Edit) edit() tea.Cmd {
	r := draft.Ref{Kind: draft.Outline, Floor: m.floor}
	if m.chosen != nil {
		r = *m.chosen
	}
	return m.askNext(r, 0)
}

func (m *Edit) askNext(r draft.Ref, i int) tea.Cmd {
	ps := m.d.Properties(r)
	if i >= len(ps) {
		return m.did("Said of "+m.name(r)+".", nil)
	}
	p := ps[i]
	return m.ask(p.Name, p.Value, func(text string) tea.Cmd {
		if text != p.Value {
			if err := m.d.Set(r, p.Name, text); err != nil {
				return m.did("", err)
			}
		}
		return m.askNext(r, i+1)
	})
}

// goTo asks for a place in numbers.
func (m *Edit) goTo() tea.Cmd {
	return m.ask("x, y in metres", "", func(text string) tea.Cmd {
		parts := strings.FieldsFunc(text, func(r rune) bool { return r == ',' || r == ' ' || r == ';' })
		if len(parts) == 2 {
			x, err1 := strconv.ParseFloat(parts[0], 64)
			y, err2 := strconv.ParseFloat(parts[1], 64)
			if err1 == nil && err2 == nil && math.Abs(x) <= site.MaxCoordinateM && math.Abs(y) <= site.MaxCoordinateM {
				m.at = orb.Point{x, y}
				return nil
			}
		}
		m.said = note{fmt.Sprintf("%q is no place: write two numbers, such as 12.5, 3.", text), true}
		return nil
	})
}

func (m *Edit) undo() tea.Cmd {
	m.held, m.chosen = nil, nil
	if !m.d.Undo() {
		m.said = note{"Nothing to take back.", false}
	} else {
		m.said = note{"Taken back.", false}
	}
	m.floor = min(m.floor, len(m.d.Plan().Floors)-1)
	return nil
}

func (m *Edit) redo() tea.Cmd {
	m.held, m.chosen = nil, nil
	if !m.d.Redo() {
		m.said = note{"Nothing to do again.", false}
	}
	return nil
}

func (m *Edit) nextFloor() tea.Cmd {
	if m.held != nil || len(m.corners) > 0 {
		return nil
	}
	m.floor = (m.floor + 1) % len(m.d.Plan().Floors)
	m.chosen = nil
	return nil
}

func (m *Edit) addFloor() tea.Cmd {
	n, err := m.d.AddFloor(m.floor)
	if err == nil {
		m.floor, m.chosen = n, nil
	}
	return m.did("Added a floor with the outline of the one before. e says its name and how high it is.", err)
}

func (m *Edit) save() tea.Cmd {
	if !m.d.Changed() {
		m.said = note{"Nothing has changed since it was saved.", false}
		return nil
	}
	m.store.busy = true
	m.store.seq++
	seq, put, plan := m.store.seq, m.cfg.Put, m.d.Plan()
	return func() tea.Msg {
		rev, err := put(plan)
		return editMsg{seq, plan, rev, err}
	}
}

// stored says that a plan is saved once it is on disk.
func (m *Edit) stored(msg editMsg) tea.Cmd {
	if msg.seq != m.store.seq || !m.store.busy {
		return nil
	}
	m.store.busy = false
	if msg.err != nil {
		m.store.bye = false
		m.said = note{"Not saved. " + sentence(msg.err), true}
		return nil
	}
	m.d.Saved(msg.plan)
	m.rev, m.saves = msg.rev, m.saves+1
	m.said = note{fmt.Sprintf("Saved as revision %d of the plan. q leaves, then the walk.", msg.rev), false}
	if n := len(msg.plan.AccessPoints); n > 0 && len(msg.plan.RadioOf()) == 0 {
		m.said = note{fmt.Sprintf("Saved as revision %d. No access point has a BSSID yet: n, then e says it.", msg.rev), true}
	}
	return nil
}

func (m *Edit) leave() tea.Cmd {
	if m.d.Changed() && !m.leaving {
		m.leaving = true
		m.said = note{"The changes are not saved: s saves them, q again leaves them behind.", true}
		return nil
	}
	return tea.Quit
}

func (m *Edit) zoomBy(d int) tea.Cmd {
	m.zoom = min(5, max(0, m.zoom+d))
	return nil
}

// clicked takes a mouse: the cursor goes to the place, and enter is pressed there.
func (m *Edit) clicked(msg tea.MouseMsg) tea.Cmd {
	ev := tea.MouseEvent(msg)
	if m.typed != nil || m.help > 0 || m.store.busy {
		return nil
	}
	switch {
	case ev.Button == tea.MouseButtonWheelUp && ev.Action == tea.MouseActionPress:
		return m.zoomBy(1)
	case ev.Button == tea.MouseButtonWheelDown && ev.Action == tea.MouseActionPress:
		return m.zoomBy(-1)
	}
	l, ok := layoutOf(m.w, m.h, false)
	x, y := ev.X-l.plan.x, ev.Y-l.plan.y
	if !ok || x < 0 || y < 0 || x >= l.plan.w || y >= l.plan.h || !(m.view.PerCol > 0) {
		return nil
	}
	switch {
	case ev.Button == tea.MouseButtonLeft && ev.Action == tea.MouseActionPress:
		m.at = m.view.Metres(x, y)
		m.snap()
		return m.enter()
	case ev.Action == tea.MouseActionMotion && m.held != nil:
		m.at = m.view.Metres(x, y)
		m.snap()
	case ev.Action == tea.MouseActionRelease && m.held != nil:
		at, _ := m.d.At(*m.held)
		if distance(at, m.at) > m.view.PerCol { // dragged
			return m.drop()
		}
	}
	return nil
}
