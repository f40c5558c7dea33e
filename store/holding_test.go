//go:build linux

package store_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"
	"time"

	"footrule/internal/walk"
	"footrule/store"

	"github.com/fxamacker/cbor/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"
	"golang.org/x/sys/unix"
)

// cutsEnv sets how many power cuts TestPowerCut makes at each commit, and has
// TestDiskFullAtEveryWrite try every page.
const cutsEnv = "FOOTRULE_STORE_CUTS"

// Power loss, as far as it can be simulated. A commit writes pages, syncs, writes
// a head page, and syncs. Before the first sync any of the pages may be lost, and
// any of their sectors; after it only the head page. The file must then hold what
// was acknowledged before, whole and equal, or also what was being saved.
func TestPowerCut(t *testing.T) {
	const page, sector = 4096, 512
	cuts := 2
	if n, err := strconv.Atoi(os.Getenv(cutsEnv)); err == nil {
		cuts = n
	}
	rnd := rand.New(rand.NewPCG(8, 1))
	s, path := newStore(t, store.Options{})
	require.NoError(t, s.BeginWalk(header("w")))
	read := func() []byte {
		b, err := os.ReadFile(path)
		require.NoError(t, err)
		return b
	}
	cut := filepath.Join(t.TempDir(), "cut")
	tries, kept, torn := 0, 0, 0
	before, saved := read(), 0
	for n := range 24 {
		switch n % 4 {
		case 3:
			require.NoError(t, s.AppendMark("w", walk.Mark{Seq: 1000 + n, Time: day, Kind: walk.Goto, Target: "P01"}))
		default:
			saved++
			require.NoError(t, s.AppendVisit("w", visit(uint64(saved))))
		}
		after := read()
		want := saved
		if n%4 != 3 {
			want--
		}
		base := append(append([]byte{}, before...), make([]byte, len(after)-len(before))...)
		var changed []int
		for p := 2; p < len(after)/page; p++ {
			if !bytes.Equal(base[p*page:(p+1)*page], after[p*page:(p+1)*page]) {
				changed = append(changed, p)
			}
		}
		holds := func(file []byte, least, most int, how string) {
			tries++
			require.NoError(t, os.WriteFile(cut, file, 0o600))
			c, err := store.Open(cut, store.Options{NoSync: true})
			require.NoError(t, err, how)
			w, err := c.Walk("w")
			require.NoError(t, err, how)
			require.GreaterOrEqual(t, len(w.Visits), least, how)
			require.LessOrEqual(t, len(w.Visits), most, how)
			for i, v := range w.Visits {
				require.Equal(t, visit(uint64(i+1)), v, how)
			}
			kept += len(w.Visits)
			require.NoError(t, c.AppendVisit("w", visit(uint64(len(w.Visits)+1))), how)
			require.NoError(t, c.Close())
		}
		for k := range cuts { // before the first sync
			file := append([]byte{}, base...)
			for _, p := range changed {
				for at := p * page; at < (p+1)*page; at += sector {
					if rnd.IntN(2) == 0 {
						copy(file[at:at+sector], after[at:at+sector])
					}
				}
			}
			holds(file, want, want, fmt.Sprintf("commit %d, cut %d before the first sync", n, k))
		}
		file := append([]byte{}, after...) // after it, with the head page not yet written
		copy(file[:2*page], base[:2*page])
		holds(file, want, want, fmt.Sprintf("commit %d, no head page", n))
		holds(after, saved, saved, fmt.Sprintf("commit %d, done", n))
		// A head page torn within its one sector, which disks don't do: refused, and
		// all of it can be salvaged.
		words := 2 * page / 8
		if n%3 != 0 && os.Getenv(cutsEnv) == "" {
			words = 0 // every third commit shows both pages and both kinds
		}
		for at := range words {
			file := append([]byte{}, after...)
			if bytes.Equal(base[at*8:at*8+8], after[at*8:at*8+8]) {
				continue
			}
			copy(file[at*8:], base[at*8:at*8+8])
			torn++
			require.NoError(t, os.WriteFile(cut, file, 0o600))
			w, err := store.Salvage(cut)
			require.NoError(t, err)
			require.NotEmpty(t, w.Faults)
			require.GreaterOrEqual(t, len(w.Walks[0].Visits), want)
		}
		before = after
	}
	t.Logf("%d power cuts, %d visits there of as many, %d torn head pages salvaged", tries, kept, torn)
}

// A disk that is full at any write: for every size of what is left, all that was
// acknowledged is there, nothing else, and with room the same store goes on.
func TestDiskFullAtEveryWrite(t *testing.T) {
	dir := t.TempDir()
	if err := unix.Mount("tmpfs", dir, "tmpfs", 0, "size=2m"); err != nil {
		t.Skipf("no file system can be mounted here (%v); TestFileLimit tests the same", err)
	}
	t.Cleanup(func() { _ = unix.Unmount(dir, unix.MNT_DETACH) })
	path, ballast := filepath.Join(dir, "depot"), filepath.Join(dir, "ballast")
	other, _ := newStore(t, store.Options{NoSync: true})
	require.NoError(t, other.BeginWalk(header("other")))
	for i := range 30 {
		require.NoError(t, other.AppendVisit("other", visit(uint64(500+i))))
	}
	moved := hall()
	moved.ReceiverHeightM = 1.5
	text := walkText(t, 4000)
	step := 36 << 10
	if os.Getenv(cutsEnv) != "" {
		step = 4 << 10
	}
	full, failed := 0, map[string]int{}
	for left := 0; left < 800<<10; left += step {
		require.NoError(t, os.WriteFile(ballast, make([]byte, 2<<20-left), 0o600))
		s, err := store.Create(path, hall(), store.Options{Version: "test"})
		if err != nil {
			require.ErrorIs(t, err, syscall.ENOSPC)
			require.NoFileExists(t, path)
			full++
			failed["create"]++
			continue
		}
		ops := []struct {
			name string
			do   func() error
		}{
			{"begin", func() error { return s.BeginWalk(header("w")) }},
			{"plan", func() error { _, err := s.PutPlan(moved); return err }},
			{"visits", func() error {
				for i := range 30 {
					if err := s.AppendVisit("w", visit(uint64(i+1))); err != nil {
						return err
					}
				}
				return nil
			}},
			{"mark", func() error { return s.AppendMark("w", walk.Mark{Seq: 99, Time: day, Kind: walk.Finish}) }},
			{"import", func() error { _, err := importText(s, "i", text); return err }},
			{"picture", func() error { _, err := s.PutPicture(make([]byte, 60<<10)); return err }},
			{"merge", func() error { _, err := s.Merge(other, store.PlanMine, nil); return err }},
		}
		for _, op := range ops {
			err := op.do()
			if err != nil {
				require.True(t, errors.Is(err, syscall.ENOSPC), "%d left, %s: %v", left, op.name, err)
				full++
				failed[op.name]++
				before, err := readAll(s)
				require.NoError(t, err)
				w, err := store.Open(path, store.Options{ReadOnly: true, Timeout: -1})
				require.ErrorIs(t, err, store.ErrLocked)
				require.Nil(t, w)
				require.NoError(t, os.Truncate(ballast, 0))
				again, err := readAll(s)
				require.NoError(t, err)
				require.Equal(t, before, again)
				require.NoError(t, op.do(), "%d left, %s again", left, op.name)
				require.NoError(t, os.WriteFile(ballast, make([]byte, 100<<10), 0o600))
			}
		}
		require.NoError(t, s.Close())
		whole, err := store.Salvage(path)
		require.NoError(t, err)
		require.Empty(t, whole.Faults)
		require.Len(t, whole.Walks, 3)
		require.NoError(t, os.Remove(path))
	}
	t.Logf("%d times full: %v", full, failed)
	require.GreaterOrEqual(t, len(failed), 4)
}

// A clock that was set back, or is wrong by decades, changes no order and loses
// nothing.
func TestClockSetBack(t *testing.T) {
	s, _ := newStore(t, store.Options{})
	require.NoError(t, s.BeginWalk(header("w")))
	var want []walk.Visit
	for i, at := range []time.Time{day, day.Add(-24 * time.Hour), time.Unix(0, 0).UTC(), day.AddDate(60, 0, 0), day} {
		v := visit(uint64(i + 1))
		for j := range v.Scans {
			v.Scans[j].Time = at.Add(-time.Duration(j) * time.Second)
		}
		require.NoError(t, s.AppendVisit("w", v))
		want = append(want, v)
	}
	early := header("later, by an earlier clock")
	early.Started = day.AddDate(-30, 0, 0)
	require.NoError(t, s.BeginWalk(early))
	s = reopen(t, s, store.Options{})
	w, err := s.Walk("w")
	require.NoError(t, err)
	assert.Equal(t, want, w.Visits)
}

// older makes a file of format 0: the headers of its walks say nothing of scans,
// readings and marks, and its format has no sealed copy.
func older(t *testing.T) (string, contents) {
	t.Helper()
	file, want := little(t)
	path := filepath.Join(t.TempDir(), "old.footrule")
	require.NoError(t, os.WriteFile(path, file, 0o600))
	db, err := bbolt.Open(path, 0o600, nil)
	require.NoError(t, err)
	require.NoError(t, db.Update(func(tx *bbolt.Tx) error {
		meta, walks := tx.Bucket([]byte("meta")), tx.Bucket([]byte("walks"))
		if err := errors.Join(meta.Put([]byte("format"), []byte("footrule-store/0")), meta.Delete([]byte("format-sealed"))); err != nil {
			return err
		}
		return walks.ForEach(func(no, _ []byte) error {
			var head map[string]cbor.RawMessage
			if err := cbor.Unmarshal(walks.Bucket(no).Get([]byte("head"))[4:], &head); err != nil {
				return err
			}
			for _, k := range []string{"Scans", "Readings", "Marks"} {
				delete(head, k)
			}
			payload, err := cbor.Marshal(head)
			if err != nil {
				return err
			}
			// CRC-32C of kind 3, the walk's number, the key and the payload.
			sum := crc32.Checksum(append(append(append([]byte{3}, no...), "head"...), payload...), crc32.MakeTable(crc32.Castagnoli))
			return walks.Bucket(no).Put([]byte("head"), append(binary.BigEndian.AppendUint32(nil, sum), payload...))
		})
	}))
	require.NoError(t, db.Close())
	return path, want
}

// A file of an older format is brought up to date with a copy beside it, by a
// reader too; killed or refused before, it is as it was.
func TestOlderFormat(t *testing.T) {
	for _, readOnly := range []bool{true, false} {
		path, want := older(t)
		_, err := store.Salvage(path)
		require.ErrorIs(t, err, store.ErrOlder)
		s, err := store.Open(path, store.Options{ReadOnly: readOnly, Version: "test"})
		require.NoError(t, err)
		assert.Equal(t, path+".format-0", s.Backup())
		got, err := readAll(s)
		require.NoError(t, err)
		assert.Equal(t, want, got)
		require.NoError(t, s.Close())
		w, err := store.Salvage(path)
		require.NoError(t, err)
		assert.Empty(t, w.Faults)
		assert.Equal(t, want.Walks, w.Walks)
		_, err = store.Salvage(path + ".format-0")
		require.ErrorIs(t, err, store.ErrOlder, "the copy is as the file was")
		s, err = store.Open(path, store.Options{})
		require.NoError(t, err)
		assert.Empty(t, s.Backup())
		require.NoError(t, s.Close())
	}
}

// A format that a slip made another is damage, and neither older nor newer.
func TestFormatSlip(t *testing.T) {
	file, _ := little(t)
	path := filepath.Join(t.TempDir(), "slip")
	for _, digit := range []string{"0", "2", "9", "x"} {
		require.NoError(t, os.WriteFile(path, bytes.ReplaceAll(file, []byte("formatfootrule-store/1"), []byte("formatfootrule-store/"+digit)), 0o600))
		for _, readOnly := range []bool{true, false} {
			_, err := store.Open(path, store.Options{ReadOnly: readOnly})
			require.ErrorIs(t, err, store.ErrForeign)
			require.ErrorContains(t, err, "sealed copy says otherwise")
		}
		require.NoFileExists(t, path+".format-0")
		w, err := store.Salvage(path)
		require.NoError(t, err)
		require.Equal(t, []store.Fault{{Where: "format", What: `reads "footrule-store/` + digit + `" where "footrule-store/1" was written`}}, w.Faults)
		require.Len(t, w.Walks, 3)
	}
}
