package tui

import (
	"slices"
	"strings"

	tea "github.com/charmbracelet/bubbletea"
)

// mode says who gets a key first.
type mode int

const (
	walking      mode = iota // between points
	choosing                 // a selection moves over the plan
	reasoning                // a reason is picked for a skip or a void
	recording                // scans are being taken
	turning                  // the next facing waits
	paused                   // a scan failed while recording
	checking                 // the visit is being compared or stored
	doubting                 // the visit does not fit; keep or repeat
	stuck                    // the visit could not be stored
	looking                  // through a lens other than that of the walk
	replaying                // a stored walk is played
	gazing                   // the same, through another lens
	over                     // nothing is left to do
	naming                   // a fault of a drill is picked from the list
	namingAP                 // an access point that has it
	namingPoint              // a point that has it
	namingPlace              // where it really is
	namingMoment             // since when
	namingSize               // how much
	grading                  // a drill is being graded
	marking                  // its marks are read
)

// binding is one thing that keys do in a mode. The handling, the bottom line and
// the help are made from the same bindings. A binding without short is not on the
// bottom line; keys beyond the first are the same for the other hand.
type binding struct {
	keys  []string
	name  string // of the keys on the help screen; the keys themselves where empty
	short string // on the bottom line
	long  string // on the help screen; empty leaves it out there
	do    func(*Model) tea.Cmd
}

// section is a title and the bindings under it on the help screen.
type section struct {
	title string
	mode  mode
}

var sections = []section{
	{"Between points", walking}, {"Looking through a lens", looking}, {"Replay", replaying}, {"Replay through a lens", gazing}, {"Choosing a point", choosing}, {"Recording", recording},
	{"Turning", turning}, {"After an odd visit", doubting}, {"When it could not be saved", stuck},
	{"When a scan failed", paused}, {"Picking a reason", reasoning}, {"When all is done", over},
	{"Naming what is wrong", naming}, {"Naming an access point", namingAP}, {"Naming a point", namingPoint}, {"Naming a place", namingPlace},
	{"Naming a moment", namingMoment}, {"Naming a size", namingSize}, {"Reading the marks", marking},
}

// shown reports whether the help of this screen has a section.
func (m *Model) sectionShown(md mode) bool {
	switch {
	case md >= naming:
		return m.cfg.Drill != nil
	case md == replaying || md == gazing:
		return m.replay != nil
	}
	return m.replay == nil
}

// bindings gives what the keys do in a mode of this screen.
func (m *Model) bindings(md mode) []binding {
	if md >= naming {
		return answerBindings(md)
	}
	out := bindings(md)
	if m.replay != nil && len(m.replay.ms) == 1 {
		out = slices.DeleteFunc(out, func(b binding) bool { return b.short == "other" || b.short == "both" })
	}
	if md == over && m.s.Walk().Completed { // it can't be changed any more
		out = slices.DeleteFunc(out, func(b binding) bool { return slices.Contains([]string{"f", "n", "p", "u", "v"}, b.keys[0]) })
	}
	if m.cfg.Drill != nil {
		switch md {
		case walking, looking, replaying, gazing, over:
			short := "answer"
			if m.ans.open {
				short = "marks"
			}
			out = slices.Insert(out, 1, binding{keys("c", "y"), "", short, "name what is wrong in this drill, be graded, read the marks", (*Model).answer})
		}
	}
	return out
}

func keys(k ...string) []string { return k }

// bindings gives what the keys do in a mode.
func bindings(md mode) []binding {
	nudges := []binding{
		{keys("left", "h"), "arrows hjkl", "", "nudge where you stand by a quarter of a metre", func(m *Model) tea.Cmd { return m.nudge(-1, 0) }},
		{keys("right", "l"), "", "", "", func(m *Model) tea.Cmd { return m.nudge(1, 0) }},
		{keys("up", "k"), "", "", "", func(m *Model) tea.Cmd { return m.nudge(0, 1) }},
		{keys("down", "j"), "", "", "", func(m *Model) tea.Cmd { return m.nudge(0, -1) }},
	}
	common := []binding{
		{keys("+", "="), "+ -", "", "zoom in and out", func(m *Model) tea.Cmd { return m.zoomBy(1) }},
		{keys("-"), "", "", "", func(m *Model) tea.Cmd { return m.zoomBy(-1) }},
		{keys("?", "f1"), "", "help", "this screen", (*Model).toggleHelp},
		{keys("q", "ctrl+c"), "", "quit", "quit; what is saved stays saved", (*Model).leave},
	}
	another := binding{keys("x", "m"), "", "lens", "the next lens: walk, level, heard, error, odd, prep", func(m *Model) tea.Cmd { return m.nextLens(1) }}
	lenses := []binding{
		{keys("1"), "1 to 6", "", "one of the six lenses", func(m *Model) tea.Cmd { return m.setLens(walkLens) }},
		{keys("2"), "", "", "", func(m *Model) tea.Cmd { return m.setLens(levelLens) }},
		{keys("3"), "", "", "", func(m *Model) tea.Cmd { return m.setLens(heardLens) }},
		{keys("4"), "", "", "", func(m *Model) tea.Cmd { return m.setLens(errorLens) }},
		{keys("5"), "", "", "", func(m *Model) tea.Cmd { return m.setLens(oddLens) }},
		{keys("6"), "", "", "", func(m *Model) tea.Cmd { return m.setLens(prepLens) }},
	}
	cursor := []binding{
		{keys("left", "h"), "arrows hjkl", "", "move the cursor; shift moves it by five", func(m *Model) tea.Cmd { return m.moveCursor(-1, 0) }},
		{keys("right", "l"), "", "", "", func(m *Model) tea.Cmd { return m.moveCursor(1, 0) }},
		{keys("up", "k"), "", "", "", func(m *Model) tea.Cmd { return m.moveCursor(0, 1) }},
		{keys("down", "j"), "", "", "", func(m *Model) tea.Cmd { return m.moveCursor(0, -1) }},
		{keys("shift+left", "H"), "", "", "", func(m *Model) tea.Cmd { return m.moveCursor(-5, 0) }},
		{keys("shift+right", "L"), "", "", "", func(m *Model) tea.Cmd { return m.moveCursor(5, 0) }},
		{keys("shift+up", "K"), "", "", "", func(m *Model) tea.Cmd { return m.moveCursor(0, 5) }},
		{keys("shift+down", "J"), "", "", "", func(m *Model) tea.Cmd { return m.moveCursor(0, -5) }},
		{keys("f", "g", "u"), "", "", "the next floor", (*Model).nextFloor},
		{keys("d", ";"), "", "", "the other map: inside the hull or not, the error to expect", (*Model).otherMap},
	}
	switch md {
	case looking:
		return append(append(append([]binding{
			{keys(" ", "enter", "esc", "backspace"), "", "back to the walk", "back to the walk", func(m *Model) tea.Cmd { return m.setLens(walkLens) }},
			{keys("n", "tab"), "n p tab", "next", "the next access point, hole, point or doubt, or the one before", func(m *Model) tea.Cmd { return m.nextItem(1) }},
			{keys("p", "shift+tab"), "", "", "", func(m *Model) tea.Cmd { return m.nextItem(-1) }},
			another,
		}, cursor...), lenses...), common...)
	case replaying, gazing:
		return append(playing(md, cursor, another), append(lenses, common...)...)
	case walking:
		return append(append([]binding{
			{keys(" ", "enter"), "", "record", "record here", (*Model).begin},
			{keys("n", "tab"), "n p tab", "other point", "choose another point, the nearest first, or go back", func(m *Model) tea.Cmd { return m.cycle(1) }},
			{keys("p", "shift+tab"), "", "", "", func(m *Model) tea.Cmd { return m.cycle(-1) }},
			{keys("s", "o"), "", "skip", "leave this point out, with a reason", (*Model).askSkip},
			another,
			{keys("u", "z"), "", "undo", "take the last step back", (*Model).undo},
			{keys("v", "i"), "", "void last", "void the last visit, with a reason", (*Model).askVoid},
			{keys("w", "'"), "", "", "read the warnings about the fit", (*Model).read},
			{keys("t", ";"), "", "", "big letters, to be read at arm's length", (*Model).toggleBig},
		}, append(lenses, nudges...)...), common...)
	case choosing:
		return append([]binding{
			{keys(" ", "enter"), "", "go there", "go there", (*Model).choose},
			{keys("n", "tab"), "n p tab", "next", "the next point to do, the nearest first, or the one before", func(m *Model) tea.Cmd { return m.cycle(1) }},
			{keys("p", "shift+tab"), "", "back", "", func(m *Model) tea.Cmd { return m.cycle(-1) }},
			{keys("left", "h"), "arrows hjkl", "", "the point in that direction", func(m *Model) tea.Cmd { return m.move(-1, 0) }},
			{keys("right", "l"), "", "", "", func(m *Model) tea.Cmd { return m.move(1, 0) }},
			{keys("up", "k"), "", "", "", func(m *Model) tea.Cmd { return m.move(0, 1) }},
			{keys("down", "j"), "", "", "", func(m *Model) tea.Cmd { return m.move(0, -1) }},
			{keys("v", "i"), "", "void its visit", "void the visit there, with a reason", (*Model).askVoid},
			{keys("esc", "backspace"), "", "stay", "leave things as they were", (*Model).cancel},
		}, common...)
	case reasoning:
		return []binding{
			{keys("1", "2", "3", "4"), "1 to 4", "", "the reason with that number", nil},
			{keys("down", "j", "tab"), "up down tab", "next", "the next reason or the one before", func(m *Model) tea.Cmd { return m.reasonBy(1) }},
			{keys("up", "k", "shift+tab"), "", "", "", func(m *Model) tea.Cmd { return m.reasonBy(-1) }},
			{keys(" ", "enter"), "", "take it", "take it", (*Model).takeReason},
			{keys("esc", "backspace"), "", "stay", "leave things as they were", (*Model).cancel},
			{keys("ctrl+c"), "", "", "", (*Model).leave},
		}
	case recording:
		return append(append([]binding{
			{keys("esc", "backspace"), "", "stop, keep nothing", "stop; nothing of this visit is kept", (*Model).drop},
		}, nudges...), common...)
	case turning:
		return append(append([]binding{
			{keys(" ", "enter"), "", "go on", "go on, once you face that way", (*Model).face},
			{keys("esc", "backspace"), "", "stop, keep nothing", "stop; nothing of this visit is kept", (*Model).drop},
		}, nudges...), common...)
	case paused:
		return append([]binding{
			{keys(" ", "enter"), "", "try again", "try again; the scans so far count", (*Model).retryScan},
			{keys("esc", "backspace"), "", "stop, keep nothing", "stop; nothing of this visit is kept", (*Model).drop},
		}, common...)
	case doubting:
		return append(append([]binding{
			{keys(" ", "r"), "", "repeat", "repeat the visit", (*Model).redo},
			{keys("enter", "e"), "", "keep", "keep it as it is", (*Model).accept},
			{keys("esc", "backspace"), "", "drop it", "drop the visit and stay at the point", (*Model).drop},
		}, nudges...), common...)
	case stuck:
		return append([]binding{
			{keys(" ", "enter"), "", "try again", "try to save again", (*Model).accept},
			{keys("r", "y"), "", "repeat", "repeat the visit", (*Model).redo},
			{keys("esc", "backspace"), "", "drop it", "drop the visit and stay at the point", (*Model).drop},
		}, common...)
	case over:
		return append(append([]binding{
			{keys("f", "j"), "", "finish", "finish the walk; it cannot be resumed then", (*Model).finish},
			another,
			{keys("n", "tab"), "n p tab", "choose a point", "choose a point to visit again", func(m *Model) tea.Cmd { return m.cycle(1) }},
			{keys("p", "shift+tab"), "", "", "", func(m *Model) tea.Cmd { return m.cycle(-1) }},
			{keys("u", "z"), "", "undo", "take the last step back", (*Model).undo},
			{keys("v", "i"), "", "void last", "void the last visit, with a reason", (*Model).askVoid},
			{keys("w", "'"), "", "", "read the warnings about the fit", (*Model).read},
			{keys("t", ";"), "", "", "big letters, to be read at arm's length", (*Model).toggleBig},
		}, lenses...), common...)
	default: // checking
		return []binding{
			{keys("?", "f1"), "", "help", "", (*Model).toggleHelp},
			{keys("q", "ctrl+c"), "", "quit", "", (*Model).leave},
		}
	}
}

// keyName is how a key is called on the screen.
func keyName(k string) string {
	switch k {
	case " ":
		return "space"
	case "shift+tab":
		return "shift-tab"
	case "ctrl+c":
		return "ctrl-c"
	case "backspace":
		return "rubout"
	case "f1":
		return "F1"
	}
	return k
}

func keyNames(ks []string) string {
	out := make([]string, len(ks))
	for i, k := range ks {
		out[i] = keyName(k)
	}
	return strings.Join(out, " ")
}

// each hands over keys one by one: those that were struck while the terminal
// or the line to it was slow come in one message.
func each(msg tea.KeyMsg, key func(tea.KeyMsg) tea.Cmd) tea.Cmd {
	if msg.Type != tea.KeyRunes || msg.Paste || len(msg.Runes) < 2 {
		return key(msg)
	}
	var cmds []tea.Cmd
	for _, r := range msg.Runes {
		cmds = append(cmds, key(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune{r}, Alt: msg.Alt}))
	}
	return tea.Batch(cmds...)
}
