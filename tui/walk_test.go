package tui_test

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"footrule/internal/walk"
	"footrule/tui"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func depot(t testing.TB, change func(*tui.Config)) *robot {
	s := hall()
	return scene(t, s, grid(s, 4), settings(), change).open(80, 24)
}

func (r *robot) current() string {
	if i, ok := r.s.Current(); ok {
		return r.s.Stops()[i].Point
	}
	return ""
}

// lastLines gives the line that says what to do, and that of the keys.
func (r *robot) lastLines() (now, keys string) {
	l := strings.Split(r.screen(), "\n")
	return strings.TrimSpace(l[len(l)-2]), strings.TrimSpace(l[len(l)-1])
}

func TestVisitIsStoredBeforeItIsCalledSaved(t *testing.T) {
	r := depot(t, nil)
	r.press("space")
	assert.Equal(t, walk.Turning, r.s.Phase(), "two scans of the first facing")
	now, _ := r.lastLines()
	assert.Equal(t, "Turn to face right, then space.", now)
	r.pauseAfter(2)
	r.press("space")
	r.ether.onScan = nil
	require.True(t, r.held)
	for len(r.disk.facts) == 0 && len(r.hold) > 0 { // step by step until the store has it
		assert.NotContains(t, r.screen(), "Saved")
		hold := r.hold
		r.hold = nil
		for _, c := range hold {
			r.step(c)
		}
	}
	require.Len(t, r.disk.facts, 1)
	assert.NotContains(t, r.screen(), "Saved", "the store has answered, the model not heard it")
	assert.Contains(t, r.screen(), "Saving.")
	r.release()
	assert.Contains(t, r.screen(), "Saved P01. Only 2 heard there, need 3.")
	assert.Equal(t, "P02", r.current())
	assert.Equal(t, []int{1}, r.bells)
	v := r.disk.facts[0].Visit
	assert.Equal(t, []float64{0, 0, 90, 90}, []float64{v.Scans[0].FacingDeg, v.Scans[1].FacingDeg, v.Scans[2].FacingDeg, v.Scans[3].FacingDeg})
	assert.False(t, r.ether.twoAtOnce(), "two scans at once")
}

// step runs one command and holds what follows from it; a store's answer is
// handed over by release.
func (r *robot) step(c tea.Cmd) {
	if c == nil {
		return
	}
	msg := c()
	if b, ok := msg.(tea.BatchMsg); ok {
		r.hold = append(r.hold, b...)
		return
	}
	if len(r.disk.facts) > 0 {
		r.hold = append(r.hold, func() tea.Msg { return msg })
		return
	}
	if msg != nil {
		_, next := r.m.Update(msg)
		r.hold = append(r.hold, next)
	}
}

func TestKeys(t *testing.T) {
	for name, tc := range map[string]struct {
		before []string // keys after nine visits
		check  func(t *testing.T, r *robot)
	}{
		"skip by number": {[]string{"s", "1"}, func(t *testing.T, r *robot) {
			i := r.stop("P11")
			assert.Equal(t, walk.Skipped, r.s.Status(i))
			assert.Equal(t, "locked", r.s.Reason(i))
			assert.Equal(t, "P12", r.current())
		}},
		"skip by arrows": {[]string{"s", "down", "j", "tab", "up", "enter"}, func(t *testing.T, r *robot) {
			assert.Equal(t, "not safe", r.s.Reason(r.stop("P11")))
		}},
		"skip given up": {[]string{"s", "esc"}, func(t *testing.T, r *robot) {
			assert.Equal(t, walk.Todo, r.s.Status(r.stop("P11")))
			assert.Len(t, r.disk.facts, 10)
		}},
		"void and undo": {[]string{"v", "2", "u"}, func(t *testing.T, r *robot) {
			assert.Equal(t, walk.Done, r.s.Status(r.stop("P10")))
			now, _ := r.lastLines()
			assert.Contains(t, now, "Taken back. The visit at P10 counts again.")
		}},
		"void": {[]string{"v", "1"}, func(t *testing.T, r *robot) {
			assert.Equal(t, walk.Todo, r.s.Status(r.stop("P10")))
			assert.Equal(t, "P10", r.current())
			require.Len(t, r.s.Walk().Marks, 2)
			assert.Equal(t, "wrong place", r.s.Walk().Marks[1].Reason)
		}},
		"void the selected": {[]string{"n", "left", "left", "up", "v", "1"}, func(t *testing.T, r *robot) {
			marks := r.s.Walk().Marks
			require.Len(t, marks, 2)
			assert.Equal(t, walk.Void, marks[1].Kind)
			assert.Less(t, len(r.s.Walk().Standing()), 9)
			assert.NotEqual(t, "V0009", marks[1].Target, "not the last one")
		}},
		"undo a visit": {[]string{"u"}, func(t *testing.T, r *robot) {
			assert.Equal(t, walk.Todo, r.s.Status(r.stop("P10")))
		}},
		"nearest first": {[]string{"n", "enter"}, func(t *testing.T, r *robot) {
			// P10 stands at (6, 10); P15 and P11 are 4 m away, P11 is the current one.
			assert.Equal(t, "P15", r.current())
		}},
		"cycle around": {[]string{"tab", "shift+tab", "space"}, func(t *testing.T, r *robot) {
			assert.Equal(t, "P11", r.current())
			assert.Len(t, r.disk.facts, 10, "going where one goes already stores nothing")
		}},
		"choose given up": {[]string{"n", "n", "backspace"}, func(t *testing.T, r *robot) {
			assert.Equal(t, "P11", r.current())
		}},
		"nudge": {[]string{"left", "h", "up", "j", "right"}, func(t *testing.T, r *robot) {
			assert.Equal(t, orb.Point{-0.25, 0}, r.s.Offset())
			assert.Contains(t, r.screen(), "nudged 0.25 m left")
		}},
		"nudge into the wall": {append(strings.Fields(strings.Repeat("down ", 25)), "down"), func(t *testing.T, r *robot) {
			now, _ := r.lastLines()
			assert.Contains(t, now, "Nobody can stand there")
			assert.InDelta(t, -6, r.s.Offset()[1], 1e-9, "P11 is 6 m above the outline")
		}},
		"unknown keys": {[]string{"x", "X", "0", "ctrl+k", "é"}, func(t *testing.T, r *robot) {
			assert.Equal(t, "P11", r.current())
			assert.Len(t, r.disk.facts, 10)
		}},
		"help and back": {[]string{"?", "s", "?"}, func(t *testing.T, r *robot) {
			assert.NotContains(t, r.screen(), "page 1")
			assert.NotContains(t, r.screen(), "why?", "the help lets no key through")
		}},
		"repeat a done point": {[]string{"n", "left", "enter"}, func(t *testing.T, r *robot) {
			assert.NotEqual(t, "P11", r.current())
			i := r.stop(r.current())
			assert.Equal(t, walk.Done, r.s.Status(i))
			old := r.s.VisitAt(i).ID
			r.visit()
			assert.NotEqual(t, old, r.s.VisitAt(i).ID, "the later visit stands")
		}},
	} {
		t.Run(name, func(t *testing.T) {
			r := depot(t, nil)
			walked(r, 9)
			r.press(tc.before...)
			tc.check(t, r)
		})
	}
}

func (r *robot) stop(id string) int {
	for i, s := range r.s.Stops() {
		if s.Point == id {
			return i
		}
	}
	r.t.Fatalf("no stop %s", id)
	return -1
}

func TestDoubt(t *testing.T) {
	for key, want := range map[string]walk.Phase{"space": walk.Turning, "r": walk.Turning, "enter": walk.Going, "e": walk.Going, "esc": walk.Going} {
		t.Run(key, func(t *testing.T) {
			r := depot(t, nil)
			walked(r, 2)
			r.ether.delta[2] = -14
			r.bells = nil
			r.visit()
			require.Equal(t, walk.Reviewing, r.s.Phase())
			assert.Equal(t, []int{2}, r.bells)
			assert.Contains(t, r.slip(), "! AP-03 is 14 dB below the fit here. Door shut, somebody in the way, or AP down?")
			now, keys := r.lastLines()
			assert.Equal(t, "Not saved yet: space repeats, enter keeps.", now)
			assert.Contains(t, keys, "space repeat  enter keep  esc drop it")
			facts := len(r.disk.facts)
			r.press(key)
			assert.Equal(t, want, r.s.Phase())
			kept := 0
			if key == "enter" || key == "e" {
				kept = 1
			}
			assert.Equal(t, facts+kept, len(r.disk.facts))
			if key == "esc" {
				assert.Equal(t, "P04", r.current())
			}
		})
	}
}

// slip gives the text beside the plan in a window of 80 columns, as one line.
func (r *robot) slip() string {
	var b strings.Builder
	for _, l := range strings.Split(r.screen(), "\n")[2:21] {
		if cells := []rune(l); len(cells) > 52 {
			b.WriteString(string(cells[52:]) + " ")
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

func TestStoreFails(t *testing.T) {
	r := depot(t, nil)
	walked(r, 3)
	r.disk.full = true
	r.bells = nil
	r.visit()
	at := r.current()
	for range 3 {
		require.Equal(t, walk.Reviewing, r.s.Phase(), "the visit waits")
		assert.NotContains(t, r.screen(), "Saved")
		assert.Contains(t, r.slip(), "No space left on device;")
		now, _ := r.lastLines()
		assert.Equal(t, "Not saved: space tries again.", now)
		r.press("space")
	}
	assert.Equal(t, []int{2, 2, 2, 2}, r.bells, "never the single bell of a saved visit")
	scans := r.s.Pending().Scans
	require.Len(t, scans, 4)
	r.press("q")
	assert.False(t, r.quit, "an unsaved visit is not thrown away by one key")
	now, _ := r.lastLines()
	assert.Contains(t, now, "This visit is not saved. q again quits")
	r.disk.full = false
	r.press("space")
	assert.Equal(t, walk.Going, r.s.Phase())
	last := r.disk.facts[len(r.disk.facts)-1].Visit
	assert.Equal(t, at, last.Point)
	assert.Equal(t, scans, last.Scans, "nothing was lost")
	assert.Contains(t, r.screen(), "Saved "+at)

	r.disk.full = true
	r.press("s", "1")
	now, _ = r.lastLines()
	assert.Contains(t, now, "Not saved, nothing has changed. No space left")
	assert.Equal(t, 0, countStatus(r, walk.Skipped)-1, "only the one skipped before")
}

func countStatus(r *robot, st walk.Status) int {
	n := 0
	for i := range r.s.Stops() {
		if r.s.Status(i) == st {
			n++
		}
	}
	return n
}

func TestScanFails(t *testing.T) {
	r := depot(t, nil)
	walked(r, 2)
	r.press("space") // the first facing
	gone := errors.New("wlan0 has gone; plug the adapter in again")
	r.ether.fail.Store(&gone)
	r.press("space")
	assert.Contains(t, r.slip(), "Paused")
	assert.Contains(t, r.slip(), "! wlan0 has gone; plug the")
	assert.Contains(t, r.slip(), "2 of 4 scans are taken and")
	now, _ := r.lastLines()
	assert.Equal(t, "The scan failed. Space tries again.", now)
	r.press("space") // fails again
	assert.Equal(t, 2, r.s.Recording().All)
	r.ether.fail.Store(new(error))
	r.press("space")
	assert.Equal(t, walk.Going, r.s.Phase(), "the scans before the failure counted")

	r.ether.fail.Store(&gone)
	r.press("space")
	r.press("esc")
	assert.Equal(t, walk.Going, r.s.Phase())
	assert.Contains(t, r.screen(), "Nothing was kept at")
}

func TestQuitWhileRecording(t *testing.T) {
	for _, key := range []string{"q", "ctrl+c"} {
		r := depot(t, nil)
		walked(r, 2)
		r.press("space")
		facts := len(r.disk.facts)
		r.press(key)
		assert.True(t, r.quit)
		assert.Len(t, r.disk.facts, facts)
		assert.Equal(t, "2 points are saved, 59 are to do; nothing was kept of the visit at P04 that was being recorded.", r.m.Farewell())
	}
}

// TestQuitWaitsForTheStore: q while a visit is on its way to the disk.
func TestQuitWaitsForTheStore(t *testing.T) {
	r := depot(t, func(c *tui.Config) { c.Doubts = nil })
	r.press("space")
	r.pauseAfter(2)
	r.press("space")
	r.ether.onScan = nil
	for range 3 { // the last two scans; the store's command stays held
		hold := r.hold
		r.hold = nil
		for _, c := range hold {
			r.step(c)
		}
	}
	if len(r.disk.facts) == 0 {
		t.Fatal("the store was not asked")
	}
	r.press("q")
	assert.False(t, r.quit)
	r.release()
	assert.True(t, r.quit)
	assert.Equal(t, "1 point is saved, 61 are to do.", r.m.Farewell())
}

func TestNothingYet(t *testing.T) {
	r := depot(t, nil)
	assert.Contains(t, r.slip(), "No fit yet: 0 of 5 points.")
	for _, v := range []float64{math.NaN(), math.Inf(1)} {
		r := depot(t, nil)
		r = depot(t, func(c *tui.Config) {
			c.Judge = func(context.Context, walk.Walk) (tui.Standing, error) {
				st := standing(r.ether, 8)
				st.Exponents[0].Estimate = tui.Estimate{Value: 3, Half: v}
				st.CE50M = tui.Estimate{Value: v, Half: v}
				st.RMSM, st.BoundM, st.FiveMoreM, st.Level = math.NaN(), math.NaN(), tui.Estimate{Value: math.NaN(), Half: math.NaN()}, nil
				return st, nil
			}
		})
		r.send(tea.WindowSizeMsg{Width: 200, Height: 60})
		walked(r, 4)
		assert.NotContains(t, r.screen(), "NaN")
		assert.NotContains(t, r.screen(), "Inf")
		assert.NotContains(t, r.screen(), "5 more")
		assert.Contains(t, r.screen(), "Exponent 5GHz   3.0\n")
	}
}

func TestWarnings(t *testing.T) {
	r := depot(t, nil)
	r = depot(t, func(c *tui.Config) {
		c.Judge = func(context.Context, walk.Walk) (tui.Standing, error) {
			st := standing(r.ether, 8)
			st.Warnings = []string{"AP-05 was heard at 3 points; 8 are needed.", "The exponent of 6.4 is above 6."}
			return st, nil
		}
	})
	assert.Contains(t, r.screen(), "2 warnings, w reads them")
	r.press("w")
	assert.Contains(t, r.slip(), "! The exponent of 6.4 is above")
	r.press("w")
	assert.NotContains(t, r.screen(), "exponent of 6.4")
	r.press("w", "s") // a key that means something closes them and does it
	assert.Contains(t, r.screen(), "Skip P01: why?")
}

func TestAllDone(t *testing.T) {
	s := hall()
	r := scene(t, s, grid(s, 16), settings(), nil).open(80, 24)
	n := len(r.s.Stops())
	for range n {
		r.visit()
	}
	now, keys := r.lastLines()
	assert.Contains(t, now, "All done. f finishes the walk, q quits.")
	assert.Contains(t, keys, "f finish")
	r.press("space", "enter") // nothing left to record
	assert.False(t, r.s.Walk().Completed)
	r.press("n", "enter") // again to a point
	require.Equal(t, walk.Going, r.s.Phase())
	r.visit()
	r.press("f")
	assert.True(t, r.s.Walk().Completed)
	assert.Equal(t, walk.Finish, r.disk.facts[len(r.disk.facts)-1].Mark.Kind)
	now, _ = r.lastLines()
	assert.Contains(t, now, "The walk is finished.")
	r.press("q")
	assert.True(t, r.quit)
}

func TestOtherFloor(t *testing.T) {
	s := hall()
	up := s.Floors[0]
	up.ID, up.Name, up.Walls = "1", "First", nil
	s.Floors = append(s.Floors, up)
	stops := grid(s, 8)[:2]
	stops = append(stops, walk.Stop{Point: "Q1", Floor: "1", At: orb.Point{5, 5}})
	r := scene(t, s, stops, settings(), nil).open(80, 24)
	assert.Contains(t, r.screen(), "G Ground")
	r.visit().visit()
	assert.Contains(t, r.screen(), "on another floor: First")
	assert.Contains(t, r.screen(), "1 First")
	assert.NotContains(t, r.screen(), "◆", "nobody is on this floor yet")
	r.visit()
	assert.Equal(t, 3, r.s.Progress().Done)
}

// TestSameFrameUntilSomethingChanges: View is the same text, and nothing but the
// rows of the slip changes with a sweep.
func TestSweepTouchesOnlyTheSlip(t *testing.T) {
	r := depot(t, nil)
	walked(r, 9)
	before := strings.Split(r.screen(), "\n")
	r.ether.delta[0], r.ether.delta[1] = -7, 5
	r.run(r.m.Init())
	after := strings.Split(r.screen(), "\n")
	changed := 0
	for i := range before {
		if before[i] == after[i] {
			continue
		}
		changed++
		assert.Equal(t, []rune(before[i])[:50], []rune(after[i])[:50], "row %d of the plan", i)
		assert.True(t, i >= 5 && i <= 13, "row %d is none of the table", i)
	}
	assert.Positive(t, changed)
}

func TestHeaderCountsTime(t *testing.T) {
	r := depot(t, nil)
	r.now = start.Add(125 * time.Minute)
	r.press("?", "?")
	assert.Contains(t, r.screen(), "2 h 05 min")
}

func TestNewPanicsOnAHalfConfig(t *testing.T) {
	assert.Panics(t, func() { tui.New(tui.Config{}) })
	assert.Panics(t, func() { _ = tui.Plain(context.Background(), tui.Config{}, nil, nil, nil) })
}

// Keys that come in one message, as over a slow line, all count.
func TestKeysTogether(t *testing.T) {
	s := hall()
	r := scene(t, s, grid(s, 4), settings(), nil).open(80, 24)
	walked(r, 6)
	r.send(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune("2nn")})
	assert.Contains(t, r.screen(), "AP-03                 3 of 6")
	r.send(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune("11"), Paste: true})
	assert.Contains(t, r.screen(), "LEVEL", "what is pasted is no key")
}

// A click chooses a stop, a second one goes there; through a lens it moves the
// cursor, and the wheel zooms.
func TestMouse(t *testing.T) {
	s := hall()
	r := scene(t, s, grid(s, 4), settings(), nil).open(80, 24)
	walked(r, 6)
	click := func(x, y int, b tea.MouseButton) {
		r.send(tea.MouseMsg{X: x, Y: y, Button: b, Action: tea.MouseActionPress})
	}
	require.Contains(t, r.screen(), "To P08")
	click(23, 7, tea.MouseButtonLeft)
	require.Contains(t, r.screen(), "Choose P")
	before, _ := r.s.Current()
	click(23, 7, tea.MouseButtonLeft)
	after, ok := r.s.Current()
	require.True(t, ok)
	assert.NotEqual(t, before, after)
	r.press("2")
	click(30, 8, tea.MouseButtonLeft)
	assert.Contains(t, r.screen(), "AP-01 at")
	click(41, 6, tea.MouseButtonLeft) // on an access point
	assert.Contains(t, r.screen(), "AP-05")
	old := r.screen()
	click(41, 6, tea.MouseButtonWheelUp)
	assert.NotEqual(t, old, r.screen())
	click(41, 6, tea.MouseButtonWheelDown)
	assert.Equal(t, old, r.screen())
	click(79, 23, tea.MouseButtonLeft)
	assert.Equal(t, old, r.screen(), "beside the plan")
}
