package tui

import (
	"context"
	"math"
	"slices"

	"footrule/internal/site"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/paulmach/orb"
)

// lens says what is laid over the plan.
type lens int

const (
	walkLens lens = iota
	levelLens
	heardLens
	errorLens
	oddLens
	prepLens
	lensCount
)

func (l lens) String() string {
	return [lensCount]string{"walk", "level", "heard", "error", "odd", "prep"}[l]
}

// looker is where somebody looks, and through which lens.
type gaze struct {
	lens   lens
	floor  string // empty: where the walk is
	at     orb.Point
	placed bool // at is a place of floor
	moved  bool // by hand
	ap     int  // of the level lens
	item   int  // of the error and the odd lens, by rank
	other  bool // the other map of the heard and the error lens
}

// layer is what the current lens lays over the plan, and the request for it.
type layer struct {
	seq    int
	out    bool
	cancel context.CancelFunc
	asked  layerKey
	have   layerKey
	set    bool // lay is that of have
	lay    Map
	err    error
}

// layerKey is all that a map depends on.
type layerKey struct {
	q   Query
	rev int // of the standing
}

type layMsg struct {
	seq int
	lay Map
	err error
}

// lensShown is the lens that the screen has now: what goes on in the walk comes first.
func (m *Model) lensShown() lens {
	if md := m.under(); md == looking || md == gazing {
		return m.gaze.lens
	}
	return walkLens
}

func (m *Model) nextLens(d int) tea.Cmd {
	return m.setLens((m.gaze.lens + lens(d) + lensCount) % lensCount)
}

func (m *Model) setLens(l lens) tea.Cmd {
	if l != walkLens && m.gaze.lens == walkLens {
		floor, at := m.place()
		m.gaze.floor, m.gaze.at, m.gaze.placed, m.gaze.moved = floor, at, floor != "", false
	}
	m.gaze.lens, m.gaze.item, m.gaze.other, m.said = l, 0, false, note{}
	m.aim()
	return nil
}

// aim puts the cursor on what the lens names first.
func (m *Model) aim() {
	switch m.gaze.lens {
	case errorLens:
		if w := m.worst(); len(w) > 0 {
			m.gaze.item = min(m.gaze.item, len(w)-1)
			j := m.standing.Judged[w[m.gaze.item]]
			m.aimAt(j.Floor, j.At)
		}
	case oddLens, prepLens:
		if fs := m.findings(); len(fs) > 0 {
			m.gaze.item = min(m.gaze.item, len(fs)-1)
			m.aimAt(fs[m.gaze.item].Floor, fs[m.gaze.item].At)
		}
	}
}

// findings lists what the lens finds: what does not fit, or what the checks of
// the infrastructure found short.
func (m *Model) findings() []Finding {
	if m.gaze.lens == prepLens {
		return m.cfg.Prep
	}
	if m.ans != nil && m.ans.have {
		return append(slices.Clone(m.ans.graded.Truth), m.standing.Findings...)
	}
	return m.standing.Findings
}

func (m *Model) aimAt(floor string, at orb.Point) {
	if m.s.Site().Floor(floor) != nil {
		m.gaze.floor, m.gaze.at, m.gaze.placed = floor, at, true
	}
}

// nextItem goes on to the next thing that the lens has: an access point, one of
// the worst points, a doubt.
func (m *Model) nextItem(d int) tea.Cmd {
	step := func(i, n int) int { return ((i+d)%n + n) % n }
	switch m.gaze.lens {
	case levelLens:
		if n := len(m.s.Site().AccessPoints); n > 0 {
			m.gaze.ap = step(m.gaze.ap, n)
			if ap := m.s.Site().AccessPoints[m.gaze.ap]; ap.Floor != m.gaze.floor {
				m.aimAt(ap.Floor, ap.At)
			}
		}
	case heardLens:
		if holes := m.layer.lay.Holes; m.layer.set && len(holes) > 0 {
			m.gaze.item = step(m.gaze.item, len(holes))
			m.aimAt(m.gaze.floor, holes[m.gaze.item].At)
		}
	case errorLens:
		if w := m.worst(); len(w) > 0 {
			m.gaze.item = step(m.gaze.item, len(w))
			m.aim()
		}
	case oddLens, prepLens:
		if n := len(m.findings()); n > 0 {
			m.gaze.item = step(m.gaze.item, n)
			m.aim()
		}
	}
	return nil
}

// otherMap changes between the two maps of the lens.
func (m *Model) otherMap() tea.Cmd {
	if m.gaze.lens == heardLens || m.gaze.lens == errorLens {
		m.gaze.other = !m.gaze.other
	}
	return nil
}

func (m *Model) nextFloor() tea.Cmd {
	floors := m.s.Site().Floors
	i := slices.IndexFunc(floors, func(f site.Floor) bool { return f.ID == m.gaze.floor })
	f := &floors[(i+1)%len(floors)]
	b := f.BoundingBox()
	m.gaze.floor, m.gaze.at, m.gaze.placed = f.ID, b.Center(), true
	return nil
}

// moveCursor moves it by cells of the plan as it is drawn.
func (m *Model) moveCursor(dx, dy float64) tea.Cmd {
	per := m.plan.view.PerCol
	f := m.s.Site().Floor(m.gaze.floor)
	if f == nil || !(per > 0) {
		return nil
	}
	b := m.bound(f)
	m.gaze.moved = true
	m.gaze.at[0] = min(max(m.gaze.at[0]+dx*per, b.Min[0]), b.Max[0])
	m.gaze.at[1] = min(max(m.gaze.at[1]+2*dy*per, b.Min[1]), b.Max[1])
	return nil
}

// worst ranks the points that were judged, the largest error first; those
// without a fix come before all others.
func (m *Model) worst() []int {
	out := make([]int, len(m.standing.Judged))
	for i := range out {
		out[i] = i
	}
	rank := func(i int) float64 {
		if e := m.standing.Judged[i].ErrorM; !math.IsNaN(e) {
			return e
		}
		return math.Inf(1)
	}
	slices.SortStableFunc(out, func(a, b int) int {
		switch {
		case rank(a) > rank(b):
			return -1
		case rank(a) < rank(b):
			return 1
		}
		return 0
	})
	return out
}

// query is what the current lens needs; ok is false where it needs nothing.
func (m *Model) query() (q Query, ok bool) {
	q.Floor = m.gaze.floor
	switch m.lensShown() {
	case levelLens:
		q.Layer, q.AP = LevelLayer, m.gaze.ap
		return q, len(m.s.Site().AccessPoints) > 0
	case heardLens:
		q.Layer, q.AP = HeardLayer, -1
		if m.gaze.other {
			q.Layer = HullLayer
		}
		return q, true
	case errorLens:
		q.Layer, q.AP = BoundLayer, -1
		if m.gaze.other {
			q.Layer = ExpectLayer
		}
		return q, true
	}
	return q, false
}

// refreshLayer asks for the map of the lens where it is not the one that is there.
func (m *Model) refreshLayer() tea.Cmd {
	q, ok := m.query()
	if !ok || m.cfg.Lay == nil || m.ctx.Err() != nil {
		return nil
	}
	key := layerKey{q, m.standingRev}
	if key == m.layer.asked {
		return nil
	}
	if m.layer.out {
		m.layer.cancel()
	}
	m.layer.asked, m.layer.out = key, true
	m.layer.seq++
	seq, lay := m.layer.seq, m.cfg.Lay
	ctx, cancel := context.WithCancel(m.ctx)
	m.layer.cancel = cancel
	return func() tea.Msg {
		l, err := lay(ctx, q)
		return layMsg{seq, l, err}
	}
}

func (m *Model) laid(msg layMsg) tea.Cmd {
	if msg.seq != m.layer.seq || !m.layer.out {
		return nil
	}
	m.layer.out = false
	m.layer.cancel()
	m.layer.lay, m.layer.err = msg.lay, msg.err
	m.layer.have, m.layer.set = m.layer.asked, msg.err == nil
	if m.gaze.lens == heardLens {
		m.gaze.item = min(m.gaze.item, max(0, len(msg.lay.Holes)-1))
	}
	return nil
}

// mapShown is the map of the lens on screen, nil while there is none. One that
// is out of date by a visit stays until the new one is there.
func (m *Model) mapShown() *Map {
	q, ok := m.query()
	if !ok || !m.layer.set || m.layer.have.q != q {
		return nil
	}
	return &m.layer.lay
}
