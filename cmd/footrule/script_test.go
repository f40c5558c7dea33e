package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"footrule": main})
}

// TestScripts runs one short script per behaviour; `exits N footrule ...` holds
// the exit code, which other scripts rely on.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(e *testscript.Env) error {
			e.Setenv("NO_COLOR", "1")
			data, err := filepath.Abs(filepath.Join("..", "..", "testdata"))
			e.Setenv("HALL", filepath.Join(data, "drawing"))
			e.Setenv("ESC", "\x1b")
			e.Setenv("STORY", filepath.Join(data, "story"))
			return err
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"exits": exits, "raw": raw, "tame": tame, "damage": damage, "walked": walked},
	})
}

func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE COMMAND...")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	err = ts.Exec(args[1], args[2:]...)
	got := 0
	if err != nil {
		var e *exec.ExitError
		if !errors.As(err, &e) {
			ts.Fatalf("%v", err)
		}
		got = e.ExitCode()
	}
	if got != want {
		ts.Fatalf("exit code %d, not %d", got, want)
	}
}

// demoFile is the demo's site, walked; made once, since that takes seconds.
var demoFile = sync.OnceValues(func() ([]byte, error) {
	dir, err := os.MkdirTemp("", "footrule")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	name := filepath.Join(dir, "d.footrule")
	out, err := exec.Command("footrule", "demo", "--plain", "--file", name, "--scans", "2", "--facings", "0").CombinedOutput()
	if err != nil {
		return nil, fmt.Errorf("%w: %s", err, out)
	}
	return os.ReadFile(name)
})

// walked makes a site file of the demo, walked in one facing with two scans.
func walked(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: walked FILE")
	}
	data, err := demoFile()
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), data, 0o600))
}

// damage turns a letter of every place where a text stands in a file.
func damage(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: damage FILE TEXT")
	}
	path := ts.MkAbs(args[0])
	data, err := os.ReadFile(path)
	ts.Check(err)
	if !bytes.Contains(data, []byte(args[1])) {
		ts.Fatalf("%s has no %q", args[0], args[1])
	}
	other := []byte(args[1])
	other[0] ^= 1
	ts.Check(os.WriteFile(path, bytes.ReplaceAll(data, []byte(args[1]), other), 0o600))
}

// raw turns the escapes \x1b, \x07 and \u202e of a file into what they stand for.
func raw(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: raw FILE")
	}
	name := ts.MkAbs(args[0])
	text := strings.NewReplacer(`\x1b`, "\x1b", `\x07`, "\x07", `\u202e`, "\u202e").Replace(ts.ReadFile(args[0]))
	ts.Check(os.WriteFile(name, []byte(text), 0o644))
}

// tame holds that the last command printed nothing that steers a terminal.
func tame(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 0 {
		ts.Fatalf("usage: tame")
	}
	for _, of := range []string{"stdout", "stderr"} {
		text := strings.NewReplacer("\n", "", "\t", "").Replace(ts.ReadFile(of))
		if i := strings.IndexFunc(text, steers); i >= 0 {
			ts.Fatalf("%s has %q in it", of, text[i:min(len(text), i+20)])
		}
	}
}
