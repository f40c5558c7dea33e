package tui_test

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"footrule/internal/canvas"
	"footrule/tui"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write the goldens anew")

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("..", "testdata", "tui", name)
	if *update {
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
		return
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err, "run the test with -update")
	assert.Equal(t, string(want), got)
}

// states are the moments of a walk that have a golden.
var states = []struct {
	name string
	to   func(r *robot)
}{
	{"first", func(r *robot) {}},
	{"walking", func(r *robot) { walked(r, 9) }},
	{"nudged", func(r *robot) { walked(r, 9); r.press("left", "left", "k") }},
	{"recording", func(r *robot) { walked(r, 9); r.pauseAfter(1); r.press("space") }},
	{"turning", func(r *robot) { walked(r, 9); r.press("space") }},
	{"doubt", func(r *robot) { walked(r, 9); r.ether.delta[2] = -14; r.visit() }},
	{"full", func(r *robot) { walked(r, 9); r.disk.full = true; r.visit() }},
	{"choosing", func(r *robot) { walked(r, 9); r.press("n", "n", "n") }},
	{"skipping", func(r *robot) { walked(r, 9); r.press("s", "down") }},
	{"help", func(r *robot) { walked(r, 3); r.press("?") }},
	{"lens-level", func(r *robot) { walked(r, 12); r.press("x", "n", "n", "right", "up") }},
	{"lens-heard", func(r *robot) { walked(r, 12); r.press("3", "n") }},
	{"lens-error", func(r *robot) { walked(r, 12); r.press("4", "n") }},
	{"lens-odd", func(r *robot) { walked(r, 12); r.press("5") }},
	{"lens-hull", func(r *robot) { walked(r, 12); r.press("3", "d") }},
	{"lens-expect", func(r *robot) { walked(r, 12); r.press("4", "d") }},
	{"lens-prep", func(r *robot) { walked(r, 3); r.press("6") }},
	{"lens-hole", func(r *robot) { walked(r, 12); r.press("3") }},
	{"lens-early", func(r *robot) { walked(r, 2); r.press("m", "m") }},
	{"big", func(r *robot) { walked(r, 9); r.press("t") }},
	{"big-turning", func(r *robot) { walked(r, 9); r.press("t", "space") }},
	{"zoom", func(r *robot) { walked(r, 9); r.press("+") }},
}

func walked(r *robot, n int) {
	r.t.Helper()
	for i := range n {
		r.visit()
		if i == 1 {
			r.press("s", "enter")
		}
	}
}

func TestGoldens(t *testing.T) {
	for _, size := range [][2]int{{80, 24}, {120, 40}, {200, 60}} {
		for _, st := range states {
			name := fmt.Sprintf("%s-%dx%d", st.name, size[0], size[1])
			t.Run(name, func(t *testing.T) {
				s := hall()
				r := scene(t, s, grid(s, 4), settings(), nil).open(size[0], size[1])
				st.to(r)
				got := r.screen()
				checkSize(t, got, size[0], size[1])
				golden(t, name+".txt", got+"\n")
			})
		}
	}
	t.Run("ascii", func(t *testing.T) {
		s := hall()
		for _, st := range states {
			r := scene(t, s, grid(s, 4), settings(), func(c *tui.Config) { c.ASCII, c.Feet = true, true }).open(80, 24)
			st.to(r)
			got := r.screen()
			checkSize(t, got, 80, 24)
			for i := range len(got) {
				require.Less(t, got[i], byte(0x80), "%s: %q", st.name, got)
			}
			golden(t, st.name+"-ascii.txt", got+"\n")
		}
	})
}

func checkSize(t testing.TB, view string, w, h int) {
	t.Helper()
	lines := strings.Split(view, "\n")
	require.LessOrEqual(t, len(lines), h)
	for i, l := range lines {
		require.LessOrEqual(t, canvas.Width(strings.ReplaceAll(l, " ", "_")), w, "line %d: %q", i, l)
	}
}
