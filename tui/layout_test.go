package tui_test

import (
	"fmt"
	"strings"
	"testing"

	"footrule/internal/canvas"
	"footrule/internal/site"
	"footrule/internal/walk"
	"footrule/tui"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestNeverLargerThanTheWindow: a view that is taller loses its top lines. Every
// width and every height is tried, with each other where the screen is about to
// be too small, and every state at a spread of sizes.
func TestNeverLargerThanTheWindow(t *testing.T) {
	for k, st := range states {
		s := hall()
		r := scene(t, s, grid(s, 4), settings(), nil).open(80, 24)
		st.to(r)
		step := 13
		if k == 1 && !testing.Short() {
			step = 1
		}
		for w := 0; w <= 220; w += step {
			for h := 0; h <= 70; h += (step + 1) / 2 {
				if near := w < 86 && h < 30; step == 1 && !near && (w+h)%5 > 0 {
					continue
				}
				r.m.Update(tea.WindowSizeMsg{Width: w, Height: h})
				view := r.m.View()
				if w == 0 || h == 0 {
					require.Empty(t, view)
					continue
				}
				lines := strings.Split(view, "\n")
				require.LessOrEqual(t, len(lines), h, "%s at %d×%d", st.name, w, h)
				for _, l := range lines {
					if n := len([]rune(l)); n > w { // nothing wide or combining is on it
						t.Fatalf("%s at %d×%d: a line of %d columns: %q", st.name, w, h, n, l)
					}
				}
				if w < 80 || h < 24 {
					require.Len(t, strings.Split(strings.TrimSpace(view), "\n"), 1)
					if w > 60 {
						require.Contains(t, view, "the walk needs 80×24")
					}
				} else {
					require.Len(t, lines, h)
				}
			}
		}
	}
}

func TestFirstViewWithoutASize(t *testing.T) {
	s := hall()
	r := scene(t, s, grid(s, 4), settings(), nil)
	assert.Empty(t, r.m.View())
	r.press("space") // before any size is known
	assert.Empty(t, r.m.View())
	r.send(tea.WindowSizeMsg{Width: 80, Height: 24})
	assert.Contains(t, r.screen(), "Turn to face right")
}

// TestResizeInTheMiddle: whatever is going on goes on at any size.
func TestResizeInTheMiddle(t *testing.T) {
	for _, st := range states {
		s := hall()
		a := scene(t, s, grid(s, 4), settings(), nil).open(120, 40)
		st.to(a)
		want := a.screen()
		for _, size := range [][2]int{{79, 24}, {10, 3}, {0, 0}, {200, 60}, {80, 24}, {120, 40}} {
			a.m.Update(tea.WindowSizeMsg{Width: size[0], Height: size[1]})
			a.m.View()
		}
		assert.Equal(t, want, a.screen(), st.name)
	}
	// A window too small takes keys all the same, and nothing is lost.
	r := depot(t, nil)
	r.send(tea.WindowSizeMsg{Width: 20, Height: 5})
	r.visit()
	require.Len(t, r.disk.facts, 1)
	r.send(tea.WindowSizeMsg{Width: 80, Height: 24})
	assert.Contains(t, r.screen(), "Saved P01")
}

func TestNoColour(t *testing.T) {
	for _, st := range states {
		s := hall()
		r := scene(t, s, grid(s, 4), settings(), nil).open(120, 40)
		st.to(r)
		require.NotContains(t, r.screen(), "\x1b", st.name)
	}
}

// TestColoursSayNothingMore: with the sequences taken out every profile shows the
// same characters, but for the brackets that stand for reverse.
func TestColoursSayNothingMore(t *testing.T) {
	strip := func(s string) string {
		var b strings.Builder
		for {
			i := strings.IndexByte(s, 0x1b)
			if i < 0 {
				return b.String() + s
			}
			b.WriteString(s[:i])
			s = s[i+strings.IndexByte(s[i:], 'm')+1:]
		}
	}
	bare := strings.NewReplacer("[", " ", "]", " ")
	trim := func(s string) string {
		lines := strings.Split(bare.Replace(s), "\n")
		for i := range lines {
			lines[i] = strings.TrimRight(lines[i], " ")
		}
		return strings.Join(lines, "\n")
	}
	for _, st := range states {
		if st.name == "help" { // names the brackets
			continue
		}
		var plain string
		for p := canvas.None; p <= canvas.TrueColor; p++ {
			s := hall()
			r := scene(t, s, grid(s, 4), settings(), func(c *tui.Config) { c.Profile = p }).open(120, 40)
			st.to(r)
			if p == canvas.None {
				plain = trim(r.screen())
				continue
			}
			require.Contains(t, r.screen(), "\x1b[0", "%s in profile %d", st.name, p)
			assert.Equal(t, plain, trim(strip(r.screen())), "%s in profile %d", st.name, p)
		}
	}
}

var hostile = []string{
	"AP\x1b[2J\x1b]0;owned\x07", "東京東京東京東京東京東京", "a\r\nb\nc", "\u202egnp.exe", "مرحبا بالعالم", "e\u0301\u0323\u0331", "👨\u200d👩\u200d👧🇨🇭", "\u009b31m", "\xff\xfe", strings.Repeat("W", 300), "",
}

// TestHostileNames: names from plans, access points and errors come with wide
// characters, sequences, line feeds and directions; the screen keeps its shape.
func TestHostileNames(t *testing.T) {
	for i := range hostile {
		name := func(k int) string { return hostile[(i+k)%len(hostile)] }
		s := hall()
		s.Name, s.Floors[0].Name = name(0), name(1)
		s.Floors[0].Areas[0].ID = name(2)
		for k := range s.AccessPoints {
			s.AccessPoints[k].ID = name(k) + fmt.Sprint(k)
		}
		stops := grid(s, 8)
		for k := range stops {
			stops[k].Point = name(k) + fmt.Sprint(k)
		}
		r := scene(t, s, stops, settings(), func(c *tui.Config) { c.Title = name(3) }).open(80, 24)
		for _, st := range states {
			if strings.HasSuffix(st.name, "doubt") || st.name == "full" {
				continue // the same after those below
			}
			r.press("esc")
			for _, keys := range [][]string{{}, {"space"}, {"esc"}, {"n"}, {"s"}, {"esc"}, {"v"}, {"esc"}, {"esc"}, {"?"}, {"esc"}} {
				r.press(keys...)
				safe(t, r.screen(), 80, 24)
			}
			break
		}
		r.disk.full = true
		r.visit()
		safe(t, r.screen(), 80, 24)
		r.disk.full = false
		r.press("space")
		safe(t, r.screen(), 80, 24)
		r.send(tea.WindowSizeMsg{Width: 121, Height: 41})
		safe(t, r.screen(), 121, 41)
	}
}

// safe requires that a view has nothing a terminal obeys, and fits the window.
func safe(t testing.TB, view string, w, h int) {
	t.Helper()
	lines := strings.Split(view, "\n")
	require.LessOrEqual(t, len(lines), h)
	for _, l := range lines {
		require.Equal(t, canvas.Clean(l), l)
		require.LessOrEqual(t, canvas.Width(l), w, "%q", l)
	}
}

// many is an invented hall with so many access points and points.
func many(aps, points int) (*site.Site, []walk.Stop) {
	s := &site.Site{Name: "Long Hall", ReceiverHeightM: 1.2, Floors: []site.Floor{{ID: "G", Name: "Ground", Outline: orb.Ring{{0, 0}, {200, 0}, {200, 100}, {0, 100}}}}}
	for x := 10.0; x < 200; x += 10 {
		s.Floors[0].Walls = append(s.Floors[0].Walls, site.Wall{Material: "plasterboard", Line: orb.LineString{{x, 0}, {x, 45}}}, site.Wall{Material: "plasterboard", Line: orb.LineString{{x, 55}, {x, 100}}})
	}
	for i := range aps {
		ap := hall().AccessPoints[0]
		ap.ID, ap.At = fmt.Sprintf("AP-%02d", i+1), orb.Point{10 + 20*float64(i%10), 10 + 20*float64(i/10)}
		ap.Radios = []site.Radio{{Band: "5", BSSIDs: ap.Radios[0].BSSIDs}}
		ap.Radios[0].BSSIDs = append(ap.Radios[0].BSSIDs[:0:0], [6]byte{2, 0, 0, 1, 0, byte(i)})
		s.AccessPoints = append(s.AccessPoints, ap)
	}
	var stops []walk.Stop
	for i := range points {
		stops = append(stops, walk.Stop{Point: fmt.Sprintf("P%04d", i+1), Floor: "G", At: orb.Point{1.5 + 3*float64(i%66), 1.5 + 3*float64(i/66)}})
	}
	return s, stops
}

// BenchmarkFrame: a sweep comes in and the screen is made, 200×60, 50 access
// points, 2,000 points; and the same where the plan has to be drawn anew.
func BenchmarkFrame(b *testing.B) {
	for _, name := range []string{"sweep", "plan"} {
		b.Run(name, func(b *testing.B) {
			s, stops := many(50, 2000)
			r := scene(b, s, stops, settings(), func(c *tui.Config) { c.Profile = canvas.TrueColor }).open(200, 60)
			for range 12 {
				r.visit()
			}
			b.ReportAllocs()
			for b.Loop() {
				if name == "plan" {
					r.m.Update(named["right"])
					r.m.View()
					r.m.Update(named["left"])
				}
				r.run(r.m.Init()) // listens and judges once
				if r.m.View() == "" {
					b.Fatal("no frame")
				}
			}
		})
	}
}
