//go:build linux

package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// mute opens a terminal at whose other end nobody answers.
func mute(tb testing.TB) (master, slave *os.File) {
	tb.Helper()
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		tb.Skipf("no terminal can be made here: %v", err)
	}
	fd := int(master.Fd())
	require.NoError(tb, unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0))
	n, err := unix.IoctlGetInt(fd, unix.TIOCGPTN)
	require.NoError(tb, err)
	slave, err = os.OpenFile(fmt.Sprintf("/dev/pts/%d", n), os.O_RDWR|unix.O_NOCTTY, 0)
	require.NoError(tb, err)
	tb.Cleanup(func() { slave.Close(); master.Close() })
	return master, slave
}

// build makes the program as a person would run it, with flags of go build.
func build(tb testing.TB, flags ...string) string {
	tb.Helper()
	exe := filepath.Join(tb.TempDir(), "footrule")
	out, err := exec.Command("go", append(append([]string{"build", "-o", exe}, flags...), ".")...).CombinedOutput()
	require.NoError(tb, err, string(out))
	return exe
}

// onMute runs the program on a mute terminal, with an environment in which
// terminal libraries do ask.
func onMute(tb testing.TB, exe string, slave *os.File, args ...string) {
	tb.Helper()
	cmd := exec.Command(exe, args...)
	cmd.Env = []string{"TERM=xterm-256color", "HOME=" + os.TempDir(), "PATH=" + os.Getenv("PATH")}
	cmd.Stdin, cmd.Stdout, cmd.Stderr = slave, slave, slave
	require.NoError(tb, cmd.Run())
}

// TestAsksNoTerminal holds that commands send a terminal no question, whose
// answer they would wait seconds for.
func TestAsksNoTerminal(t *testing.T) {
	exe := build(t)
	for _, args := range [][]string{{"--version"}, {"--help"}, {"fit", "--help"}, {"completion", "bash"}} {
		master, slave := mute(t)
		done := make(chan []byte)
		go func() {
			var b bytes.Buffer
			_, _ = io.Copy(&b, master) // ends with EIO when the other end is closed
			done <- b.Bytes()
		}()
		onMute(t, exe, slave, args...)
		require.NoError(t, slave.Close())
		var got []byte
		select {
		case got = <-done:
		case <-time.After(10 * time.Second):
			t.Fatal("the terminal did not end")
		}
		assert.NotContains(t, string(got), "\x1b", "%v", args)
		assert.NotEmpty(t, got)
	}
}

// BenchmarkVersionOnMuteTerminal is the time from start to end of --version.
func BenchmarkVersionOnMuteTerminal(b *testing.B) {
	exe := build(b)
	master, slave := mute(b)
	go func() { _, _ = io.Copy(io.Discard, master) }()
	for b.Loop() {
		onMute(b, exe, slave, "--version")
	}
}
