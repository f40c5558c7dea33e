package tui

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"time"

	"footrule/internal/canvas"
	"footrule/internal/radio"
	"footrule/internal/walk"

	tea "github.com/charmbracelet/bubbletea"
)

// Track is a walk to be played.
type Track struct {
	Player *walk.Player
	// Judge fits what was known after the first n facts and measures its error.
	// Its context ends when the answer is no longer wanted. It may be nil.
	Judge func(ctx context.Context, n int) (Standing, error)
	// Find looks for what does not fit in what was known after the first n facts.
	// It may be nil.
	Find func(ctx context.Context, n int) ([]Finding, error)
	// Lay computes what a lens lays over a floor, from what was known after the
	// first n facts. It may be nil.
	Lay func(ctx context.Context, n int, q Query) (Map, error)
}

// ReplayConfig is what a replay is shown with. One or two tracks have to be
// there; with two, Compare may say what changed from the first to the second.
type ReplayConfig struct {
	Title      string
	Tracks     []Track
	Prep       []Finding                                             // as in Config
	Compare    func(ctx context.Context, a, b int) ([]Change, error) // after so many facts of each
	NoFindings bool                                                  // as in Config, for all tracks
	Drill      *Drill                                                // as in Config

	After   func(time.Duration) <-chan time.Time // time.After where nil
	Profile canvas.Profile
	ASCII   bool
	Feet    bool
	Theme   Theme
	Mouse   bool
}

// Change is how the level of a radio differs between two walks over the points
// that both have been to.
type Change struct {
	AP     int // index into Site.AccessPoints
	Band   radio.Band
	MeanDB Estimate // second less first; the half is of a 95 % interval
	Points int
}

// The speeds of a replay, in visits a second.
var speeds = []float64{0.5, 1, 2, 5, 10, 25, 100}

// Replay is one walk played on the screen, or two side by side: a tea.Model.
type Replay struct {
	cfg     ReplayConfig
	ms      []*Model
	on      int  // the track that keys act on
	both    bool // side by side
	playing bool
	speed   int
	timer   int
	typed   *string // a visit is being named
	w, h    int
	changes []Change
	compare struct {
		seq    int
		out    bool
		again  bool
		cancel context.CancelFunc
		asked  [2]int
	}
	ctx   context.Context
	stop  context.CancelFunc
	frame canvas.Canvas
}

// trackMsg is a message to one of the tracks.
type trackMsg struct {
	track int
	msg   tea.Msg
}

type (
	playMsg    struct{ timer int }
	changesMsg struct {
		seq     int
		changes []Change
		err     error
	}
)

// noReceiver is the scanner of a replay: nothing is heard but what was stored.
type noReceiver struct{}

func (noReceiver) Scan(ctx context.Context, _ radio.Request) (radio.Sweep, error) {
	<-ctx.Done()
	return radio.Sweep{}, ctx.Err()
}

// NewReplay gives the screen of a replay, before the first fact. It panics
// without a track and with more than two.
func NewReplay(cfg ReplayConfig) *Replay {
	if len(cfg.Tracks) < 1 || len(cfg.Tracks) > 2 {
		panic(fmt.Sprintf("tui: a replay of %d tracks", len(cfg.Tracks)))
	}
	if cfg.After == nil {
		cfg.After = time.After
	}
	r := &Replay{cfg: cfg, speed: 2}
	r.ctx, r.stop = context.WithCancel(context.Background())
	for i := range cfg.Tracks {
		t := &cfg.Tracks[i]
		m := New(Config{
			Title: cfg.Title, Session: t.Player.Session(), Scanner: noReceiver{}, Store: func(walk.Fact) error { return nil },
			Clock: func() time.Time { return factTime(t.Player) }, Profile: cfg.Profile, ASCII: cfg.ASCII, Feet: cfg.Feet, Theme: cfg.Theme, Prep: cfg.Prep,
			NoFindings: cfg.NoFindings, Drill: cfg.Drill,
		})
		m.replay, m.track = r, i
		if i > 0 {
			m.ans = r.ms[0].ans
		}
		if t.Judge != nil {
			m.cfg.Judge = func(ctx context.Context, _ walk.Walk) (Standing, error) { return Standing{}, ctx.Err() } // see startJudge
		}
		if t.Find != nil {
			m.cfg.Find = func(ctx context.Context, _ walk.Walk) ([]Finding, error) { return t.Find(ctx, m.known) }
		}
		if t.Lay != nil {
			m.cfg.Lay = func(ctx context.Context, q Query) (Map, error) { return t.Lay(ctx, m.known, q) }
		}
		m.seen = map[int]Standing{}
		r.ms = append(r.ms, m)
	}
	return r
}

// factTime is when the latest fact that was played was made.
func factTime(p *walk.Player) time.Time {
	if p.At() == 0 {
		return p.Session().Walk().Started
	}
	return timeOf(p.Fact(p.At() - 1))
}

func timeOf(f walk.Fact) time.Time {
	if f.Mark != nil {
		return f.Mark.Time
	}
	if n := len(f.Visit.Scans); n > 0 {
		return f.Visit.Scans[n-1].Time
	}
	return time.Time{}
}

// Init shows the walk before its first visit.
func (r *Replay) Init() tea.Cmd {
	var cmds []tea.Cmd
	for i := range r.ms {
		cmds = append(cmds, r.shown(i))
	}
	return tea.Batch(cmds...)
}

// wrap sends what a track's command gives back to the track, and what is the
// replay's own, which keys of a track begin too, to the replay.
func (r *Replay) wrap(i int, cmd tea.Cmd) tea.Cmd {
	if cmd == nil {
		return nil
	}
	return func() tea.Msg {
		switch msg := cmd().(type) {
		case nil:
			return nil
		case tea.QuitMsg, playMsg, changesMsg, trackMsg:
			return msg
		case tea.BatchMsg:
			out := make(tea.BatchMsg, 0, len(msg))
			for _, c := range msg {
				out = append(out, r.wrap(i, c))
			}
			return out
		default:
			return trackMsg{i, msg}
		}
	}
}

// Update changes the state and returns commands; it does no input or output.
func (r *Replay) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		r.w, r.h = msg.Width, msg.Height
		var cmds []tea.Cmd
		for i, m := range r.ms {
			_, cmd := m.Update(msg)
			cmds = append(cmds, r.wrap(i, cmd))
		}
		return r, tea.Batch(cmds...)
	case trackMsg:
		_, cmd := r.ms[msg.track].Update(msg.msg)
		return r, r.wrap(msg.track, cmd)
	case tea.KeyMsg:
		return r, each(msg, r.key)
	case tea.MouseMsg:
		_, cmd := r.ms[r.on].Update(msg)
		return r, tea.Batch(r.wrap(r.on, cmd), r.gazeAlike())
	case playMsg:
		if msg.timer == r.timer && r.playing {
			return r, r.tick()
		}
	case changesMsg:
		return r, r.compared(msg)
	}
	return r, nil
}

func (r *Replay) key(msg tea.KeyMsg) tea.Cmd {
	if r.typed != nil {
		return r.typing(msg)
	}
	on := r.on // the key may change it
	_, cmd := r.ms[on].Update(msg)
	return tea.Batch(r.wrap(on, cmd), r.gazeAlike())
}

// gazeAlike gives the other of two plans side by side the lens and the cursor of
// the one that keys act on.
func (r *Replay) gazeAlike() tea.Cmd {
	if !r.both {
		return nil
	}
	m, o := r.ms[r.on], r.ms[1-r.on]
	item := o.gaze.item
	o.gaze, o.zoom, o.drawn = m.gaze, m.zoom, false
	o.gaze.item = item
	return r.wrap(1-r.on, o.refreshLayer())
}

// player is that of the track that keys act on.
func (r *Replay) player() *walk.Player { return r.cfg.Tracks[r.on].Player }

// goTo plays the track up to n facts, and the other one to the same point.
func (r *Replay) goTo(n int) tea.Cmd {
	p := r.player()
	n = min(max(n, 0), p.Len())
	p.Go(n)
	cmds := []tea.Cmd{r.shown(r.on)}
	if len(r.ms) == 2 {
		cmds = append(cmds, r.follow(1-r.on), r.startCompare())
	}
	return tea.Batch(cmds...)
}

// follow brings the other track to the same point, or as far along where it
// has not been there.
func (r *Replay) follow(i int) tea.Cmd {
	p, other := r.player(), r.cfg.Tracks[i].Player
	n := 0
	if p.At() > 0 {
		n = int(math.Round(float64(p.At()) / float64(p.Len()) * float64(other.Len())))
		if v := p.Fact(p.At() - 1).Visit; v != nil && v.Point != "" {
			if k, ok := other.Find(v.Point); ok {
				n = k
			}
		}
	}
	other.Go(n)
	return r.shown(i)
}

// shown makes the screen of a track that of its player.
func (r *Replay) shown(i int) tea.Cmd {
	m, p := r.ms[i], r.cfg.Tracks[i].Player
	m.s = p.Session()
	m.rev++
	m.drawn = false
	if v := r.latest(i); v != nil && len(v.Scans) > 0 {
		sw := radio.Sweep{Started: v.Scans[0].Time}
		for _, reading := range v.Means() {
			sw.Heard = append(sw.Heard, radio.Heard{Reading: reading})
		}
		m.s.Take(sw)
	}
	var find tea.Cmd
	if st, ok := m.seen[p.At()]; ok {
		m.take(st, p.At())
		if st.Findings == nil { // perhaps called off
			find = m.startFind()
		}
	}
	m.levels()
	return r.wrap(i, tea.Batch(find, m.startJudge(), m.refreshLayer()))
}

// step goes on by d visits; marks between them are played with them.
func (r *Replay) step(d int) tea.Cmd {
	p := r.player()
	n := p.At()
	for ; d > 0 && n < p.Len(); d-- {
		for n++; n < p.Len() && p.Fact(n-1).Visit == nil; n++ {
		}
	}
	for ; d < 0 && n > 0; d++ {
		for n--; n > 0 && p.Fact(n-1).Visit == nil; n-- {
		}
	}
	return r.goTo(n)
}

func (r *Replay) play() tea.Cmd {
	r.playing = !r.playing
	r.timer++
	if !r.playing {
		return nil
	}
	if r.player().At() == r.player().Len() {
		return tea.Batch(r.goTo(0), r.wait())
	}
	return tea.Batch(r.step(1), r.wait())
}

// tick is one step of a replay that plays.
func (r *Replay) tick() tea.Cmd {
	if r.player().At() == r.player().Len() {
		r.playing = false
		r.ms[r.on].drawn = false
		return nil
	}
	return tea.Batch(r.step(1), r.wait())
}

func (r *Replay) wait() tea.Cmd {
	r.timer++
	return later(r.ctx, r.cfg.After, time.Duration(float64(time.Second)/speeds[r.speed]), playMsg{r.timer})
}

func (r *Replay) faster(d int) tea.Cmd {
	r.speed = min(max(r.speed+d, 0), len(speeds)-1)
	return nil
}

// name begins to type the name of a visit.
func (r *Replay) name() tea.Cmd {
	r.playing = false
	r.typed = new(string)
	return nil
}

// typing takes the keys of a name.
func (r *Replay) typing(msg tea.KeyMsg) tea.Cmd {
	m := r.ms[r.on]
	m.drawn = false
	switch k := msg.String(); {
	case k == "esc" || k == "ctrl+c":
		r.typed, m.said = nil, note{}
	case k == "backspace":
		if rs := []rune(*r.typed); len(rs) > 0 {
			*r.typed = string(rs[:len(rs)-1])
		}
	case k == "enter":
		name := *r.typed
		r.typed = nil
		n, ok := r.player().Find(name)
		if !ok {
			m.said = note{fmt.Sprintf("No visit %q: name its point, its ID or its number.", canvas.Clean(name)), true}
			return nil
		}
		m.said = note{}
		return r.goTo(n)
	case len(msg.Runes) > 0 && !msg.Alt && len(*r.typed) < 40:
		*r.typed += string(msg.Runes)
	}
	return nil
}

func (r *Replay) other() tea.Cmd {
	if len(r.ms) == 2 {
		r.on = 1 - r.on
		r.ms[r.on].drawn = false
	}
	return nil
}

func (r *Replay) sideBySide() tea.Cmd {
	if len(r.ms) == 2 {
		r.both = !r.both
		if r.both {
			return r.startCompare()
		}
	}
	return nil
}

// startCompare asks what changed between the tracks, as far as they are played.
func (r *Replay) startCompare() tea.Cmd {
	if !r.both || r.cfg.Compare == nil {
		return nil
	}
	c := &r.compare
	if c.out {
		c.again = true
		c.cancel()
		return nil
	}
	c.out, c.seq = true, c.seq+1
	c.asked = [2]int{r.cfg.Tracks[0].Player.At(), r.cfg.Tracks[1].Player.At()}
	seq, asked, compare := c.seq, c.asked, r.cfg.Compare
	ctx, cancel := context.WithCancel(r.ctx)
	c.cancel = cancel
	return func() tea.Msg {
		out, err := compare(ctx, asked[0], asked[1])
		return changesMsg{seq, out, err}
	}
}

func (r *Replay) compared(msg changesMsg) tea.Cmd {
	c := &r.compare
	if msg.seq != c.seq {
		return nil
	}
	c.out = false
	c.cancel()
	if c.again {
		c.again = false
		return r.startCompare()
	}
	if msg.err == nil {
		r.changes = msg.changes
	}
	return nil
}

// leave quits.
func (r *Replay) leave() tea.Cmd {
	r.stop()
	for _, m := range r.ms {
		m.stop()
	}
	return tea.Quit
}

// state says in a few words how the replay plays.
func (r *Replay) state() string {
	p := r.player()
	visits, at := 0, 0
	for i := range p.Len() {
		if p.Fact(i).Visit != nil {
			visits++
			if i < p.At() {
				at++
			}
		}
	}
	word := "paused"
	if r.playing {
		word = strconv.FormatFloat(speeds[r.speed], 'g', -1, 64) + " a second"
	}
	return fmt.Sprintf("visit %d of %d, %s", at, visits, word)
}

// latest is the visit that was played last, nil before the first.
func (r *Replay) latest(track int) *walk.Visit {
	p := r.cfg.Tracks[track].Player
	for i := p.At() - 1; i >= 0; i-- {
		if v := p.Fact(i).Visit; v != nil {
			return v
		}
	}
	return nil
}
