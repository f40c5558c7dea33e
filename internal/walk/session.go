package walk

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"footrule/internal/radio"
	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// Stop is a point to stand at, in the order of the walk.
type Stop struct {
	Point string
	Floor string
	At    orb.Point
}

// Status says how a stop stands.
type Status int

// The states of a stop.
const (
	Todo Status = iota
	Done
	Skipped
)

// Phase says what the session waits for.
type Phase int

// The phases of a walk. From Going, Begin leads to Scanning; when a facing has
// its scans, Turning waits for Face, and after the last facing Reviewing waits
// for Accept, Redo or Drop. A fact that was proposed changes nothing until it
// has been stored and is handed to Apply. In a finished walk only VoidVisit and
// its Undo are left, and the phase stays Over.
const (
	Going Phase = iota
	Scanning
	Turning
	Reviewing
	Over
)

// Fact is one thing to be stored: a visit or a mark.
type Fact struct {
	Visit *Visit
	Mark  *Mark
}

// Errors that a session answers with; the state is unchanged then.
var (
	ErrPhase   = errors.New("not possible now")
	ErrNothing = errors.New("nothing to undo")
	ErrVoid    = errors.New("nobody can stand there: it is outside the outline or in a void")
)

// Session is one walk in progress: a fold of the facts stored so far, plus the
// visit that is being recorded and is on no disk yet.
type Session struct {
	site    *site.Site
	walk    Walk
	stops   []Stop
	index   map[string]int // point to stop
	status  []Status
	reasons []string // of skipped stops
	visited []int    // place in walk.Visits of the visit that stands at a stop, −1 for none
	voided  map[string]bool
	todo    int // stops that are
	last    int // place of the latest visit that stands, −1 for none
	current int // −1 when nothing is left
	phase   Phase
	offset  orb.Point
	undo    []Fact

	scans   []Scan
	facing  int // place in Settings.FacingsDeg
	inFace  int // scans taken in this facing
	since   time.Time
	live    []Now
	liveAt  time.Time
	hasLive bool
}

// NewSession resumes a walk: the facts in w are folded over the stops, so that
// the state after any kind of end is the state that was on disk. stops are in
// walking order. Settings with no scans per facing or facings outside [0, 360)
// are an error.
func NewSession(s *site.Site, w Walk, stops []Stop) (*Session, error) {
	if w.Settings.ScansPerFacing < 1 {
		return nil, fmt.Errorf("%d scans per facing; take at least 1", w.Settings.ScansPerFacing)
	}
	for _, f := range w.Settings.FacingsDeg {
		if !(f >= 0 && f < 360) {
			return nil, fmt.Errorf("a facing of %g degrees; facings are at least 0 and below 360", f)
		}
	}
	if len(stops) == 0 {
		return nil, errors.New("no points to walk; add points to the plan or lay a grid")
	}
	se := &Session{site: s, stops: stops, index: make(map[string]int, len(stops)),
		status: make([]Status, len(stops)), reasons: make([]string, len(stops)), visited: make([]int, len(stops)), voided: map[string]bool{}, todo: len(stops), last: -1}
	for i, st := range stops {
		if _, twice := se.index[st.Point]; twice {
			return nil, fmt.Errorf("point %s stands twice on the way", st.Point)
		}
		se.index[st.Point], se.visited[i] = i, -1
	}
	se.walk.Header = w.Header
	se.current = -1
	se.goNext(-1)
	for _, f := range w.facts() {
		se.Apply(f)
	}
	se.endIfCompleted()
	return se, nil
}

func (f Fact) seq() int {
	if f.Visit != nil {
		return f.Visit.Seq
	}
	return f.Mark.Seq
}

// Walk gives the facts so far. The slices are the session's own: read only.
func (s *Session) Walk() *Walk { return &s.walk }

// Site gives the plan that is walked.
func (s *Session) Site() *site.Site { return s.site }

// Stops gives the stops in walking order.
func (s *Session) Stops() []Stop { return s.stops }

// Status gives the state of stop i.
func (s *Session) Status(i int) Status { return s.status[i] }

// Reason gives why stop i was skipped.
func (s *Session) Reason(i int) string { return s.reasons[i] }

// VisitAt gives the visit that stands at stop i, nil where there is none.
func (s *Session) VisitAt(i int) *Visit {
	if s.visited[i] < 0 {
		return nil
	}
	return &s.walk.Visits[s.visited[i]]
}

func (s *Session) visit(id string) *Visit {
	for i := range s.walk.Visits {
		if s.walk.Visits[i].ID == id {
			return &s.walk.Visits[i]
		}
	}
	return nil
}

// Phase says what the session waits for.
func (s *Session) Phase() Phase { return s.phase }

// Current gives the stop to go to or to record at; ok is false when nothing is left.
func (s *Session) Current() (i int, ok bool) { return s.current, s.current >= 0 }

// At gives where the surveyor stands, or will stand, at the current stop: its
// place on the plan and what was nudged.
func (s *Session) At() orb.Point {
	if s.current < 0 {
		return orb.Point{}
	}
	p := s.stops[s.current].At
	return orb.Point{p[0] + s.offset[0], p[1] + s.offset[1]}
}

// Here gives where the surveyor was last known to stand: at the latest visit
// that stands. ok is false before the first.
func (s *Session) Here() (floor string, at orb.Point, ok bool) {
	if s.last < 0 {
		return "", orb.Point{}, false
	}
	v := &s.walk.Visits[s.last]
	return v.Floor, v.At, true
}

// Progress counts the stops.
type Progress struct{ Done, Skipped, Todo int }

// Progress counts the stops by their state.
func (s *Session) Progress() Progress {
	var p Progress
	for _, st := range s.status {
		switch st {
		case Done:
			p.Done++
		case Skipped:
			p.Skipped++
		default:
			p.Todo++
		}
	}
	return p
}

// Recording says how far the visit is.
type Recording struct {
	Facing    float64 // to take now, or NoFacing
	Nth, Of   int     // facing Nth of Of, from 1
	Scans     int     // taken in this facing
	ScansWant int
	All       int // taken in the visit
	AllWant   int
}

// Recording says how far the visit is that is being recorded.
func (s *Session) Recording() Recording {
	set := s.walk.Settings
	of := max(1, len(set.FacingsDeg))
	return Recording{Facing: s.facingDeg(), Nth: s.facing + 1, Of: of,
		Scans: s.inFace, ScansWant: set.ScansPerFacing,
		All: len(s.scans), AllWant: of * set.ScansPerFacing}
}

func (s *Session) facingDeg() float64 {
	if len(s.walk.Settings.FacingsDeg) == 0 {
		return NoFacing
	}
	return s.walk.Settings.FacingsDeg[s.facing]
}

// Since is the moment before which nothing heard counts: the arrival at the
// point, or the turn to the facing.
func (s *Session) Since() time.Time { return s.since }

// Begin starts the visit at the current stop: from now on sweeps count.
func (s *Session) Begin(now time.Time) error {
	if s.phase != Going || s.current < 0 {
		return ErrPhase
	}
	s.scans, s.facing, s.inFace = nil, 0, 0
	s.since, s.phase = now, Scanning
	return nil
}

// Face starts the next facing, once the surveyor has turned.
func (s *Session) Face(now time.Time) error {
	if s.phase != Turning {
		return ErrPhase
	}
	s.since, s.phase = now, Scanning
	return nil
}

// Take hands over a sweep. It always becomes the live picture; while scanning
// it also becomes a scan of the visit if it was begun after the stay (or the
// facing) was. Results older than that, and levels that no receiver can have
// measured, are dropped and counted, and of a BSSID that is listed twice the
// younger result counts. counted says whether it did.
func (s *Session) Take(sw radio.Sweep) (counted bool) {
	s.listen(sw)
	if s.phase != Scanning || sw.Started.Before(s.since) {
		return false
	}
	end := sw.Started.Add(sw.Took)
	sc := Scan{Time: stamp(sw.Started), FacingDeg: s.facingDeg(), FreqsMHz: channelSet(sw.FreqsMHz), DroppedStale: sw.DroppedStale}
	ages := make([]time.Duration, 0, len(sw.Heard))
	for _, h := range sw.Heard {
		if end.Add(-h.Age).Before(s.since) || !radio.LevelOK(h.RSSIDBm) {
			sc.DroppedStale++
			continue
		}
		if k := slices.IndexFunc(sc.Readings, func(r radio.Reading) bool { return r.BSSID == h.BSSID }); k >= 0 {
			if h.Age < ages[k] {
				sc.Readings[k], ages[k] = h.Reading, h.Age
			}
			continue
		}
		sc.Readings, ages = append(sc.Readings, h.Reading), append(ages, h.Age)
	}
	s.scans = append(s.scans, sc)
	s.inFace++
	if s.inFace >= s.walk.Settings.ScansPerFacing {
		if s.facing+1 < len(s.walk.Settings.FacingsDeg) {
			s.facing, s.inFace, s.phase = s.facing+1, 0, Turning
		} else {
			s.phase = Reviewing
		}
	}
	return true
}

// Pending gives the visit that is being recorded or reviewed, as it would be
// stored; nil when there is none.
func (s *Session) Pending() *Visit {
	if s.phase != Scanning && s.phase != Turning && s.phase != Reviewing {
		return nil
	}
	st := s.stops[s.current]
	id := ""
	for n := len(s.walk.Visits) + 1; id == "" || s.visit(id) != nil; n++ {
		id = fmt.Sprintf("V%04d", n)
	}
	return &Visit{ID: id, Seq: s.nextSeq(), Point: st.Point, Floor: st.Floor, At: s.At(), Scans: s.scans}
}

// Drop gives up the visit being recorded and keeps nothing of it.
func (s *Session) Drop() error {
	if s.phase != Scanning && s.phase != Turning && s.phase != Reviewing {
		return ErrPhase
	}
	s.scans, s.facing, s.inFace, s.phase = nil, 0, 0, Going
	return nil
}

// Redo drops the scans of the visit under review and starts it again.
func (s *Session) Redo(now time.Time) error {
	if s.phase != Reviewing {
		return ErrPhase
	}
	s.phase = Going
	return s.Begin(now)
}

// Nudge moves where the surveyor stands, by metres right and up on the plan,
// before or while a visit is recorded.
func (s *Session) Nudge(dx, dy float64) error {
	if s.current < 0 || s.phase == Over {
		return ErrPhase
	}
	p := s.At()
	f := s.site.Floor(s.stops[s.current].Floor)
	if f == nil || !f.Walkable(orb.Point{p[0] + dx, p[1] + dy}) {
		return ErrVoid
	}
	s.offset[0] += dx
	s.offset[1] += dy
	return nil
}

// Offset gives how far the stand was nudged from the stop, in metres.
func (s *Session) Offset() orb.Point { return s.offset }
