package store_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"footrule/internal/site"
	"footrule/internal/walk"
	"footrule/store"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// meaning is what a file says, whatever its numbers and its order: plans as a set,
// the newest of them, pictures, and walks with the plan that each was made on.
func meaning(t *testing.T, path string) map[string]any {
	t.Helper()
	w, err := store.Salvage(path)
	require.NoError(t, err)
	require.Empty(t, w.Faults)
	text := func(v any) string {
		b, err := json.Marshal(v)
		require.NoError(t, err)
		return string(b)
	}
	plans := map[string]bool{}
	for _, p := range w.Plans {
		plans[text(p)] = true
	}
	newest, _ := w.Newest()
	out := map[string]any{"plans": plans, "newest": text(newest), "pictures": len(w.Pictures)}
	for _, one := range w.Walks {
		plan := text(w.Plans[one.PlanRev])
		one.PlanRev = 0
		require.NotContains(t, out, one.ID)
		out[one.ID] = [2]any{one, plan}
	}
	return out
}

// laptop makes the file of one technician, from a seed: all have the first plan,
// some change it; some have walked, some went on with a walk that others have too,
// some imported the same captures under other names.
func laptop(t *testing.T, dir string, seed, who uint64) string {
	t.Helper()
	path := filepath.Join(dir, fmt.Sprintf("laptop-%d", who))
	s, err := store.Create(path, hall(), store.Options{NoSync: true, Version: "test"})
	require.NoError(t, err)
	common, rnd := rand.New(rand.NewPCG(seed, 1)), rand.New(rand.NewPCG(seed, 100+who))
	rev := uint64(1)
	for range rnd.IntN(3) {
		p := hall()
		p.ReceiverHeightM = 1 + float64(rnd.IntN(3))/10
		rev, err = s.PutPlan(p)
		require.NoError(t, err)
	}
	shared := 1 + common.IntN(3)
	for n := range shared { // walks that were on a laptop that was copied
		h := header(fmt.Sprintf("shared-%d", n))
		began := 1 + common.IntN(4)
		if rnd.IntN(4) == 0 {
			continue
		}
		require.NoError(t, s.BeginWalk(h))
		for v := range began {
			require.NoError(t, s.AppendVisit(h.ID, visit(uint64(v+1))))
		}
		switch rnd.IntN(4) {
		case 0: // nothing since
		case 1: // gone on with, the same on every laptop where it was
			require.NoError(t, s.AppendVisit(h.ID, visit(uint64(began+1))))
		case 2: // gone on with, each its own way
			v := visit(1000*who + uint64(n))
			v.ID = fmt.Sprintf("V%04d", began+1)
			require.NoError(t, s.AppendVisit(h.ID, v))
			require.NoError(t, s.AppendMark(h.ID, walk.Mark{Seq: 100, Time: day, Kind: walk.Finish}))
		case 3: // only a mark
			require.NoError(t, s.AppendMark(h.ID, walk.Mark{Seq: 50 + rnd.IntN(2), Time: day, Kind: walk.Skip, Target: "P01"}))
		}
	}
	for n := range rnd.IntN(3) {
		h := header(fmt.Sprintf("own-%d-%d", who, n))
		h.Surveyor, h.PlanRev = fmt.Sprintf("Technician %d", who), rev
		require.NoError(t, s.BeginWalk(h))
		for v := range rnd.IntN(4) {
			require.NoError(t, s.AppendVisit(h.ID, visit(100*who+uint64(v))))
		}
	}
	for n := range 2 {
		if rnd.IntN(2) == 0 {
			text := walkText(t, 50+50*n)
			_, err := importText(s, fmt.Sprintf("%d by %d", n, rnd.IntN(2)), text)
			require.NoError(t, err)
		}
	}
	if rnd.IntN(2) == 0 {
		_, err := s.PutPicture([]byte("picture of " + fmt.Sprint(rnd.IntN(2))))
		require.NoError(t, err)
	}
	require.NoError(t, s.Close())
	return path
}

// merged copies a file and merges others into it, one after the other.
func merged(t *testing.T, dir, name, into string, others ...string) string {
	t.Helper()
	data, err := os.ReadFile(into)
	require.NoError(t, err)
	path := filepath.Join(dir, name)
	require.NoError(t, os.WriteFile(path, data, 0o600))
	given := hall()
	given.ReceiverHeightM = 1.9
	for _, o := range others {
		s, err := store.Open(path, store.Options{NoSync: true, Version: "test"})
		require.NoError(t, err)
		other, err := store.Open(o, store.Options{ReadOnly: true})
		require.NoError(t, err)
		_, err = s.Merge(other, store.PlanGiven, given)
		require.NoError(t, err)
		require.NoError(t, other.Close())
		require.NoError(t, s.Close())
	}
	return path
}

// Law 2 of Merge: commutative, associative, idempotent.
func TestMergeLaws(t *testing.T) {
	seeds := uint64(8)
	if os.Getenv(flipsEnv) != "" {
		seeds = 300
	}
	apart, grown := 0, 0
	for seed := range seeds {
		dir := t.TempDir()
		a, b, c := laptop(t, dir, seed, 1), laptop(t, dir, seed, 2), laptop(t, dir, seed, 3)
		ab, ba := merged(t, dir, "ab", a, b), merged(t, dir, "ba", b, a)
		want := meaning(t, ab)
		require.Equal(t, want, meaning(t, ba), "seed %d: commutative", seed)
		require.Equal(t, want, meaning(t, merged(t, dir, "abb", ab, b, a, ba, ab)), "seed %d: idempotent", seed)
		require.Equal(t, meaning(t, a), meaning(t, merged(t, dir, "aa", a, a)), "seed %d: with itself", seed)
		bc := merged(t, dir, "bc", b, c)
		all := meaning(t, merged(t, dir, "ab-c", ab, c))
		for _, how := range []string{merged(t, dir, "a-bc", a, bc), merged(t, dir, "cab", c, a, b), merged(t, dir, "bca", bc, a), merged(t, dir, "acb", a, c, b)} {
			got, want := meaning(t, how), maps.Clone(all)
			a, b := got["plans"].(map[string]bool), maps.Clone(want["plans"].(map[string]bool))
			chosen := func(p string, _ bool) bool { return strings.Contains(p, `"ReceiverHeightM":1.9`) }
			size := len(a) + len(b)
			maps.DeleteFunc(a, chosen)
			maps.DeleteFunc(b, chosen)
			want["plans"] = b
			if len(a)+len(b) < size { // some merge had to choose
				delete(got, "newest")
				delete(want, "newest")
			}
			require.True(t, reflect.DeepEqual(want, got), "seed %d: associative", seed)
		}
		for id := range all {
			if len(id) > 9 && id[len(id)-9] == '~' {
				apart++
			}
		}
		// Nothing is lost: every visit of every file is there.
		visits := map[string]bool{}
		for _, v := range all {
			if one, ok := v.([2]any); ok {
				for _, v := range one[0].(walk.Walk).Visits {
					visits[fmt.Sprint(v)] = true
				}
			}
		}
		for _, file := range []string{a, b, c} {
			w, err := store.Salvage(file)
			require.NoError(t, err)
			for _, one := range w.Walks {
				for _, v := range one.Visits {
					require.True(t, visits[fmt.Sprint(v)], "seed %d: visit %s of %s", seed, v.ID, one.ID)
				}
			}
			grown += len(w.Walks)
		}
	}
	t.Logf("%d walks, %d versions kept apart", grown, apart)
	require.NotZero(t, apart)
}

// What a merge says of plans, and of an open walk that both sides went on with.
func TestMergeSays(t *testing.T) {
	dir := t.TempDir()
	make := func(name string, heightM float64, visits ...uint64) *store.Store {
		s, err := store.Create(filepath.Join(dir, name), hall(), store.Options{NoSync: true, Version: "test"})
		require.NoError(t, err)
		t.Cleanup(func() { _ = s.Close() })
		require.NoError(t, s.BeginWalk(header("w")))
		for i, v := range visits {
			one := visit(v)
			one.ID, one.Seq = fmt.Sprint("V", i), i+1
			require.NoError(t, s.AppendVisit("w", one))
		}
		if heightM != 0 {
			p := hall()
			p.ReceiverHeightM = heightM
			_, err := s.PutPlan(p)
			require.NoError(t, err)
		}
		return s
	}
	a, b, longer, other := make("a", 0, 1, 2), make("b", 1.5, 1), make("longer", 0, 1, 2, 3), make("other", 1.7, 1, 2, 9)

	m, err := a.Merge(b, store.PlanUndecided, nil)
	require.NoError(t, err, "one side alone changed the plan")
	assert.Equal(t, store.Merged{Same: m.Same, Plans: 1, Newer: true}, m)
	plan, rev, err := a.Plan()
	require.NoError(t, err)
	assert.Equal(t, uint64(2), rev)
	assert.Equal(t, 1.5, plan.ReceiverHeightM)

	m, err = a.Merge(longer, store.PlanUndecided, nil)
	require.NoError(t, err)
	require.Len(t, m.Extended, 1)
	w, err := a.Walk("w")
	require.NoError(t, err)
	assert.Len(t, w.Visits, 3)

	before, err := readAll(a)
	require.NoError(t, err)
	_, err = a.Merge(other, store.PlanUndecided, nil)
	require.ErrorIs(t, err, store.ErrPlans)
	after, err := readAll(a)
	require.NoError(t, err)
	assert.Equal(t, before, after, "nothing was added")
	m, err = a.Merge(other, store.PlanMine, nil)
	require.NoError(t, err)
	assert.Len(t, m.Apart, 2)
	plan, rev, err = a.Plan()
	require.NoError(t, err)
	assert.Equal(t, uint64(4), rev)
	assert.Equal(t, 1.5, plan.ReceiverHeightM)
	third, err := a.PlanAt(3)
	require.NoError(t, err)
	assert.Equal(t, 1.7, third.ReceiverHeightM)
	heads, err := a.Headers()
	require.NoError(t, err)
	require.Len(t, heads, 2)
	ids := []string{heads[0].ID, heads[1].ID}
	slices.Sort(ids)
	assert.Regexp(t, `^w~[0-9a-f]{8}$`, ids[0])
	assert.Regexp(t, `^w~[0-9a-f]{8}$`, ids[1])
	require.NoError(t, a.AppendVisit(ids[0], visit(77)), "a version is a walk like any other")

	_, err = b.Merge(other, store.PlanTheirs, nil)
	require.NoError(t, err)
	plan, _, err = b.Plan()
	require.NoError(t, err)
	assert.Equal(t, 1.7, plan.ReceiverHeightM)
	var _ *site.Site = plan

	r := reopen(t, longer, store.Options{ReadOnly: true})
	_, err = r.Merge(a, store.PlanMine, nil)
	require.ErrorIs(t, err, store.ErrReadOnly)
}
