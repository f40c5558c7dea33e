//go:build linux

package store_test

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"

	"footrule/internal/walk"
	"footrule/store"

	"github.com/stretchr/testify/require"
)

// childEnv makes the test binary act as another process on a site file.
const childEnv = "FOOTRULE_STORE_CHILD"

func TestMain(m *testing.M) {
	role := os.Getenv(childEnv)
	if role == "" {
		os.Exit(m.Run())
	}
	if err := child(role, os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// child plays a role; it prints what it has done, line by line.
func child(role string, args []string) error {
	path := args[0]
	s, err := store.Open(path, store.Options{})
	if err != nil {
		return err
	}
	switch role {
	case "hold": // keeps the file open until it is told to end
		fmt.Println("open")
		_, err := bufio.NewReader(os.Stdin).ReadString('\n')
		return err
	case "append": // visits from a number on, for ever
		from, err := strconv.Atoi(args[1])
		if err != nil {
			return err
		}
		for i := from; ; i++ {
			if err := s.AppendVisit("w", visit(uint64(i))); err != nil {
				return err
			}
			fmt.Println(i)
		}
	case "import": // a walk of many rows, slowly
		text := &strings.Builder{}
		if err := writeWalk(text, csvOptions{rows: 400_000}); err != nil {
			return err
		}
		rows := 0
		_, err := s.Import(walk.Header{Name: "i"}, "i.csv", strings.NewReader(text.String()), 0, func(_, _ int64, n int) {
			if n >= rows+50_000 {
				rows = n
				fmt.Println(n)
				time.Sleep(10 * time.Millisecond)
			}
		})
		return err
	case "limit": // appends until the file may not grow, twice
		return limited(s)
	}
	return fmt.Errorf("no role %q", role)
}

// start runs the test binary in a role. Its standard output comes line by line.
func start(t *testing.T, role string, args ...string) (cmd *exec.Cmd, stdin io.WriteCloser, out *bufio.Scanner) {
	t.Helper()
	cmd = exec.Command(os.Args[0], args...)
	cmd.Env = append(os.Environ(), childEnv+"="+role)
	cmd.Stderr = os.Stderr
	stdin, err := cmd.StdinPipe()
	require.NoError(t, err)
	pipe, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	})
	return cmd, stdin, bufio.NewScanner(pipe)
}
