package tui

import (
	"footrule/internal/canvas"

	tea "github.com/charmbracelet/bubbletea"
)

// assignMode says who gets a key first.
type assignMode int

const (
	judging  assignMode = iota // a proposal is shown
	settled                    // there are no proposals
	placing                    // another radio is chosen
	awaiting                   // a plan is on its way to the disk
)

func (m *Assign) mode() assignMode {
	switch {
	case m.store.busy:
		return awaiting
	case m.choices != nil:
		return placing
	case len(m.report.Proposals) == 0:
		return settled
	}
	return judging
}

// assignBinding is one thing that keys do in a mode, as [binding] is for a walk.
type assignBinding struct {
	keys  []string
	name  string
	short string
	long  string
	do    func(*Assign) tea.Cmd
}

// assignBindings gives what the keys do in a mode.
func assignBindings(md assignMode) []assignBinding {
	undo := assignBinding{keys("u", "z"), "", "undo", "take the last decision back; a saved one by a new revision", (*Assign).undo}
	common := []assignBinding{
		{keys("?", "f1"), "", "help", "this screen", (*Assign).toggleHelp},
		{keys("q", "ctrl+c"), "", "quit", "quit; what is saved stays saved", (*Assign).leave},
	}
	switch md {
	case placing:
		return append([]assignBinding{
			{keys(" ", "enter"), "", "this one", "put it under the chosen radio", (*Assign).take},
			{keys("n", "down", "j", "tab"), "", "next", "the next radio", func(m *Assign) tea.Cmd { return m.pickBy(1) }},
			{keys("p", "up", "k", "shift+tab"), "", "back", "the radio before", func(m *Assign) tea.Cmd { return m.pickBy(-1) }},
			{keys("esc", "backspace"), "", "stay", "leave things as they were", (*Assign).cancel},
		}, common...)
	case awaiting:
		return common
	case settled:
		return append([]assignBinding{undo}, common...)
	}
	return append([]assignBinding{
		{keys(" ", "enter"), "", "accept", "accept the proposal as it stands, and save the plan", (*Assign).accept},
		{keys("n", "down", "j", "tab"), "", "next", "the next proposal; this one stays open", func(m *Assign) tea.Cmd { return m.step(1) }},
		{keys("p", "up", "k", "shift+tab"), "", "back", "the proposal before", func(m *Assign) tea.Cmd { return m.step(-1) }},
		{keys("m"), "", "move", "choose another radio for it", (*Assign).choose},
		{keys("x", "s"), "", "leave out", "leave it out; one that is on the plan is taken off, and the plan saved", (*Assign).leaveOut},
		undo,
	}, common...)
}

// assignKeyLine gives the keys of the bottom line that fit; help and quit always do.
func assignKeyLine(md assignMode, w int) []string {
	var out []string
	used, tail := 0, 0
	bs := assignBindings(md)
	texts := make([]string, len(bs))
	for i, b := range bs {
		texts[i] = keyName(b.keys[0]) + " " + b.short
		if i >= len(bs)-2 {
			tail += canvas.Width(texts[i]) + 2
		}
	}
	for i, t := range texts {
		n := canvas.Width(t) + 2
		if i < len(bs)-2 && used+n+tail > w {
			continue
		}
		out = append(out, t)
		used += n
	}
	return out
}
