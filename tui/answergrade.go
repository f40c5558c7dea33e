package tui

import (
	"context"

	"footrule/internal/drill"

	tea "github.com/charmbracelet/bubbletea"
)

// withdraw takes back what was said of the kind of the row.
func (m *Model) withdraw() tea.Cmd {
	a := m.ans
	if a.out || a.at == len(a.kinds) {
		return nil
	}
	kind := a.kinds[a.at]
	if _, gone := drill.Withdraw(a.said, kind); gone == 0 {
		m.said = note{"Of that nothing was said.", true}
		return nil
	}
	return m.keepAnswers(func(said []drill.Answer) []drill.Answer {
		left, _ := drill.Withdraw(said, kind)
		return left
	}, "Taken back: "+kind.Name()+".")
}

func (m *Model) keepAnswers(change func([]drill.Answer) []drill.Answer, text string) tea.Cmd {
	a := m.ans
	a.out = true
	a.seq++
	seq, keep := a.seq, a.drill.Keep
	return func() tea.Msg {
		answers, err := keep(change)
		return keptMsg{seq, answers, text, err}
	}
}

func (m *Model) keptAnswers(msg keptMsg) {
	a := m.ans
	if msg.seq != a.seq || !a.out {
		return
	}
	a.out = false
	if msg.err != nil {
		m.said = note{"Not kept, nothing has changed. " + sentence(msg.err), true}
		return
	}
	a.said = msg.answers
	m.said = note{msg.text, false}
}

// askGrade grades at the second press: it ends the case.
func (m *Model) askGrade() tea.Cmd {
	a := m.ans
	switch {
	case len(a.said) == 0:
		m.said = note{"Name something first: nothing, where all is well.", true}
		return nil
	case !a.sure:
		a.sure = true
		m.said = note{"Grading shows the truth, and no answer is taken after it. Space again grades.", true}
		return nil
	}
	return m.grade()
}

func (m *Model) grade() tea.Cmd {
	a := m.ans
	m.said, a.sure = note{}, false
	a.step, a.out = toGrade, true
	a.seq++
	ctx, cancel := context.WithCancel(m.ctx)
	a.cancel = cancel
	seq, grade := a.seq, a.drill.Grade
	return func() tea.Msg {
		g, err := grade(ctx)
		return gradedMsg{seq, g, err}
	}
}

// marked takes the marks. The case is open from then on, and what the program
// finds is hidden no longer.
func (m *Model) marked(msg gradedMsg) tea.Cmd {
	a := m.ans
	if msg.seq != a.seq || !a.out {
		return nil
	}
	a.out = false
	a.cancel()
	if msg.err != nil {
		a.step = ofKind
		if a.open {
			a.step = away
		}
		m.said = note{"Not graded. " + sentence(msg.err), true}
		return nil
	}
	a.graded, a.have, a.open = msg.graded, true, true
	a.step, a.page = inGrading, 0
	m.standingRev++
	if m.replay == nil {
		return m.startFind()
	}
	var cmds []tea.Cmd
	for i, t := range m.replay.ms {
		t.drawn = false
		cmds = append(cmds, m.replay.wrap(i, t.startFind()))
	}
	return tea.Batch(cmds...)
}

// hidden reports whether what the program finds is not to be shown.
func (m *Model) hidden() bool { return m.cfg.NoFindings && (m.ans == nil || !m.ans.open) }

// turnMarks turns the pages of the marks, and closes them after the last.
func (m *Model) turnMarks(d int) tea.Cmd {
	a := m.ans
	a.page += d
	if a.page < 0 {
		a.page = 0
	}
	if a.page >= m.markPages() {
		a.step = away
	}
	return nil
}

// seeTruth shows on the plan what was wrong.
func (m *Model) seeTruth() tea.Cmd {
	m.ans.step = away
	return m.setLens(oddLens)
}
