package tui_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"footrule/internal/canvas"
	"footrule/internal/radio"
	"footrule/internal/radio/grouping"
	"footrule/internal/radio/synthetic"
	"footrule/internal/site"
	"footrule/internal/walk"
	"footrule/tui"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// evilSSID is an SSID that a terminal would obey, were it not cleaned.
const evilSSID = "\x1b[2J\x1b]0;owned\x07ev\u202eil\n"

// clerk drives an Assign without a terminal and keeps the plans that it saves.
type clerk struct {
	t     *testing.T
	m     *tui.Assign
	heard grouping.Heard
	plans []*site.Site
	fail  error
	held  []tea.Cmd // commands kept back while hold is set
	hold  bool
	quit  bool
}

// works is the demo's site, walked at every third point. The plan has only the
// first BSSID of AP-01 to AP-03's radios, and two of others exchanged.
func works(t *testing.T) (*site.Site, grouping.Heard) {
	t.Helper()
	s := synthetic.DemoSite()
	truth := synthetic.Office().Truth(s, 3)
	truth.Foreign[1].BSSs[0].SSID = evilSSID
	truth.Foreign[2].BSSs[0].SSID = "works"
	clock := synthetic.NewSimulatedClock(start)
	sc, err := synthetic.New(s, truth, 3, clock)
	require.NoError(t, err)
	w := walk.Walk{Header: walk.Header{ID: "w", Name: "walk 1"}}
	f := &s.Floors[0]
	for i := 0; i < len(f.Points); i += 3 {
		v := walk.Visit{ID: f.Points[i].ID, Point: f.Points[i].ID, Floor: f.ID, At: f.Points[i].At}
		for _, deg := range []float64{0, 180} {
			sc.Place(f.ID, v.At, deg)
			since := clock.Now()
			for range 3 {
				sw, err := sc.Scan(context.Background(), radio.Request{NotBefore: since})
				require.NoError(t, err)
				v.Scans = append(v.Scans, walk.Scan{Time: sw.Started, FacingDeg: deg, Readings: sw.Readings()})
			}
		}
		w.Visits = append(w.Visits, v)
	}
	plan := s.Clone()
	for i := range 3 {
		for k := range plan.AccessPoints[i].Radios {
			r := &plan.AccessPoints[i].Radios[k]
			r.BSSIDs = r.BSSIDs[:1]
		}
	}
	a, b := &plan.AccessPoints[4].Radios[1], &plan.AccessPoints[6].Radios[1]
	a.BSSIDs[1], b.BSSIDs[1] = b.BSSIDs[1], a.BSSIDs[1]
	return plan, grouping.Listen(plan, []walk.Walk{w})
}

func openAssign(t *testing.T, w, h int, change func(*tui.AssignConfig)) *clerk {
	t.Helper()
	plan, heard := works(t)
	c := &clerk{t: t, heard: heard}
	cfg := tui.AssignConfig{Plan: plan, Report: grouping.Propose(plan, heard, grouping.Options{}), Put: c.put}
	if change != nil {
		change(&cfg)
	}
	c.m = tui.NewAssign(cfg)
	c.send(tea.WindowSizeMsg{Width: w, Height: h})
	return c
}

func (c *clerk) put(plan *site.Site) (tui.AssignSaved, error) {
	if c.fail != nil {
		return tui.AssignSaved{}, c.fail
	}
	c.plans = append(c.plans, plan)
	return tui.AssignSaved{Rev: uint64(len(c.plans) + 1), Report: grouping.Propose(plan, c.heard, grouping.Options{})}, nil
}

func (c *clerk) send(msg tea.Msg) {
	c.t.Helper()
	_, cmd := c.m.Update(msg)
	c.run(cmd)
}

func (c *clerk) run(cmd tea.Cmd) {
	c.t.Helper()
	c.quit = drain(c.t, cmd, c.m, func(cmd tea.Cmd) bool {
		if c.hold {
			c.held = append(c.held, cmd)
		}
		return !c.hold
	}) || c.quit
}

func (c *clerk) press(ks ...string) *clerk {
	c.t.Helper()
	for _, k := range ks {
		c.send(keyOf(k))
	}
	return c
}

// to steps on until the screen says text.
func (c *clerk) to(text string) *clerk {
	c.t.Helper()
	for range 60 {
		if strings.Contains(c.m.View(), text) {
			return c
		}
		c.press("n")
	}
	c.t.Fatalf("no proposal says %q:\n%s", text, c.m.View())
	return c
}

func (c *clerk) line(i int) string {
	lines := strings.Split(c.m.View(), "\n")
	return strings.TrimRight(lines[len(lines)+i], " ")
}

func (c *clerk) radioOf(plan *site.Site, bssid string) string {
	c.t.Helper()
	b, err := radio.ParseBSSID(bssid)
	require.NoError(c.t, err)
	k, ok := plan.RadioOf()[b]
	if !ok {
		return "none"
	}
	return plan.RadioName(plan.Radios()[k])
}

var assignStates = []struct {
	name string
	to   func(c *clerk)
}{
	{"add", func(c *clerk) {}},
	{"saved", func(c *clerk) { c.press("space") }},
	{"move", func(c *clerk) { c.to("Move it from") }},
	{"placing", func(c *clerk) { c.press("m", "n") }},
	{"hostile", func(c *clerk) { c.to("[2J") }},
	{"own", func(c *clerk) { c.to("No place known") }},
	{"left", func(c *clerk) { c.press("x", "p") }},
	{"failed", func(c *clerk) { c.fail = errors.New("no space left on device; free some"); c.press("space") }},
	{"help", func(c *clerk) { c.press("?") }},
}

func TestAssignGoldens(t *testing.T) {
	for _, size := range [][2]int{{80, 24}, {120, 40}} {
		for _, st := range assignStates {
			name := fmt.Sprintf("assign-%s-%dx%d", st.name, size[0], size[1])
			t.Run(name, func(t *testing.T) {
				c := openAssign(t, size[0], size[1], nil)
				st.to(c)
				checkSize(t, c.m.View(), size[0], size[1])
				golden(t, name+".txt", c.m.View()+"\n")
			})
		}
	}
	for _, st := range assignStates {
		name := "assign-" + st.name + "-ascii"
		t.Run(name, func(t *testing.T) {
			c := openAssign(t, 80, 24, func(cfg *tui.AssignConfig) { cfg.ASCII = true })
			st.to(c)
			checkSize(t, c.m.View(), 80, 24)
			for _, b := range []byte(c.m.View()) {
				require.True(t, b == '\n' || b >= 0x20 && b < 0x7f, "byte %#x in %q", b, c.m.View())
			}
			golden(t, name+".txt", c.m.View()+"\n")
		})
	}
}

// Nothing that a terminal obeys comes from an SSID.
func TestAssignHostileSSID(t *testing.T) {
	c := openAssign(t, 120, 40, nil)
	c.to("[2J")
	for _, r := range c.m.View() {
		require.False(t, r != '\n' && r < 0x20 || r == 0x7f || r == '\u202e', "%q", c.m.View())
	}
	assert.Contains(t, c.m.View(), "·[2J·]0;owned·evil")
}

// Saved is said only after the store has answered.
func TestAssignAccept(t *testing.T) {
	c := openAssign(t, 80, 24, nil)
	const first = "02:00:5e:10:01:51"
	c.to(first + " ")
	c.hold = true
	c.press("space")
	assert.Equal(t, "Saving the plan.", c.line(-2))
	c.press("space", "x", "m", "n")
	assert.Len(t, c.held, 1, "keys wait for the store")
	c.hold = false
	c.run(c.held[0])
	require.Len(t, c.plans, 1)
	assert.Contains(t, c.line(-2), "is under AP-01/")
	assert.Contains(t, c.line(-2), "Saved as revision 2.")
	assert.Contains(t, c.m.Farewell(), "1 change saved (the plan is at revision 2)")
}

func TestAssignAcceptAll(t *testing.T) {
	c := openAssign(t, 80, 24, nil)
	for range 8 { // six that are missing, two that are exchanged
		c.press("space")
	}
	require.Len(t, c.plans, 8)
	truth := synthetic.DemoSite()
	got := c.plans[7]
	for i := range truth.AccessPoints {
		for k, r := range truth.AccessPoints[i].Radios {
			assert.ElementsMatch(t, r.BSSIDs, got.AccessPoints[i].Radios[k].BSSIDs, "%s radio %d", truth.AccessPoints[i].ID, k)
		}
	}
	assert.NoError(t, got.Validate())
	c.press("space")
	assert.Len(t, c.plans, 8, "what has no place can't be accepted")
	assert.Equal(t, "No place is proposed for it: m chooses a radio, x leaves it out.", c.line(-2))
}

func TestAssignFailure(t *testing.T) {
	c := openAssign(t, 80, 24, nil)
	before := c.m.View()
	c.fail = errors.New("no space left on device; free some")
	c.press("space")
	assert.Equal(t, "Not saved, nothing has changed. No space left on device; free some.", c.line(-2))
	assert.Equal(t, "nothing was changed, 14 proposals are open.", c.m.Farewell())
	c.fail = nil
	c.press("n", "p")
	assert.Equal(t, before, c.m.View(), "the proposal stands as before")
	c.press("space")
	assert.Len(t, c.plans, 1)
}

func TestAssignMoveAndUndo(t *testing.T) {
	c := openAssign(t, 80, 24, nil)
	const b = "02:00:5e:f0:00:02" // carries our SSID, fits no radio
	c.to("No place known")
	require.Contains(t, c.m.View(), b)
	c.press("m", "n", "enter")
	require.Len(t, c.plans, 1)
	assert.Equal(t, "AP-02/2.4", c.radioOf(c.plans[0], b))
	c.press("u")
	require.Len(t, c.plans, 2)
	assert.Equal(t, "none", c.radioOf(c.plans[1], b))
	assert.Equal(t, "Taken back, saved as revision 3.", c.line(-2))
	c.press("n", "p")
	assert.Contains(t, c.m.View(), "No place known", "back at what was undone")
	c.press("m", "esc", "u")
	assert.Len(t, c.plans, 2, "nothing is left to take back")
	assert.Equal(t, "There is nothing to take back.", c.line(-2))
}

// A new radio may be chosen for what the plan's radios do not send.
func TestAssignNewRadio(t *testing.T) {
	c := openAssign(t, 80, 24, nil)
	c.to("No place known").press("m", "p", "space")
	require.Len(t, c.plans, 1)
	assert.Equal(t, "AP-08/2.4b", c.radioOf(c.plans[0], "02:00:5e:f0:00:02"))
}

func TestAssignLeaveOut(t *testing.T) {
	c := openAssign(t, 80, 24, nil)
	open := strings.Count(c.m.View(), "add")
	c.press("x")
	assert.Empty(t, c.plans, "it was not on the plan")
	assert.Contains(t, c.m.View(), "13 open, 0 saved")
	assert.Less(t, strings.Count(c.m.View(), " add"), open+1)
	c.press("u")
	assert.Contains(t, c.m.View(), "14 open, 0 saved")

	c.to("Move it from AP-05/5 to AP-07/5").press("x")
	require.Len(t, c.plans, 1)
	assert.Equal(t, "none", c.radioOf(c.plans[0], "02:00:5e:10:07:51"), "one that was on the plan is off it")
}

// Quitting waits for the disk.
func TestAssignQuit(t *testing.T) {
	c := openAssign(t, 80, 24, nil)
	c.hold = true
	c.press("space", "q")
	assert.Empty(t, c.plans)
	c.hold = false
	require.Len(t, c.held, 1)
	c.run(c.held[0])
	assert.True(t, c.quit)
	assert.Len(t, c.plans, 1)
	assert.Equal(t, "1 change saved (the plan is at revision 2), 13 proposals are open.", c.m.Farewell())
}

// Every size has a view that fits, and keys never panic.
func TestAssignSizes(t *testing.T) {
	for _, size := range [][2]int{{0, 0}, {1, 1}, {79, 24}, {80, 23}, {80, 24}, {200, 60}} {
		c := openAssign(t, size[0], size[1], nil)
		for _, k := range []string{"", "m", "p", "esc", "?", "?", "x", "u", "space", "p", "z", "tab"} {
			if k != "" {
				c.press(k)
			}
			checkSize(t, c.m.View(), size[0], max(1, size[1]))
		}
	}
}

// With nothing to propose the screen says so.
func TestAssignNothing(t *testing.T) {
	s := hall()
	c := &clerk{t: t}
	c.m = tui.NewAssign(tui.AssignConfig{Plan: s, Put: c.put, Profile: canvas.None})
	c.send(tea.WindowSizeMsg{Width: 80, Height: 24})
	assert.Contains(t, c.m.View(), "Nothing to propose")
	c.press("space", "m", "x", "n", "u", "q")
	assert.True(t, c.quit)
	assert.Empty(t, c.plans)
}

// On a real program over an emulator the screen comes up, accepts and quits.
func TestAssignOnTerminal(t *testing.T) {
	plan, heard := works(t)
	c := &clerk{t: t, heard: heard}
	tm := newTerminal(80, 24)
	m := tui.NewAssign(tui.AssignConfig{Plan: plan, Report: grouping.Propose(plan, heard, grouping.Options{}), Put: c.put, Profile: canvas.TrueColor})
	p := tea.NewProgram(m, tea.WithInput(nil), tea.WithOutput(tm), tea.WithAltScreen(), tea.WithoutSignalHandler())
	done := make(chan error, 1)
	go func() { _, err := p.Run(); done <- err }()
	p.Send(tea.WindowSizeMsg{Width: 80, Height: 24})
	require.Eventually(t, func() bool { return strings.Contains(tm.text(), "RADIOS  Otterbank Works") }, 5*time.Second, 5*time.Millisecond)
	p.Send(named["space"])
	require.Eventually(t, func() bool { return strings.Contains(tm.text(), "Saved as revision 2.") }, 5*time.Second, 5*time.Millisecond)
	p.Send(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune("q")})
	require.NoError(t, <-done)
	assert.Len(t, c.plans, 1)
}
