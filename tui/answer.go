package tui

import (
	"context"
	"math"
	"slices"

	"footrule/internal/drill"
	"footrule/internal/site"
	"footrule/internal/walk"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/paulmach/orb"
)

// Drill is a training case that is answered on the screen of its walk.
type Drill struct {
	Story   string         // what the customer says
	Answers []drill.Answer // given so far
	Open    bool           // the truth was shown already, so that no answer is taken

	// Keep changes the answers that are on disk, which another window may have changed
	// meanwhile, and gives them once they are there again. Only then are they said to be
	// kept.
	Keep func(change func([]drill.Answer) []drill.Answer) ([]drill.Answer, error)
	// Grade grades what was kept and opens the case. Its context ends when the
	// answer is no longer wanted.
	Grade func(ctx context.Context) (Graded, error)
}

// Graded is a case laid open.
type Graded struct {
	Text  []string  // marks with their reasons, and the truth beside the estimate, in lines of 80 columns
	Truth []Finding // what was wrong, for the plan: where it was drawn, and where it really is
}

// step is where an answer stands.
type step int

const (
	away      step = iota // the dialog is not open
	ofKind                // what is wrong is picked from a list
	ofAP                  // an access point that has it
	ofPoint               // a point that has it
	ofPlace               // where it really is
	ofMoment              // the first visit after it
	ofSize                // how much
	toGrade               // the case is being graded
	inGrading             // the marks are read
)

// answer is a trainee's dialog with a drill, one for all tracks of a replay.
type answer struct {
	drill *Drill
	said  []drill.Answer // kept
	open  bool           // no further answer is taken
	kinds []drill.Kind
	step  step
	at    int // row of the list: a kind, or below them to be graded
	sure  bool

	now        drill.Answer // being made
	left, back []step       // to come, and taken
	ap, stop   int          // under the cursor: access points, stops
	visit      int          // of visits
	visits     []walk.Visit
	floor      string
	place      orb.Point

	out    bool // the store or the grading has not answered
	seq    int
	cancel context.CancelFunc
	graded Graded
	have   bool // graded is there
	page   int
}

type (
	keptMsg struct {
		seq     int
		answers []drill.Answer
		text    string
		err     error
	}
	gradedMsg struct {
		seq    int
		graded Graded
		err    error
	}
)

func newAnswer(d *Drill) *answer {
	if d == nil {
		return nil
	}
	return &answer{drill: d, said: d.Answers, open: d.Open, kinds: drill.Kinds()}
}

// answering reports whether the dialog has the keys.
func (m *Model) answering() bool { return m.ans != nil && m.ans.step != away }

// answer opens the dialog, or the marks where the case is graded.
func (m *Model) answer() tea.Cmd {
	a := m.ans
	m.said, m.reading, m.picking = note{}, false, false
	if m.replay != nil && m.replay.playing {
		m.replay.play()
	}
	a.step, a.sure = ofKind, false
	if a.open {
		a.step, a.page = inGrading, 0
		if !a.have {
			return m.grade()
		}
	}
	return nil
}

// leaveAnswer goes back by a step, and out of the dialog from its first.
func (m *Model) leaveAnswer() tea.Cmd {
	a := m.ans
	m.said, a.sure = note{}, false
	switch n := len(a.back); {
	case a.step == toGrade:
		a.cancel()
		a.out, a.step = false, ofKind
		if a.open {
			a.step = away
		}
	case n > 0:
		a.left = append([]step{a.step}, a.left...)
		a.step, a.back = a.back[n-1], a.back[:n-1]
		m.forget()
	case a.step == ofKind || a.step == inGrading:
		a.step = away
	default:
		a.step = ofKind
	}
	return nil
}

// forget takes back what the current step is to say anew.
func (m *Model) forget() {
	a, n := m.ans, &m.ans.now
	switch a.step {
	case ofAP:
		last := len(n.APs) - 1
		a.ap = slices.IndexFunc(m.s.Site().AccessPoints, func(ap site.AccessPoint) bool { return ap.ID == n.APs[last] })
		n.APs = n.APs[:last]
	case ofPoint:
		n.Points = n.Points[:len(n.Points)-1]
	case ofPlace:
		n.At = nil
	case ofMoment:
		n.Since = ""
	}
}

// kindBy moves over the list, whose last row is to be graded.
func (m *Model) kindBy(d int) tea.Cmd {
	a := m.ans
	n := len(a.kinds) + 1
	a.at = ((a.at+d)%n + n) % n
	m.said, a.sure = note{}, false
	return nil
}

// takeKind takes the row of the list: a kind that says it all is kept at once.
func (m *Model) takeKind() tea.Cmd {
	a := m.ans
	if a.out {
		return nil
	}
	if a.at == len(a.kinds) {
		return m.askGrade()
	}
	m.said = note{}
	a.now = drill.Answer{Kind: a.kinds[a.at]}
	a.left, a.back = stepsOf(a.now.Kind), nil
	m.aimAnswer()
	return m.nextStepOf()
}

// stepsOf lists what a kind is to say.
func stepsOf(k drill.Kind) []step {
	w := k.Wants()
	var out []step
	for range w.APs {
		out = append(out, ofAP)
	}
	for range w.Points {
		out = append(out, ofPoint)
	}
	if w.Place {
		out = append(out, ofPlace)
	}
	if w.Moment {
		out = append(out, ofMoment)
	}
	if w.Size {
		out = append(out, ofSize)
	}
	return out
}

// aimAnswer puts the cursors where the trainee looks: at the access point of the
// lens, the visit that was played last, the place of the cursor.
func (m *Model) aimAnswer() {
	a := m.ans
	a.visits = m.s.Walk().Visits
	a.visit = len(a.visits) - 1
	at := ""
	if m.replay != nil {
		if v := m.replay.latest(m.track); v != nil {
			at = v.Point
		}
		a.visits = m.replay.cfg.Tracks[m.track].Player.Known(m.replay.cfg.Tracks[m.track].Player.Len()).Visits
		a.visit = max(0, len(m.s.Walk().Visits)-1)
	} else if a.visit >= 0 {
		at = a.visits[a.visit].Point
	}
	if i := slices.IndexFunc(m.s.Stops(), func(s walk.Stop) bool { return s.Point == at }); i >= 0 {
		a.stop = i
	}
	if m.gaze.ap < len(m.s.Site().AccessPoints) {
		a.ap = m.gaze.ap
	}
	a.stop = min(a.stop, max(0, len(m.s.Stops())-1))
}

// nextStepOf goes on to what is still to be said, and keeps the answer after the last.
func (m *Model) nextStepOf() tea.Cmd {
	a := m.ans
	for len(a.left) > 0 {
		a.step, a.left = a.left[0], a.left[1:]
		if a.step == ofMoment && len(a.visits) == 0 {
			continue // nothing was walked
		}
		if a.step == ofAP && slices.Contains(a.now.APs, m.s.Site().AccessPoints[a.ap].ID) {
			m.apBy(1)
		}
		if a.step == ofPlace {
			m.aimPlace()
		}
		if a.step == ofSize {
			a.now.Size = 0
		}
		return nil
	}
	a.step, a.back = ofKind, nil
	if err := a.now.Check(m.s.Site()); err != nil {
		m.said = note{sentence(err), true}
		return nil
	}
	now := a.now
	return m.keepAnswers(func(said []drill.Answer) []drill.Answer { return drill.Give(said, now) }, "You say: "+now.String()+".")
}

// aimPlace puts the place at the cursor of the lens where it was moved by hand, else where the plan has the
// thing that is to be placed.
func (m *Model) aimPlace() {
	a := m.ans
	switch ap := m.apNamed(); {
	case m.gaze.lens != walkLens && m.gaze.placed && m.gaze.moved:
		a.floor, a.place = m.gaze.floor, m.gaze.at
	case ap != nil:
		a.floor, a.place = ap.Floor, ap.At
	case len(m.s.Stops()) > 0:
		st := m.s.Stops()[a.stop]
		a.floor, a.place = st.Floor, st.At
	}
}

// apNamed is the first access point of the answer, nil for none.
func (m *Model) apNamed() *site.AccessPoint {
	if len(m.ans.now.APs) == 0 {
		return nil
	}
	aps := m.s.Site().AccessPoints
	i := slices.IndexFunc(aps, func(ap site.AccessPoint) bool { return ap.ID == m.ans.now.APs[0] })
	return &aps[i]
}

// took notes the step that was taken and goes on.
func (m *Model) took() tea.Cmd {
	m.ans.back = append(m.ans.back, m.ans.step)
	m.said = note{}
	return m.nextStepOf()
}

func (m *Model) apBy(d int) tea.Cmd {
	a, aps := m.ans, m.s.Site().AccessPoints
	for range aps {
		a.ap = ((a.ap+d)%len(aps) + len(aps)) % len(aps)
		if !slices.Contains(a.now.APs, aps[a.ap].ID) {
			break
		}
	}
	if m.gaze.lens == levelLens { // its map goes along
		m.gaze.ap = a.ap
	}
	return nil
}

func (m *Model) takeAP() tea.Cmd {
	m.ans.now.APs = append(m.ans.now.APs, m.s.Site().AccessPoints[m.ans.ap].ID)
	return m.took()
}

func (m *Model) pointBy(d int) tea.Cmd {
	n := len(m.s.Stops())
	m.ans.stop = ((m.ans.stop+d)%n + n) % n
	return nil
}

func (m *Model) pointTo(dx, dy float64) tea.Cmd {
	m.ans.stop = m.stopBeside(m.ans.stop, dx, dy)
	return nil
}

func (m *Model) takePoint() tea.Cmd {
	p := m.s.Stops()[m.ans.stop].Point
	if slices.Contains(m.ans.now.Points, p) {
		m.said = note{p + " is named already; pick the other one.", true}
		return nil
	}
	m.ans.now.Points = append(m.ans.now.Points, p)
	return m.took()
}

func (m *Model) placeBy(dx, dy float64) tea.Cmd {
	f, per := m.s.Site().Floor(m.ans.floor), m.plan.view.PerCol
	if f == nil || !(per > 0) {
		return nil
	}
	b, p := m.bound(f), &m.ans.place
	p[0] = min(max(p[0]+dx*per, b.Min[0]), b.Max[0])
	p[1] = min(max(p[1]+2*dy*per, b.Min[1]), b.Max[1])
	return nil
}

func (m *Model) takePlace() tea.Cmd {
	at := orb.Point{math.Round(10*m.ans.place[0]) / 10, math.Round(10*m.ans.place[1]) / 10}
	m.ans.now.At = &at
	return m.took()
}

func (m *Model) visitBy(d int) tea.Cmd {
	m.ans.visit = min(max(m.ans.visit+d, 0), len(m.ans.visits)-1)
	return nil
}

func (m *Model) takeVisit() tea.Cmd {
	v := m.ans.visits[m.ans.visit]
	if v.Point == "" {
		m.said = note{"That visit was not at a point of the plan; take one beside it.", true}
		return nil
	}
	m.ans.now.Since = v.Point
	return m.took()
}

// sizeBy changes the size by steps: decibels, or hundredths of a factor.
func (m *Model) sizeBy(d float64) tea.Cmd {
	n := &m.ans.now
	if n.Kind.Unit() != "×" {
		n.Size = min(max(n.Size+d, -60), 60)
		return nil
	}
	v := n.Size
	if v == 0 {
		v = 1
	}
	if v = math.Round(100*v+d) / 100; v == 1 {
		v = 0
	}
	n.Size = min(max(v, 0), 9.99)
	return nil
}

// pass leaves the current part of the answer unsaid.
func (m *Model) pass() tea.Cmd {
	m.ans.now.Size = 0
	return m.took()
}
