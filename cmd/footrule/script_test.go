package main

import (
	"bytes"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
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
			e.Setenv("STORY", filepath.Join(data, "story"))
			return err
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"exits": exits, "damage": damage},
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
