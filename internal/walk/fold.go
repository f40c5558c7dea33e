package walk

import "github.com/paulmach/orb"

// Apply folds a stored fact into the state. It moves on to the next stop when
// the current one is settled, to the stop that a mark names or opens again, and
// otherwise leaves the surveyor where they are.
func (s *Session) Apply(f Fact) {
	if f.Visit != nil {
		s.walk.Visits = append(s.walk.Visits, *f.Visit)
		s.undo = append(s.undo, f)
		i, ok := s.index[f.Visit.Point]
		if !s.voided[f.Visit.ID] {
			s.last = len(s.walk.Visits) - 1
			if ok {
				if s.status[i] == Todo {
					s.todo--
				}
				s.status[i], s.visited[i], s.reasons[i] = Done, s.last, ""
			}
		}
		switch {
		case ok:
			s.goNext(i)
		case s.current >= 0:
			s.goTo(s.current)
		}
	} else {
		s.applyMark(*f.Mark)
	}
	s.endIfCompleted()
}

func (s *Session) applyMark(m Mark) {
	s.walk.Marks = append(s.walk.Marks, m)
	switch {
	case m.Undo:
		s.undo = s.undo[:max(0, len(s.undo)-1)]
	case m.Kind == Finish:
		s.undo = nil
		s.walk.Completed = true
	case m.Kind != Goto:
		s.undo = append(s.undo, Fact{Mark: &m})
	}
	if m.Kind != Goto && m.Kind != Finish {
		s.recount()
	}
	i, ok := s.index[m.Target]
	if m.Kind == Void || m.Kind == Unvoid {
		v := s.visit(m.Target)
		if ok = v != nil; ok {
			i, ok = s.index[v.Point]
		}
	}
	if !ok {
		return
	}
	switch m.Kind {
	case Goto, Unskip:
		s.goTo(i)
	case Skip:
		s.goNext(i)
	case Void:
		if m.Undo || s.status[i] != Done {
			s.goTo(i)
		}
	case Unvoid:
		if s.current == i || s.current < 0 {
			s.goNext(i)
		}
	}
}

// endIfCompleted keeps a finished walk over, whatever facts follow.
func (s *Session) endIfCompleted() {
	if s.walk.Completed {
		s.leave()
		s.current, s.phase = -1, Over
	}
}

// leave forgets what belongs to the stand at the current stop.
func (s *Session) leave() {
	s.offset = orb.Point{}
	s.scans, s.facing, s.inFace = nil, 0, 0
}

// recount derives the state of every stop from the facts.
func (s *Session) recount() {
	clear(s.reasons)
	clear(s.voided)
	s.last = -1
	for i := range s.status {
		s.status[i], s.visited[i] = Todo, -1
	}
	for _, m := range s.walk.Marks {
		switch m.Kind {
		case Void:
			s.voided[m.Target] = true
		case Unvoid:
			delete(s.voided, m.Target)
		}
		if i, ok := s.index[m.Target]; ok {
			switch m.Kind {
			case Skip:
				s.status[i], s.reasons[i] = Skipped, m.Reason
			case Unskip:
				s.status[i], s.reasons[i] = Todo, ""
			}
		}
	}
	for k := range s.walk.Visits {
		v := &s.walk.Visits[k]
		if s.voided[v.ID] {
			continue
		}
		s.last = k
		if i, ok := s.index[v.Point]; ok {
			s.status[i], s.visited[i], s.reasons[i] = Done, k, ""
		}
	}
	s.todo = 0
	for _, st := range s.status {
		if st == Todo {
			s.todo++
		}
	}
}

func (s *Session) goTo(i int) {
	s.leave()
	s.current, s.phase = i, Going
}

// goNext goes to the first stop to do after stop i, then around.
func (s *Session) goNext(i int) {
	n := len(s.stops)
	for k := 1; k <= n && s.todo > 0; k++ {
		j := ((i+k)%n + n) % n
		if s.status[j] == Todo {
			s.goTo(j)
			return
		}
	}
	s.leave()
	s.current, s.phase = -1, Over
}
