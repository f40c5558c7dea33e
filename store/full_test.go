//go:build linux

package store_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"footrule/internal/walk"
	"footrule/store"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// A full disk while a visit is saved: the visit is not there, the earlier ones
// are, and once there is room the same store goes on.
func TestDiskFull(t *testing.T) {
	dir := t.TempDir()
	if err := unix.Mount("tmpfs", dir, "tmpfs", 0, "size=1m"); err != nil {
		t.Skipf("no file system can be mounted here (%v); TestFileLimit tests the same", err)
	}
	t.Cleanup(func() { _ = unix.Unmount(dir, unix.MNT_DETACH) })
	path := filepath.Join(dir, "depot")
	ballast := filepath.Join(dir, "ballast")
	require.NoError(t, os.WriteFile(ballast, make([]byte, 300<<10), 0o600))
	s, err := store.Create(path, hall(), store.Options{})
	require.NoError(t, err)
	defer func() { _ = s.Close() }()
	require.NoError(t, s.BeginWalk(header("w")))

	saved := uint64(0)
	for ; ; saved++ {
		require.Less(t, saved, uint64(10_000))
		if err = s.AppendVisit("w", visit(saved+1)); err != nil {
			break
		}
	}
	require.ErrorIs(t, err, syscall.ENOSPC)
	assert.EqualError(t, err, path+": no room left on the disk, nothing was added; make room and try again")
	require.NotZero(t, saved)
	check := func(s *store.Store) {
		t.Helper()
		w, err := s.Walk("w")
		require.NoError(t, err)
		require.Len(t, w.Visits, int(saved))
		for i, v := range w.Visits {
			require.Equal(t, visit(uint64(i+1)), v)
		}
	}
	check(s)
	_, err = importText(s, "i", walkText(t, 300_000))
	require.ErrorIs(t, err, syscall.ENOSPC)
	check(s)

	require.NoError(t, os.Remove(ballast))
	for range 20 {
		saved++
		require.NoError(t, s.AppendVisit("w", visit(saved)))
	}
	check(s)
	s = reopen(t, s, store.Options{})
	check(s)
	headers, err := s.Headers()
	require.NoError(t, err)
	assert.Len(t, headers, 1)
	require.NoError(t, s.Close())
	assert.Equal(t, 1, walksOnDisk(t, path))

	// No room for a new file: none is left behind.
	require.NoError(t, os.WriteFile(ballast, make([]byte, 100), 0o600))
	f, err := os.OpenFile(ballast, os.O_APPEND|os.O_WRONLY, 0)
	require.NoError(t, err)
	for err == nil {
		_, err = f.Write(make([]byte, 4096))
	}
	require.NoError(t, f.Close())
	_, err = store.Create(filepath.Join(dir, "second"), hall(), store.Options{})
	require.ErrorIs(t, err, syscall.ENOSPC)
	assert.NoFileExists(t, filepath.Join(dir, "second"))
}

// The same without a file system of its own: a limit on the size of files.
func TestFileLimit(t *testing.T) {
	s, path := newStore(t, store.Options{})
	require.NoError(t, s.BeginWalk(header("w")))
	require.NoError(t, s.Close())
	cmd, _, out := start(t, "limit", path)
	require.True(t, out.Scan())
	saved, err := strconv.Atoi(strings.TrimSpace(out.Text()))
	require.NoError(t, err)
	require.NoError(t, cmd.Wait())
	s, err = store.Open(path, store.Options{})
	require.NoError(t, err)
	defer func() { _ = s.Close() }()
	w, err := s.Walk("w")
	require.NoError(t, err)
	require.Len(t, w.Visits, saved)
	for i, v := range w.Visits {
		require.Equal(t, visit(uint64(i+1)), v)
	}
}

// limited is the child of TestFileLimit. It prints how many visits it saved.
func limited(s *store.Store) error {
	old := syscall.Rlimit{}
	if err := syscall.Getrlimit(syscall.RLIMIT_FSIZE, &old); err != nil {
		return err
	}
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: 900 << 10, Max: old.Max}); err != nil {
		return err
	}
	saved := 0
	for ; ; saved++ {
		err := s.AppendVisit("w", visit(uint64(saved+1)))
		if errors.Is(err, syscall.EFBIG) && saved > 0 && strings.Contains(err.Error(), "may not grow further") {
			break
		}
		if err != nil || saved > 10_000 {
			return fmt.Errorf("visit %d: %w", saved+1, err)
		}
	}
	if w, err := s.Walk("w"); err != nil || len(w.Visits) != saved {
		return fmt.Errorf("%d visits were saved, and then: %w", saved, err)
	}
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &old); err != nil {
		return err
	}
	for range 20 {
		saved++
		if err := s.AppendVisit("w", visit(uint64(saved))); err != nil {
			return err
		}
	}
	fmt.Println(saved)
	return s.Close()
}

// Who may not write gets a clear error, and may read.
func TestNoPermission(t *testing.T) {
	s, path := newStore(t, store.Options{})
	require.NoError(t, s.BeginWalk(header("w")))
	require.NoError(t, s.Close())
	require.NoError(t, os.Chmod(path, 0o444))
	require.NoError(t, os.Chmod(filepath.Dir(path), 0o555))
	t.Cleanup(func() { _ = os.Chmod(filepath.Dir(path), 0o700) })
	if os.Geteuid() == 0 {
		// Root may do everything: act as nobody, on this thread alone.
		require.NoError(t, os.Chmod(filepath.Dir(filepath.Dir(path)), 0o755))
		runtime.LockOSThread()
		require.NoError(t, unix.Setfsuid(65534))
		defer func() {
			assert.NoError(t, unix.Setfsuid(0))
			runtime.UnlockOSThread()
		}()
	}
	_, err := store.Open(path, store.Options{})
	require.ErrorIs(t, err, os.ErrPermission)
	assert.EqualError(t, err, path+": no permission to open the file that way; change its permissions or copy it")
	_, err = store.Create(filepath.Join(filepath.Dir(path), "new"), hall(), store.Options{})
	require.ErrorIs(t, err, os.ErrPermission)

	r, err := store.Open(path, store.Options{ReadOnly: true})
	require.NoError(t, err)
	got, err := r.Headers()
	require.NoError(t, err)
	assert.Equal(t, []walk.Header{header("w")}, got)
	require.NoError(t, r.Close())
}
