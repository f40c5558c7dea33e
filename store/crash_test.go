//go:build linux

package store_test

import (
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"footrule/internal/walk"
	"footrule/store"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// killsEnv sets how often TestKilled kills; 200 take some minutes less than one.
const killsEnv = "FOOTRULE_STORE_KILLS"

// Law 1 and 2: whatever AppendVisit returned for is there after a kill, whole
// and equal, and nothing else but perhaps the one that was being saved.
func TestKilled(t *testing.T) {
	kills := 20
	if n, err := strconv.Atoi(os.Getenv(killsEnv)); err == nil {
		kills = n
	}
	rnd := rand.New(rand.NewPCG(20260301, 1))
	s, path := newStore(t, store.Options{})
	require.NoError(t, s.BeginWalk(header("w")))
	require.NoError(t, s.Close())
	total := 0
	for k := range kills {
		cmd, _, out := start(t, "append", path, strconv.Itoa(total+1))
		acknowledged := total
		require.True(t, out.Scan(), "kill %d: nothing was saved", k)
		delay := time.Duration(rnd.Int64N(int64(25 * time.Millisecond)))
		kill := time.AfterFunc(delay, func() { _ = cmd.Process.Kill() })
		for more := true; more; more = out.Scan() {
			n, err := strconv.Atoi(out.Text())
			if err != nil {
				break // a line that the kill cut
			}
			require.Equal(t, acknowledged+1, n)
			acknowledged = n
		}
		kill.Stop()
		_ = cmd.Wait()

		s, err := store.Open(path, store.Options{})
		require.NoError(t, err)
		w, err := s.Walk("w")
		require.NoError(t, err)
		require.GreaterOrEqual(t, len(w.Visits), acknowledged, "kill %d", k)
		require.LessOrEqual(t, len(w.Visits), acknowledged+2, "kill %d", k) // one saved and not yet printed, one printed in part
		for i, v := range w.Visits {
			require.Equal(t, visit(uint64(i+1)), v)
		}
		total = len(w.Visits)
		require.NoError(t, s.Close())
		require.Equal(t, 1, walksOnDisk(t, path))
	}
	t.Logf("%d visits over %d kills", total, kills)
}

// Law 4: a killed import leaves nothing that is seen, and what it left on the
// disk goes with the next opening for writing.
func TestKilledImport(t *testing.T) {
	s, path := newStore(t, store.Options{})
	require.NoError(t, s.BeginWalk(header("w")))
	require.NoError(t, s.AppendVisit("w", visit(1)))
	require.NoError(t, s.Close())
	cmd, _, out := start(t, "import", path)
	for range 4 {
		require.True(t, out.Scan())
	}
	require.NoError(t, cmd.Process.Kill())
	_ = cmd.Wait()
	require.Equal(t, 2, walksOnDisk(t, path), "the import was under way")

	want := []walk.Walk{{Header: header("w"), Visits: []walk.Visit{visit(1)}}}
	for _, opt := range []store.Options{{ReadOnly: true}, {}} {
		s, err := store.Open(path, opt)
		require.NoError(t, err)
		got, err := s.Walks()
		require.NoError(t, err)
		assert.Equal(t, want, got)
		require.NoError(t, s.Close())
	}
	assert.Equal(t, 1, walksOnDisk(t, path))
}

func TestLockedByAnotherProcess(t *testing.T) {
	s, path := newStore(t, store.Options{})
	require.NoError(t, s.Close())
	cmd, stdin, out := start(t, "hold", path)
	require.True(t, out.Scan())
	begin := time.Now()
	for _, opt := range []store.Options{{Timeout: 50 * time.Millisecond}, {ReadOnly: true, Timeout: 50 * time.Millisecond}} {
		_, err := store.Open(path, opt)
		require.ErrorIs(t, err, store.ErrLocked)
		assert.ErrorContains(t, err, path)
	}
	assert.Less(t, time.Since(begin), time.Minute, "it does not wait for ever")
	_, err := stdin.Write([]byte("\n"))
	require.NoError(t, err)
	require.NoError(t, cmd.Wait())
	s, err = store.Open(path, store.Options{})
	require.NoError(t, err)
	require.NoError(t, s.Close())
}
