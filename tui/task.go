package tui

import (
	"context"
	"time"

	"footrule/internal/radio"
	"footrule/internal/walk"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/paulmach/orb"
)

// Every result carries the number of its request; one that is not the latest is dropped.
type (
	sweepMsg struct {
		seq       int
		sweep     radio.Sweep
		err       error
		cancelled bool
	}
	listenMsg struct{ timer int }
	doubtsMsg struct {
		seq    int
		doubts []Doubt
	}
	storedMsg struct {
		seq  int
		fact walk.Fact
		err  error
	}
	standingMsg struct {
		seq      int
		known    int // facts, of a replay
		standing Standing
		err      error
	}
	foundMsg struct {
		seq      int
		findings []Finding
		err      error
	}
	legMsg struct {
		seq int
		leg Leg
		ok  bool
	}
)

// startScan takes the next sweep, unless one is outstanding.
func (m *Model) startScan() tea.Cmd {
	if m.scan.out || m.ctx.Err() != nil || m.replay != nil {
		return nil
	}
	m.scan.out = true
	m.scan.seq++
	m.scan.timer++ // a pause that still runs no longer counts
	seq, scanner := m.scan.seq, m.cfg.Scanner
	ctx, cancel := context.WithCancel(m.ctx)
	m.scan.cancel = cancel
	req := radio.Request{NotBefore: m.cfg.Clock()}
	if m.s.Phase() == walk.Scanning {
		req.NotBefore = m.s.Since()
	}
	floor, at := m.place()
	deg := m.s.Recording().Facing
	return func() tea.Msg {
		if p, ok := scanner.(radio.Placer); ok && floor != "" {
			p.Place(floor, at, deg)
		}
		sw, err := scanner.Scan(ctx, req)
		return sweepMsg{seq, sw, err, ctx.Err() != nil}
	}
}

// rescan makes the next sweep begin now: one that was begun before the stay
// would not count.
func (m *Model) rescan() tea.Cmd {
	if m.scan.out {
		m.scan.cancel() // swept starts the next
		return nil
	}
	return m.startScan()
}

// pause takes the next sweep after d.
func (m *Model) pause(d time.Duration) tea.Cmd {
	m.scan.timer++
	return later(m.ctx, m.cfg.After, d, listenMsg{m.scan.timer})
}

// later gives msg after d; nothing where after keeps no time, or ctx ends first.
func later(ctx context.Context, after func(time.Duration) <-chan time.Time, d time.Duration, msg tea.Msg) tea.Cmd {
	return func() tea.Msg {
		ch := after(d)
		if ch == nil {
			return nil
		}
		select {
		case <-ch:
			return msg
		case <-ctx.Done():
			return nil
		}
	}
}

// place is where the receiver is, as far as is known: at the current stop, or
// where the last visit was. floor is empty before any.
func (m *Model) place() (floor string, at orb.Point) {
	if i, ok := m.s.Current(); ok {
		return m.s.Stops()[i].Floor, m.s.At()
	}
	floor, at, _ = m.s.Here()
	return floor, at
}

// startCheck compares the visit under review with the latest fit.
func (m *Model) startCheck() tea.Cmd {
	m.check.doubts = nil
	v := m.s.Pending()
	if m.cfg.Doubts == nil || v == nil {
		return m.accept()
	}
	m.check.seq++
	m.check.asked = true
	seq, doubts := m.check.seq, m.cfg.Doubts
	return func() tea.Msg { return doubtsMsg{seq, doubts(v)} }
}

// keep stores a fact; keys wait until the store has answered.
func (m *Model) keep(f walk.Fact, err error) tea.Cmd {
	if err != nil {
		m.said = note{sentence(err), true}
		return nil
	}
	if m.store.out {
		return nil
	}
	m.store.out = true
	m.store.seq++
	seq, store := m.store.seq, m.cfg.Store
	return func() tea.Msg { return storedMsg{seq, f, store(f)} }
}

// startJudge fits the walk as it stands; where a fit still runs it is told to
// end and another one follows.
func (m *Model) startJudge() tea.Cmd {
	if m.cfg.Judge == nil {
		return nil
	}
	if m.replay != nil {
		if _, ok := m.seen[m.replay.cfg.Tracks[m.track].Player.At()]; ok {
			return nil
		}
	}
	if m.judge.out {
		m.judge.again = true
		m.judge.cancel()
		return nil
	}
	m.stopFind()
	m.judge.out = true
	m.judge.seq++
	seq, judge := m.judge.seq, m.cfg.Judge
	ctx, cancel := context.WithCancel(m.ctx)
	m.judge.cancel = cancel
	if m.replay != nil {
		t := &m.replay.cfg.Tracks[m.track]
		n := t.Player.At()
		return func() tea.Msg {
			st, err := t.Judge(ctx, n)
			return standingMsg{seq, n, st, err}
		}
	}
	w := m.snapshot()
	return func() tea.Msg {
		st, err := judge(ctx, w)
		return standingMsg{seq, 0, st, err}
	}
}

// startFind looks for what does not fit, unless it was called off by a judgement
// that has begun since.
func (m *Model) startFind() tea.Cmd {
	if m.cfg.Find == nil || m.hidden() || !m.standing.Ready() {
		return nil
	}
	m.stopFind()
	m.find.out = true
	m.find.seq++
	seq, find := m.find.seq, m.cfg.Find
	ctx, cancel := context.WithCancel(m.ctx)
	m.find.cancel = cancel
	w := m.snapshot()
	return func() tea.Msg {
		fs, err := find(ctx, w)
		return foundMsg{seq, fs, err}
	}
}

func (m *Model) stopFind() {
	if m.find.out {
		m.find.out = false
		m.find.cancel()
	}
}

// snapshot is the walk so far. Facts are only ever added, so slices of the
// present length will do.
func (m *Model) snapshot() walk.Walk {
	w := *m.s.Walk()
	w.Visits = w.Visits[:len(w.Visits):len(w.Visits)]
	w.Marks = w.Marks[:len(w.Marks):len(w.Marks)]
	return w
}

// refresh asks for the way to the current stop where that has changed.
func (m *Model) refresh() tea.Cmd {
	var key legKey
	i, ok := m.s.Current()
	floor, from, here := m.s.Here()
	if ok && here && m.s.Stops()[i].Floor == floor {
		key = legKey{floor, from, m.s.Stops()[i].At}
	}
	if key == m.guide.key || m.replay != nil {
		return nil
	}
	m.guide.key, m.guide.have = key, false
	m.guide.seq++
	if m.cfg.Guide == nil || key.floor == "" {
		return nil
	}
	seq, guide := m.guide.seq, m.cfg.Guide
	return func() tea.Msg {
		leg, ok := guide(key.from, key.to, key.floor)
		return legMsg{seq, leg, ok}
	}
}

func (m *Model) bell(n int) tea.Cmd {
	if m.cfg.Bell == nil {
		return nil
	}
	ring := m.cfg.Bell
	return func() tea.Msg {
		ring(n)
		return nil
	}
}

func (m *Model) quit() tea.Cmd {
	m.stop()
	return tea.Quit
}
