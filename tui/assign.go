package tui

import (
	"context"
	"fmt"
	"io"
	"slices"

	"footrule/internal/canvas"
	"footrule/internal/radio"
	"footrule/internal/radio/grouping"
	"footrule/internal/say"
	"footrule/internal/site"

	tea "github.com/charmbracelet/bubbletea"
)

// AssignConfig is what the assigning of BSSIDs is shown with. Plan and Put have
// to be there.
type AssignConfig struct {
	Plan   *site.Site
	Report grouping.Report // for Plan

	// Put returns once the plan is on disk as the newest revision. Only then is
	// the change called saved. It is called from another goroutine, one call at a
	// time.
	Put func(plan *site.Site) (AssignSaved, error)

	Profile canvas.Profile
	ASCII   bool
	Theme   Theme
}

// AssignSaved is the revision that a plan was saved as, and what is proposed for it.
type AssignSaved struct {
	Rev    uint64
	Report grouping.Report
}

// Assign shows proposals for BSSIDs one by one, a tea.Model.
type Assign struct {
	cfg   AssignConfig
	look  theme
	words words
	w, h  int
	help  bool
	bye   bool // quit as soon as the store has answered

	plan    *site.Site
	report  grouping.Report
	at      int                  // into report.Proposals
	out     map[radio.BSSID]bool // left out by the person, not on the plan
	steps   []assignStep         // that can be taken back
	saved   int                  // changes that stand
	rev     uint64               // 0 before the first is saved
	choices []grouping.Target    // while another radio is chosen
	pick    int

	store struct {
		seq  int
		busy bool
	}
	said note

	frame *canvas.Canvas
	view  string
	drawn bool
}

// assignStep is a decision with what stood before it.
type assignStep struct {
	bssid  radio.BSSID
	before *site.Site // nil for one that was left out without a change
	text   string
}

// assignMsg is the answer of the store.
type assignMsg struct {
	seq   int
	step  assignStep
	undo  bool
	plan  *site.Site
	saved AssignSaved
	err   error
}

// NewAssign gives the screen. It panics where Plan or Put is missing.
func NewAssign(cfg AssignConfig) *Assign {
	if cfg.Plan == nil || cfg.Put == nil {
		panic("tui: a config without plan or put")
	}
	return &Assign{cfg: cfg, look: newTheme(cfg.Theme), words: words{marks: marksOf(cfg.ASCII)}, plan: cfg.Plan, report: cfg.Report,
		out: map[radio.BSSID]bool{}, frame: &canvas.Canvas{}}
}

// RunAssign goes through the proposals on the whole screen of a terminal until
// somebody quits or ctx ends, and gives what is to be said after it. The error
// is that of the terminal.
func RunAssign(ctx context.Context, cfg AssignConfig, in io.Reader, out io.Writer) (farewell string, err error) {
	m := NewAssign(cfg)
	err = onScreen(ctx, m, false, in, out)
	return m.Farewell(), err
}

// Init has nothing to begin.
func (m *Assign) Init() tea.Cmd { return nil }

// Farewell says after the end what was saved and what is open.
func (m *Assign) Farewell() string {
	s := say.Plural(m.saved, "change", "changes") + " saved"
	if m.saved == 0 {
		s = "nothing was changed"
	} else {
		s += fmt.Sprintf(" (the plan is at revision %d)", m.rev)
	}
	return s + ", " + say.Plural(m.open(), "proposal is", "proposals are") + " open."
}

// open counts the proposals that are neither settled nor kept out by default.
func (m *Assign) open() int {
	n := 0
	for i := range m.report.Proposals {
		if m.isOpen(i) {
			n++
		}
	}
	return n
}

func (m *Assign) isOpen(i int) bool {
	p := &m.report.Proposals[i]
	return p.Kind != grouping.KeptOut && !m.out[p.BSSID]
}

// current is the proposal that is shown; nil where there is none.
func (m *Assign) current() *grouping.Proposal {
	if m.at < 0 || m.at >= len(m.report.Proposals) {
		return nil
	}
	return &m.report.Proposals[m.at]
}

// Update changes the state and returns commands; it does no input or output.
func (m *Assign) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	var cmd tea.Cmd
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		m.w, m.h = msg.Width, msg.Height
	case tea.KeyMsg:
		cmd = each(msg, m.key)
	case assignMsg:
		cmd = m.stored(msg)
	default:
		return m, nil
	}
	m.drawn = false
	return m, cmd
}

func (m *Assign) key(msg tea.KeyMsg) tea.Cmd {
	if msg.Paste || msg.Alt {
		return nil
	}
	k := msg.String()
	if m.help {
		m.help = false
		if k != "q" && k != "ctrl+c" {
			return nil
		}
	}
	for _, b := range assignBindings(m.mode()) {
		if slices.Contains(b.keys, k) {
			return b.do(m)
		}
	}
	return nil
}

// put asks for a plan to be saved; keys wait until the store has answered.
func (m *Assign) put(plan *site.Site, step assignStep, undo bool) tea.Cmd {
	m.store.busy = true
	m.store.seq++
	seq, put := m.store.seq, m.cfg.Put
	return func() tea.Msg {
		saved, err := put(plan)
		return assignMsg{seq: seq, step: step, undo: undo, plan: plan, saved: saved, err: err}
	}
}

// stored takes a plan over once it is on disk, and only then says so.
func (m *Assign) stored(msg assignMsg) tea.Cmd {
	if msg.seq != m.store.seq || !m.store.busy {
		return nil
	}
	m.store.busy = false
	if msg.err != nil {
		m.bye = false
		m.said = note{"Not saved, nothing has changed. " + sentence(msg.err), true}
		return nil
	}
	m.plan, m.report, m.rev = msg.plan, msg.saved.Report, msg.saved.Rev
	if msg.undo {
		m.steps = m.steps[:len(m.steps)-1]
		m.saved--
		m.said = note{fmt.Sprintf("Taken back, saved as revision %d.", m.rev), false}
		m.show(msg.step.bssid)
	} else {
		m.steps = append(m.steps, msg.step)
		m.saved++
		delete(m.out, msg.step.bssid)
		m.said = note{fmt.Sprintf("%s Saved as revision %d.", msg.step.text, m.rev), false}
		m.forward(m.at)
	}
	if m.bye {
		return tea.Quit
	}
	return nil
}

// show goes to the proposal about a BSSID, if there is one.
func (m *Assign) show(b radio.BSSID) {
	if i := slices.IndexFunc(m.report.Proposals, func(p grouping.Proposal) bool { return p.BSSID == b }); i >= 0 {
		m.at = i
		return
	}
	m.forward(m.at)
}

// forward goes to the first open proposal from i on, round the end; where none is
// open it stays within the list.
func (m *Assign) forward(i int) {
	n := len(m.report.Proposals)
	for k := range n {
		if j := (i + k) % n; m.isOpen(j) {
			m.at = j
			return
		}
	}
	m.at = max(0, min(m.at, n-1))
}

func (m *Assign) step(d int) tea.Cmd {
	if n := len(m.report.Proposals); n > 0 {
		m.at = (m.at + d + n) % n
		m.said = note{}
	}
	return nil
}

// accept takes the proposal as it stands.
func (m *Assign) accept() tea.Cmd {
	p := m.current()
	if p == nil {
		return nil
	}
	c, ok := p.Change()
	if !ok {
		m.said = note{"No place is proposed for it: m chooses a radio, x leaves it out.", true}
		return nil
	}
	return m.change(p, c)
}

// change applies a change and asks for it to be saved.
func (m *Assign) change(p *grouping.Proposal, c grouping.Change) tea.Cmd {
	next, err := grouping.Apply(m.plan, c)
	if err != nil {
		m.said = note{sentence(err), true}
		return nil
	}
	m.said = note{}
	step := assignStep{bssid: p.BSSID, before: m.plan, text: fmt.Sprintf("%s is off the plan.", p.BSSID)}
	if k, ok := next.RadioOf()[p.BSSID]; ok {
		step.text = fmt.Sprintf("%s is under %s.", p.BSSID, next.RadioName(next.Radios()[k]))
	}
	return m.put(next, step, false)
}

// leaveOut takes a BSSID off the plan; one that is not on it is only settled.
func (m *Assign) leaveOut() tea.Cmd {
	p := m.current()
	switch {
	case p == nil:
		return nil
	case p.Planned != "":
		return m.change(p, grouping.Change{BSSID: p.BSSID})
	case m.out[p.BSSID]:
		m.said = note{"It is left out already.", false}
		return nil
	}
	m.out[p.BSSID] = true
	m.steps = append(m.steps, assignStep{bssid: p.BSSID})
	m.said = note{fmt.Sprintf("%s is left out; it is not on the plan.", p.BSSID), false}
	m.forward(m.at + 1)
	return nil
}

// undo takes the last decision back; one that was saved by saving what stood
// before it as a new revision.
func (m *Assign) undo() tea.Cmd {
	if len(m.steps) == 0 {
		m.said = note{"There is nothing to take back.", false}
		return nil
	}
	st := m.steps[len(m.steps)-1]
	if st.before != nil {
		return m.put(st.before, st, true)
	}
	m.steps = m.steps[:len(m.steps)-1]
	delete(m.out, st.bssid)
	m.said = note{"Taken back.", false}
	m.show(st.bssid)
	return nil
}

// choose lists the radios that a BSSID may be moved to, beginning at the one
// that is proposed.
func (m *Assign) choose() tea.Cmd {
	p := m.current()
	if p == nil {
		return nil
	}
	band, _ := radio.BandOf(p.FreqMHz)
	m.choices, m.pick = grouping.Choices(m.plan, band), 0
	if len(m.choices) == 0 {
		m.choices = nil
		m.said = note{"The plan has no access point that it could be under.", true}
		return nil
	}
	if p.To != nil {
		m.pick = max(0, slices.Index(m.choices, *p.To))
	}
	m.said = note{}
	return nil
}

func (m *Assign) pickBy(d int) tea.Cmd {
	m.pick = (m.pick + d + len(m.choices)) % len(m.choices)
	return nil
}

// take moves the BSSID to the chosen radio.
func (m *Assign) take() tea.Cmd {
	p, to := m.current(), m.choices[m.pick]
	m.choices = nil
	if p == nil {
		return nil
	}
	if to.Radio != grouping.NewRadio && to.Name(m.plan) == p.Planned {
		m.said = note{"It stands under " + p.Planned + " already.", false}
		return nil
	}
	c, _ := p.Change()
	c.To = &to
	return m.change(p, c)
}

func (m *Assign) cancel() tea.Cmd {
	m.choices = nil
	return nil
}

func (m *Assign) toggleHelp() tea.Cmd {
	m.help = !m.help
	return nil
}

// leave quits; what is on its way to the disk is waited for.
func (m *Assign) leave() tea.Cmd {
	if m.store.busy {
		m.bye = true
		return nil
	}
	return tea.Quit
}
