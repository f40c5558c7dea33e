package walk

import (
	"fmt"
	"slices"
	"time"
)

// Accept proposes the reviewed visit. Store it, then Apply it.
func (s *Session) Accept() (Fact, error) {
	if s.phase != Reviewing {
		return Fact{}, ErrPhase
	}
	return Fact{Visit: s.Pending()}, nil
}

// Choose proposes to go to stop i next, whatever its state.
func (s *Session) Choose(i int, now time.Time) (Fact, error) {
	if s.phase != Going && s.phase != Over || s.walk.Completed {
		return Fact{}, ErrPhase
	}
	if i < 0 || i >= len(s.stops) {
		return Fact{}, fmt.Errorf("stop %d of %d", i+1, len(s.stops))
	}
	return s.mark(Goto, s.stops[i].Point, "", now), nil
}

// SkipStop proposes to leave the current stop out.
func (s *Session) SkipStop(reason string, now time.Time) (Fact, error) {
	if s.phase != Going || s.current < 0 || s.status[s.current] != Todo {
		return Fact{}, ErrPhase
	}
	return s.mark(Skip, s.stops[s.current].Point, reason, now), nil
}

// VoidVisit proposes that a visit shall not count.
func (s *Session) VoidVisit(id, reason string, now time.Time) (Fact, error) {
	if s.phase != Going && s.phase != Over {
		return Fact{}, ErrPhase
	}
	if !slices.ContainsFunc(s.walk.Standing(), func(v *Visit) bool { return v.ID == id }) {
		return Fact{}, fmt.Errorf("no visit %s stands", id)
	}
	return s.mark(Void, id, reason, now), nil
}

// Undo proposes to take back the latest fact that was not yet taken back.
func (s *Session) Undo(now time.Time) (Fact, error) {
	if s.phase != Going && s.phase != Over {
		return Fact{}, ErrPhase
	}
	if len(s.undo) == 0 {
		return Fact{}, ErrNothing
	}
	last := s.undo[len(s.undo)-1]
	m := Mark{Seq: s.nextSeq(), Time: stamp(now), Undo: true}
	switch {
	case last.Visit != nil:
		m.Kind, m.Target = Void, last.Visit.ID
	case last.Mark.Kind == Skip:
		m.Kind, m.Target = Unskip, last.Mark.Target
	case last.Mark.Kind == Unskip:
		m.Kind, m.Target = Skip, last.Mark.Target
	case last.Mark.Kind == Void:
		m.Kind, m.Target = Unvoid, last.Mark.Target
	default:
		m.Kind, m.Target = Void, last.Mark.Target
	}
	return Fact{Mark: &m}, nil
}

// FinishWalk proposes to end the walk; it will not be resumed.
func (s *Session) FinishWalk(now time.Time) (Fact, error) {
	if s.phase != Going && s.phase != Over || s.walk.Completed {
		return Fact{}, ErrPhase
	}
	return s.mark(Finish, "", "", now), nil
}

func (s *Session) mark(k MarkKind, target, reason string, now time.Time) Fact {
	return Fact{Mark: &Mark{Seq: s.nextSeq(), Time: stamp(now), Kind: k, Target: target, Reason: reason}}
}

// nextSeq is one above every number in the walk, so that the order of the fold
// is the order of making even where a number is missing.
func (s *Session) nextSeq() int {
	n := 0
	for i := range s.walk.Visits {
		n = max(n, s.walk.Visits[i].Seq)
	}
	for i := range s.walk.Marks {
		n = max(n, s.walk.Marks[i].Seq)
	}
	return n + 1
}

// stamp is t as it will read from disk: in UTC, without a monotonic clock.
func stamp(t time.Time) time.Time { return t.UTC().Round(0) }
