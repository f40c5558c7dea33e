package walk

import (
	"maps"
	"slices"
	"strconv"

	"footrule/internal/site"
)

// Player plays the facts of a walk: it gives the session as it was after the
// first n of them, for any n, forwards and back.
//
//  1. After n facts the session is that of [NewSession] with those facts.
//  2. Visits without a point get a stop of their own, named by their ID.
type Player struct {
	site  *site.Site
	walk  Walk
	stops []Stop
	facts []Fact
	shown []Fact // facts, every visit with a point
	n     int
	se    *Session
	kept  []*Session // as they were after every keepEvery facts, as far as was played
}

// keepEvery bounds how many facts a step back plays again.
const keepEvery = 256

// NewPlayer prepares a walk to be played, before its first fact. The stops are
// the places that were visited, in order of first visits, and those of more
// that are not among them. A walk without a visit, or settings that make no
// session, are an error.
func NewPlayer(s *site.Site, w Walk, more []Stop) (*Player, error) {
	p := &Player{site: s, walk: w, facts: w.facts()}
	if w.Settings.ScansPerFacing < 1 { // an import has no settings
		p.walk.Settings = DefaultSettings()
		p.walk.Settings.FacingsDeg = nil
	}
	known := map[string]bool{}
	for _, f := range p.facts {
		if f.Visit == nil {
			p.shown = append(p.shown, f)
			continue
		}
		v := *f.Visit
		if v.Point == "" {
			v.Point = v.ID
		}
		if !known[v.Point] {
			known[v.Point] = true
			p.stops = append(p.stops, Stop{Point: v.Point, Floor: v.Floor, At: v.At})
		}
		p.shown = append(p.shown, Fact{Visit: &v})
	}
	for _, st := range more {
		if !known[st.Point] {
			known[st.Point] = true
			p.stops = append(p.stops, st)
		}
	}
	se, err := NewSession(s, Walk{Header: p.header()}, p.stops)
	if err != nil {
		return nil, err
	}
	p.se, p.kept = se, []*Session{se.clone()}
	return p, nil
}

// header is that of the walk while it was under way.
func (p *Player) header() Header {
	h := p.walk.Header
	h.Completed = false
	return h
}

// Len is how many facts there are.
func (p *Player) Len() int { return len(p.facts) }

// At is how many of them were played.
func (p *Player) At() int { return p.n }

// Fact gives fact i, as it was stored.
func (p *Player) Fact(i int) Fact { return p.facts[i] }

// Session gives the session as it was. It is another one after a step back.
func (p *Player) Session() *Session { return p.se }

// Go plays up to n facts, clamped to what there is.
func (p *Player) Go(n int) {
	n = min(max(n, 0), len(p.facts))
	if from := min(n/keepEvery, len(p.kept)-1); n < p.n || from*keepEvery > p.n {
		p.se, p.n = p.kept[from].clone(), from*keepEvery
	}
	for p.n < n {
		p.se.Apply(p.shown[p.n])
		p.n++
		if p.n == len(p.kept)*keepEvery {
			p.kept = append(p.kept, p.se.clone())
		}
	}
}

// Known gives the walk as it was stored after the first n facts. Its slices are
// shared.
func (p *Player) Known(n int) Walk {
	w := Walk{Header: p.header()}
	for _, f := range p.facts[:min(max(n, 0), len(p.facts))] {
		if f.Visit != nil {
			w.Visits = append(w.Visits, *f.Visit)
		} else {
			w.Marks = append(w.Marks, *f.Mark)
		}
	}
	return w
}

// Find gives how many facts to play to have seen a visit: that with the ID or
// at the point that is named, the first such, or the visit with that number
// counted from 1.
func (p *Player) Find(name string) (n int, ok bool) {
	number, err := strconv.Atoi(name)
	count := 0
	by := -1
	for i, f := range p.shown {
		if f.Visit == nil {
			continue
		}
		count++
		switch {
		case f.Visit.ID == name || f.Visit.Point == name:
			return i + 1, true
		case err == nil && count == number && by < 0:
			by = i + 1
		}
	}
	return by, by >= 0
}

// clone gives a session of its own that goes on from the same state.
func (s *Session) clone() *Session {
	c := *s
	c.walk.Visits, c.walk.Marks = slices.Clip(s.walk.Visits), slices.Clip(s.walk.Marks)
	c.status, c.reasons, c.visited = slices.Clone(s.status), slices.Clone(s.reasons), slices.Clone(s.visited)
	c.voided = maps.Clone(s.voided)
	c.undo, c.scans, c.live = slices.Clip(s.undo), slices.Clip(s.scans), slices.Clone(s.live)
	return &c
}

// facts gives visits and marks in the order in which they were made; clocks may lie.
func (w *Walk) facts() []Fact {
	out := make([]Fact, 0, len(w.Visits)+len(w.Marks))
	for i := range w.Visits {
		out = append(out, Fact{Visit: &w.Visits[i]})
	}
	for i := range w.Marks {
		out = append(out, Fact{Mark: &w.Marks[i]})
	}
	slices.SortStableFunc(out, func(a, b Fact) int { return a.seq() - b.seq() })
	return out
}
