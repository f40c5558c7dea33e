package tui

import (
	"context"
	"math"
	"slices"
	"time"

	"footrule/internal/canvas"
	"footrule/internal/radio"
	"footrule/internal/say"
	"footrule/internal/walk"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/paulmach/orb"
)

// nudgeM is how far one press moves the stand: a short side step.
const nudgeM = 0.25

// listenEvery is the pause between two sweeps while nothing is recorded, and
// retryAfter that after one that failed.
const (
	listenEvery = 2 * time.Second
	retryAfter  = 5 * time.Second
)

// Model is the walk on a screen, a tea.Model.
type Model struct {
	cfg     Config
	s       *walk.Session
	ctx     context.Context
	stop    context.CancelFunc
	look    theme
	words   words
	short   []string // short numbers of the access points
	refs    []apRadio
	w, h    int
	help    bool
	page    int  // of the help
	reading bool // the warnings stand in the slip
	asking  mode // doubting or stuck, while "quit" waits for a second press; else walking
	bye     bool // quit as soon as the store has answered

	picking bool // a selection moves
	sel     int  // stop
	reasons *reasons

	scan struct {
		out    bool // one is outstanding
		cancel context.CancelFunc
		seq    int // of the outstanding scan
		timer  int // of the pause that counts
		err    error
	}
	fault error // of a scan while recording

	check struct {
		seq    int
		asked  bool // waits for the doubts
		doubts []Doubt
	}
	store struct {
		seq int
		out bool
		err error // of the visit under review
	}
	judge struct {
		seq    int
		out    bool
		again  bool
		cancel context.CancelFunc
		err    error
	}
	standing Standing
	history  []walkedError // one per count of points, ascending
	find     struct {
		seq    int
		out    bool
		cancel context.CancelFunc
	}
	guide struct {
		seq  int
		key  legKey
		leg  Leg
		have bool
	}

	said note // what was just done
	rev  int  // changes with the facts
	rows []levelRow

	gaze        gaze
	layer       layer
	standingRev int // changes with the standing

	ans *answer // nil for what is no drill

	replay *Replay // nil for a walk
	track  int
	known  int              // facts that the standing knows, of a replay
	seen   map[int]Standing // by such facts, of a replay; the last few

	big   bool
	zoom  int // powers of two
	plan  planCache
	frame *canvas.Canvas
	bytes []byte
	view  string
	drawn bool
}

// mostFile is the longest name of a file that is put into the line of what to do.
const mostFile = 20

// apRadio says which radios an access point has, by place in Site.Radios.
type apRadio struct{ radios []int }

// note is a line for the surveyor; alarm marks what wants attention.
type note struct {
	text  string
	alarm bool
}

// reasons is a list one of which is picked for a skip or a void.
type reasons struct {
	title string
	items []string
	at    int
	do    func(reason string) tea.Cmd
}

type legKey struct {
	floor    string
	from, to orb.Point
}

// New gives the screen of a walk. It panics where Session, Scanner, Store or
// Clock is missing.
func New(cfg Config) *Model {
	if cfg.Session == nil || cfg.Scanner == nil || cfg.Store == nil || cfg.Clock == nil {
		panic("tui: a config without session, scanner, store or clock")
	}
	if cfg.After == nil {
		cfg.After = time.After
	}
	if cfg.Title == "" {
		cfg.Title = cfg.Session.Site().Name
	}
	if cfg.File == "" || canvas.Width(cfg.File) > mostFile {
		cfg.File = "FILE"
	}
	site := cfg.Session.Site()
	m := &Model{cfg: cfg, s: cfg.Session, look: newTheme(cfg.Theme), words: words{marksOf(cfg.ASCII), cfg.Feet},
		short: shortNames(site), refs: make([]apRadio, len(site.AccessPoints)), frame: &canvas.Canvas{}, big: cfg.Big, ans: newAnswer(cfg.Drill)}
	for k, r := range site.Radios() {
		m.refs[r.AP].radios = append(m.refs[r.AP].radios, k)
	}
	m.ctx, m.stop = context.WithCancel(context.Background())
	return m
}

// Init starts to listen and to judge what the walk has already.
func (m *Model) Init() tea.Cmd {
	return tea.Batch(m.startScan(), m.startJudge(), m.refresh())
}

// mode says what the keys mean now.
func (m *Model) mode() mode {
	if m.answering() {
		return modeOf[m.ans.step]
	}
	return m.under()
}

// under is the mode below the dialog of a drill.
func (m *Model) under() mode {
	switch {
	case m.reasons != nil:
		return reasoning
	case m.store.out || m.check.asked:
		return checking
	case m.replay != nil && m.gaze.lens != walkLens:
		return gazing
	case m.replay != nil:
		return replaying
	}
	switch m.s.Phase() {
	case walk.Scanning:
		if m.fault != nil {
			return paused
		}
		return recording
	case walk.Turning:
		return turning
	case walk.Reviewing:
		if m.store.err != nil {
			return stuck
		}
		return doubting
	}
	if m.picking {
		return choosing
	}
	if m.gaze.lens != walkLens {
		return looking
	}
	if m.s.Phase() == walk.Over {
		return over
	}
	return walking
}

// Update changes the state and returns commands; it does no input or output.
func (m *Model) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	var cmd tea.Cmd
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		m.w, m.h = msg.Width, msg.Height
	case tea.KeyMsg:
		cmd = each(msg, m.key)
	case tea.MouseMsg:
		cmd = m.clicked(msg)
	case sweepMsg:
		cmd = m.swept(msg)
	case listenMsg:
		if msg.timer == m.scan.timer && !m.scan.out {
			cmd = m.startScan()
		}
	case doubtsMsg:
		cmd = m.checked(msg)
	case storedMsg:
		cmd = m.stored(msg)
	case standingMsg:
		cmd = m.judged(msg)
	case foundMsg:
		m.found(msg)
	case layMsg:
		cmd = m.laid(msg)
	case keptMsg:
		m.keptAnswers(msg)
	case gradedMsg:
		cmd = m.marked(msg)
	case legMsg:
		if msg.seq == m.guide.seq {
			m.guide.leg, m.guide.have = msg.leg, msg.ok
			m.rev++
		}
	default:
		return m, nil
	}
	m.drawn = false
	return m, tea.Batch(cmd, m.refresh(), m.refreshLayer())
}

func (m *Model) key(msg tea.KeyMsg) tea.Cmd {
	if msg.Paste || msg.Alt {
		return nil
	}
	k := msg.String()
	if m.help {
		return m.helpKey(k)
	}
	if m.reading {
		m.reading = false
		if k == "w" || k == "'" || k == "esc" || k == "backspace" {
			return nil
		}
	}
	if r := m.reasons; r != nil && len(k) == 1 && k[0] >= '1' && int(k[0]-'1') < len(r.items) {
		r.at = int(k[0] - '1')
		return m.takeReason()
	}
	for _, b := range m.bindings(m.mode()) {
		if b.do != nil && slices.Contains(b.keys, k) {
			if m.asking != walking && k != "q" && k != "ctrl+c" {
				m.asking, m.said = walking, note{}
			}
			return b.do(m)
		}
	}
	return nil
}

// Farewell says after the end what was kept and what was not.
func (m *Model) Farewell() string {
	p := m.s.Progress()
	out := say.Plural(p.Done, "point is", "points are") + " saved, " + say.Plural(p.Todo, "is", "are") + " to do"
	if v := m.s.Pending(); v != nil {
		out += "; nothing was kept of the visit at " + canvas.Clean(v.Point) + " that was being recorded"
	}
	return out + "."
}

// swept takes a sweep that has come back, or its error.
func (m *Model) swept(msg sweepMsg) tea.Cmd {
	if msg.seq != m.scan.seq {
		return nil
	}
	m.scan.out = false
	m.scan.cancel()
	phase := m.s.Phase()
	if msg.cancelled {
		if m.ctx.Err() != nil {
			return nil
		}
		return m.startScan()
	}
	if msg.err != nil {
		m.scan.err = msg.err
		if phase == walk.Scanning {
			m.fault = msg.err
			return nil
		}
		return m.pause(retryAfter)
	}
	m.scan.err = nil
	m.s.Take(msg.sweep)
	m.levels()
	if phase != walk.Scanning {
		return m.pause(listenEvery)
	}
	switch m.s.Phase() {
	case walk.Scanning:
		return m.startScan()
	case walk.Reviewing:
		return tea.Batch(m.startCheck(), m.pause(listenEvery))
	}
	return m.pause(listenEvery)
}

// checked takes the doubts about the visit under review.
func (m *Model) checked(msg doubtsMsg) tea.Cmd {
	if msg.seq != m.check.seq || !m.check.asked {
		return nil
	}
	m.check.asked, m.check.doubts = false, msg.doubts
	if len(msg.doubts) > 0 {
		return m.bell(2)
	}
	return m.accept()
}

// stored applies a fact once it is on disk, and only then says so.
func (m *Model) stored(msg storedMsg) tea.Cmd {
	if msg.seq != m.store.seq || !m.store.out {
		return nil
	}
	m.store.out = false
	if msg.err != nil {
		m.bye = false
		if msg.fact.Visit != nil {
			m.store.err = msg.err
			m.said = note{}
			return m.bell(2)
		}
		m.said = note{"Not saved, nothing has changed. " + sentence(msg.err), true}
		return nil
	}
	m.s.Apply(msg.fact)
	m.said = m.afterwards(msg.fact)
	m.store.err, m.check.doubts, m.picking = nil, nil, false
	m.rev++
	m.levels()
	if m.bye {
		return m.quit()
	}
	var cmds []tea.Cmd
	if msg.fact.Visit != nil {
		cmds = append(cmds, m.bell(1))
	}
	if msg.fact.Visit != nil || msg.fact.Mark.Kind == walk.Void || msg.fact.Mark.Kind == walk.Unvoid {
		cmds = append(cmds, m.startJudge())
	}
	return tea.Batch(cmds...)
}

// judged takes the running fit and its error.
func (m *Model) judged(msg standingMsg) tea.Cmd {
	if msg.seq != m.judge.seq {
		return nil
	}
	m.judge.out = false
	m.judge.cancel()
	again := m.judge.again
	m.judge.again = false
	if again {
		return m.startJudge()
	}
	m.judge.err = msg.err
	if msg.err == nil {
		m.take(msg.standing, msg.known)
		return m.startFind()
	}
	return nil
}

// found takes what does not fit.
func (m *Model) found(msg foundMsg) {
	if msg.seq != m.find.seq || !m.find.out {
		return
	}
	m.find.out = false
	m.find.cancel()
	if msg.err != nil {
		return
	}
	m.standing.Findings = msg.findings
	m.standingRev++
	if n := len(m.findings()); m.gaze.item >= n && m.gaze.lens == oddLens {
		m.gaze.item = max(0, n-1)
	}
	if m.replay != nil {
		m.seen[m.known] = m.standing
	}
}

// take makes a standing the one that is shown.
func (m *Model) take(st Standing, known int) {
	if m.replay == nil && st.Findings == nil {
		st.Findings = m.standing.Findings // until they are looked for again
	}
	first := len(m.standing.Judged) == 0
	m.standing, m.known = st, known
	if first && m.gaze.lens == errorLens {
		m.aim()
	}
	m.standingRev++
	m.history = slices.DeleteFunc(m.history, func(e walkedError) bool { return e.points >= st.Points })
	if st.Ready() && !math.IsNaN(st.CE50M.Value) {
		m.history = append(m.history, walkedError{st.Points, st.CE50M})
	}
	if m.replay != nil {
		if len(m.seen) >= mostSeen {
			clear(m.seen)
		}
		m.seen[known] = st
	}
	m.levels()
}

// walkedError is the error after so many points.
type walkedError struct {
	points int
	ce50M  Estimate
}

// mostSeen bounds what a replay keeps of moments that it has judged.
const mostSeen = 64

// levelRow is an access point in the table of live levels.
type levelRow struct {
	ap    int
	radio radio.Band
	level float64 // NaN where it was not heard
	fit   float64 // NaN where unknown
}
