package tui

import (
	"fmt"
	"slices"
	"strings"

	"footrule/internal/canvas"
	"footrule/internal/drill"
	"footrule/internal/say"
	"footrule/internal/site"
	"footrule/internal/walk"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/paulmach/orb"
)

// answerKey is what the plan shows of an answer.
type answerKey struct {
	step     step
	ap, stop int
	named    int
	floor    string
	place    orb.Point
}

func (m *Model) answerKey() answerKey {
	if !m.answering() {
		return answerKey{}
	}
	a := m.ans
	k := answerKey{step: a.step, ap: a.ap, stop: a.stop, named: len(a.now.APs) + len(a.now.Points)}
	switch a.step {
	case ofPlace:
		k.floor, k.place = a.floor, a.place
	case ofMoment:
		k.stop = a.visit
	}
	return k
}

// answerFloor is the floor of what the answer is about, nil where the dialog does
// not say.
func (m *Model) answerFloor() *site.Floor {
	if !m.answering() {
		return nil
	}
	a, s := m.ans, m.s.Site()
	switch a.step {
	case ofAP:
		return s.Floor(s.AccessPoints[a.ap].Floor)
	case ofPoint:
		return s.Floor(m.s.Stops()[a.stop].Floor)
	case ofPlace:
		return s.Floor(a.floor)
	case ofMoment:
		return s.Floor(a.visits[a.visit].Floor)
	}
	return nil
}

// placeFloor takes the place to the next floor.
func (m *Model) placeFloor() tea.Cmd {
	floors := m.s.Site().Floors
	i := slices.IndexFunc(floors, func(f site.Floor) bool { return f.ID == m.ans.floor })
	m.ans.floor = floors[(i+1)%len(floors)].ID
	return nil
}

// drawAnswerOn marks on the plan what is named and what the cursor is on.
func (m *Model) drawAnswerOn(p *planCache, f *site.Floor) {
	if !m.answering() {
		return
	}
	a, c := m.ans, &p.canvas
	ring := func(at orb.Point, name string) {
		if x, y, ok := p.view.Cell(at); ok {
			c.Set(x-1, y, '(', m.look.selected)
			c.Paint(x, y, m.look.selected)
			c.Set(x+1, y, ')', m.look.selected)
			if name != "" {
				m.label(c, x+1, y, name)
			}
		}
	}
	for _, st := range m.s.Stops() {
		if st.Floor == f.ID && slices.Contains(a.now.Points, st.Point) {
			ring(st.At, st.Point)
		}
	}
	switch a.step {
	case ofPoint:
		if st := m.s.Stops()[a.stop]; st.Floor == f.ID {
			ring(st.At, st.Point)
		}
	case ofMoment:
		if v := a.visits[a.visit]; v.Floor == f.ID {
			ring(v.At, canvas.Clean(v.Point))
		}
	case ofPlace:
		var from orb.Point
		switch ap := m.apNamed(); {
		case ap != nil && ap.Floor == f.ID:
			from = ap.At
		case len(a.now.Points) > 0 && m.s.Stops()[a.stop].Floor == f.ID:
			from = m.s.Stops()[a.stop].At
		default:
			from = a.place
		}
		d := canvas.NewDots(p.view.W, p.view.H)
		x0, y0 := p.view.Dot(from)
		x1, y1 := p.view.Dot(a.place)
		d.Dashes(x0, y0, x1, y1, 2, 2, 0)
		m.over(p, d, m.look.accent)
		ring(a.place, "")
	}
}

// apAnswered reports whether an access point is named or under the cursor.
func (m *Model) apAnswered(i int) bool {
	if !m.answering() {
		return false
	}
	return m.ans.step == ofAP && i == m.ans.ap || slices.Contains(m.ans.now.APs, m.s.Site().AccessPoints[i].ID)
}

// drawKinds draws the list of what can be wrong, with what was said of it, and
// beside it what the customer says.
func (m *Model) drawKinds(c *canvas.Canvas, l layout) {
	const listW = 55
	a, w := m.ans, m.words
	s := &slip{c: c, r: rect{0, 1, listW, l.rule - 1}}
	s.text("What is wrong here? Name each fault, or nothing.", m.look.strong)
	s.gap()
	for i, k := range a.kinds {
		var said []string
		for _, o := range a.said {
			if o.Kind == k {
				_, rest, more := strings.Cut(o.String(), k.Name())
				if rest = strings.TrimLeft(rest, ":, "); !more || rest == "" {
					rest = k.Name()
				}
				said = append(said, rest)
			}
		}
		text, look := k.Name(), m.look.text
		if len(said) > 0 {
			text, look = w.done+" "+w.say(strings.Join(said, "; ")), m.look.strong
		}
		row := fmt.Sprintf("  %-8s  %s", k, text)
		if i == a.at {
			row, look = w.next+row[1:], m.look.accentStrong
		}
		s.text(row, look)
	}
	s.gap()
	row, look := "  be graded, and see the truth", m.look.text
	if a.at == len(a.kinds) {
		row, look = w.next+row[1:], m.look.accentStrong
	}
	s.text(row, look)
	if a.drill.Story == "" {
		return
	}
	side := &slip{c: c, r: rect{listW + 1, 1, min(60, l.w-listW-1), l.rule - 1}}
	side.text("The customer says", m.look.strong)
	side.gap()
	side.wrap(w.say(canvas.Clean(a.drill.Story)), m.look.text, side.room())
}

// drawAnswer says in the slip what was named so far and what is asked now.
func (m *Model) drawAnswer(s *slip) {
	a, w := m.ans, m.words
	k := a.now.Kind
	s.text("You name", m.look.quiet)
	s.wrap(k.Name(), m.look.accentStrong, 3)
	s.gap()
	wants := k.Wants()
	row := func(on bool, name, value string) {
		mark, look := "  ", m.look.text
		if on {
			mark, look = w.next+" ", m.look.accentStrong
		}
		if value == "" {
			value = w.none
		}
		s.pair(mark+name, look, w.say(value), look)
	}
	aps := slices.Clone(a.now.APs)
	if a.step == ofAP {
		aps = append(aps, m.s.Site().AccessPoints[a.ap].ID+"?")
	}
	for i := range wants.APs {
		v := ""
		if i < len(aps) {
			v = canvas.Clean(aps[i])
		}
		row(a.step == ofAP && i == len(a.now.APs), "access point", v)
	}
	points := slices.Clone(a.now.Points)
	if a.step == ofPoint {
		points = append(points, m.s.Stops()[a.stop].Point+"?")
	}
	for i := range wants.Points {
		v := ""
		if i < len(points) {
			v = canvas.Clean(points[i])
		}
		row(a.step == ofPoint && i == len(a.now.Points), "point", v)
	}
	if wants.Place {
		v := ""
		switch {
		case a.step == ofPlace:
			v = m.placeText(a.place) + "?"
		case a.now.At != nil:
			v = m.placeText(*a.now.At)
		}
		row(a.step == ofPlace, "really at", v)
	}
	if wants.Moment {
		v := ""
		switch {
		case a.step == ofMoment:
			v = canvas.Clean(a.visits[a.visit].Point) + "?"
		case a.now.Since != "":
			v = canvas.Clean(a.now.Since)
		}
		row(a.step == ofMoment, "since", v)
	}
	if wants.Size {
		row(a.step == ofSize, "how much", m.sizeText())
	}
	s.gap()
	text := map[step]string{
		ofAP:     "Which access point has it?",
		ofPoint:  "Which point has it?",
		ofPlace:  "Where is it really? Arrows move the mark over the plan.",
		ofMoment: "Which visit was the first after it?",
		ofSize:   "How much? Up and down by one step, left and right by five.",
	}[a.step]
	s.wrap(text, m.look.text, 4)
	switch a.step {
	case ofAP:
		s.gap()
		for i, ap := range m.s.Site().AccessPoints {
			mark, look := "  ", m.look.text
			switch {
			case i == a.ap:
				mark, look = w.next+" ", m.look.accentStrong
			case slices.Contains(a.now.APs, ap.ID):
				mark, look = w.done+" ", m.look.strong
			case s.room() < 2 && i < a.ap || len(m.s.Site().AccessPoints) > 9 && abs(i-a.ap) > 4:
				continue
			}
			s.text(mark+m.apName(i, ap.ID), look)
		}
	case ofMoment:
		v := a.visits[a.visit]
		s.gap()
		s.text(fmt.Sprintf("visit %d of %d", a.visit+1, len(a.visits)), m.look.text)
		s.text(timeOf(walk.Fact{Visit: &v}).Format("15:04:05"), m.look.quiet)
	case ofPoint:
		s.gap()
		s.text(m.stopState(a.stop), m.look.quiet)
	}
}

func abs(v int) int { return max(v, -v) }

func (m *Model) placeText(p orb.Point) string {
	w := m.words
	return fmt.Sprintf("%s, %s %s", w.number(w.length(p[0]), 1), w.number(w.length(p[1]), 1), w.unit())
}

func (m *Model) sizeText() string {
	n := m.ans.now
	switch {
	case n.Size == 0:
		return ""
	case n.Kind.Unit() == "×":
		return m.words.times + m.words.number(n.Size, 2)
	}
	return m.words.signed(n.Size, 0) + " " + n.Kind.Unit()
}

// answerNow is the line of the dialog.
func (m *Model) answerNow() note {
	a := m.ans
	switch a.step {
	case ofKind:
		switch {
		case a.out:
			return note{"Keeping it.", false}
		case a.at == len(a.kinds):
			return note{"Space grades what was named: " + say.Plural(len(a.said), "answer", "answers") + ".", false}
		}
		k := a.kinds[a.at]
		text := "Space names it: " + k.Name() + "."
		if slices.ContainsFunc(a.said, func(o drill.Answer) bool { return o.Kind == k }) {
			text = "Space names another one, u takes back what was said of it."
			if w := k.Wants(); w == (drill.Wanted{}) {
				text = "You said so; u takes it back."
			}
		}
		return note{text, false}
	case toGrade:
		return note{"The walk is being graded, which takes some seconds.", false}
	case inGrading:
		return note{"The case is open. t shows the truth on the plan.", false}
	case ofAP:
		return note{"Space takes " + canvas.Clean(m.s.Site().AccessPoints[a.ap].ID) + ".", false}
	case ofPoint:
		return note{"Space takes " + m.s.Stops()[a.stop].Point + ".", false}
	case ofPlace:
		return note{"Space takes " + m.placeText(a.place) + "; s where you can't tell.", false}
	case ofMoment:
		return note{"Space takes " + canvas.Clean(a.visits[a.visit].Point) + " as the first after it; s where you can't tell.", false}
	}
	if m.sizeText() == "" {
		return note{"Set how much, then space; s where you can't tell.", false}
	}
	return note{"Space takes " + m.words.say(m.sizeText()) + "; s where you can't tell.", false}
}

// markShape gives how many lines and columns of 80 the marks have in this window.
func (m *Model) markShape() (rows, cols int) {
	l, ok := layoutOf(m.w, m.h, false)
	if !ok {
		return 1, 1
	}
	return l.rule - 1, max(1, (l.w+2)/82)
}

func (m *Model) markPages() int {
	rows, cols := m.markShape()
	return (len(m.ans.graded.Text) + rows*cols - 1) / (rows * cols)
}

// drawMarks draws a page of the marks; the first line of a paragraph is bold.
func (m *Model) drawMarks(c *canvas.Canvas) {
	a := m.ans
	rows, cols := m.markShape()
	a.page = min(a.page, max(0, m.markPages()-1)) // the window may have grown
	from := a.page * rows * cols
	for i := from; i < min(len(a.graded.Text), from+rows*cols); i++ {
		line, look := a.graded.Text[i], m.look.text
		if (i == 0 || a.graded.Text[i-1] == "") && !strings.HasPrefix(line, " ") {
			look = m.look.strong
		}
		at := i - from
		c.Text(at/rows*82, 1+at%rows, canvas.Cut(m.words.say(canvas.Clean(line)), 80, m.words.cut), look)
	}
}

// answerClicked takes a mouse in the dialog: a row of the list, or what is nearest
// on the plan; what the cursor is on already is taken.
func (m *Model) answerClicked(ev tea.MouseEvent, l layout) tea.Cmd {
	a := m.ans
	pick := func(cursor *int, i int, take func() tea.Cmd) tea.Cmd {
		switch {
		case i < 0:
		case *cursor == i:
			return take()
		default:
			*cursor, a.sure = i, false
		}
		return nil
	}
	if a.step == ofKind {
		i := ev.Y - 3
		if i == len(a.kinds)+1 {
			i = len(a.kinds)
		} else if i >= len(a.kinds) {
			return nil
		}
		return pick(&a.at, i, m.takeKind)
	}
	x, y, f := ev.X-l.plan.x, ev.Y-l.plan.y, m.floorShown()
	if f == nil || x < 0 || y < 0 || x >= l.plan.w || y >= l.plan.h || !(m.plan.view.PerCol > 0) {
		return nil
	}
	at := m.plan.view.Metres(x, y)
	switch a.step {
	case ofAP:
		return pick(&a.ap, m.boxAt(f.ID, at), m.takeAP)
	case ofPoint:
		return pick(&a.stop, m.stopAt(f.ID, at), m.takePoint)
	case ofPlace:
		a.floor, a.place = f.ID, at
	case ofMoment:
		i := slices.IndexFunc(a.visits, func(v walk.Visit) bool {
			return v.Floor == f.ID && distance(v.At, at) <= clickCells*m.plan.view.PerCol
		})
		return pick(&a.visit, i, m.takeVisit)
	}
	return nil
}
