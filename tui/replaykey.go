package tui

import tea "github.com/charmbracelet/bubbletea"

// playing gives what the keys do in a replay.
func playing(md mode, cursor []binding, lens binding) []binding {
	step := func(d int) func(*Model) tea.Cmd { return func(m *Model) tea.Cmd { return m.replay.step(d) } }
	out := []binding{
		{keys(" ", "enter"), "", "play", "play, or pause", func(m *Model) tea.Cmd { return m.replay.play() }},
	}
	back, on := keys("left", "h", ","), keys("right", "l", ".")
	if md == gazing {
		back, on = keys(","), keys(".")
	}
	out = append(out,
		binding{on, "", "on", "the next visit", step(1)},
		binding{back, "", "back", "the visit before", step(-1)},
	)
	if md == gazing {
		out = append(out,
			binding{keys("n", "tab"), "n p tab", "next", "the next access point, hole, point or doubt, or the one before", func(m *Model) tea.Cmd { return m.nextItem(1) }},
			binding{keys("p", "shift+tab"), "", "", "", func(m *Model) tea.Cmd { return m.nextItem(-1) }},
		)
		out = append(out, cursor...)
	} else {
		out = append(out,
			binding{keys("shift+right", "L"), "", "", "ten visits on", step(10)},
			binding{keys("shift+left", "H"), "", "", "ten visits back", step(-10)},
			binding{keys("w", "'"), "", "", "read the warnings about the fit", (*Model).read},
		)
	}
	return append(out,
		lens,
		binding{keys("home", "a"), "", "", "before the first visit", func(m *Model) tea.Cmd { return m.replay.goTo(0) }},
		binding{keys("end", "e"), "", "", "after the last visit", func(m *Model) tea.Cmd { return m.replay.goTo(m.replay.player().Len()) }},
		binding{keys("o", "t"), "", "other", "the other walk", func(m *Model) tea.Cmd { return m.replay.other() }},
		binding{keys("b", "i"), "", "both", "two walks side by side, or one", func(m *Model) tea.Cmd { return m.replay.sideBySide() }},
		binding{keys("v", "/"), "", "visit", "go to a visit by its point, ID or number", func(m *Model) tea.Cmd { return m.replay.name() }},
		binding{keys("up", ">", "r"), "", "", "faster", func(m *Model) tea.Cmd { return m.replay.faster(1) }},
		binding{keys("down", "<", "s"), "", "", "slower", func(m *Model) tea.Cmd { return m.replay.faster(-1) }},
		binding{keys("esc"), "", "", "the lens of the walk", func(m *Model) tea.Cmd { return m.setLens(walkLens) }},
	)
}
