package walk_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"footrule/internal/radio"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var (
	bssA5  = radio.BSSID{2, 0, 0x5e, 0x10, 1, 0x50}
	bssA5b = radio.BSSID{2, 0, 0x5e, 0x10, 1, 0x51}
	bssA2  = radio.BSSID{2, 0, 0x5e, 0x10, 1, 0x20}
	bssB5  = radio.BSSID{2, 0, 0x5e, 0x10, 2, 0x50}
	bssX   = radio.BSSID{2, 0, 0x5e, 0xf0, 9, 0x09} // on no plan
)

// plan is an invented hall with a void in its middle and two access points:
// radios 0 (A, 5 GHz, two BSSIDs), 1 (A, 2.4 GHz) and 2 (B, 5 GHz).
func plan() *site.Site {
	return &site.Site{
		Name: "Hall", ReceiverHeightM: 1.2,
		Floors: []site.Floor{{
			ID:      "G",
			Outline: orb.Ring{{0, 0}, {20, 0}, {20, 10}, {0, 10}},
			Areas:   []site.Area{{ID: "shaft", Kind: site.Void, Polygon: orb.Ring{{8, 4}, {12, 4}, {12, 6}, {8, 6}}}},
		}},
		AccessPoints: []site.AccessPoint{
			{ID: "A", Floor: "G", At: orb.Point{2, 5}, HeightM: 3, Radios: []site.Radio{
				{Band: radio.Band5, BSSIDs: []radio.BSSID{bssA5, bssA5b}}, {Band: radio.Band2, BSSIDs: []radio.BSSID{bssA2}}}},
			{ID: "B", Floor: "G", At: orb.Point{18, 5}, HeightM: 3, Radios: []site.Radio{{Band: radio.Band5, BSSIDs: []radio.BSSID{bssB5}}}},
		},
	}
}

func stops() []walk.Stop {
	return []walk.Stop{
		{Point: "P1", Floor: "G", At: orb.Point{2, 2}}, {Point: "P2", Floor: "G", At: orb.Point{7, 5}},
		{Point: "P3", Floor: "G", At: orb.Point{13, 5}}, {Point: "P4", Floor: "G", At: orb.Point{18, 8}},
	}
}

var start = time.Date(2026, 3, 4, 9, 0, 0, 0, time.UTC)

// surveyor drives a session with a clock of its own.
type surveyor struct {
	t   *testing.T
	s   *walk.Session
	now time.Time
}

func newSurveyor(t *testing.T, set walk.Settings) *surveyor {
	t.Helper()
	s, err := walk.NewSession(plan(), walk.Walk{Header: walk.Header{ID: "W1", Settings: set}}, stops())
	require.NoError(t, err)
	return &surveyor{t: t, s: s, now: start}
}

// oneScan are settings under which one sweep makes a visit.
func oneScan() walk.Settings {
	return walk.Settings{ScansPerFacing: 1, Need: 3, ThresholdDBm: -75}
}

func (u *surveyor) tick() time.Time { u.now = u.now.Add(time.Second); return u.now }

func hear(b radio.BSSID, dBm float64, age time.Duration) radio.Heard {
	return radio.Heard{Reading: radio.Reading{BSSID: b, FreqMHz: 5180, RSSIDBm: dBm}, Age: age}
}

func (u *surveyor) sweep(h ...radio.Heard) bool {
	return u.s.Take(radio.Sweep{Started: u.tick(), Took: 400 * time.Millisecond, Heard: h})
}

// apply stores a proposed fact, as a store would.
func (u *surveyor) apply(f walk.Fact, err error) {
	u.t.Helper()
	require.NoError(u.t, err)
	u.s.Apply(f)
}

// visit records and accepts a visit at the current stop.
func (u *surveyor) visit() {
	u.t.Helper()
	require.NoError(u.t, u.s.Begin(u.tick()))
	for u.s.Phase() != walk.Reviewing {
		if u.s.Phase() == walk.Turning {
			require.NoError(u.t, u.s.Face(u.tick()))
		}
		require.True(u.t, u.sweep(hear(bssA5, -50, 100*time.Millisecond)))
	}
	u.apply(u.s.Accept())
}

// view is all that can be seen of a session that records nothing.
type view struct {
	Phase    walk.Phase
	Current  int
	Status   []walk.Status
	Reasons  []string
	Visits   []string
	Progress walk.Progress
	Here     string
	Stand    orb.Point
	Undo     string
	Next     walk.Fact // what would be proposed: shows the numbering
	Walk     walk.Walk
}

func viewOf(s *walk.Session) view {
	v := view{Phase: s.Phase(), Progress: s.Progress(), Walk: *s.Walk()}
	v.Current, _ = s.Current()
	for i := range s.Stops() {
		id := ""
		if at := s.VisitAt(i); at != nil {
			id = at.ID
		}
		v.Status, v.Reasons, v.Visits = append(v.Status, s.Status(i)), append(v.Reasons, s.Reason(i)), append(v.Visits, id)
	}
	floor, at, ok := s.Here()
	v.Here = fmt.Sprint(floor, at, ok)
	v.Stand = s.At()
	f, err := s.Undo(start)
	if f.Mark != nil {
		v.Undo = fmt.Sprintf("%+v", *f.Mark)
	} else {
		v.Undo = fmt.Sprint(err)
	}
	v.Next, _ = s.Choose(0, start)
	return v
}

// resumed rebuilds the session from the facts alone.
func resumed(t *testing.T, s *walk.Session) *walk.Session {
	t.Helper()
	w := walk.Walk{Header: s.Walk().Header}
	w.Completed = false // a store may not rewrite the header: the mark says it
	w.Visits = append(w.Visits, s.Walk().Visits...)
	w.Marks = append(w.Marks, s.Walk().Marks...)
	out, err := walk.NewSession(s.Site(), w, s.Stops())
	require.NoError(t, err)
	return out
}

func TestNewSessionRefuses(t *testing.T) {
	ok := walk.DefaultSettings()
	with := func(f func(*walk.Settings)) walk.Walk {
		set := walk.DefaultSettings()
		f(&set)
		return walk.Walk{Header: walk.Header{Settings: set}}
	}
	twice := append(stops(), stops()[1])
	tests := []struct {
		name  string
		w     walk.Walk
		stops []walk.Stop
		want  string
	}{
		{"no scans", with(func(s *walk.Settings) { s.ScansPerFacing = 0 }), stops(), "0 scans per facing"},
		{"a full turn", with(func(s *walk.Settings) { s.FacingsDeg = []float64{0, 360} }), stops(), "360 degrees"},
		{"below zero", with(func(s *walk.Settings) { s.FacingsDeg = []float64{-1} }), stops(), "-1 degrees"},
		{"not a number", with(func(s *walk.Settings) { s.FacingsDeg = []float64{math.NaN()} }), stops(), "NaN degrees"},
		{"no stops", walk.Walk{Header: walk.Header{Settings: ok}}, nil, "no points to walk"},
		{"a point twice", walk.Walk{Header: walk.Header{Settings: ok}}, twice, "P2 stands twice"},
	}
	for _, tt := range tests {
		_, err := walk.NewSession(plan(), tt.w, tt.stops)
		require.ErrorContains(t, err, tt.want, tt.name)
	}
}

// Every intent in every phase: it is either taken or refused with ErrPhase, and
// what is refused changes nothing.
func TestTransitions(t *testing.T) {
	set := walk.Settings{FacingsDeg: []float64{0, 180}, ScansPerFacing: 2, ThresholdDBm: -75}
	phases := map[walk.Phase]func(u *surveyor){
		walk.Going:    func(u *surveyor) {},
		walk.Scanning: func(u *surveyor) { require.NoError(t, u.s.Begin(u.tick())); require.True(t, u.sweep()) },
		walk.Turning: func(u *surveyor) {
			require.NoError(t, u.s.Begin(u.tick()))
			require.True(t, u.sweep())
			require.True(t, u.sweep())
		},
		walk.Reviewing: func(u *surveyor) {
			require.NoError(t, u.s.Begin(u.tick()))
			require.True(t, u.sweep())
			require.True(t, u.sweep())
			require.NoError(t, u.s.Face(u.tick()))
			require.True(t, u.sweep())
			require.True(t, u.sweep())
		},
		walk.Over: func(u *surveyor) {
			for range 3 {
				u.apply(u.s.SkipStop("locked", u.tick()))
			}
		},
	}
	all := func(p ...walk.Phase) map[walk.Phase]bool {
		m := map[walk.Phase]bool{}
		for _, p := range p {
			m[p] = true
		}
		return m
	}
	only := func(_ walk.Fact, err error) error { return err }
	intents := []struct {
		name string
		in   map[walk.Phase]bool
		do   func(u *surveyor) error
	}{
		{"begin", all(walk.Going), func(u *surveyor) error { return u.s.Begin(u.now) }},
		{"face", all(walk.Turning), func(u *surveyor) error { return u.s.Face(u.now) }},
		{"accept", all(walk.Reviewing), func(u *surveyor) error { return only(u.s.Accept()) }},
		{"redo", all(walk.Reviewing), func(u *surveyor) error { return u.s.Redo(u.now) }},
		{"drop", all(walk.Scanning, walk.Turning, walk.Reviewing), func(u *surveyor) error { return u.s.Drop() }},
		{"nudge", all(walk.Going, walk.Scanning, walk.Turning, walk.Reviewing), func(u *surveyor) error { return u.s.Nudge(0.5, 0) }},
		{"choose", all(walk.Going, walk.Over), func(u *surveyor) error { return only(u.s.Choose(2, u.now)) }},
		{"skip", all(walk.Going), func(u *surveyor) error { return only(u.s.SkipStop("", u.now)) }},
		{"void", all(walk.Going, walk.Over), func(u *surveyor) error { return only(u.s.VoidVisit("V0001", "", u.now)) }},
		{"undo", all(walk.Going, walk.Over), func(u *surveyor) error { return only(u.s.Undo(u.now)) }},
		{"finish", all(walk.Going, walk.Over), func(u *surveyor) error { return only(u.s.FinishWalk(u.now)) }},
	}
	for phase, reach := range phases {
		for _, in := range intents {
			u := newSurveyor(t, set)
			u.visit() // so that there is a visit to void and a fact to undo
			reach(u)
			require.Equal(t, phase, u.s.Phase())
			before, rec := viewOf(u.s), u.s.Recording()
			err := in.do(u)
			if in.in[phase] {
				require.NoError(t, err, "%s in phase %d", in.name, phase)
				continue
			}
			require.ErrorIs(t, err, walk.ErrPhase, "%s in phase %d", in.name, phase)
			assert.Equal(t, before, viewOf(u.s), "%s in phase %d", in.name, phase)
			assert.Equal(t, rec, u.s.Recording())
		}
	}
}

func TestRecording(t *testing.T) {
	u := newSurveyor(t, walk.Settings{FacingsDeg: []float64{90, 270}, ScansPerFacing: 2})
	assert.Nil(t, u.s.Pending())
	require.NoError(t, u.s.Begin(u.tick()))
	assert.Equal(t, u.now, u.s.Since())
	var got []walk.Recording
	var phases []walk.Phase
	note := func() { got, phases = append(got, u.s.Recording()), append(phases, u.s.Phase()) }
	note()
	u.sweep()
	note()
	u.sweep()
	note()
	assert.False(t, u.sweep(), "a sweep while turning does not count")
	require.NoError(t, u.s.Face(u.tick()))
	assert.Equal(t, u.now, u.s.Since())
	u.sweep()
	note()
	u.sweep()
	note()
	assert.False(t, u.sweep(), "a sweep under review does not count")
	assert.Equal(t, []walk.Recording{
		{Facing: 90, Nth: 1, Of: 2, Scans: 0, ScansWant: 2, All: 0, AllWant: 4},
		{Facing: 90, Nth: 1, Of: 2, Scans: 1, ScansWant: 2, All: 1, AllWant: 4},
		{Facing: 270, Nth: 2, Of: 2, Scans: 0, ScansWant: 2, All: 2, AllWant: 4},
		{Facing: 270, Nth: 2, Of: 2, Scans: 1, ScansWant: 2, All: 3, AllWant: 4},
		{Facing: 270, Nth: 2, Of: 2, Scans: 2, ScansWant: 2, All: 4, AllWant: 4},
	}, got)
	assert.Equal(t, []walk.Phase{walk.Scanning, walk.Scanning, walk.Turning, walk.Scanning, walk.Reviewing}, phases)

	require.NoError(t, u.s.Nudge(0.5, -0.25))
	f, err := u.s.Accept()
	require.NoError(t, err)
	var facings []float64
	for _, sc := range f.Visit.Scans {
		facings = append(facings, sc.FacingDeg)
	}
	assert.Equal(t, []float64{90, 90, 270, 270}, facings)
	f.Visit.Scans = nil
	assert.Equal(t, walk.Visit{ID: "V0001", Seq: 1, Point: "P1", Floor: "G", At: orb.Point{2.5, 1.75}}, *f.Visit)
	assert.Equal(t, walk.Reviewing, u.s.Phase(), "nothing is done before it is stored")
	assert.Equal(t, walk.Progress{Todo: 4}, u.s.Progress())
}

func TestOneFreeFacing(t *testing.T) {
	u := newSurveyor(t, walk.Settings{ScansPerFacing: 2})
	require.NoError(t, u.s.Begin(u.tick()))
	u.sweep()
	assert.Equal(t, walk.Recording{Facing: walk.NoFacing, Nth: 1, Of: 1, Scans: 1, ScansWant: 2, All: 1, AllWant: 2}, u.s.Recording())
	u.sweep()
	require.Equal(t, walk.Reviewing, u.s.Phase())
	assert.Equal(t, walk.NoFacing, u.s.Pending().Scans[1].FacingDeg)
}

func TestDropAndRedoKeepNothing(t *testing.T) {
	u := newSurveyor(t, oneScan())
	before := viewOf(u.s)
	require.NoError(t, u.s.Begin(u.tick()))
	u.sweep(hear(bssA5, -50, 0))
	require.NoError(t, u.s.Drop())
	assert.Equal(t, before, viewOf(u.s))

	require.NoError(t, u.s.Begin(u.tick()))
	u.sweep(hear(bssA5, -50, 0))
	require.NoError(t, u.s.Redo(u.tick()))
	assert.Equal(t, walk.Scanning, u.s.Phase())
	assert.Equal(t, u.now, u.s.Since())
	assert.Empty(t, u.s.Pending().Scans)
	u.sweep(hear(bssB5, -60, 0))
	require.Len(t, u.s.Pending().Scans, 1)
	assert.Equal(t, bssB5, u.s.Pending().Scans[0].Readings[0].BSSID)
}

func TestTakeCountsWhatBelongsToTheStay(t *testing.T) {
	since := start
	sec := time.Second
	tests := []struct {
		name    string
		sweep   radio.Sweep
		counted bool
		want    walk.Scan
	}{
		{"begun before the stay",
			radio.Sweep{Started: since.Add(-1), Took: sec, Heard: []radio.Heard{hear(bssA5, -50, 0)}}, false, walk.Scan{}},
		{"begun with the stay",
			radio.Sweep{Started: since, Took: sec}, true, walk.Scan{Time: since, FacingDeg: walk.NoFacing}},
		{"a result older than the stay",
			radio.Sweep{Started: since, Took: sec, DroppedStale: 2, Heard: []radio.Heard{
				hear(bssA5, -50, sec), hear(bssB5, -60, sec+1)}}, true,
			walk.Scan{Time: since, FacingDeg: walk.NoFacing, DroppedStale: 3, Readings: []radio.Reading{hear(bssA5, -50, 0).Reading}}},
		{"levels that are none",
			radio.Sweep{Started: since, Took: sec, Heard: []radio.Heard{
				hear(bssA5, 0, 0), hear(bssA2, math.NaN(), 0), hear(bssA5b, -121, 0), hear(bssB5, -60, 0)}}, true,
			walk.Scan{Time: since, FacingDeg: walk.NoFacing, DroppedStale: 3, Readings: []radio.Reading{hear(bssB5, -60, 0).Reading}}},
		{"one BSSID twice, the younger second",
			radio.Sweep{Started: since, Took: sec, Heard: []radio.Heard{
				hear(bssA5, -50, 300), hear(bssB5, -60, 0), hear(bssA5, -55, 200)}}, true,
			walk.Scan{Time: since, FacingDeg: walk.NoFacing, Readings: []radio.Reading{hear(bssA5, -55, 0).Reading, hear(bssB5, -60, 0).Reading}}},
		{"one BSSID twice, the younger first",
			radio.Sweep{Started: since, Took: sec, Heard: []radio.Heard{
				hear(bssA5, -50, 200), hear(bssA5, -55, 300)}}, true,
			walk.Scan{Time: since, FacingDeg: walk.NoFacing, Readings: []radio.Reading{hear(bssA5, -50, 0).Reading}}},
		{"another clock's zone",
			radio.Sweep{Started: since.In(time.FixedZone("", 3600)), Took: sec}, true, walk.Scan{Time: since, FacingDeg: walk.NoFacing}},
	}
	for _, tt := range tests {
		u := newSurveyor(t, oneScan())
		require.NoError(t, u.s.Begin(since))
		require.Equal(t, tt.counted, u.s.Take(tt.sweep), tt.name)
		_, _, live := u.s.Live()
		assert.True(t, live, "%s: every sweep is the live picture", tt.name)
		if !tt.counted {
			assert.Empty(t, u.s.Pending().Scans, tt.name)
			continue
		}
		require.Len(t, u.s.Pending().Scans, 1, tt.name)
		assert.Equal(t, tt.want, u.s.Pending().Scans[0], tt.name)
	}
}

func TestSweepBegunBeforeTheTurn(t *testing.T) {
	u := newSurveyor(t, walk.Settings{FacingsDeg: []float64{0, 180}, ScansPerFacing: 1})
	require.NoError(t, u.s.Begin(u.tick()))
	require.True(t, u.sweep())
	late := radio.Sweep{Started: u.tick(), Took: time.Second}
	require.NoError(t, u.s.Face(u.tick()))
	assert.False(t, u.s.Take(late))
	assert.Equal(t, 0, u.s.Recording().Scans)
}

// The time of a scan is what a disk gives back: UTC, no monotonic clock.
func TestTimesAreAsStored(t *testing.T) {
	u := newSurveyor(t, oneScan())
	now := time.Now()
	require.NoError(t, u.s.Begin(now))
	require.True(t, u.s.Take(radio.Sweep{Started: now}))
	assert.Equal(t, time.Unix(0, now.UnixNano()).UTC(), u.s.Pending().Scans[0].Time)
	require.NoError(t, u.s.Drop())
	f, err := u.s.SkipStop("", now)
	require.NoError(t, err)
	assert.Equal(t, time.Unix(0, now.UnixNano()).UTC(), f.Mark.Time)
}

func TestLive(t *testing.T) {
	u := newSurveyor(t, oneScan())
	_, _, ok := u.s.Live()
	assert.False(t, ok)
	u.sweep(hear(bssA5, -80, 0), hear(bssA2, -70, 0), hear(bssB5, -75, 0), hear(bssX, -30, 0), hear(bssA5b, 3, 0))
	now, at, ok := u.s.Live()
	assert.True(t, ok)
	assert.Equal(t, u.now.Add(400*time.Millisecond), at)
	assert.Equal(t, []walk.Now{{AP: 0, Radio: 1, LevelDBm: -70}, {AP: 1, Radio: 2, LevelDBm: -75}}, now)
	assert.Equal(t, 2, u.s.HeardNow(), "a box with two bands counts once, −75 dBm is heard at a threshold of −75")
	u.sweep(hear(bssA5, -75.5, 0), hear(bssB5, -75.5, 0))
	now, _, _ = u.s.Live()
	assert.Equal(t, []walk.Now{{AP: 0, Radio: 0, LevelDBm: -75.5}, {AP: 1, Radio: 2, LevelDBm: -75.5}}, now)
	assert.Equal(t, 0, u.s.HeardNow())
}

func TestNudge(t *testing.T) {
	u := newSurveyor(t, oneScan())
	u.visit() // now at P2, one metre left of the void
	require.NoError(t, u.s.Nudge(0.75, 0))
	assert.Equal(t, orb.Point{7.75, 5}, u.s.At())
	for _, d := range []orb.Point{{1, 0}, {0, 6}, {-20, 0}, {math.NaN(), 0}, {0, math.Inf(1)}} {
		require.ErrorIs(t, u.s.Nudge(d[0], d[1]), walk.ErrVoid, "%v", d)
	}
	assert.Equal(t, orb.Point{0.75, 0}, u.s.Offset())
	u.visit()
	assert.Equal(t, orb.Point{7.75, 5}, u.s.VisitAt(1).At)
	assert.Equal(t, orb.Point{}, u.s.Offset(), "the nudge belongs to the stop")
	floor, at, ok := u.s.Here()
	assert.Equal(t, []any{"G", orb.Point{7.75, 5}, true}, []any{floor, at, ok})
}

func TestAllDoneIsOver(t *testing.T) {
	u := newSurveyor(t, oneScan())
	u.visit()
	u.apply(u.s.SkipStop("door locked", u.tick()))
	assert.Equal(t, "door locked", u.s.Reason(1))
	u.visit()
	u.visit()
	assert.Equal(t, walk.Over, u.s.Phase())
	_, ok := u.s.Current()
	assert.False(t, ok)
	assert.Equal(t, orb.Point{}, u.s.At())
	assert.Equal(t, walk.Progress{Done: 3, Skipped: 1}, u.s.Progress())
	assert.False(t, u.s.Walk().Completed, "it may be resumed until it is finished")
	require.ErrorIs(t, u.s.Begin(u.tick()), walk.ErrPhase)
}

func TestWrapAround(t *testing.T) {
	u := newSurveyor(t, oneScan())
	u.apply(u.s.Choose(2, u.tick()))
	order := []int{}
	for u.s.Phase() != walk.Over {
		i, _ := u.s.Current()
		order = append(order, i)
		u.visit()
	}
	assert.Equal(t, []int{2, 3, 0, 1}, order)
}

func TestChoose(t *testing.T) {
	u := newSurveyor(t, oneScan())
	_, err := u.s.Choose(-1, u.now)
	require.ErrorContains(t, err, "stop 0 of 4")
	_, err = u.s.Choose(4, u.now)
	require.ErrorContains(t, err, "stop 5 of 4")

	u.visit()
	u.apply(u.s.Choose(0, u.tick())) // a stop that is done
	i, ok := u.s.Current()
	assert.Equal(t, []any{0, true}, []any{i, ok})
	assert.Equal(t, walk.Done, u.s.Status(0))
	_, err = u.s.SkipStop("", u.now)
	require.ErrorIs(t, err, walk.ErrPhase, "a stop that is done is not skipped")
	u.visit()
	assert.Equal(t, "V0002", u.s.VisitAt(0).ID, "the later of two visits is the one that is shown")
	assert.Len(t, u.s.Walk().Standing(), 2)
	i, _ = u.s.Current()
	assert.Equal(t, 1, i)

	u.apply(u.s.Undo(u.tick()))
	assert.Equal(t, "V0001", u.s.VisitAt(0).ID)
	assert.Equal(t, walk.Done, u.s.Status(0))
	i, _ = u.s.Current()
	assert.Equal(t, 0, i, "undo goes back to where the visit was made")
}

func TestSkippedStopIsVisitedAfterAll(t *testing.T) {
	u := newSurveyor(t, oneScan())
	u.apply(u.s.SkipStop("meeting", u.tick()))
	u.apply(u.s.Choose(0, u.tick()))
	assert.Equal(t, walk.Skipped, u.s.Status(0))
	u.visit()
	assert.Equal(t, walk.Done, u.s.Status(0))
	assert.Empty(t, u.s.Reason(0))
	u.apply(u.s.Undo(u.tick()))
	assert.Equal(t, walk.Skipped, u.s.Status(0))
	assert.Equal(t, "meeting", u.s.Reason(0))
	i, _ := u.s.Current()
	assert.Equal(t, 0, i)
	u.apply(u.s.Undo(u.tick()))
	assert.Equal(t, walk.Todo, u.s.Status(0))
	assert.Empty(t, u.s.Reason(0))
}

func TestUndo(t *testing.T) {
	u := newSurveyor(t, oneScan())
	_, err := u.s.Undo(u.now)
	require.ErrorIs(t, err, walk.ErrNothing)

	state := func() any {
		v := viewOf(u.s)
		return []any{v.Phase, v.Current, v.Status, v.Reasons, v.Visits, v.Progress, v.Here, v.Stand}
	}
	states := []any{state()}
	u.visit()
	states = append(states, state())
	u.apply(u.s.SkipStop("wet floor", u.tick()))
	states = append(states, state())
	u.visit()
	states = append(states, state())
	u.apply(u.s.VoidVisit("V0002", "bumped", u.tick()))
	for i := len(states) - 1; i >= 0; i-- {
		f, err := u.s.Undo(u.tick())
		require.NoError(t, err)
		assert.True(t, f.Mark.Undo)
		u.s.Apply(f)
		assert.Equal(t, states[i], state(), "back at state %d", i)
	}
	_, err = u.s.Undo(u.now)
	require.ErrorIs(t, err, walk.ErrNothing)
	assert.Len(t, u.s.Walk().Visits, 2, "facts are only ever added")
	assert.Empty(t, u.s.Walk().Standing())
	assert.Zero(t, u.s.Walk().Readings())
}

func TestVoidVisit(t *testing.T) {
	u := newSurveyor(t, oneScan())
	u.visit()
	u.visit()
	u.apply(u.s.Choose(0, u.tick()))
	u.visit() // V0003, again at P1
	u.apply(u.s.Choose(3, u.tick()))
	require.NoError(t, u.s.Nudge(0.5, 0))

	u.apply(u.s.VoidVisit("V0001", "", u.tick()))
	i, _ := u.s.Current()
	assert.Equal(t, 3, i, "another visit stands at P1: nobody is sent anywhere")
	assert.Equal(t, orb.Point{0.5, 0}, u.s.Offset())
	_, err := u.s.VoidVisit("V0001", "", u.now)
	require.ErrorContains(t, err, "no visit V0001 stands")
	_, err = u.s.VoidVisit("V0099", "", u.now)
	require.ErrorContains(t, err, "no visit V0099 stands")

	u.apply(u.s.VoidVisit("V0002", "door was open", u.tick()))
	i, _ = u.s.Current()
	assert.Equal(t, 1, i, "its stop is to do again")
	assert.Equal(t, walk.Todo, u.s.Status(1))
}

func TestFinishIsForGood(t *testing.T) {
	u := newSurveyor(t, oneScan())
	u.visit()
	u.apply(u.s.FinishWalk(u.tick()))
	check := func() {
		t.Helper()
		assert.Equal(t, walk.Over, u.s.Phase())
		assert.True(t, u.s.Walk().Completed)
		_, ok := u.s.Current()
		assert.False(t, ok)
		require.ErrorIs(t, u.s.Begin(u.now), walk.ErrPhase)
		_, err := u.s.Choose(2, u.now)
		require.ErrorIs(t, err, walk.ErrPhase)
		_, err = u.s.FinishWalk(u.now)
		require.ErrorIs(t, err, walk.ErrPhase)
	}
	check()
	_, err := u.s.Undo(u.now)
	require.ErrorIs(t, err, walk.ErrNothing, "what came before the end stays")
	u.apply(u.s.VoidVisit("V0001", "wrong floor", u.tick()))
	check()
	assert.Empty(t, u.s.Walk().Standing())
	u.apply(u.s.Undo(u.tick()))
	check()
	assert.Len(t, u.s.Walk().Standing(), 1)

	again, err := walk.NewSession(plan(), *u.s.Walk(), stops())
	require.NoError(t, err)
	assert.Equal(t, viewOf(u.s), viewOf(again))
}

// A visit at a point that the plan no longer has stays a fact and moves nobody.
func TestForeignFacts(t *testing.T) {
	u := newSurveyor(t, oneScan())
	u.visit()
	u.s.Apply(walk.Fact{Visit: &walk.Visit{ID: "V0002", Seq: 9, Point: "gone", Floor: "G", At: orb.Point{1, 1}}})
	i, _ := u.s.Current()
	assert.Equal(t, 1, i)
	u.s.Apply(walk.Fact{Mark: &walk.Mark{Seq: 10, Kind: walk.Skip, Target: "gone"}})
	i, _ = u.s.Current()
	assert.Equal(t, 1, i)
	require.NoError(t, u.s.Begin(u.tick()))
	assert.Equal(t, []any{"V0003", 11}, []any{u.s.Pending().ID, u.s.Pending().Seq}, "numbers go on from the highest")
	require.NoError(t, u.s.Drop())
	u.apply(u.s.Undo(u.tick()))
	u.apply(u.s.Undo(u.tick()))
	assert.Equal(t, walk.Progress{Done: 1, Todo: 3}, u.s.Progress())
	assert.Equal(t, viewOf(u.s), viewOf(resumed(t, u.s)))
}

// Law: the state is a fold of the facts. After any operation a session rebuilt
// from the facts alone shows the same state, up to a visit being recorded.
func TestResumeEqualsFold(t *testing.T) {
	for seed := range uint64(60) {
		rng := rand.New(rand.NewPCG(seed, 7))
		set := walk.Settings{ScansPerFacing: 1 + rng.IntN(2), ThresholdDBm: -75}
		for k := range rng.IntN(3) {
			set.FacingsDeg = append(set.FacingsDeg, float64(90*k))
		}
		u := newSurveyor(t, set)
		apply := func(f walk.Fact, err error) {
			if err == nil {
				u.s.Apply(f)
			}
		}
		for op := range 120 {
			switch k := rng.IntN(40); {
			case k < 10:
				_ = u.s.Begin(u.tick())
			case k < 22:
				u.sweep(hear(bssA5, -50-float64(rng.IntN(30)), 0))
			case k < 25:
				_ = u.s.Face(u.tick())
			case k < 29:
				apply(u.s.Accept())
			case k < 30:
				_ = u.s.Drop()
			case k < 31:
				_ = u.s.Redo(u.tick())
			case k < 33:
				apply(u.s.SkipStop(fmt.Sprint("reason ", op), u.tick()))
			case k < 35:
				apply(u.s.Choose(rng.IntN(4), u.tick()))
			case k < 36:
				apply(u.s.VoidVisit(fmt.Sprintf("V%04d", 1+rng.IntN(6)), "", u.tick()))
			case k < 39:
				apply(u.s.Undo(u.tick()))
			default:
				if rng.IntN(8) == 0 {
					apply(u.s.FinishWalk(u.tick()))
				}
			}
			want, got := viewOf(u.s), viewOf(resumed(t, u.s))
			if p := want.Phase; p == walk.Scanning || p == walk.Turning || p == walk.Reviewing {
				want.Phase, want.Undo, want.Next = got.Phase, got.Undo, got.Next // refused while recording
				require.Equal(t, walk.Going, got.Phase)
			}
			require.Equal(t, want, got, "seed %d, operation %d", seed, op)
		}
	}
}
