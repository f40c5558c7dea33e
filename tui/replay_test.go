package tui_test

import (
	"context"
	"fmt"
	"math"
	"runtime"
	"strings"
	"testing"
	"time"

	"footrule/internal/canvas"
	"footrule/internal/radio"
	"footrule/internal/site"
	"footrule/internal/walk"
	"footrule/tui"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// viewer drives a replay without a terminal.
type viewer struct {
	t       testing.TB
	r       *tui.Replay
	players []*walk.Player
	quit    bool
	fire    bool // pauses end at once
	steps   int  // pauses that ended
	judged  []int
}

// walkedBy gives the walk that a robot made over n stops.
func walkedBy(t testing.TB, n int, change func(r *robot)) walk.Walk {
	s := hall()
	r := scene(t, s, grid(s, 4), settings(), nil).open(80, 24)
	if change != nil {
		change(r)
	}
	walked(r, n)
	return *r.s.Walk()
}

func view(t testing.TB, w, h int, change func(*tui.ReplayConfig), walks ...walk.Walk) *viewer {
	v := &viewer{t: t}
	s := hall()
	for _, st := range grid(s, 4) {
		s.Floors[0].Points = append(s.Floors[0].Points, site.Point{ID: st.Point, At: st.At})
	}
	e := &ether{site: s, delta: map[int]float64{}}
	cfg := tui.ReplayConfig{Title: s.Name}
	for i, wk := range walks {
		p, err := walk.NewPlayer(s, wk, grid(s, 4))
		require.NoError(t, err)
		v.players = append(v.players, p)
		cfg.Tracks = append(cfg.Tracks, tui.Track{Player: p,
			Judge: func(_ context.Context, n int) (tui.Standing, error) {
				if i == 0 {
					v.judged = append(v.judged, n)
				}
				known := p.Known(n)
				st := standing(e, len(known.Standing()))
				if n == 6 {
					st.Odd = []tui.Doubt{{AP: 2, Text: "AP-03 is 14 dB below the fit here. Door shut, somebody in the way, or AP down?"}}
				}
				return st, nil
			},
			Find: func(_ context.Context, n int) ([]tui.Finding, error) { return found(e, n), nil },
			Lay:  func(ctx context.Context, _ int, q tui.Query) (tui.Map, error) { return (&robot{ether: e}).lay(ctx, q) },
		})
	}
	cfg.Compare = func(_ context.Context, a, b int) ([]tui.Change, error) {
		if min(a, b) == 0 {
			return nil, nil
		}
		return []tui.Change{{AP: 2, Band: radio.Band5, MeanDB: tui.Estimate{Value: -9.4, Half: 2.1}, Points: min(a, b)},
			{AP: 0, Band: radio.Band5, MeanDB: tui.Estimate{Value: 0.3, Half: math.NaN()}, Points: 1}}, nil
	}
	cfg.After = func(time.Duration) <-chan time.Time {
		if !v.fire {
			return nil
		}
		v.steps++
		ch := make(chan time.Time, 1)
		ch <- start
		return ch
	}
	if change != nil {
		change(&cfg)
	}
	v.r = tui.NewReplay(cfg)
	v.run(v.r.Init())
	v.send(tea.WindowSizeMsg{Width: w, Height: h})
	return v
}

func (v *viewer) send(msg tea.Msg) {
	v.t.Helper()
	_, cmd := v.r.Update(msg)
	v.run(cmd)
}

func (v *viewer) run(cmd tea.Cmd) {
	v.t.Helper()
	v.quit = drain(v.t, cmd, v.r, nil) || v.quit
}

func (v *viewer) press(ks ...string) *viewer {
	v.t.Helper()
	for _, k := range ks {
		v.send(keyOf(k))
		v.r.View() // as between two keys on a terminal
	}
	return v
}

var replayStates = []struct {
	name string
	two  bool
	to   func(v *viewer)
}{
	{"replay-start", false, func(v *viewer) {}},
	{"replay-odd", false, func(v *viewer) { v.press("right", "right", "right", "right", "right") }},
	{"replay-end", false, func(v *viewer) { v.press("e") }},
	{"replay-name", false, func(v *viewer) { v.press("l", "v", "P", "0", "7") }},
	{"replay-level", false, func(v *viewer) { v.press("e", "2", "n", ",") }},
	{"replay-both", true, func(v *viewer) { v.press("b", "right", "right", "right", "right", "right", "right") }},
	{"replay-help", false, func(v *viewer) { v.press("?") }},
}

func TestReplayGoldens(t *testing.T) {
	one := walkedBy(t, 9, nil)
	two := walkedBy(t, 7, func(r *robot) { r.ether.delta[2] = -9 })
	two.Name = "walk 3"
	for _, size := range [][2]int{{80, 24}, {120, 40}, {200, 60}} {
		for _, st := range replayStates {
			name := fmt.Sprintf("%s-%dx%d", st.name, size[0], size[1])
			t.Run(name, func(t *testing.T) {
				walks := []walk.Walk{one}
				if st.two {
					walks = append(walks, two)
				}
				v := view(t, size[0], size[1], nil, walks...)
				st.to(v)
				got := v.r.View()
				checkSize(t, got, size[0], size[1])
				golden(t, name+".txt", got+"\n")
			})
		}
	}
	t.Run("ascii", func(t *testing.T) {
		for _, st := range replayStates {
			v := view(t, 80, 24, func(c *tui.ReplayConfig) { c.ASCII, c.Feet = true, true }, one, two)
			st.to(v)
			got := v.r.View()
			checkSize(t, got, 80, 24)
			for i := range len(got) {
				require.Less(t, got[i], byte(0x80), "%s: %q", st.name, got)
			}
		}
	})
}

// A moment looks the same however it was come to.
func TestReplayIsTheSameBothWays(t *testing.T) {
	one := walkedBy(t, 9, nil)
	v := view(t, 100, 30, nil, one)
	var on []string
	for range v.players[0].Len() + 2 {
		on = append(on, v.r.View())
		v.press("right")
	}
	require.Equal(t, v.players[0].Len(), v.players[0].At())
	last := v.r.View()
	require.Equal(t, on[len(on)-1], last, "nothing after the end")
	seen := len(v.judged)
	for i := len(on) - 4; i >= 0; i-- {
		v.press("left")
	}
	v.press("a")
	assert.Equal(t, 0, v.players[0].At())
	assert.Equal(t, on[0], v.r.View())
	assert.Equal(t, seen, len(v.judged), "moments that were judged are not judged again")
	v.send(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune("vP04")})
	v.press("enter")
	visit, ok := v.players[0].Find("P04")
	require.True(t, ok)
	assert.Equal(t, visit, v.players[0].At())
	v.press("v", "x", "enter")
	assert.Contains(t, v.r.View(), `No visit "x"`)
	v.press("q")
	assert.True(t, v.quit)
}

func TestReplayPlays(t *testing.T) {
	v := view(t, 80, 24, nil, walkedBy(t, 9, nil))
	v.fire = true
	v.press(" ")
	assert.Equal(t, v.players[0].Len(), v.players[0].At(), "to the end, and then it stops")
	assert.Contains(t, v.r.View(), "paused")
	n := v.steps
	assert.Equal(t, 9, n-0, "one pause a visit")
	v.fire = false
	v.press("a", " ")
	assert.Contains(t, v.r.View(), "2 a second")
	v.press("r")
	assert.Contains(t, v.r.View(), "5 a second")
	v.press(" ")
	assert.Contains(t, v.r.View(), "paused")
}

// Two walks go to the same point, whichever is steered.
func TestReplayFollows(t *testing.T) {
	one := walkedBy(t, 9, nil)
	two := walkedBy(t, 6, nil)
	v := view(t, 120, 40, nil, one, two)
	v.press("v", "P", "0", "5", "enter")
	for i, p := range v.players {
		require.Equal(t, "P05", p.Fact(p.At()-1).Visit.Point, i)
	}
	v.press("o", "e")
	assert.Equal(t, two.Visits[len(two.Visits)-1].Point, v.players[0].Fact(v.players[0].At()-1).Visit.Point)
}

// long is a walk of n visits over the stops of a site, heard by all its access points.
func long(s *site.Site, n int) walk.Walk {
	w := walk.Walk{Header: walk.Header{ID: "long", Name: "long", Started: start, Settings: settings()}}
	e := &ether{site: s, delta: map[int]float64{}}
	stops := grid(s, 2)
	for i := range n {
		st := stops[i%len(stops)]
		v := walk.Visit{ID: fmt.Sprintf("V%05d", i+1), Seq: i + 1, Point: st.Point, Floor: "G", At: st.At}
		for k := range 4 {
			at := start.Add(time.Duration(4*i+k) * time.Second)
			sc := walk.Scan{Time: at, FacingDeg: float64(90 * k)}
			for _, h := range e.sweep(st.At, at).Heard {
				sc.Readings = append(sc.Readings, h.Reading)
			}
			v.Scans = append(v.Scans, sc)
		}
		w.Visits = append(w.Visits, v)
	}
	return w
}

// A replay of ten thousand visits: one step and one frame of it.
func BenchmarkReplayFrame(b *testing.B) {
	s := hall()
	p, err := walk.NewPlayer(s, long(s, 10000), nil)
	require.NoError(b, err)
	r := tui.NewReplay(tui.ReplayConfig{Title: "long", Profile: canvas.TrueColor, Tracks: []tui.Track{{Player: p}},
		After: func(time.Duration) <-chan time.Time { return nil }})
	r.Update(tea.WindowSizeMsg{Width: 120, Height: 40})
	p.Go(9000)
	b.ReportAllocs()
	for b.Loop() {
		r.Update(tea.KeyMsg{Type: tea.KeyRight})
		if len(r.View()) == 0 {
			b.Fatal("no frame")
		}
		if p.At() == p.Len() {
			b.StopTimer()
			p.Go(1)
			b.StartTimer()
		}
	}
}

// The same with a step back, which plays again from the start.
func BenchmarkReplayBack(b *testing.B) {
	s := hall()
	p, err := walk.NewPlayer(s, long(s, 10000), nil)
	require.NoError(b, err)
	r := tui.NewReplay(tui.ReplayConfig{Title: "long", Profile: canvas.TrueColor, Tracks: []tui.Track{{Player: p}},
		After: func(time.Duration) <-chan time.Time { return nil }})
	r.Update(tea.WindowSizeMsg{Width: 120, Height: 40})
	for b.Loop() {
		if p.At() < 5000 {
			p.Go(10000)
		}
		r.Update(tea.KeyMsg{Type: tea.KeyLeft})
		if len(r.View()) == 0 {
			b.Fatal("no frame")
		}
	}
}

// In a drill the odd lens says that findings are hidden, not that there are none,
// and nothing of them stands anywhere else.
func TestReplayOfADrill(t *testing.T) {
	for _, hidden := range []bool{false, true} {
		v := view(t, 80, 24, func(c *tui.ReplayConfig) {
			c.NoFindings = hidden
			if hidden {
				c.Tracks[0].Find = nil
			}
		}, walkedBy(t, 9, nil))
		v.press("e", "5")
		got := v.r.View()
		if hidden {
			require.Contains(t, got, "This is a drill: what the")
			require.NotContains(t, got, "AP-03")
		} else {
			require.Contains(t, got, "AP-03")
			require.NotContains(t, got, "drill")
		}
		require.NotContains(t, got, "Nothing that this walk could tell")
	}
}

// Two plans side by side are looked at through the same lens, at the same place.
func TestBothPlansHaveTheLens(t *testing.T) {
	v := view(t, 120, 40, nil, walkedBy(t, 9, nil), walkedBy(t, 9, nil))
	v.press("e", "b", "2", "n", "right", "+")
	for i, line := range strings.Split(v.r.View(), "\n")[1:28] {
		rs := []rune(line)
		for len(rs) < 120 {
			rs = append(rs, ' ')
		}
		require.Equal(t, strings.TrimRight(string(rs[:59]), " "), strings.TrimRight(string(rs[61:]), " "), "row %d", i+1)
	}
	require.Contains(t, v.r.View(), "LEVEL")
	require.Contains(t, v.r.View(), "9") // of the shades
}

// A replay of ten thousand visits, judged at each, takes hardly more memory at its
// end than at its tenth part, a few hundred bytes a visit: moments that were judged,
// here of 80 kB each, are kept for the last few only.
func TestReplayStaysFlat(t *testing.T) {
	s := hall()
	p, err := walk.NewPlayer(s, long(s, 10000), nil)
	require.NoError(t, err)
	e := &ether{site: s, delta: map[int]float64{}}
	r := tui.NewReplay(tui.ReplayConfig{Title: "long", Profile: canvas.TrueColor, After: func(time.Duration) <-chan time.Time { return nil },
		Tracks: []tui.Track{{Player: p,
			Judge: func(_ context.Context, n int) (tui.Standing, error) {
				st := standing(e, min(n, 50))
				st.ErrorsM = make([]float64, 10000) // as large as the walk, and of its own
				return st, nil
			},
			Find: func(_ context.Context, n int) ([]tui.Finding, error) { return found(e, n), nil },
		}}})
	v := &viewer{t: t, r: r}
	v.run(r.Init())
	v.send(tea.WindowSizeMsg{Width: 120, Height: 40})
	heap := func() uint64 {
		var m runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	var early uint64
	for i := 1; p.At() < p.Len(); i++ {
		v.send(tea.KeyMsg{Type: tea.KeyRight})
		if i%10 == 0 {
			require.NotEmpty(t, r.View())
		}
		if i == 1000 {
			early = heap()
		}
	}
	late := heap()
	require.Less(t, late, early+4<<20, "%d bytes after 1000 visits, %d after 10 000", early, late)
	runtime.KeepAlive(r)
}

// At rest nothing is written: neither a paused replay nor a walk whose sweeps hear
// the same.
func TestNothingIsWrittenAtRest(t *testing.T) {
	s := hall()
	p, err := walk.NewPlayer(s, walkedBy(t, 9, nil), grid(s, 4))
	require.NoError(t, err)
	paused := tui.NewReplay(tui.ReplayConfig{Title: "Harbour Depot", Profile: canvas.TrueColor, Tracks: []tui.Track{{Player: p}}})
	r := scene(t, s, grid(s, 4), settings(), func(c *tui.Config) {
		c.Profile = canvas.TrueColor
		c.After = func(time.Duration) <-chan time.Time { return time.After(5 * time.Millisecond) }
	})
	for name, m := range map[string]tea.Model{"replay": paused, "walk": r.m} {
		q := program(t, m, 80, 24)
		q.sees("Harbour Depot", "? help")
		if name == "walk" {
			for range 1000 {
				if r.ether.calls.Load() > 5 {
					break
				}
				time.Sleep(5 * time.Millisecond)
			}
		}
		time.Sleep(100 * time.Millisecond) // what is under way gets onto the screen
		before, calls := q.tm.written(), r.ether.calls.Load()
		time.Sleep(400 * time.Millisecond) // two dozen frames' time
		require.Equal(t, before, q.tm.written(), name)
		require.True(t, name == "replay" || r.ether.calls.Load() > calls+5, "it went on listening")
		q.p.Kill()
	}
}
