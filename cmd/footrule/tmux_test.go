//go:build unix

package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// pane is a terminal of tmux that a person sits at.
type pane struct {
	t      *testing.T
	socket string
	dir    string
}

// sit opens a shell of w by h cells in a folder with the program on its path.
func sit(t *testing.T, w, h string) *pane {
	t.Helper()
	if _, err := exec.LookPath("tmux"); err != nil {
		t.Skip("no tmux here; apt-get install tmux")
	}
	exe := build(t)
	p := &pane{t: t, dir: t.TempDir(), socket: filepath.Join(t.TempDir(), "s")}
	env := append(os.Environ(), "PATH="+filepath.Dir(exe)+":"+os.Getenv("PATH"), "TERM=xterm-256color", "ENV=", "ACCESSIBLE=", "LC_ALL=C.UTF-8")
	cmd := exec.Command("tmux", "-u", "-S", p.socket, "-f", "/dev/null", "new-session", "-d", "-s", "t", "-x", w, "-y", h, "-c", p.dir, "sh")
	cmd.Env = env
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, string(out))
	t.Cleanup(func() { _ = exec.Command("tmux", "-S", p.socket, "kill-server").Run() })
	p.keys("PS1='ready> '; clear", "Enter")
	p.sees("ready>")
	return p
}

func (p *pane) tmux(args ...string) string {
	p.t.Helper()
	out, err := exec.Command("tmux", append([]string{"-u", "-S", p.socket}, args...)...).CombinedOutput()
	require.NoError(p.t, err, string(out))
	return string(out)
}

func (p *pane) screen() string { return p.tmux("capture-pane", "-p", "-t", "t") }

// keys presses keys by their names in tmux.
func (p *pane) keys(ks ...string) {
	p.t.Helper()
	p.tmux(append([]string{"send-keys", "-t", "t"}, ks...)...)
}

// press presses a key and waits until the screen has answered.
func (p *pane) press(k string) {
	p.t.Helper()
	before := p.screen()
	p.keys(k)
	for range 100 {
		if p.screen() != before {
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// until presses a key up to twenty times for a text.
func (p *pane) until(text, key string) {
	p.t.Helper()
	for range 20 {
		if strings.Contains(p.screen(), text) {
			return
		}
		p.press(key)
	}
	p.sees(text)
}

// runs types a command on a clean screen.
func (p *pane) runs(command string) {
	p.t.Helper()
	p.keys("clear; "+command, "Enter")
}

// sees waits for one of some texts and gives the first that is there.
func (p *pane) sees(any ...string) string {
	p.t.Helper()
	for range 1200 {
		text := p.screen()
		for _, want := range any {
			if strings.Contains(text, want) {
				return want
			}
		}
		time.Sleep(50 * time.Millisecond)
	}
	p.t.Fatalf("waiting for one of %q, on the screen:\n%s", any, p.screen())
	return ""
}

const smallPlan = `format = "footrule-site/1"
name = "Osier Hall"
[[floor]]
id = "G"
name = "Ground"
outline = [[0, 0], [24, 0], [24, 12], [0, 12]]
`

// TestWalkToReportInTmux goes from an empty site to the report at a real terminal:
// the plan is drawn, the walk begun, left, taken up again in another size of window
// and finished, and its report written. Only what stands on the screen is followed.
func TestWalkToReportInTmux(t *testing.T) {
	p := sit(t, "80", "24")
	require.NoError(t, os.WriteFile(filepath.Join(p.dir, "site.toml"), []byte(smallPlan), 0o644))
	p.runs("footrule new hall.footrule --from site.toml")
	p.sees("next: put the access points with footrule plan hall.footrule --edit")
	p.runs("footrule plan hall.footrule --edit")
	p.sees("Put the access points: a at the cursor.")
	for i, at := range []string{"3,3", "21,3", "3,9", "21,9"} {
		p.keys("g")
		p.sees("x, y in metres:")
		p.keys(at, "Enter", "a")
		p.sees("Put AP-0" + string(rune('1'+i)))
		p.keys("e", "Enter", "Enter", "Enter")
		p.sees("bssids 2.4: _")
		p.keys("02:00:5e:00:0"+string(rune('1'+i))+":02", "Enter")
		p.sees("bssids 5: _")
		p.keys("02:00:5e:00:0"+string(rune('1'+i))+":05", "Enter")
		p.sees("Said of AP-0" + string(rune('1'+i)))
	}
	p.keys("s")
	p.sees("Saved as revision")
	p.keys("q")
	p.sees("next: footrule walk hall.footrule")

	walk := "footrule walk hall.footrule --synthetic --scans 1 --spacing 6"
	p.runs(walk)
	p.sees("0 of 8 points")
	record := func(until string) {
		t.Helper()
		for range 200 {
			switch p.sees("then space.", "Not saved yet", until) {
			case until:
				return
			case "then space.":
				p.press("Space")
			default:
				p.press("Enter")
			}
		}
		t.Fatalf("no %q after many keys:\n%s", until, p.screen())
	}
	record("3 of 8 points")
	p.keys("q")
	p.sees("go on with: footrule walk hall.footrule --synthetic")
	p.tmux("resize-window", "-t", "t", "-x", "110", "-y", "32")
	p.runs(walk)
	p.sees("going on with walk 1: 3 done", "3 of 8 points")
	record("All done.")
	p.keys("4")
	p.sees("Half within")
	p.sees("Worst points")
	p.keys("Space", "f")
	p.sees("The walk is finished.")
	p.keys("q")
	p.sees("footrule report hall.footrule --out report.html")
	p.runs("footrule report hall.footrule --out report.html")
	p.sees("report.html: the report")
	got, err := os.ReadFile(filepath.Join(p.dir, "report.html"))
	require.NoError(t, err)
	require.Contains(t, string(got), "Osier Hall")
}

// TestDrillInTmux takes a drill at a real terminal from the trainer's case to the
// marks and the sheet.
func TestDrillInTmux(t *testing.T) {
	p := sit(t, "80", "24")
	p.runs("footrule drill make case.toml --fault dead:ap=AP-04 --level plain --seed 8")
	p.sees("AP-04 never sent anything.")
	p.runs("footrule drill case.toml --file one.footrule --walked")
	p.sees("name it       c on the screen")
	p.runs("footrule replay one.footrule")
	p.sees("Before the first visit")
	p.keys("e", "3")
	p.sees("Access points heard")
	p.keys("c")
	p.sees("What is wrong here?")
	p.until("▸ dead", "Tab")
	p.keys("Space")
	p.sees("Which access point has it?")
	for range 3 {
		p.press("Tab")
	}
	p.press("Space")
	p.sees("You say: an access point was never heard: AP-04.")
	p.until("Space grades what was named", "BTab")
	p.press("Space")
	p.sees("Space again grades.")
	p.keys("Space")
	p.sees("100 of 100")
	p.keys("t")
	p.sees("truth: dead, AP-04")
	p.keys("q")
	p.sees("ready>")
	p.runs("footrule drill answer one.footrule dead --ap AP-01")
	p.sees("is open, its truth was shown")
	p.runs("footrule drill sheet one.footrule | head -5")
	p.sees("solution")
}
