package store_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"footrule/internal/site"
	"footrule/internal/walk"
	"footrule/store"

	"github.com/stretchr/testify/require"
)

// flipsEnv sets how many damaged files TestDamaged tries.
const flipsEnv = "FOOTRULE_STORE_FLIPS"

// contents is all that can be read from a store.
type contents struct {
	Plans   []*site.Site
	Walks   []walk.Walk
	Headers []walk.Header
	Program string
}

func readAll(s *store.Store) (c contents, err error) {
	_, rev, err := s.Plan()
	if err != nil {
		return c, err
	}
	for r := range rev {
		p, err := s.PlanAt(r + 1)
		if err != nil {
			return c, err
		}
		c.Plans = append(c.Plans, p)
	}
	var errs [3]error
	c.Walks, errs[0] = s.Walks()
	c.Headers, errs[1] = s.Headers()
	c.Program, errs[2] = s.Program()
	return c, errors.Join(errs[:]...)
}

// specimen makes a small file that has one of everything, pages freed by an
// import, and branch pages, and gives what is in it.
func specimen(t *testing.T) ([]byte, contents) {
	t.Helper()
	s, path := newStore(t, store.Options{NoSync: true})
	moved := hall()
	moved.Name = "Harbour Depot, moved"
	_, err := s.PutPlan(moved)
	require.NoError(t, err)
	for i := range 3 {
		id := fmt.Sprint("w", i)
		require.NoError(t, s.BeginWalk(header(id)))
		for v := range []int{40, 4, 0}[i] {
			require.NoError(t, s.AppendVisit(id, visit(uint64(v+1))))
		}
		for m := range []int{200, 3, 0}[i] {
			require.NoError(t, s.AppendMark(id, walk.Mark{Seq: m + 1, Time: day, Kind: walk.Skip, Target: fmt.Sprint("P", m), Reason: strings.Repeat("r", m%50)}))
		}
	}
	_, err = importText(s, "i", walkText(t, 3000))
	require.NoError(t, err)
	require.NoError(t, s.EndWalk("w1"))
	want, err := readAll(s)
	require.NoError(t, err)
	require.NoError(t, s.Close())
	file, err := os.ReadFile(path)
	require.NoError(t, err)
	return file, want
}

// sound holds law 3 for one damaged file: an error that says so, or what was
// stored. What is opened for writing may be written to as well.
func sound(t *testing.T, path string, file []byte, want contents, how string) (opened bool) {
	t.Helper()
	defer func() {
		if r := recover(); r != nil {
			t.Fatalf("%s: panic: %v", how, r)
		}
	}()
	for _, readOnly := range []bool{true, false} {
		require.NoError(t, os.WriteFile(path, file, 0o600))
		s, err := store.Open(path, store.Options{ReadOnly: readOnly, NoSync: true})
		if err == nil {
			opened = true
			var got contents
			if got, err = readAll(s); err == nil {
				require.Equal(t, want, got, how)
				if !readOnly {
					err = errors.Join(s.AppendVisit("w0", visit(500)), s.BeginWalk(header("x")), s.AppendMark("w1", walk.Mark{Seq: 900, Time: day, Kind: walk.Goto, Target: "P01"}))
				}
				if err == nil && !readOnly {
					w, werr := s.Walk("w0")
					if err = werr; err == nil {
						require.Equal(t, append(append([]walk.Visit{}, want.Walks[0].Visits...), visit(500)), w.Visits, how)
					}
				}
			}
			_ = s.Close()
		}
		if err != nil && !errors.Is(err, store.ErrForeign) && !errors.Is(err, store.ErrNewer) {
			t.Fatalf("%s: %v is neither ErrForeign nor ErrNewer", how, err)
		}
	}
	return opened
}

func TestDamaged(t *testing.T) {
	file, want := specimen(t)
	require.Equal(t, "w0", want.Walks[0].ID)
	path := filepath.Join(t.TempDir(), "damaged")
	require.True(t, sound(t, path, file, want, "whole"))

	tries := 300
	if n, err := strconv.Atoi(os.Getenv(flipsEnv)); err == nil {
		tries = n
	} else if testing.Short() {
		tries = 200
	}
	rnd := rand.New(rand.NewPCG(99, 1))
	used := 0 // up to the last byte that is not zero
	for i, b := range file {
		if b != 0 {
			used = i + 1
		}
	}
	refused := 0
	for range tries {
		bad := append([]byte{}, file...)
		how := ""
		switch rnd.IntN(5) {
		case 0: // a bit
			i, bit := rnd.IntN(used), rnd.IntN(8)
			bad[i] ^= 1 << bit
			how = fmt.Sprintf("bit %d of byte %d", bit, i)
		case 1: // in the head of a page, where counts and places are
			i := rnd.IntN(used/4096)*4096 + rnd.IntN(80)
			bad[i] = byte(rnd.Uint32())
			how = fmt.Sprintf("byte %d", i)
		case 2: // some bytes
			i := rnd.IntN(used - 8)
			for k := range rnd.IntN(8) + 1 {
				bad[i+k] = byte(rnd.Uint32())
			}
			how = fmt.Sprintf("bytes from %d", i)
		case 3: // one page written over another
			i, j := rnd.IntN(used/4096), rnd.IntN(used/4096)
			copy(bad[i*4096:(i+1)*4096], file[j*4096:(j+1)*4096])
			how = fmt.Sprintf("page %d over %d", j, i)
		case 4: // cut
			n := rnd.IntN(used)
			bad = bad[:n]
			how = fmt.Sprintf("cut to %d", n)
		}
		if !sound(t, path, bad, want, how) {
			refused++
		}
	}
	t.Logf("%d of %d damaged files of %d bytes were refused at once", refused, tries, used)
	require.NotZero(t, refused)

	// Every byte of the first pages with anything but a free page.
	if tries > 10_000 {
		for i := range min(used, 40_000) {
			bad := append([]byte{}, file...)
			bad[i] ^= 0xff
			sound(t, path, bad, want, fmt.Sprintf("byte %d inverted", i))
		}
	}
}

// A page that points to itself would end bbolt in a stack overflow, which
// nothing can catch.
func TestDamagedLoop(t *testing.T) {
	file, want := specimen(t)
	path := filepath.Join(t.TempDir(), "loop")
	loops := 0
	for p := 2; p < len(file)/4096; p++ {
		at := p * 4096
		if file[at+8] != 1 || file[at+9] != 0 { // a branch page
			continue
		}
		bad := append([]byte{}, file...)
		copy(bad[at+24:at+32], file[at:at+8]) // its first element points to itself
		if !sound(t, path, bad, want, fmt.Sprintf("page %d points to itself", p)) {
			loops++
		}
	}
	require.NotZero(t, loops)
}

// A file that another program cuts while it is open gives an error, not a
// crash.
func TestCutWhileOpen(t *testing.T) {
	s, path := newStore(t, store.Options{NoSync: true})
	_, err := importText(s, "i", walkText(t, 100_000))
	require.NoError(t, err)
	require.NoError(t, os.Truncate(path, 16<<10))
	_, err = s.Walks()
	require.ErrorIs(t, err, store.ErrForeign)
}
