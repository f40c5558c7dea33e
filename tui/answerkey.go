package tui

import tea "github.com/charmbracelet/bubbletea"

// modeOf is the mode of a step of the dialog.
var modeOf = map[step]mode{ofKind: naming, ofAP: namingAP, ofPoint: namingPoint, ofPlace: namingPlace, ofMoment: namingMoment, ofSize: namingSize,
	toGrade: grading, inGrading: marking}

// answerBindings gives what the keys do in the dialog of a drill.
func answerBindings(md mode) []binding {
	type do = func(*Model) tea.Cmd
	back := binding{keys("esc", "backspace"), "", "back", "one step back; from the list, out of it", (*Model).leaveAnswer}
	end := []binding{
		{keys("?", "f1"), "", "help", "", (*Model).toggleHelp},
		{keys("q", "ctrl+c"), "", "quit", "", (*Model).leave},
	}
	zoom := []binding{
		{keys("+", "="), "", "", "", func(m *Model) tea.Cmd { return m.zoomBy(1) }},
		{keys("-"), "", "", "", func(m *Model) tea.Cmd { return m.zoomBy(-1) }},
	}
	list := func(by func(*Model, int) tea.Cmd) []binding {
		return []binding{
			{keys("tab", "n", "down", "j"), "tab n down j", "next", "the next one", func(m *Model) tea.Cmd { return by(m, 1) }},
			{keys("shift+tab", "p", "up", "k"), "shift-tab p up", "", "the one before", func(m *Model) tea.Cmd { return by(m, -1) }},
		}
	}
	pass := binding{keys("s", "o"), "", "can't tell", "leave this unsaid", (*Model).pass}
	take := func(does string, f do) binding { return binding{keys(" ", "enter"), "", does, does, f} }
	var out []binding
	switch md {
	case naming:
		out = append([]binding{take("name it", (*Model).takeKind)}, list((*Model).kindBy)...)
		out = append(out, binding{keys("u", "z"), "", "take back", "take back what was said of it", (*Model).withdraw})
	case namingAP:
		out = append([]binding{take("this one", (*Model).takeAP)}, list((*Model).apBy)...)
	case namingPoint:
		out = []binding{take("this one", (*Model).takePoint),
			{keys("tab", "n"), "", "next", "", func(m *Model) tea.Cmd { return m.pointBy(1) }},
			{keys("shift+tab", "p"), "", "", "", func(m *Model) tea.Cmd { return m.pointBy(-1) }},
		}
		out = append(out, ways4((*Model).pointTo)...)
	case namingPlace:
		out = append([]binding{take("here", (*Model).takePlace), pass}, ways4((*Model).placeBy)...)
		for _, b := range ways4(func(m *Model, dx, dy float64) tea.Cmd { return m.placeBy(5*dx, 5*dy) }) {
			b.keys = []string{"shift+" + b.keys[0]}
			b.long, b.short = "", ""
			out = append(out, b)
		}
		out = append(out, binding{keys("f", "g", "u"), "", "", "the next floor", (*Model).placeFloor})
	case namingMoment:
		out = []binding{take("since then", (*Model).takeVisit), pass}
		out = append(out, list((*Model).visitBy)...)
		out = append(out, binding{keys("right", "l", "d"), "", "", "ten visits on", func(m *Model) tea.Cmd { return m.visitBy(10) }},
			binding{keys("left", "h", "a"), "", "", "ten visits back", func(m *Model) tea.Cmd { return m.visitBy(-10) }})
	case namingSize:
		size := func(d float64) do { return func(m *Model) tea.Cmd { return m.sizeBy(d) } }
		out = []binding{take("so much", (*Model).took), pass,
			{keys("up", "k", "w"), "", "more", "one step more", size(1)},
			{keys("down", "j", "x"), "", "less", "one step less", size(-1)},
			{keys("right", "l", "d"), "", "", "five steps more", size(5)},
			{keys("left", "h", "a"), "", "", "five steps less", size(-5)},
		}
	case marking:
		out = []binding{
			take("on", func(m *Model) tea.Cmd { return m.turnMarks(1) }),
			{keys("p", "shift+tab", "up", "k", "left"), "", "back", "the page before", func(m *Model) tea.Cmd { return m.turnMarks(-1) }},
			{keys("tab", "n", "down", "j", "right"), "", "", "", func(m *Model) tea.Cmd { return m.turnMarks(1) }},
			{keys("t", "5"), "", "truth on the plan", "the truth on the plan, and what the program finds", (*Model).seeTruth},
		}
		back.short, back.long = "close", "close the marks"
	}
	if md != marking && md != grading && md != naming {
		out = append(out, zoom...)
	}
	return append(append(out, back), end...)
}

// ways4 gives the keys of four ways, for either hand.
func ways4(to func(m *Model, dx, dy float64) tea.Cmd) []binding {
	way := func(dx, dy float64) func(*Model) tea.Cmd {
		return func(m *Model) tea.Cmd { return to(m, dx, dy) }
	}
	return []binding{
		{keys("left", "h", "a"), "arrows hjkl adwx", "", "move over the plan", way(-1, 0)},
		{keys("right", "l", "d"), "", "", "", way(1, 0)},
		{keys("up", "k", "w"), "", "", "", way(0, 1)},
		{keys("down", "j", "x"), "", "", "", way(0, -1)},
	}
}
