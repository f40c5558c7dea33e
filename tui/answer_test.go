package tui_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"footrule/internal/canvas"
	"footrule/internal/drill"
	"footrule/internal/walk"
	"footrule/tui"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// desk keeps the answers of a drill, and grades them.
type desk struct {
	kept   []drill.Answer
	full   bool // nothing can be kept
	graded int
}

func (d *desk) drill() *tui.Drill {
	return &tui.Drill{
		Story: "Trolleys are shown a room or two from where they stand, mostly about the middle of the building. The front wall was taped: 46.0 m.",
		Keep: func(change func([]drill.Answer) []drill.Answer) ([]drill.Answer, error) {
			if d.full {
				return nil, errors.New("no space left on the device")
			}
			d.kept = change(d.kept)
			return d.kept, nil
		},
		Grade: func(context.Context) (tui.Graded, error) {
			d.graded++
			text := []string{"Osier Hall: 70 of 100", "", "wrong was  AP-03 hangs at 24.0, 13.0, 11.0 m from its place on the plan.", "you said   an access point hangs elsewhere: AP-03",
				"   40 of 40  what it is            named rightly", "    0 of 30  where it really is    not said: 24.0, 13.0"}
			for i := range 24 {
				text = append(text, fmt.Sprintf("line %d", i+1))
			}
			return tui.Graded{Text: text, Truth: []tui.Finding{{Title: "truth: moved, AP-03", Evidence: "AP-03 hangs at 24.0, 13.0.", Do: "Correct the plan.",
				Floor: "G", At: orb.Point{13, 12}, Seems: &orb.Point{24, 13}, AP: 2}}}, nil
		},
	}
}

// viewDrill plays the walk of a drill.
func viewDrill(t testing.TB, w, h int, d *desk, change func(*tui.ReplayConfig)) *viewer {
	return view(t, w, h, func(c *tui.ReplayConfig) {
		c.NoFindings, c.Drill = true, d.drill()
		if change != nil {
			change(c)
		}
	}, walkedBy(t, 9, nil))
}

// row goes to a kind in the list.
func (v *viewer) row(k drill.Kind) *viewer {
	for range len(drill.Kinds()) + 2 {
		if strings.Contains(v.r.View(), "▸ "+string(k)+" ") || strings.Contains(v.r.View(), "> "+string(k)+" ") {
			return v
		}
		v.press("tab")
	}
	v.t.Fatalf("no row %s in\n%s", k, v.r.View())
	return v
}

var drillStates = []struct {
	name string
	to   func(v *viewer)
}{
	{"drill-list", func(v *viewer) { v.press("e", "c").row(drill.Dead).press("space", "space").row(drill.Moved) }},
	{"drill-ap", func(v *viewer) { v.press("e", "2", "c").row(drill.Labels).press("space", "space", "tab") }},
	{"drill-point", func(v *viewer) { v.press("e", "c").row(drill.Point).press("space", "left") }},
	{"drill-place", func(v *viewer) {
		v.press("e", "c").row(drill.Moved).press("space", "tab", "tab", "space", "right", "right", "down")
	}},
	{"drill-moment", func(v *viewer) { v.press("e", "c").row(drill.Power).press("space", "space", "p") }},
	{"drill-size", func(v *viewer) {
		v.press("e", "c").row(drill.Power).press("space", "space", "space", "left", "left", "up")
	}},
	{"drill-marks", func(v *viewer) { v.press("e", "c").row(drill.Moved).press("space", "space", "s", "shift+tab") }},
	{"drill-truth", func(v *viewer) { v.press("e", "c").row(drill.Dead).press("space", "space") }},
}

// graded goes on from the list to the marks.
func (v *viewer) graded() *viewer {
	for !strings.Contains(v.r.View(), "Space grades what was named") {
		v.press("shift+tab")
	}
	return v.press("space", "space")
}

// What was answered elsewhere meanwhile stays, and shows.
func TestAnswersElsewhereStay(t *testing.T) {
	d := &desk{}
	v := viewDrill(t, 80, 24, d, nil).press("e", "c")
	d.kept = []drill.Answer{{Kind: drill.Few}}
	v.row(drill.Dead).press("space", "space")
	require.Len(t, d.kept, 2)
	require.Equal(t, drill.Few, d.kept[0].Kind)
	require.Equal(t, drill.Dead, d.kept[1].Kind)
	v.row(drill.Few).press("u")
	require.Len(t, d.kept, 1)
	require.Equal(t, drill.Dead, d.kept[0].Kind)
}

func TestDrillGoldens(t *testing.T) {
	look := func(t *testing.T, w, h int, ascii bool, name string) {
		for _, st := range drillStates {
			v := viewDrill(t, w, h, &desk{}, func(c *tui.ReplayConfig) { c.ASCII, c.Feet = ascii, ascii })
			st.to(v)
			switch st.name {
			case "drill-marks":
				v.graded()
			case "drill-truth":
				v.graded().press("t")
			}
			got := v.r.View()
			checkSize(t, got, w, h)
			for i := range len(got) {
				require.False(t, ascii && got[i] >= 0x80, "%s: %q", st.name, got)
			}
			golden(t, st.name+"-"+name+".txt", got+"\n")
		}
	}
	for _, size := range [][2]int{{80, 24}, {120, 40}, {200, 60}} {
		look(t, size[0], size[1], false, fmt.Sprintf("%dx%d", size[0], size[1]))
	}
	look(t, 80, 24, true, "ascii")
}

// A fault is named with all that belongs to it, by the keys of either half of the
// keyboard, and kept before it is said to be.
func TestAnswersAreKept(t *testing.T) {
	for name, hand := range map[string]struct{ open, next, take, less string }{
		"left":  {"c", "tab", "space", "x"},
		"right": {"y", "down", "enter", "j"},
	} {
		t.Run(name, func(t *testing.T) {
			d := &desk{}
			v := viewDrill(t, 80, 24, d, nil).press("e", hand.open)
			v.press(hand.next, hand.next, hand.next, hand.next, hand.take) // power
			require.Contains(t, v.r.View(), "power changed during the")
			v.press(hand.next, hand.take) // AP-02
			v.press(hand.take)            // since the latest visit
			v.press(hand.less, hand.less, hand.less, hand.take)
			require.Equal(t, []drill.Answer{{Kind: drill.Power, APs: []string{"AP-02"}, Since: "P10", Size: -3}}, d.kept)
			require.Contains(t, v.r.View(), "You say: power changed during the walk: AP-02, since P10, −3.0 dB.")
			require.Contains(t, v.r.View(), "power     ● AP-02, since P10, −3.0 dB")

			// Taken back, and a kind that says it all.
			v.press("u")
			require.Empty(t, d.kept)
			v.row(drill.Facing).press(hand.take)
			require.Equal(t, []drill.Answer{{Kind: drill.Facing}}, d.kept)

			// What can't be kept is not said to be.
			d.full = true
			v.row(drill.Line).press(hand.take)
			require.Contains(t, v.r.View(), "Not kept, nothing has changed. No space left on the device.")
			require.NotContains(t, v.r.View(), "● all access points")
			require.Len(t, d.kept, 1)
		})
	}
}

// Back takes one step back and forgets what it had said.
func TestAnswerGoesBack(t *testing.T) {
	d := &desk{}
	v := viewDrill(t, 80, 24, d, nil).press("e", "c").row(drill.Labels).press("space")
	v.press("space", "esc") // AP-01, and back
	require.Contains(t, v.r.View(), "access point        AP-01?")
	v.press("tab", "space", "space") // AP-02, then the next
	require.Equal(t, []drill.Answer{{Kind: drill.Labels, APs: []string{"AP-02", "AP-03"}}}, d.kept)
	v.press("esc")
	require.NotContains(t, v.r.View(), "What is wrong here?")
	v.press("c").row(drill.Moved).press("space", "space", "esc", "esc", "esc", "2")
	require.Contains(t, v.r.View(), "LEVEL", "out of the dialog")
	require.Len(t, d.kept, 1)
}

// Grading wants an answer, is asked twice, ends the case, and shows what was hidden.
func TestDrillIsGradedOnTheScreen(t *testing.T) {
	d := &desk{}
	v := viewDrill(t, 80, 24, d, nil).press("e", "5")
	require.Contains(t, v.r.View(), "program finds stays hidden")
	v.press("c", "shift+tab", "space", "space")
	require.Contains(t, v.r.View(), "Name something first")
	require.Zero(t, d.graded)
	v.row(drill.Moved).press("space", "tab", "tab", "space", "s")
	v.press("shift+tab", "shift+tab", "shift+tab", "space")
	require.Contains(t, v.r.View(), "Grading shows the truth, and no answer is taken after it.")
	require.Zero(t, d.graded)
	v.press("tab", "shift+tab", "space") // looked elsewhere meanwhile: asked anew
	require.Zero(t, d.graded)
	v.press("space")
	require.Equal(t, 1, d.graded)
	require.Contains(t, v.r.View(), "Osier Hall: 70 of 100")
	require.Contains(t, v.r.View(), "page 1 of 2")
	v.press("space")
	require.Contains(t, v.r.View(), "line 24")
	v.press("p", "t")
	require.Contains(t, v.r.View(), "truth: moved, AP-03")
	require.Contains(t, v.r.View(), "P04 recorded elsewhere", "what the program finds")
	v.press("c")
	require.Contains(t, v.r.View(), "Osier Hall: 70 of 100", "again the marks, and no list")
	require.Equal(t, 1, d.graded)
}

// A walk is answered as a replay is.
func TestAnswerWhileWalking(t *testing.T) {
	d := &desk{}
	r := depot(t, func(c *tui.Config) { c.Drill, c.NoFindings = d.drill(), true })
	walked(r, 3)
	require.Contains(t, r.screen(), "c answer")
	r.press("c", "tab", "tab", "space", "space", "right", "space")
	require.Len(t, d.kept, 1)
	require.Equal(t, drill.Moved, d.kept[0].Kind)
	require.NotNil(t, d.kept[0].At)
	r.press("esc")
	r.visit() // goes on
	require.Len(t, r.s.Walk().Visits, 4)
	require.NotContains(t, depot(t, nil).screen(), "c answer")
}

// A click goes to a row or to what is on the plan, another one takes it.
func TestAnswerByMouse(t *testing.T) {
	d := &desk{}
	v := viewDrill(t, 80, 24, d, func(c *tui.ReplayConfig) { c.Mouse = true }).press("e", "c")
	click := func(text string) {
		t.Helper()
		for y, line := range strings.Split(v.r.View(), "\n") {
			if before, _, ok := strings.Cut(line, text); ok {
				v.send(tea.MouseMsg{X: canvas.Width(before) + 1, Y: y, Button: tea.MouseButtonLeft, Action: tea.MouseActionPress})
				return
			}
		}
		t.Fatalf("no %q in\n%s", text, v.r.View())
	}
	click("dead  ")
	click("dead  ")
	click("[4]")
	click("[4]")
	require.Equal(t, []drill.Answer{{Kind: drill.Dead, APs: []string{"AP-04"}}}, d.kept)
	click("be graded")
	click("be graded")
	click("be graded")
	require.Equal(t, 1, d.graded)
}

// TestDrillOnATerminal answers a drill by keys through a real program.
func TestDrillOnATerminal(t *testing.T) {
	s := hall()
	wk := walkedBy(t, 9, nil)
	p, err := walk.NewPlayer(s, wk, grid(s, 4))
	require.NoError(t, err)
	d := &desk{}
	e := &ether{site: s}
	r := tui.NewReplay(tui.ReplayConfig{Title: "Osier Hall", Profile: canvas.TrueColor, NoFindings: true, Drill: d.drill(),
		After: func(time.Duration) <-chan time.Time { return nil },
		Tracks: []tui.Track{{Player: p,
			Judge: func(_ context.Context, n int) (tui.Standing, error) {
				known := p.Known(n)
				return standing(e, len(known.Standing())), nil
			},
			Find: func(_ context.Context, n int) ([]tui.Finding, error) { return found(e, n), nil },
		}}})
	q := program(t, r, 80, 24)
	q.sees("Before the first visit", "c answer")
	q.typed("e5")
	q.sees("program finds stays hidden")
	q.typed("c")
	q.sees("What is wrong here?", "The customer says", "▸ nothing")
	q.typed("\t\t ")
	q.sees("Which access point has it?", "AP-01?")
	q.typed("\t\t ")
	q.sees("Where is it really?")
	q.typed("\x1b[C\x1b[C ")
	q.sees("You say: an access point hangs elsewhere: AP-03")
	q.typed("\x1b[Z\x1b[Z\x1b[Z ")
	q.sees("Space again grades.")
	q.typed(" ")
	q.sees("Osier Hall: 70 of 100", "The case is open.")
	q.typed("t")
	q.sees("truth: moved, AP-03", "P04 recorded elsewhere")
	q.typed("q")
	select {
	case err := <-q.done:
		require.NoError(t, err)
	case <-time.After(10 * time.Second):
		t.Fatal("q does not quit")
	}
	require.Len(t, d.kept, 1)
	assert.Equal(t, []string{"AP-03"}, d.kept[0].APs)
}
