package store_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"footrule/internal/walk"
	"footrule/store"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// tally counts what damage did.
type damageTally struct{ files, found, harmless, refused, lostVisits, lostWalks, lostPlans int }

// salvaged holds one damaged file: what is wrong is found and named, or nothing
// that counts was touched; what is given was stored; and what Open gives agrees.
func (d *damageTally) salvaged(t *testing.T, path string, file []byte, want contents, how string) {
	t.Helper()
	d.files++
	require.NoError(t, os.WriteFile(path, file, 0o600))
	w, err := store.Salvage(path)
	if err != nil {
		require.True(t, errors.Is(err, store.ErrForeign) || errors.Is(err, store.ErrNewer) || errors.Is(err, store.ErrOlder), "%s: %v", how, err)
		d.refused++
		return
	}
	s, err := store.Open(path, store.Options{ReadOnly: true})
	var got contents
	if err == nil {
		got, err = readAll(s)
		require.NoError(t, s.Close())
	}
	if len(w.Faults) == 0 {
		d.harmless++
		require.NoError(t, err, how)
		require.Equal(t, want, got, how)
		require.Equal(t, want.Walks, w.Walks, how)
		return
	}
	d.found++
	for _, f := range w.Faults {
		require.NotEmpty(t, f.Where, how)
		require.NotEmpty(t, f.What, how)
	}
	d.lostPlans += len(want.Plans) - len(w.Plans)
	for rev, p := range w.Plans {
		require.Equal(t, want.Plans[rev-1], p, how)
	}
	byID := map[string]*walk.Walk{}
	for i := range want.Walks {
		byID[want.Walks[i].ID] = &want.Walks[i]
	}
	d.lostWalks += len(want.Walks)
	for i := range w.Walks {
		g := &w.Walks[i]
		o := byID[g.ID]
		if o == nil { // its header is lost
			require.True(t, strings.HasPrefix(g.ID, "lost-"), how)
			continue
		}
		d.lostWalks--
		d.lostVisits += len(o.Visits) - len(g.Visits)
		require.Subset(t, keysOf(o), keysOf(g), how)
		for k := range g.Visits {
			for l := range o.Visits {
				if o.Visits[l].ID == g.Visits[k].ID {
					require.Equal(t, o.Visits[l], g.Visits[k], how)
				}
			}
		}
	}
}

func keysOf(w *walk.Walk) []string {
	out := []string{w.ID}
	for _, v := range w.Visits {
		out = append(out, "visit "+v.ID)
	}
	for _, m := range w.Marks {
		out = append(out, fmt.Sprintf("mark %+v", m))
	}
	return out
}

// little makes a small file with two plans, a live walk with marks, one without
// visits, and an imported one.
func little(t *testing.T) ([]byte, contents) {
	t.Helper()
	s, path := newStore(t, store.Options{NoSync: true})
	moved := hall()
	moved.Name = "Harbour Depot, moved"
	_, err := s.PutPlan(moved)
	require.NoError(t, err)
	for i, visits := range []int{5, 0} {
		id := fmt.Sprint("w", i)
		require.NoError(t, s.BeginWalk(header(id)))
		for v := range visits {
			require.NoError(t, s.AppendVisit(id, visit(uint64(v+1))))
		}
	}
	require.NoError(t, s.AppendMark("w0", walk.Mark{Seq: 6, Time: day, Kind: walk.Skip, Target: "P09", Reason: "locked"}))
	_, err = importText(s, "i", walkText(t, 200))
	require.NoError(t, err)
	want, err := readAll(s)
	require.NoError(t, err)
	require.NoError(t, s.Close())
	file, err := os.ReadFile(path)
	require.NoError(t, err)
	return file, want
}

func lastUsed(file []byte) int {
	for i := len(file) - 1; ; i-- {
		if file[i] != 0 {
			return i + 1
		}
	}
}

// A flipped byte anywhere in a small file, or (always) every 307th, and at random
// in a larger one: found and named, or without effect; the rest can be read.
func TestFlippedByte(t *testing.T) {
	step := 307
	if os.Getenv(flipsEnv) != "" {
		step = 1
	}
	file, want := little(t)
	path := filepath.Join(t.TempDir(), "flipped")
	var d damageTally
	d.salvaged(t, path, file, want, "whole")
	require.Equal(t, damageTally{files: 1, harmless: 1}, d)
	for i := 0; i < lastUsed(file); i += step {
		bad := append([]byte{}, file...)
		bad[i] ^= 0xff
		d.salvaged(t, path, bad, want, fmt.Sprintf("byte %d", i))
	}
	t.Logf("a small file, every %d. byte of %d: %+v", step, lastUsed(file), d)
	assert.NotZero(t, d.found)

	file, want = specimen(t)
	rnd := rand.New(rand.NewPCG(5, 1))
	d = damageTally{}
	for range map[bool]int{true: 3000, false: 25}[step == 1] {
		bad := append([]byte{}, file...)
		i, bit := rnd.IntN(lastUsed(file)), rnd.IntN(8)
		bad[i] ^= 1 << bit
		d.salvaged(t, path, bad, want, fmt.Sprintf("bit %d of byte %d", bit, i))
	}
	t.Logf("a larger file of %d bytes, at random: %+v", lastUsed(file), d)
	assert.NotZero(t, d.found)
}

// Whole pages that are gone, and a file that is cut.
func TestLostPages(t *testing.T) {
	file, want := specimen(t)
	path := filepath.Join(t.TempDir(), "lost")
	var d damageTally
	for p := range lastUsed(file) / 4096 {
		if p%4 != 0 && os.Getenv(flipsEnv) == "" {
			continue
		}
		bad := append([]byte{}, file...)
		clear(bad[p*4096 : (p+1)*4096])
		d.salvaged(t, path, bad, want, fmt.Sprintf("page %d cleared", p))
		d.salvaged(t, path, file[:p*4096+100], want, fmt.Sprintf("cut in page %d", p))
	}
	t.Logf("%+v", d)
	assert.NotZero(t, d.found)
}

func TestFaultsAreNamed(t *testing.T) {
	file, want := little(t)
	path := filepath.Join(t.TempDir(), "named")
	at := strings.Index(string(file), "V0003")
	require.Positive(t, at)
	for strings.Contains(string(file[at+1:]), "V0003") { // the last copy is that in use
		at += 1 + strings.Index(string(file[at+1:]), "V0003")
	}
	bad := append([]byte{}, file...)
	bad[at] ^= 1
	require.NoError(t, os.WriteFile(path, bad, 0o600))
	w, err := store.Salvage(path)
	require.NoError(t, err)
	assert.Equal(t, []store.Fault{{Where: "walk w0", What: "visit 3: does not check out"}}, w.Faults)
	assert.Equal(t, append(append([]walk.Visit{}, want.Walks[0].Visits[:2]...), want.Walks[0].Visits[3:]...), w.Walks[0].Visits)

	plan, rev := w.Newest()
	assert.Equal(t, uint64(2), rev)
	assert.Equal(t, want.Plans[1], plan)
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, bad, after, "salvaging changes nothing")
}

// A bucket that has no record in it is missed as well.
func TestLostPlaceIsNamed(t *testing.T) {
	file, want := little(t)
	path := filepath.Join(t.TempDir(), "place")
	var d damageTally
	for at := range file {
		if strings.HasPrefix(string(file[at:]), "marks") {
			bad := append([]byte{}, file...)
			bad[at] ^= 1
			d.salvaged(t, path, bad, want, fmt.Sprintf("marks at %d", at))
		}
	}
	assert.Positive(t, d.found)
}
