package tui_test

import (
	"context"
	"image/color"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"footrule/internal/canvas"
	"footrule/internal/drill"
	"footrule/internal/walk"
	"footrule/tui"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/x/vt"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// terminal is an emulator that a real program writes to. The emulator is not
// safe for use from several goroutines, so every touch of it is locked.
type terminal struct {
	mu   sync.Mutex
	em   *vt.Emulator
	bell int
	n    int // bytes that came
}

func newTerminal(w, h int) *terminal {
	tm := &terminal{em: vt.NewEmulator(w, h)}
	tm.em.SetCallbacks(vt.Callbacks{Bell: func() { tm.bell++ }})
	go func() { _, _ = io.Copy(io.Discard, tm.em) }() // what the terminal answers
	return tm
}

func (tm *terminal) Write(p []byte) (int, error) {
	tm.mu.Lock()
	defer tm.mu.Unlock()
	tm.n += len(p)
	return tm.em.Write(p)
}

// written is how many bytes came.
func (tm *terminal) written() int {
	tm.mu.Lock()
	defer tm.mu.Unlock()
	return tm.n
}

// text gives what stands on the screen.
func (tm *terminal) text() string {
	c := tm.canvas()
	return c.String(canvas.None)
}

// canvas gives the cells of the screen.
func (tm *terminal) canvas() *canvas.Canvas {
	tm.mu.Lock()
	defer tm.mu.Unlock()
	w, h := tm.em.Width(), tm.em.Height()
	c := canvas.New(w, h)
	for y := range h {
		for x := range w {
			cell := tm.em.CellAt(x, y)
			if cell == nil || cell.Content == "" {
				continue
			}
			l := canvas.Look{Fg: colourOf(cell.Style.Fg), Bg: colourOf(cell.Style.Bg)}
			if cell.Style.Attrs&1 != 0 {
				l.Style |= canvas.Bold
			}
			if cell.Style.Attrs&(1<<5) != 0 {
				l.Style |= canvas.Reverse
			}
			c.Text(x, y, cell.Content, l)
		}
	}
	return c
}

func colourOf(c color.Color) canvas.Color {
	if c == nil {
		return canvas.Default
	}
	r, g, b, _ := c.RGBA()
	return canvas.RGB(uint8(r>>8), uint8(g>>8), uint8(b>>8))
}

// session runs a program on an emulator and types into it.
type session struct {
	t    *testing.T
	tm   *terminal
	keys *io.PipeWriter
	p    *tea.Program
	done chan error
}

func program(t *testing.T, m tea.Model, w, h int) *session {
	in, keys := io.Pipe()
	s := &session{t: t, tm: newTerminal(w, h), keys: keys, done: make(chan error, 1)}
	s.p = tea.NewProgram(m, tea.WithInput(in), tea.WithOutput(s.tm), tea.WithAltScreen(), tea.WithFPS(60), tea.WithoutSignalHandler())
	go func() {
		_, err := s.p.Run()
		s.done <- err
	}()
	s.p.Send(tea.WindowSizeMsg{Width: w, Height: h})
	t.Cleanup(func() { s.p.Kill(); _ = keys.Close() })
	return s
}

func (s *session) typed(keys string) {
	s.t.Helper()
	_, err := io.WriteString(s.keys, keys)
	require.NoError(s.t, err)
}

// sees waits until the screen contains all of want.
func (s *session) sees(want ...string) {
	s.t.Helper()
	var text string
	defer func() {
		if s.t.Failed() {
			s.t.Log("on the screen:\n" + text)
		}
	}()
	require.Eventually(s.t, func() bool {
		text = s.tm.text()
		for _, w := range want {
			if !strings.Contains(text, w) {
				return false
			}
		}
		return true
	}, 10*time.Second, 2*time.Millisecond, "waiting for %q", want)
}

// TestWholeWalkOnATerminal walks three points by keys, through a real program:
// one visit, one that is doubted and repeated, a skip, and the end.
func TestWholeWalkOnATerminal(t *testing.T) {
	s := hall()
	stops := grid(s, 4)[:4]
	st := settings()
	r := scene(t, s, stops, st, nil)
	clock := time.Now
	r.ether.clock = clock
	var odd sync.Mutex
	doubted := false
	m := tui.New(tui.Config{Session: r.s, Scanner: r.ether, Store: r.disk.put, Clock: clock, Profile: canvas.TrueColor,
		After: func(time.Duration) <-chan time.Time { return nil },
		Judge: func(_ context.Context, w walk.Walk) (tui.Standing, error) {
			return standing(r.ether, len(w.Standing())+4), nil
		},
		Doubts: func(v *walk.Visit) []tui.Doubt {
			odd.Lock()
			defer odd.Unlock()
			if v.Point != "P02" || doubted {
				return nil
			}
			doubted = true
			return []tui.Doubt{{Text: "AP-02 is 14 dB below the fit here.", AP: 1}}
		},
	})
	p := program(t, m, 80, 24)
	p.sees("Harbour Depot", "Go to P01, face up, then space.", "No fit yet")
	p.typed(" ")
	p.sees("Turn to RIGHT", "scan 2 of 4")
	p.typed(" ")
	p.sees("Saved P01.", "Go to P02", "5 points, ", "1 of 4 points")
	p.typed(" ")
	p.sees("Turn to RIGHT")
	p.typed(" ")
	p.sees("! AP-02 is 14 dB below the", "space repeat  enter keep")
	p.typed(" ") // repeats
	p.sees("Turn to RIGHT")
	p.p.Send(tea.WindowSizeMsg{Width: 79, Height: 24})
	p.sees("The window is 79×24, the walk needs 80×24.")
	p.p.Send(tea.WindowSizeMsg{Width: 80, Height: 24})
	p.sees("Turn to RIGHT", "scan 2 of 4")
	p.typed(" ")
	p.sees("Saved P02", "Go to P03")
	p.typed("s")
	p.sees("Skip P03: why?", "1  locked")
	p.typed("1")
	p.sees("Skipped P03: locked.", "Go to P04")
	p.typed("\x1b[D\x1b[D") // left
	p.sees("nudged 0.5 m left")
	p.typed(" ")
	p.sees("Turn to RIGHT")
	p.typed(" ")
	p.sees("Saved P04", "All done. f finishes")
	p.typed("f")
	p.sees("The walk is finished.")
	p.typed("q")
	select {
	case err := <-p.done:
		require.NoError(t, err)
	case <-time.After(10 * time.Second):
		t.Fatal("q does not quit")
	}
	require.Len(t, r.disk.facts, 5)
	assert.Equal(t, "P04", r.disk.facts[3].Visit.Point)
	assert.InDelta(t, stops[3].At[0]-0.5, r.disk.facts[3].Visit.At[0], 1e-9)
	assert.True(t, r.s.Walk().Completed)
	assert.False(t, r.ether.twoAtOnce())
}

// TestEmulatorSeesTheCanvas: what an independent terminal makes of the sequences
// is what was drawn, cell by cell, and as a picture. README shows the pictures.
func TestEmulatorSeesTheCanvas(t *testing.T) {
	for _, picture := range []struct {
		name  string
		title string
		then  func(*robot)
	}{
		{"walk-80x24.svg", "Harbour Depot", func(*robot) {}},
		{"recording-80x24.svg", "Harbour Depot", func(r *robot) { r.press("space") }},
		{"doubt-80x24.svg", "Harbour 倉庫 Depot", func(r *robot) { r.ether.delta[2] = -14; r.visit() }},
		{"level-80x24.svg", "Harbour Depot", func(r *robot) { r.press("2", "n", "n") }},
		{"heard-80x24.svg", "Harbour Depot", func(r *robot) { r.press("3") }},
		{"error-80x24.svg", "Harbour Depot", func(r *robot) { r.press("4", "n") }},
	} {
		s := hall()
		r := scene(t, s, grid(s, 4), settings(), func(c *tui.Config) { c.Profile, c.Title = canvas.TrueColor, picture.title }).open(80, 24)
		walked(r, 20)
		picture.then(r)
		tm := newTerminal(80, 24)
		_, err := io.WriteString(tm, strings.ReplaceAll(r.screen(), "\n", "\r\n"))
		require.NoError(t, err)
		got := tm.canvas()
		assert.Equal(t, r.screen(), got.String(canvas.TrueColor))
		var svg strings.Builder
		require.NoError(t, got.SVG(&svg, canvas.Paper{Fg: canvas.Hex(0xd8dde2), Bg: canvas.Hex(0x14181c)}))
		golden(t, picture.name, svg.String())
		inManual(t, picture.name, got)
	}
}

// inManual keeps a screen that a page of the manual shows as text.
func inManual(t *testing.T, picture string, c *canvas.Canvas) {
	t.Helper()
	name, _, _ := strings.Cut(picture, "-")
	if slices.Contains([]string{"walk", "recording", "error", "both", "answer", "truth"}, name) {
		golden(t, filepath.Join("..", "..", "cmd", "footrule", "manual", name+".txt"), c.String(canvas.None)+"\n")
	}
}

// TestPicturesOfReplays are those of the manual that are not of a walk.
func TestPicturesOfReplays(t *testing.T) {
	one, two := walkedBy(t, 20, nil), walkedBy(t, 20, func(r *robot) { r.ether.delta[2] = -9 })
	two.Name = "walk 3"
	for _, picture := range []struct {
		name  string
		walks []walk.Walk
		then  func(*viewer)
	}{
		{"both-80x24.svg", []walk.Walk{one, two}, func(v *viewer) { v.press("e", "b", "4") }},
		{"answer-80x24.svg", []walk.Walk{one}, func(v *viewer) {
			v.press("e", "2", "n", "n", "c").row(drill.Moved).press("space", "space", "right", "right", "right", "right", "right", "right", "right", "right", "down")
		}},
		{"truth-80x24.svg", []walk.Walk{one}, func(v *viewer) {
			v.press("e", "c").row(drill.Moved).press("space", "tab", "tab", "space", "s").graded().press("t")
		}},
	} {
		v := view(t, 80, 24, func(c *tui.ReplayConfig) {
			c.Profile = canvas.TrueColor
			if len(picture.walks) == 1 {
				c.NoFindings, c.Drill = true, (&desk{}).drill()
			}
		}, picture.walks...)
		picture.then(v)
		tm := newTerminal(80, 24)
		_, err := io.WriteString(tm, strings.ReplaceAll(v.r.View(), "\n", "\r\n"))
		require.NoError(t, err)
		got := tm.canvas()
		assert.Equal(t, v.r.View(), got.String(canvas.TrueColor))
		var svg strings.Builder
		require.NoError(t, got.SVG(&svg, canvas.Paper{Fg: canvas.Hex(0xd8dde2), Bg: canvas.Hex(0x14181c)}))
		golden(t, picture.name, svg.String())
		inManual(t, picture.name, got)
	}
}

// TestLensesOnATerminal goes through every lens by keys in a real program: its
// figures, its cursor, the next thing it names, zoom and pan, and the way back.
func TestLensesOnATerminal(t *testing.T) {
	s := hall()
	up := s.Floors[0]
	up.ID, up.Name, up.ElevationM, up.Points = "1", "First", 3.5, nil
	s.Floors = append(s.Floors, up)
	r := scene(t, s, grid(s, 4), settings(), func(c *tui.Config) {
		c.Profile, c.After = canvas.TrueColor, func(time.Duration) <-chan time.Time { return nil }
	}).open(80, 24)
	walked(r, 12)
	q := program(t, r.m, 80, 24)
	for _, step := range []struct {
		keys string
		sees []string
	}{
		{"2", []string{"LEVEL", "AP-01", "at 1 m", "exponent", "dBm by distance", "AP-01 at −"}},
		{"n", []string{"AP-02", "2 of 6", "AP-02 at −"}},
		{"\x1b[C\x1b[A", []string{"10.9, 7.9 m: AP-02 at −"}}, // right and up by a cell
		{"+", []string{"10.9, 7.9 m: AP-02 at −"}},
		{"\x1b[1;2C", []string{"13.3, 7.9 m: AP-02 at −"}}, // five cells of half the size
		{"-", []string{"LEVEL"}},
		{"f", []string{"1 First", "23.0, 12.0 m"}},
		{"f", []string{"G Ground"}},
		{"3", []string{"HEARD", "Access points heard", "3 or more", "below 3", "heard, need 3."}},
		{"n", []string{"one more AP at"}},
		{"d", []string{"Inside the hull"}},
		{"4", []string{"ERROR", "Half within", "RMS / bound", "Worst points", "▸ P03", "P03 had no fix."}},
		{"n", []string{"▸ P04", "P04 was off by"}},
		{"d", []string{"error to expect"}},
		{"5", []string{"ODD", "What does not fit", "▸ AP-03 hangs elsewhere"}},
		{"\t", []string{"▸ P04 recorded elsewhere"}},
		{"6", []string{"PREP", "Infrastructure"}},
		{"x", []string{"WALK", "Go to P14"}},
		{"4 ", []string{"WALK", "Go to P14"}},
	} {
		q.typed(step.keys)
		q.sees(step.sees...)
	}
}
