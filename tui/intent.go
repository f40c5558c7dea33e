package tui

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"footrule/internal/canvas"
	"footrule/internal/walk"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/paulmach/orb"
)

func (m *Model) toggleHelp() tea.Cmd {
	m.help, m.page = !m.help, 0
	return nil
}

func (m *Model) read() tea.Cmd {
	if len(m.standing.Warnings) == 0 {
		m.said = note{"No warnings about the fit.", false}
		return nil
	}
	m.reading = true
	return nil
}

// leave quits. A visit that has its scans but is not stored asks once more; what
// is on its way to the disk is waited for.
func (m *Model) leave() tea.Cmd {
	if m.replay != nil {
		return m.replay.leave()
	}
	switch md := m.mode(); {
	case m.store.out:
		m.bye = true
		return nil
	case (md == doubting || md == stuck || m.check.asked) && m.asking != md:
		m.asking, m.help = md, false
		m.said = note{"This visit is not saved. q again quits without it; any other key goes on.", true}
		return nil
	}
	return m.quit()
}

func (m *Model) begin() tea.Cmd {
	if err := m.s.Begin(m.cfg.Clock()); err != nil {
		m.said = note{sentence(err), true}
		return nil
	}
	m.said, m.fault = note{}, nil
	return m.rescan()
}

func (m *Model) face() tea.Cmd {
	if err := m.s.Face(m.cfg.Clock()); err != nil {
		return nil
	}
	return m.rescan()
}

func (m *Model) retryScan() tea.Cmd {
	m.fault = nil
	return m.rescan()
}

func (m *Model) drop() tea.Cmd {
	v := m.s.Pending()
	if v == nil || m.s.Drop() != nil {
		return nil
	}
	m.fault, m.store.err, m.check.doubts = nil, nil, nil
	m.said = note{"Nothing was kept at " + v.Point + ".", false}
	if m.scan.out {
		return nil
	}
	return m.pause(listenEvery)
}

func (m *Model) redo() tea.Cmd {
	if m.s.Redo(m.cfg.Clock()) != nil {
		return nil
	}
	m.said, m.fault, m.store.err, m.check.doubts = note{}, nil, nil, nil
	return m.rescan()
}

func (m *Model) accept() tea.Cmd {
	m.said = note{}
	return m.keep(m.s.Accept())
}

func (m *Model) undo() tea.Cmd   { return m.keep(m.s.Undo(m.cfg.Clock())) }
func (m *Model) finish() tea.Cmd { return m.keep(m.s.FinishWalk(m.cfg.Clock())) }

func (m *Model) nudge(dx, dy float64) tea.Cmd {
	switch err := m.s.Nudge(dx*nudgeM, dy*nudgeM); {
	case errors.Is(err, walk.ErrVoid):
		m.said = note{"Nobody can stand there: it is outside the outline or in a void.", true}
	case err == nil:
		m.said = note{}
	}
	return nil
}

func (m *Model) zoomBy(d int) tea.Cmd {
	m.zoom = min(4, max(0, m.zoom+d))
	return nil
}

func (m *Model) cancel() tea.Cmd {
	if m.reasons != nil {
		m.reasons = nil
		return nil
	}
	m.picking = false
	return nil
}

// choose goes to the selected stop.
func (m *Model) choose() tea.Cmd {
	if cur, ok := m.s.Current(); ok && cur == m.sel {
		m.picking = false
		return nil
	}
	return m.keep(m.s.Choose(m.sel, m.cfg.Clock()))
}

// origin is where distances are counted from, and its floor.
func (m *Model) origin() (string, orb.Point) {
	if floor, at, ok := m.s.Here(); ok {
		return floor, at
	}
	return m.place()
}

// cycle moves the selection over the stops to do, the nearest first, those of
// other floors last. It begins at the current stop.
func (m *Model) cycle(d int) tea.Cmd {
	floor, from := m.origin()
	stops := m.s.Stops()
	var order []int
	for i := range stops {
		if m.s.Status(i) == walk.Todo {
			order = append(order, i)
		}
	}
	if len(order) == 0 {
		for i := range stops {
			order = append(order, i)
		}
	}
	sortNearest(order, stops, floor, from)
	if !m.picking {
		m.picking, m.said = true, note{}
		m.sel = -1
		if cur, ok := m.s.Current(); ok {
			m.sel = cur
		}
	}
	k := slices.Index(order, m.sel)
	switch {
	case k >= 0:
		k = (k + d + len(order)) % len(order)
	case d < 0:
		k = len(order) - 1
	default:
		k = 0
	}
	m.sel = order[k]
	return nil
}

// move takes the selection to the stop of the same floor that lies best in a
// direction, done or not: near, and not far off to the side.
func (m *Model) move(dx, dy float64) tea.Cmd {
	m.sel = m.stopBeside(m.sel, dx, dy)
	return nil
}

// stopBeside is that stop, or the one it is given where there is none.
func (m *Model) stopBeside(from int, dx, dy float64) int {
	stops := m.s.Stops()
	if from < 0 || from >= len(stops) {
		return from
	}
	at, best, cost := stops[from].At, from, math.Inf(1)
	for i, s := range stops {
		if i == from || s.Floor != stops[from].Floor {
			continue
		}
		ahead := (s.At[0]-at[0])*dx + (s.At[1]-at[1])*dy
		aside := math.Abs((s.At[0]-at[0])*dy) + math.Abs((s.At[1]-at[1])*dx)
		if c := ahead + 3*aside; ahead > 0 && c < cost {
			best, cost = i, c
		}
	}
	return best
}

var (
	skipReasons = []string{"locked", "blocked", "not safe", "other"}
	voidReasons = []string{"wrong place", "wrong facing", "disturbed", "other"}
)

func (m *Model) askSkip() tea.Cmd {
	i, ok := m.s.Current()
	if !ok {
		return nil
	}
	if m.s.Status(i) != walk.Todo {
		m.said = note{fmt.Sprintf("%s is not to do, so there is nothing to skip.", m.s.Stops()[i].Point), true}
		return nil
	}
	m.reasons = &reasons{title: "Skip " + m.s.Stops()[i].Point + ": why?",
		items: skipReasons,
		do:    func(r string) tea.Cmd { return m.keep(m.s.SkipStop(r, m.cfg.Clock())) }}
	return nil
}

// askVoid asks why the visit at the selected stop, or the last one, shall not count.
func (m *Model) askVoid() tea.Cmd {
	var v *walk.Visit
	if m.picking {
		if v = m.s.VisitAt(m.sel); v == nil {
			m.said = note{m.s.Stops()[m.sel].Point + " has no visit to void.", true}
			return nil
		}
	} else if st := m.s.Walk().Standing(); len(st) > 0 {
		v = st[len(st)-1]
	} else {
		m.said = note{"No visit stands yet.", true}
		return nil
	}
	id := v.ID
	m.reasons = &reasons{title: "Void the visit at " + canvas.Clean(v.Point) + ": why?",
		items: voidReasons,
		do:    func(r string) tea.Cmd { return m.keep(m.s.VoidVisit(id, r, m.cfg.Clock())) }}
	return nil
}

func (m *Model) reasonBy(d int) tea.Cmd {
	r := m.reasons
	r.at = (r.at + d + len(r.items)) % len(r.items)
	return nil
}

func (m *Model) takeReason() tea.Cmd {
	r := m.reasons
	m.reasons = nil
	return r.do(r.items[r.at])
}

// afterwards says what a stored fact did.
func (m *Model) afterwards(f walk.Fact) note {
	if f.Visit != nil {
		need, heard := m.s.Walk().Settings.Need, m.s.HeardIn(f.Visit)
		if heard < need {
			return note{fmt.Sprintf("Saved %s. Only %d heard there, need %d.", f.Visit.Point, heard, need), true}
		}
		return note{fmt.Sprintf("Saved %s, %d heard.", f.Visit.Point, heard), false}
	}
	return note{markText(m.s, f.Mark), false}
}

// markText says what a stored mark did.
func markText(s *walk.Session, mk *walk.Mark) string {
	point := func(id string) string {
		for i := range s.Walk().Visits {
			if v := &s.Walk().Visits[i]; v.ID == id {
				return v.Point
			}
		}
		return id
	}
	text := ""
	switch mk.Kind {
	case walk.Skip:
		text = "Skipped " + mk.Target + ": " + mk.Reason + "."
	case walk.Unskip:
		text = mk.Target + " is to do again."
	case walk.Void:
		text = "The visit at " + point(mk.Target) + " no longer counts."
	case walk.Unvoid:
		text = "The visit at " + point(mk.Target) + " counts again."
	case walk.Finish:
		text = "The walk is finished."
	}
	if mk.Undo {
		text = "Taken back. " + text
	}
	return text
}
