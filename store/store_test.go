package store_test

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"footrule/internal/radio"
	"footrule/internal/site"
	"footrule/internal/walk"
	"footrule/store"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"
)

// reopen closes a store and opens its file again.
func reopen(t testing.TB, s *store.Store, opt store.Options) *store.Store {
	t.Helper()
	require.NoError(t, s.Close())
	s, err := store.Open(s.Path(), opt)
	require.NoError(t, err)
	t.Cleanup(func() { _ = s.Close() })
	return s
}

func TestPlans(t *testing.T) {
	s, _ := newStore(t, store.Options{Version: "1.2.3"})
	plan, rev, err := s.Plan()
	require.NoError(t, err)
	assert.Equal(t, uint64(1), rev)
	assert.Equal(t, hall(), plan)

	rev, err = s.PutPlan(hall())
	require.NoError(t, err)
	assert.Equal(t, uint64(1), rev, "an equal plan adds no revision")

	moved := hall()
	moved.AccessPoints[2].At = orb.Point{1, 2}
	moved.AccessPoints[2].Radios[0].TxPowerDBm = nil
	rev, err = s.PutPlan(moved)
	require.NoError(t, err)
	assert.Equal(t, uint64(2), rev)

	s = reopen(t, s, store.Options{Version: "9"})
	plan, rev, err = s.Plan()
	require.NoError(t, err)
	assert.Equal(t, uint64(2), rev)
	assert.Equal(t, moved, plan)
	plan, err = s.PlanAt(1)
	require.NoError(t, err)
	assert.Equal(t, hall(), plan)
	for _, no := range []uint64{0, 3} {
		_, err = s.PlanAt(no)
		require.ErrorIs(t, err, store.ErrNotFound)
	}
	program, err := s.Program()
	require.NoError(t, err)
	assert.Equal(t, "1.2.3", program)
}

// What the access points hang on, and the answers, are kept with the plan.
func TestPlansKeepTheInfrastructure(t *testing.T) {
	s, _ := newStore(t, store.Options{})
	v, n := 61.5, 3
	plan := hall()
	ap := &plan.AccessPoints[1]
	ap.Radios[0].PHY = &site.PHY{Standard: "802.11ax", Streams: &n}
	ap.Power = &site.APPower{Source: site.FromInjector, InjectorClass: &n, TypicalW: &v, Modes: []site.PowerMode{{NeedsW: 12, Chains: []int{2}}}}
	ap.Drop = &site.Drop{Switch: "SW-1", Port: &n, LinkM: &v, Cable: "cat6"}
	plan.Infra = &site.Infra{
		Closets:  []site.Closet{{ID: "C1", Floor: "G", At: &orb.Point{3, 4}}, {ID: "C2", Floor: "G", RackUnitsFree: &n}},
		Switches: []site.Switch{{ID: "SW-1", Mounted: true, PowerBudgetW: &v, Ports: []site.PortGroup{{Count: 8, Class: &n}}, Taken: []int{1}}},
		Control:  &site.Control{Kind: site.Central, Licences: &n},
		Location: &site.Location{},
	}
	plan.Answers = []site.Answer{{Question: "ceiling-height", Text: "4 m", By: "T. Ester", At: day}}
	require.NoError(t, plan.Validate())
	rev, err := s.PutPlan(plan)
	require.NoError(t, err)
	assert.Equal(t, uint64(2), rev)

	s = reopen(t, s, store.Options{})
	got, _, err := s.Plan()
	require.NoError(t, err)
	assert.Equal(t, plan, got)
	rev, err = s.PutPlan(got.Clone())
	require.NoError(t, err)
	assert.Equal(t, uint64(2), rev, "an equal plan adds no revision")
	old, err := s.PlanAt(1)
	require.NoError(t, err)
	assert.Equal(t, hall(), old)
}

func TestWalks(t *testing.T) {
	finished := day.Add(time.Hour)
	s, _ := newStore(t, store.Options{Clock: func() time.Time { return finished }})
	headers, err := s.Headers()
	require.NoError(t, err)
	assert.Empty(t, headers)

	late, early := header("late"), header("early")
	late.Started, early.Settings.FacingsDeg = day.Add(time.Minute), nil
	require.NoError(t, s.BeginWalk(late))
	require.NoError(t, s.BeginWalk(early))
	require.NoError(t, s.BeginWalk(early), "an equal header is fine")
	other := early
	other.Receiver = "wlan1"
	require.ErrorIs(t, s.BeginWalk(other), store.ErrExists)
	require.Error(t, s.BeginWalk(walk.Header{}))

	odd := walk.Visit{ID: "V0002", Seq: 3, Floor: "G", At: orb.Point{1.0 / 3, -0.1}, Scans: []walk.Scan{
		{ID: "x", Time: day.Add(123456789), FacingDeg: walk.NoFacing, DroppedStale: 7},
		{Time: day.Add(-time.Hour), FacingDeg: 359.99, Readings: []radio.Reading{}},
		{FacingDeg: 90, Readings: []radio.Reading{
			{BSSID: bssid(1), SSID: "no \xff text", FreqMHz: 2437, RSSIDBm: -61.123456789012345},
			{BSSID: bssid(1), SSID: "", FreqMHz: 5180, RSSIDBm: -127}, {BSSID: bssid(2), RSSIDBm: -128}, {BSSID: bssid(2), RSSIDBm: 127}, {BSSID: bssid(2), RSSIDBm: 128}}}}}
	marks := []walk.Mark{{Seq: 2, Time: day.Add(5 * time.Nanosecond), Kind: walk.Skip, Target: "P07", Reason: "locked"}, {Seq: 4, Time: day, Kind: walk.Void, Target: "V0002", Undo: true}}
	require.NoError(t, s.AppendVisit("early", visit(1)))
	require.NoError(t, s.AppendMark("early", marks[0]))
	require.NoError(t, s.AppendVisit("early", odd))
	require.NoError(t, s.AppendMark("early", marks[1]))
	require.NoError(t, s.AppendVisit("late", visit(1)))

	want := walk.Walk{Header: early, Visits: []walk.Visit{visit(1), odd}, Marks: marks}
	check := func() {
		t.Helper()
		got, err := s.Walk("early")
		require.NoError(t, err)
		assert.Equal(t, want, *got)
	}
	check()

	// The same again changes nothing, another one under the same name is refused.
	require.NoError(t, s.AppendVisit("early", odd))
	require.NoError(t, s.AppendMark("early", marks[1]))
	changed := visit(1)
	changed.Scans[0].DroppedStale++
	require.ErrorIs(t, s.AppendVisit("early", changed), store.ErrExists)
	changedMark := marks[1]
	changedMark.Reason = "another"
	require.ErrorIs(t, s.AppendMark("early", changedMark), store.ErrExists)
	require.Error(t, s.AppendMark("early", walk.Mark{Kind: walk.Goto}))
	require.ErrorIs(t, s.AppendVisit("nobody", visit(2)), store.ErrNotFound)
	require.ErrorIs(t, s.AppendMark("nobody", marks[0]), store.ErrNotFound)
	require.ErrorIs(t, s.EndWalk("nobody"), store.ErrNotFound)
	require.Error(t, s.AppendVisit("early", walk.Visit{}))
	require.Error(t, s.AppendVisit("early", walk.Visit{ID: "\xff"}))
	check()
	s = reopen(t, s, store.Options{Clock: func() time.Time { return finished }})
	check()
	require.NoError(t, s.AppendVisit("early", odd))
	require.ErrorIs(t, s.AppendVisit("early", changed), store.ErrExists)
	check()

	require.NoError(t, s.EndWalk("early"))
	require.NoError(t, s.EndWalk("early"))
	want.Completed = true
	want.Marks = append(want.Marks, walk.Mark{Seq: 5, Time: finished, Kind: walk.Finish})
	check()
	require.NoError(t, s.BeginWalk(early), "a walk that was completed meanwhile is still the same")
	check()

	headers, err = s.Headers()
	require.NoError(t, err)
	assert.Equal(t, []walk.Header{want.Header, late}, headers)
	all, err := s.Walks()
	require.NoError(t, err)
	lateWalk := walk.Walk{Header: late, Visits: []walk.Visit{visit(1)}}
	assert.Equal(t, []walk.Walk{want, lateWalk}, all)
	some, err := s.Walks("late", "late")
	require.NoError(t, err)
	assert.Equal(t, []walk.Walk{lateWalk}, some)
	_, err = s.Walks("late", "nobody")
	require.ErrorIs(t, err, store.ErrNotFound)
	_, err = s.Walk("nobody")
	require.ErrorIs(t, err, store.ErrNotFound)
	assert.EqualError(t, err, s.Path()+`: there is no walk "nobody"; name one of the walks in the file`)
}

// A finish that the session proposed completes the walk as EndWalk does.
func TestFinishMark(t *testing.T) {
	s, _ := newStore(t, store.Options{})
	require.NoError(t, s.BeginWalk(header("w")))
	require.NoError(t, s.AppendMark("w", walk.Mark{Seq: 1, Time: day, Kind: walk.Finish}))
	w, err := s.Walk("w")
	require.NoError(t, err)
	assert.True(t, w.Completed)
	require.NoError(t, s.EndWalk("w"))
	w, err = s.Walk("w")
	require.NoError(t, err)
	assert.Len(t, w.Marks, 1)
}

func TestAddWalk(t *testing.T) {
	s, _ := newStore(t, store.Options{})
	w := walk.Walk{Header: header("w"), Visits: []walk.Visit{visit(1), visit(2)}, Marks: []walk.Mark{{Seq: 3, Time: day, Kind: walk.Finish}}}
	w.Completed, w.Source = true, walk.Imported
	for _, want := range []bool{true, false} {
		added, err := s.AddWalk(w)
		require.NoError(t, err)
		assert.Equal(t, want, added)
	}
	got, err := s.Walk("w")
	require.NoError(t, err)
	assert.Equal(t, w, *got)

	more := w
	more.Visits = append(more.Visits[:2:2], visit(3))
	_, err = s.AddWalk(more)
	require.ErrorIs(t, err, store.ErrExists)
	twice := walk.Walk{Header: header("x"), Visits: []walk.Visit{visit(1), visit(1)}}
	_, err = s.AddWalk(twice)
	require.ErrorIs(t, err, store.ErrExists)
	require.Error(t, s.AppendVisit("w", visit(4)), "an imported walk is a whole")
	headers, err := s.Headers()
	require.NoError(t, err)
	assert.Equal(t, []walk.Header{w.Header}, headers)
}

func TestCreateRefuses(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "there")
	require.NoError(t, os.WriteFile(path, []byte("mine"), 0o600))
	_, err := store.Create(path, hall(), store.Options{})
	require.ErrorIs(t, err, store.ErrExists)
	require.ErrorIs(t, err, os.ErrExist)
	kept, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, "mine", string(kept))

	_, err = store.Create(filepath.Join(dir, "no", "such", "directory"), hall(), store.Options{})
	require.ErrorIs(t, err, os.ErrNotExist)
	_, err = store.Create(filepath.Join(dir, "new"), hall(), store.Options{ReadOnly: true})
	require.ErrorIs(t, err, store.ErrReadOnly)
	assert.NoFileExists(t, filepath.Join(dir, "new"))
}

func TestOpenRefuses(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		return path
	}
	program := func(name string, f func(*bbolt.Tx) error) string {
		path := filepath.Join(dir, name)
		db, err := bbolt.Open(path, 0o600, nil)
		require.NoError(t, err)
		require.NoError(t, db.Update(f))
		require.NoError(t, db.Close())
		return path
	}
	format := func(text string) func(*bbolt.Tx) error {
		return func(tx *bbolt.Tx) error {
			b, err := tx.CreateBucket([]byte("meta"))
			return errors.Join(err, b.Put([]byte("format"), []byte(text)))
		}
	}
	png := "\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR"
	for name, tt := range map[string]struct {
		path string
		kind error
		want string
	}{
		"absent":           {filepath.Join(dir, "absent"), os.ErrNotExist, "no such file"},
		"directory":        {dir, nil, "a directory, not a site file"},
		"empty":            {write("empty", ""), store.ErrForeign, "not a footrule site file: it is empty"},
		"picture":          {write("picture", png), store.ErrForeign, "not a footrule site file: it has another format"},
		"long picture":     {write("long", png+string(make([]byte, 100_000))), store.ErrForeign, "it has another format"},
		"other program":    {program("other", func(tx *bbolt.Tx) error { _, err := tx.CreateBucket([]byte("x")); return err }), store.ErrForeign, "it is of another program"},
		"other's meta":     {program("others", format("cellar/1")), store.ErrForeign, "it is of another program"},
		"newer":            {program("newer", format("footrule-store/2")), store.ErrNewer, "format footrule-store/2, this version reads footrule-store/1; use a newer footrule"},
		"format of letter": {program("letter", format("footrule-store/x")), store.ErrForeign, "damaged"},
		"nothing but meta": {program("bare", format("footrule-store/1")), store.ErrForeign, "its part plans is missing"},
	} {
		t.Run(name, func(t *testing.T) {
			before, _ := os.ReadFile(tt.path)
			for _, opt := range []store.Options{{}, {ReadOnly: true}} {
				_, err := store.Open(tt.path, opt)
				require.Error(t, err)
				if tt.kind != nil {
					require.ErrorIs(t, err, tt.kind)
				}
				assert.ErrorContains(t, err, tt.want)
				assert.ErrorContains(t, err, tt.path+": ")
				after, _ := os.ReadFile(tt.path)
				assert.Equal(t, before, after, "a file that is refused is left alone")
			}
		})
	}
	assert.NoFileExists(t, filepath.Join(dir, "absent"))
}

func TestReadOnly(t *testing.T) {
	s, path := newStore(t, store.Options{})
	require.NoError(t, s.BeginWalk(header("w")))
	require.NoError(t, s.AppendVisit("w", visit(1)))
	require.NoError(t, s.Close())
	require.NoError(t, os.Chmod(path, 0o444))

	a, err := store.Open(path, store.Options{ReadOnly: true})
	require.NoError(t, err)
	defer func() { _ = a.Close() }()
	b, err := store.Open(path, store.Options{ReadOnly: true})
	require.NoError(t, err, "several may read")
	defer func() { _ = b.Close() }()
	for _, r := range []*store.Store{a, b} {
		w, err := r.Walk("w")
		require.NoError(t, err)
		assert.Equal(t, []walk.Visit{visit(1)}, w.Visits)
	}
	_, err = a.PutPlan(hall())
	require.ErrorIs(t, err, store.ErrReadOnly)
	require.ErrorIs(t, a.BeginWalk(header("x")), store.ErrReadOnly)
	require.ErrorIs(t, a.AppendVisit("w", visit(2)), store.ErrReadOnly)
	require.ErrorIs(t, a.AppendMark("w", walk.Mark{Seq: 2}), store.ErrReadOnly)
	require.ErrorIs(t, a.EndWalk("w"), store.ErrReadOnly)
	_, err = a.Import(walk.Header{Name: "i"}, "i.csv", nil, 0, nil)
	require.ErrorIs(t, err, store.ErrReadOnly)
}

// In one process as in two: a lock belongs to the open file.
func TestLockedInProcess(t *testing.T) {
	s, path := newStore(t, store.Options{})
	for _, opt := range []store.Options{{Timeout: -1}, {Timeout: 50 * time.Millisecond}, {ReadOnly: true, Timeout: time.Millisecond}} {
		_, err := store.Open(path, opt)
		require.ErrorIs(t, err, store.ErrLocked)
		assert.EqualError(t, err, path+": another process has the file open; end it there, or wait, and try again")
	}
	go func() {
		time.Sleep(100 * time.Millisecond)
		_ = s.Close()
	}()
	later, err := store.Open(path, store.Options{}) // the default waits long enough
	require.NoError(t, err)
	require.NoError(t, later.Close())
}
