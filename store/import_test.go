package store_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"footrule/internal/input"
	"footrule/internal/site"
	"footrule/internal/walk"
	"footrule/store"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"
)

func walkText(t testing.TB, rows int) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, writeWalk(&b, csvOptions{rows: rows}))
	return b.String()
}

// shuffled puts the rows of a walk.csv in another order, the same each time.
func shuffled(text string) string {
	lines := strings.SplitAfter(strings.TrimSuffix(text, "\n"), "\n")
	lines[len(lines)-1] += "\n"
	rnd := rand.New(rand.NewPCG(5, 6))
	rows := lines[1:]
	rnd.Shuffle(len(rows), func(i, j int) { rows[i], rows[j] = rows[j], rows[i] })
	return strings.Join(lines, "")
}

func importText(s *store.Store, name, text string) (store.Report, error) {
	return s.Import(walk.Header{Name: name}, name+".csv", strings.NewReader(text), int64(len(text)), nil)
}

func TestImport(t *testing.T) {
	s, _ := newStore(t, store.Options{Version: "1.2.3"})
	text := walkText(t, 5000)
	var seen []int64
	rep, err := s.Import(walk.Header{Name: "tuesday", Receiver: "wlan0"}, "walk.csv", strings.NewReader(text), int64(len(text)), func(read, total int64, readings int) {
		require.Equal(t, int64(len(text)), total)
		require.LessOrEqual(t, readings, 5000)
		seen = append(seen, read)
	})
	require.NoError(t, err)
	require.NotEmpty(t, seen)
	assert.True(t, slices.IsSorted(seen))
	assert.Equal(t, int64(len(text)), seen[len(seen)-1])

	want, err := walk.ReadCSV(strings.NewReader(text), "walk.csv", hall())
	require.NoError(t, err)
	w, err := s.Walk(rep.Walk.ID)
	require.NoError(t, err)
	require.Equal(t, want.Visits, w.Visits)
	assert.Equal(t, walk.Header{ID: "import-" + rep.Walk.Digest[:16], Name: "tuesday", Receiver: "wlan0", Source: walk.Imported, Started: want.Visits[0].Scans[0].Time, PlanRev: 1,
		Digest: rep.Walk.Digest, Program: "1.2.3", Completed: true}, w.Header)
	assert.Len(t, rep.Walk.Digest, 64)
	assert.Equal(t, store.Report{Walk: w.Header, Visits: 21, Scans: 250, Readings: 5000, Unknown: want.Tally.Unknown}, rep)
	assert.NotZero(t, rep.Unknown)

	// The same content again, under whatever name, adds nothing and says so.
	for _, name := range []string{"tuesday", "wednesday"} {
		again, err := importText(s, name, text)
		require.NoError(t, err)
		assert.Equal(t, store.Report{Walk: w.Header, Visits: 21, Scans: 250, Readings: 5000, AlreadyThere: true}, again)
	}
	// Other content under the same name is refused.
	_, err = importText(s, "tuesday", walkText(t, 100))
	require.ErrorIs(t, err, store.ErrExists)
	assert.ErrorContains(t, err, `a walk "tuesday" with other content is there already; name this one with --walk NAME`)
	_, err = importText(s, "wednesday", walkText(t, 100))
	require.NoError(t, err)
	headers, err := s.Headers()
	require.NoError(t, err)
	assert.Len(t, headers, 2)
}

// Files larger than what is held at a time, in good and in bad order, give what
// one reading in memory gives.
func TestImportSpills(t *testing.T) {
	text := walkText(t, 150_000)
	for name, text := range map[string]string{"in order": text, "shuffled": shuffled(text)} {
		t.Run(name, func(t *testing.T) {
			s, _ := newStore(t, store.Options{NoSync: true})
			want, err := walk.ReadCSV(strings.NewReader(text), "walk.csv", hall())
			require.NoError(t, err)
			rep, err := importText(s, "big", text)
			require.NoError(t, err)
			got, err := s.Walk(rep.Walk.ID)
			require.NoError(t, err)
			require.Len(t, got.Visits, len(want.Visits))
			for i := range want.Visits {
				require.Equal(t, want.Visits[i], got.Visits[i])
			}
			assert.Equal(t, [3]int{len(want.Visits), 7500, 150_000}, [3]int{rep.Visits, rep.Scans, rep.Readings})
			assert.Equal(t, want.Tally.Unknown, rep.Unknown)
			s = reopen(t, s, store.Options{ReadOnly: true})
			_, err = s.Walks()
			require.NoError(t, err)
		})
	}
}

// What goes wrong late, after much was spilled, leaves nothing behind.
func TestImportAllOrNothing(t *testing.T) {
	big := walkText(t, 140_000)
	first := strings.SplitAfterN(big, "\n", 3)[1] // a row of visit V000001, scan 1
	last := strings.Count(big, "\n")
	gone := errors.New("the stick was pulled")
	ctx, cancel := context.WithCancel(context.Background())
	tests := map[string]struct {
		ctx   context.Context
		r     io.Reader
		check func(*testing.T, error)
	}{
		"bad row": {r: strings.NewReader(big + "x\n"), check: func(t *testing.T, err error) {
			var in *input.Error
			require.ErrorAs(t, err, &in)
			assert.Equal(t, input.Error{File: "f.csv", Line: last + 1, Col: 1, What: "1 fields where the header has 12", Want: "an empty value still needs its comma"}, *in)
		}},
		"visit moved": {r: strings.NewReader(big + strings.Replace(first, ",2.50,", ",2.75,", 1)), check: func(t *testing.T, err error) {
			var in *input.Error
			require.ErrorAs(t, err, &in)
			assert.Equal(t, last+1, in.Line)
			assert.Contains(t, in.What, `visit "V000001" is at point "P01" (2.75, 3) on floor G here and at point "P01" (2.5, 3) on floor G on line 2`)
		}},
		"scan turned": {r: strings.NewReader(big + strings.Replace(first, ",3.00,0,1,", ",3.00,45,1,", 1)), check: func(t *testing.T, err error) {
			var in *input.Error
			require.ErrorAs(t, err, &in)
			assert.Equal(t, last+1, in.Line)
			assert.Contains(t, in.What, "faces 45° here and 0° on line 2")
		}},
		"scan too long": {r: strings.NewReader(big + strings.Replace(first, "T09:00", "T10:00", 1)), check: func(t *testing.T, err error) {
			var in *input.Error
			require.ErrorAs(t, err, &in)
			assert.Contains(t, in.What, "has rows 1h0m0s apart, the first on line 2")
		}},
		"reading fails": {r: io.MultiReader(strings.NewReader(big), iotest.ErrReader(gone)), check: func(t *testing.T, err error) {
			require.ErrorIs(t, err, gone)
			assert.ErrorContains(t, err, "f.csv: cannot be read to its end, nothing was added")
		}},
		"cancelled": {ctx: ctx, r: io.MultiReader(strings.NewReader(big), readerFunc(func([]byte) (int, error) { cancel(); return 0, io.EOF })), check: func(t *testing.T, err error) {
			require.ErrorIs(t, err, context.Canceled)
		}},
		"header only": {r: strings.NewReader(strings.SplitAfter(big, "\n")[0]), check: func(t *testing.T, err error) {
			require.ErrorContains(t, err, "no rows after the header")
		}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			s, path := newStore(t, store.Options{NoSync: true})
			require.NoError(t, s.BeginWalk(header("live")))
			require.NoError(t, s.AppendVisit("live", visit(1)))
			if tt.ctx == nil {
				tt.ctx = context.Background()
			}
			rep, err := s.ImportContext(tt.ctx, walk.Header{Name: "f"}, "f.csv", tt.r, 0, nil)
			tt.check(t, err)
			assert.Equal(t, store.Report{}, rep)
			all, err := s.Walks()
			require.NoError(t, err)
			assert.Equal(t, []walk.Walk{{Header: header("live"), Visits: []walk.Visit{visit(1)}}}, all)
			_, err = importText(s, "f", walkText(t, 1000))
			require.NoError(t, err, "and the store is usable")
			require.NoError(t, s.Close())
			assert.Equal(t, 2, walksOnDisk(t, path))
		})
	}
}

type readerFunc func([]byte) (int, error)

func (f readerFunc) Read(p []byte) (int, error) { return f(p) }

// walksOnDisk counts the walks in the file, seen or not.
func walksOnDisk(t *testing.T, path string) int {
	t.Helper()
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{Timeout: time.Second})
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	n := 0
	require.NoError(t, db.View(func(tx *bbolt.Tx) error {
		for err := range tx.Check() {
			require.NoError(t, err)
		}
		return tx.Bucket([]byte("walks")).ForEach(func(_, _ []byte) error { n++; return nil })
	}))
	return n
}

// A row of every visit at the end of the file: most visits have to be joined.
func TestImportManyVisits(t *testing.T) {
	s, _ := newStore(t, store.Options{NoSync: true})
	var b strings.Builder
	b.WriteString("time,visit,floor,x_m,y_m,scan,bssid,rssi_dbm\n")
	for k := range 2 {
		for i := range 35_000 {
			fmt.Fprintf(&b, "2026-03-01T09:00:0%dZ,V%d,G,1,%d,1,02:00:00:00:00:%02x,-60\n", k, i*7919%35_000, i%7, k)
		}
	}
	text := b.String()
	want, err := walk.ReadCSV(strings.NewReader(text), "walk.csv", hall())
	require.NoError(t, err)
	rep, err := importText(s, "many", text)
	require.NoError(t, err)
	assert.Equal(t, [3]int{35_000, 35_000, 70_000}, [3]int{rep.Visits, rep.Scans, rep.Readings})
	got, err := s.Walk(rep.Walk.ID)
	require.NoError(t, err)
	require.Len(t, got.Visits, len(want.Visits))
	for i := range got.Visits {
		if !assert.ObjectsAreEqual(want.Visits[i], got.Visits[i]) {
			require.Equal(t, want.Visits[i], got.Visits[i])
		}
	}
}

// The captures of real places, where they are at hand.
func TestImportRealFiles(t *testing.T) {
	for _, name := range []string{"rtt_library", "ble_tetam"} {
		t.Run(name, func(t *testing.T) {
			dir := filepath.Join("..", "..", "shared", "data", name)
			files, err := filepath.Glob(filepath.Join(dir, "*.csv"))
			require.NoError(t, err)
			if len(files) == 0 {
				t.Skip("the captures of real places are not at hand")
			}
			text, err := os.Open(filepath.Join(dir, "site.toml"))
			require.NoError(t, err)
			plan, err := site.Read("site.toml", text)
			require.NoError(t, err)
			require.NoError(t, text.Close())
			s, err := store.Create(filepath.Join(t.TempDir(), "real"), plan, store.Options{})
			require.NoError(t, err)
			defer func() { _ = s.Close() }()
			readings := 0
			for _, file := range files {
				text, err := os.ReadFile(file)
				require.NoError(t, err)
				rep, err := importText(s, filepath.Base(file), string(text))
				require.NoError(t, err)
				assert.Empty(t, rep.Warnings)
				assert.Zero(t, rep.Unknown)
				want, err := walk.ReadCSV(bytes.NewReader(text), file, plan)
				require.NoError(t, err)
				got, err := s.Walk(rep.Walk.ID)
				require.NoError(t, err)
				assert.Equal(t, want.Visits, got.Visits)
				readings += rep.Readings
			}
			info, err := os.Stat(s.Path())
			require.NoError(t, err)
			t.Logf("%d readings in %d bytes", readings, info.Size())
		})
	}
}
