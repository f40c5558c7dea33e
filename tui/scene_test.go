package tui_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"footrule/internal/radio"
	"footrule/internal/site"
	"footrule/internal/walk"
	"footrule/tui"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/paulmach/orb"
	"github.com/stretchr/testify/require"
)

// hall is an invented building: a workshop and a store beside a corridor, with
// a yard inside where nobody can stand.
func hall() *site.Site {
	s := &site.Site{Name: "Harbour Depot", ReceiverHeightM: 1.2, Floors: []site.Floor{{
		ID: "G", Name: "Ground", Outline: orb.Ring{{0, 0}, {46, 0}, {46, 24}, {0, 24}},
		Walls: []site.Wall{
			{Material: "brick", Line: orb.LineString{{16, 24}, {16, 16}, {30, 16}}},
			{Material: "brick", Line: orb.LineString{{33, 16}, {46, 16}}},
			{Material: "plasterboard", Line: orb.LineString{{16, 0}, {16, 8}, {28, 8}}},
			{Material: "plasterboard", Line: orb.LineString{{31, 8}, {46, 8}}},
		},
		Areas: []site.Area{
			{ID: "workshop", Kind: site.Zone, Polygon: orb.Ring{{0, 0}, {16, 0}, {16, 24}, {0, 24}}},
			{ID: "yard", Kind: site.Void, Polygon: orb.Ring{{35, 0}, {45, 0}, {45, 7}, {35, 7}}},
		},
	}}}
	for i, at := range []orb.Point{{4, 20}, {4, 4}, {13, 12}, {24, 20}, {40, 20}, {24, 4}} {
		s.AccessPoints = append(s.AccessPoints, site.AccessPoint{ID: fmt.Sprintf("AP-%02d", i+1), Floor: "G", At: at, HeightM: 2.8,
			Radios: []site.Radio{{Band: radio.Band5, BSSIDs: []radio.BSSID{{2, 0, 0x5e, 0, byte(i >> 8), byte(i)}}}}})
	}
	return s
}

// grid lays stops every step metres, up and down, where someone can stand.
func grid(s *site.Site, step float64) []walk.Stop {
	var out []walk.Stop
	f := &s.Floors[0]
	b := f.BoundingBox()
	n := 0
	for x := b.Min[0] + step/2; x < b.Max[0]; x += step {
		for k := 0.0; b.Min[1]+step/2+k*step < b.Max[1]; k++ {
			y := b.Min[1] + step/2 + k*step
			if n%2 == 1 {
				y = b.Max[1] - (y - b.Min[1])
			}
			if p := (orb.Point{x, y}); f.Walkable(p) {
				out = append(out, walk.Stop{Point: fmt.Sprintf("P%02d", len(out)+1), Floor: f.ID, At: p})
			}
		}
		n++
	}
	return out
}

var start = time.Date(2030, 3, 4, 9, 0, 0, 0, time.UTC)

// ether is a scanner over a site: −38 dBm at 1 m, exponent 3, nothing below
// −90 dBm. It fails the test where two scans run at once.
type ether struct {
	site   *site.Site
	clock  func() time.Time
	delta  map[int]float64 // of an access point, dB
	fail   atomic.Pointer[error]
	calls  atomic.Int64
	gate   chan struct{} // a scan waits for it where it is not nil
	onScan func()

	mu     sync.Mutex
	busy   bool
	both   bool
	at     orb.Point
	facing float64
	reqs   []radio.Request
}

func (e *ether) Place(_ string, at orb.Point, facing float64) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.at, e.facing = at, facing
}

func (e *ether) level(ap int, at orb.Point) float64 {
	a := e.site.AccessPoints[ap].At
	d := math.Max(0.5, math.Hypot(math.Hypot(a[0]-at[0], a[1]-at[1]), 1.6))
	return -38 - 30*math.Log10(d)
}

func (e *ether) Scan(ctx context.Context, req radio.Request) (radio.Sweep, error) {
	e.mu.Lock()
	e.both = e.both || e.busy
	e.busy = true
	at := e.at
	e.reqs = append(e.reqs, req)
	e.mu.Unlock()
	defer func() { e.mu.Lock(); e.busy = false; e.mu.Unlock() }()
	began := e.clock()
	if e.gate != nil {
		select {
		case <-e.gate:
		case <-ctx.Done():
			return radio.Sweep{}, ctx.Err()
		}
	}
	e.calls.Add(1)
	if e.onScan != nil {
		e.onScan()
	}
	if err := e.fail.Load(); err != nil && *err != nil {
		return radio.Sweep{}, *err
	}
	return e.sweep(at, began), ctx.Err()
}

func (e *ether) sweep(at orb.Point, began time.Time) radio.Sweep {
	sw := radio.Sweep{Started: began, Took: 300 * time.Millisecond}
	for i, ap := range e.site.AccessPoints {
		if v := math.Round(e.level(i, at) + e.delta[i]); v > -90 {
			sw.Heard = append(sw.Heard, radio.Heard{Reading: radio.Reading{BSSID: ap.Radios[0].BSSIDs[0], SSID: "depot", FreqMHz: 5180, RSSIDBm: v}})
		}
	}
	return sw
}

func (e *ether) twoAtOnce() bool {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.both
}

// disk is a store that can be full.
type disk struct {
	mu    sync.Mutex
	full  bool
	facts []walk.Fact
	onPut func()
}

var errFull = errors.New("no space left on device; free some and try again")

func (d *disk) put(f walk.Fact) error {
	if d.onPut != nil {
		d.onPut()
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.full {
		return errFull
	}
	d.facts = append(d.facts, f)
	return nil
}

// robot drives a model without a terminal: it runs every command to its end,
// one after the other, until there are none.
type robot struct {
	t     testing.TB
	m     *tui.Model
	s     *walk.Session
	ether *ether
	disk  *disk
	now   time.Time
	bells []int
	quit  bool
	hold  []tea.Cmd // commands kept back while holding
	held  bool
}

func settings() walk.Settings {
	st := walk.DefaultSettings()
	st.FacingsDeg, st.ScansPerFacing = []float64{0, 90}, 2
	return st
}

// scene makes a session over a site and a robot that walks it.
func scene(t testing.TB, s *site.Site, stops []walk.Stop, st walk.Settings, change func(*tui.Config)) *robot {
	r := &robot{t: t, now: start.Add(41 * time.Minute)}
	clock := func() time.Time { return r.now }
	r.ether = &ether{site: s, clock: clock, delta: map[int]float64{}}
	r.disk = &disk{}
	var err error
	r.s, err = walk.NewSession(s, walk.Walk{Header: walk.Header{ID: "w2", Name: "walk 2", Started: start, Settings: st}}, stops)
	require.NoError(t, err)
	cfg := tui.Config{Session: r.s, Scanner: r.ether, Store: r.disk.put, Clock: clock,
		After: func(time.Duration) <-chan time.Time { return nil },
		Bell:  func(n int) { r.bells = append(r.bells, n) },
		Judge: r.judge, Doubts: r.doubts, Lay: r.lay,
		Prep: []tui.Finding{{Title: "AP-05: power", Evidence: "It draws 29.5 W and gets 25.5 W: 2 of 4 chains are shed.", Do: "Checked against IEEE 802.3.", Floor: "G", At: s.AccessPoints[4].At, AP: 4}},
		Find: func(_ context.Context, w walk.Walk) ([]tui.Finding, error) {
			return found(r.ether, len(w.Standing())), nil
		},
		Guide: func(from, to orb.Point, _ string) (tui.Leg, bool) {
			corner := orb.Point{from[0], to[1]}
			return tui.Leg{LengthM: math.Abs(from[0]-to[0]) + math.Abs(from[1]-to[1]), Via: []orb.Point{from, corner, to}}, true
		},
	}
	if change != nil {
		change(&cfg)
	}
	r.m = tui.New(cfg)
	return r
}

// judge answers as an estimator might, with figures made up from the count of visits.
func (r *robot) judge(_ context.Context, w walk.Walk) (tui.Standing, error) {
	return standing(r.ether, len(w.Standing())), nil
}

func standing(e *ether, n int) tui.Standing {
	st := tui.Standing{Points: n, Need: 5, Readings: n * 71}
	if n < st.Need {
		return st
	}
	f := 1 / math.Sqrt(float64(n))
	st.Exponents = []tui.BandEstimate{{Band: radio.Band5, Estimate: tui.Estimate{Value: 3 - .2*f, Half: 1.1 * f}}}
	st.SpreadsDB = []tui.BandEstimate{{Band: radio.Band5, Estimate: tui.Estimate{Value: 4.1, Half: 2 * f}}}
	st.CE50M, st.CE90M = tui.Estimate{Value: 2.2 + 4*f, Half: 3 * f}, tui.Estimate{Value: 5.4 + 8*f, Half: 7 * f}
	st.RMSM, st.BoundM, st.FiveMoreM = 2.6+4*f, 2.1+2*f, tui.Estimate{Value: 2.1 + 3.7*f, Half: 2.4 * f}
	stops := grid(e.site, 4)
	for i := range n {
		p := stops[i]
		off := orb.Point{math.Sin(float64(7*i)) * 9 * f, math.Cos(float64(3*i)) * 9 * f}
		j := tui.Judged{Point: p.Point, Floor: "G", At: p.At, Fix: orb.Point{p.At[0] + off[0], p.At[1] + off[1]}, ErrorM: math.Hypot(off[0], off[1]), BoundM: 2.1}
		if i == 2 {
			j.Why, j.ErrorM = "2 heard", math.NaN()
		} else {
			st.ErrorsM = append(st.ErrorsM, j.ErrorM)
		}
		st.Judged = append(st.Judged, j)
	}
	slices.Sort(st.ErrorsM)
	st.Targets = []tui.Target{{Share: .5, WithinM: 2, Verdict: "failed"}, {Share: .9, WithinM: 4, Verdict: "open, 12 more"}}
	for k := range e.site.AccessPoints {
		c := tui.Curve{AP: k, Band: radio.Band5, Level1m: tui.Estimate{Value: -38.2, Half: 4 * f}, Exponent: tui.Estimate{Value: 3, Half: f}, SigmaDB: 4.1, Points: n - 1, Silent: 1}
		for i := range n {
			a := e.site.AccessPoints[k].At
			c.DistanceM = append(c.DistanceM, math.Hypot(math.Hypot(a[0]-stops[i].At[0], a[1]-stops[i].At[1]), 1.6))
			c.LevelDBm = append(c.LevelDBm, e.level(k, stops[i].At)+4*math.Sin(float64(11*i+k)))
			c.WallsDB = append(c.WallsDB, 0)
		}
		st.Curves = append(st.Curves, c)
	}
	st.Level = func(k int, _ string, at orb.Point) float64 { return e.level(k, at) }
	return st
}

// found names two faults once there are nine visits.
func found(e *ether, n int) []tui.Finding {
	if n < 9 {
		return nil
	}
	stops := grid(e.site, 4)
	return []tui.Finding{
		{Title: "AP-03 hangs elsewhere", Evidence: "Its levels fit 11 m further right better, by 14 log units where 5 would do.", Do: "Look where it hangs, and mend the plan or its label.",
			Floor: "G", At: e.site.AccessPoints[2].At, Seems: &orb.Point{24, 13}, AP: 2},
		{Title: "P04 recorded elsewhere", Evidence: "What was heard there fits a place 9 m away better.", Do: "Walk it again.", Floor: "G", At: stops[3].At, AP: -1},
	}
}

// lay answers as a map of the ether would be, in cells of a metre.
func (r *robot) lay(_ context.Context, q tui.Query) (tui.Map, error) {
	f := r.ether.site.Floor(q.Floor)
	b := f.BoundingBox()
	m := tui.Map{Origin: b.Min, Cell: orb.Point{1, 1}, From: "from the fit", W: int(b.Max[0] - b.Min[0]), H: int(b.Max[1] - b.Min[1])}
	far := 0
	for y := range m.H {
		for x := range m.W {
			at := orb.Point{b.Min[0] + float64(x) + .5, b.Min[1] + float64(y) + .5}
			v := math.NaN()
			switch {
			case !f.Walkable(at):
			case q.Layer == tui.HullLayer:
				v, m.Inside = 0, 0.4
				if at[0] > 8 && at[0] < 40 {
					v = 1
				}
			case q.Layer == tui.LevelLayer:
				v = r.ether.level(q.AP, at)
			default:
				v = 0
				for ap := range r.ether.site.AccessPoints {
					if l := r.ether.level(ap, at); q.Layer == tui.HeardLayer && l >= -75 {
						v++
					} else if q.Layer >= tui.BoundLayer {
						v = math.Max(v, math.Hypot(at[0]-20, at[1]-12)/3)
					}
				}
				if v < 3 {
					far++
				}
			}
			m.Values = append(m.Values, v)
		}
	}
	if q.Layer == tui.HeardLayer {
		m.Shares = []tui.Share{{1, 1}, {2, .97}, {3, 1 - float64(far)/float64(m.W*m.H)}, {4, .61}}
		if far > 0 {
			m.Holes = []tui.Hole{{At: orb.Point{43, 10}, AreaM2: float64(far) - 6, Heard: 2, Add: &orb.Point{38, 12}, ClosesM2: 90}, {At: orb.Point{2, 12}, AreaM2: 6, Heard: 2}}
		}
	}
	return m, nil
}

// doubts names access points that are 10 dB or more off.
func (r *robot) doubts(v *walk.Visit) []tui.Doubt {
	var out []tui.Doubt
	for _, l := range walk.Stays(r.ether.site, []walk.Walk{{Visits: []walk.Visit{*v}}}, walk.ByVisit) {
		for k, lv := range l.Levels {
			if d := lv.MeanDBm - r.ether.level(k, v.At); lv.Heard > 0 && math.Abs(d) >= 10 {
				out = append(out, tui.Doubt{AP: k, Text: fmt.Sprintf("%s is %.0f dB below the fit here. Door shut, somebody in the way, or AP down?", r.ether.site.AccessPoints[k].ID, -d)})
			}
		}
	}
	return out
}

// send hands over a message and runs what follows from it.
func (r *robot) send(msg tea.Msg) {
	r.t.Helper()
	_, cmd := r.m.Update(msg)
	r.run(cmd)
}

func (r *robot) run(cmd tea.Cmd) {
	r.t.Helper()
	r.quit = drain(r.t, cmd, r, func(c tea.Cmd) bool {
		if r.held {
			r.hold = append(r.hold, c)
		}
		return !r.held
	}) || r.quit
}

// Update lets some time go by before the walk takes a message.
func (r *robot) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	r.now = r.now.Add(350 * time.Millisecond)
	return r.m.Update(msg)
}

// drain runs a command and all that follow from it, but those that are not let
// through, and tells whether one quits.
func drain(t testing.TB, cmd tea.Cmd, m interface {
	Update(tea.Msg) (tea.Model, tea.Cmd)
}, let func(tea.Cmd) bool) (quit bool) {
	t.Helper()
	queue := []tea.Cmd{cmd}
	for n := 0; len(queue) > 0; n++ {
		require.Less(t, n, 100_000, "commands without end")
		c := queue[0]
		queue = queue[1:]
		if c == nil || let != nil && !let(c) {
			continue
		}
		switch msg := c().(type) {
		case nil:
		case tea.BatchMsg:
			queue = append(queue, msg...)
		case tea.QuitMsg:
			quit = true
		default:
			_, next := m.Update(msg)
			queue = append(queue, next)
		}
	}
	return quit
}

// release runs the commands that were kept back.
func (r *robot) release() {
	r.t.Helper()
	r.held = false
	hold := r.hold
	r.hold = nil
	for _, c := range hold {
		r.run(c)
	}
}

func (r *robot) open(w, h int) *robot {
	r.t.Helper()
	r.run(r.m.Init())
	r.send(tea.WindowSizeMsg{Width: w, Height: h})
	return r
}

var named = map[string]tea.KeyMsg{
	"enter": {Type: tea.KeyEnter}, "esc": {Type: tea.KeyEsc}, "tab": {Type: tea.KeyTab}, "space": {Type: tea.KeySpace, Runes: []rune{' '}},
	"left": {Type: tea.KeyLeft}, "right": {Type: tea.KeyRight}, "up": {Type: tea.KeyUp}, "down": {Type: tea.KeyDown},
	"shift+tab": {Type: tea.KeyShiftTab}, "ctrl+c": {Type: tea.KeyCtrlC}, "backspace": {Type: tea.KeyBackspace},
}

// keyOf is the key of a name, or of its letters.
func keyOf(name string) tea.KeyMsg {
	if msg, ok := named[name]; ok {
		return msg
	}
	return tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(name)}
}

// press presses keys by name, one after the other.
func (r *robot) press(ks ...string) *robot {
	r.t.Helper()
	for _, k := range ks {
		r.now = r.now.Add(time.Second)
		r.send(keyOf(k))
	}
	return r
}

// visit records at the current stop, all facings, until it is stored or doubted.
func (r *robot) visit() *robot {
	r.t.Helper()
	r.press("space")
	for range 16 {
		if r.s.Phase() == walk.Turning {
			r.press("space")
		}
	}
	return r
}

func (r *robot) screen() string { return r.m.View() }

// pauseAfter keeps commands back once n more scans have come in.
func (r *robot) pauseAfter(n int) {
	base := r.ether.calls.Load()
	r.ether.onScan = func() {
		if r.ether.calls.Load() >= base+int64(n) {
			r.held = true
		}
	}
}
