package tui

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"

	"footrule/internal/canvas"
	"footrule/internal/draft"
	"footrule/internal/site"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/paulmach/orb"
)

// EditConfig is what a plan is edited with. Plan and Put have to be there.
type EditConfig struct {
	Plan *site.Site
	Rev  uint64 // of Plan
	// Put returns once the plan is on disk, with its revision. Only then is it
	// called saved.
	Put func(*site.Site) (rev uint64, err error)
	// Dark reports whether the picture under a floor is dark about a place, over
	// a square of so many metres. Nil where there are no pictures.
	Dark func(floor string, at orb.Point, sideM float64) bool

	Profile canvas.Profile
	ASCII   bool
	Feet    bool
	Theme   Theme
	Mouse   bool
}

// editTool is what enter does.
type editTool int

const (
	holdTool    editTool = iota // take hold of what is at the cursor
	wallTool                    // corners of a wall
	areaTool                    // corners of an area
	outlineTool                 // corners of the outline
)

// steps are how far an arrow moves the cursor, metres.
var editSteps = []float64{0.05, 0.1, 0.25, 0.5, 1, 2, 5}

// Edit draws and edits a plan on a screen, a tea.Model.
type Edit struct {
	cfg   EditConfig
	look  theme
	words words
	d     *draft.Draft
	w, h  int
	help  int // page from 1; 0 for none

	floor   int
	at      orb.Point
	step    int // into editSteps
	zoom    int
	tool    editTool
	kind    site.AreaKind // of the area tool
	corners []orb.Point
	held    *draft.Ref // moves with the cursor
	chosen  *draft.Ref
	typed   *editField
	leaving bool

	rev   uint64
	saves int
	store struct {
		seq  int
		busy bool
		bye  bool
	}
	said  note
	view  canvas.Viewport
	frame canvas.Canvas
	text  string
	drawn bool
}

// editField is a line that is being typed.
type editField struct {
	label string
	text  string
	done  func(text string) tea.Cmd
}

type editMsg struct {
	seq  int
	plan *site.Site
	rev  uint64
	err  error
}

// NewEdit gives the screen. It panics where Plan or Put is missing.
func NewEdit(cfg EditConfig) *Edit {
	if cfg.Plan == nil || cfg.Put == nil {
		panic("tui: a config without plan or put")
	}
	m := &Edit{cfg: cfg, look: newTheme(cfg.Theme), words: words{marksOf(cfg.ASCII), cfg.Feet}, d: draft.New(cfg.Plan), rev: cfg.Rev, step: 3, kind: site.Void}
	m.at = m.fl().BoundingBox().Center()
	m.snap()
	return m
}

// RunEdit edits a plan on the terminal until somebody quits or ctx ends, and
// gives what is to be said after it.
func RunEdit(ctx context.Context, cfg EditConfig, in io.Reader, out io.Writer) (farewell string, err error) {
	m := NewEdit(cfg)
	err = onScreen(ctx, m, cfg.Mouse, in, out)
	return m.Farewell(), err
}

// Farewell says after the end what was saved and what was not.
func (m *Edit) Farewell() string {
	s := "nothing was saved"
	if m.saves > 0 {
		s = fmt.Sprintf("the plan is at revision %d", m.rev)
	}
	if m.d.Changed() {
		s += "; changes after that were left behind"
	}
	return s + "."
}

// Init has nothing to begin.
func (m *Edit) Init() tea.Cmd { return nil }

func (m *Edit) fl() *site.Floor { return &m.d.Plan().Floors[m.floor] }

// Update changes the state and returns commands; it does no input or output.
func (m *Edit) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	var cmd tea.Cmd
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		m.w, m.h = msg.Width, msg.Height
	case tea.KeyMsg:
		cmd = each(msg, m.key)
	case tea.MouseMsg:
		cmd = m.clicked(msg)
	case editMsg:
		cmd = m.stored(msg)
	default:
		return m, nil
	}
	m.drawn = false
	return m, cmd
}

func (m *Edit) key(msg tea.KeyMsg) tea.Cmd {
	if m.typed != nil {
		return m.typing(msg)
	}
	if msg.Paste || msg.Alt || m.store.busy {
		return nil
	}
	k := msg.String()
	if m.help > 0 {
		if m.help++; m.help > m.helpPages() || k == "esc" || k == "?" {
			m.help = 0
		}
		if k != "q" && k != "ctrl+c" {
			return nil
		}
		m.help = 0
	}
	if k != "q" && k != "ctrl+c" {
		m.leaving = false
	}
	for _, b := range m.bindings() {
		if slices.Contains(b.keys, k) {
			m.said = note{}
			return b.do(m)
		}
	}
	return nil
}

// typing takes the keys of a line.
func (m *Edit) typing(msg tea.KeyMsg) tea.Cmd {
	const most = 200
	f := m.typed
	switch k := msg.String(); {
	case k == "esc" || k == "ctrl+c":
		m.typed = nil
	case k == "enter":
		m.typed = nil
		return f.done(strings.TrimSpace(f.text))
	case k == "backspace":
		if rs := []rune(f.text); len(rs) > 0 {
			f.text = string(rs[:len(rs)-1])
		}
	case k == "ctrl+u":
		f.text = ""
	case len(msg.Runes) > 0 && !msg.Alt && len(f.text) < most:
		f.text += canvas.Clean(string(msg.Runes))
	}
	return nil
}

func (m *Edit) ask(label, text string, done func(string) tea.Cmd) tea.Cmd {
	m.typed = &editField{label: label, text: text, done: done}
	return nil
}

// did says what a step did, or why it was not made.
func (m *Edit) did(text string, err error) tea.Cmd {
	if err != nil {
		m.said = note{sentence(err), true}
		return nil
	}
	m.said = note{text, false}
	if m.chosen != nil {
		if _, ok := m.d.At(*m.chosen); !ok {
			m.chosen = nil
		}
	}
	return nil
}
