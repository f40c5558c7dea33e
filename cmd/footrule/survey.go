package main

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"sync"
	"time"

	"footrule/internal/boot"
	"footrule/internal/position"
	"footrule/internal/radio"
	"footrule/internal/route"
	"footrule/internal/site"
	"footrule/internal/walk"
	"footrule/store"
	"footrule/tui"

	"github.com/paulmach/orb"
	"github.com/spf13/cobra"
)

// surveyFlags are the flags of the commands that walk.
type surveyFlags struct {
	name, surveyor, receiver string
	adapter                  string // of a live walk
	floor                    string
	spacing                  float64
	facings                  string
	scans, need              int
	threshold                float64
	target50, target90       float64
	onScreen                 bool              // the walk needs a terminal
	asked                    []position.Target // by the two before it
	plain                    bool
	screenFlags
}

func (f *surveyFlags) add(cmd *cobra.Command) {
	d := walk.DefaultSettings()
	fl := cmd.Flags()
	fl.StringVar(&f.name, "walk", "", "name of the walk to start or go on with (default: go on with the open one)")
	fl.StringVar(&f.surveyor, "surveyor", "", "who walks")
	fl.StringVar(&f.receiver, "receiver", "", "what receives (default: the interface)")
	fl.StringVar(&f.floor, "floor", "", "walk only this floor, by its id")
	fl.Float64Var(&f.spacing, "spacing", 5, "metres between points of the grid that is laid where the plan has none")
	fl.StringVar(&f.facings, "facings", "0,90,180,270", "facings to take at each point in degrees clockwise from plan up, or free")
	fl.IntVar(&f.scans, "scans", d.ScansPerFacing, "scans to take per facing")
	fl.IntVar(&f.need, "need", d.Need, "access points that every point should hear")
	fl.Float64Var(&f.threshold, "threshold-dbm", d.ThresholdDBm, "level from which an access point counts as heard")
	fl.Float64Var(&f.target50, "target-ce50", 0, "metres that half of the places must be within, shown beside the error")
	fl.Float64Var(&f.target90, "target-ce90", 0, "metres that 90 % of the places must be within, shown beside the error")
	fl.BoolVar(&f.plain, "plain", false, "plain prompts, line by line, instead of the screen (also with ACCESSIBLE set)")
	fl.BoolVar(&f.big, "big", false, "begin with letters that can be read at arm's length")
	f.screenFlags.add(cmd, true)
}

func (f *surveyFlags) settings() (walk.Settings, error) {
	if err := f.screenFlags.check(); err != nil {
		return walk.Settings{}, err
	}
	s := walk.Settings{ScansPerFacing: f.scans, Need: f.need, ThresholdDBm: f.threshold}
	if err := errors.Join(nameable("walk", f.name), nameable("receiver", f.receiver), nameable("surveyor", f.surveyor)); err != nil {
		return s, err
	}
	switch {
	case f.scans < 1 || f.scans > 1000:
		return s, usage(fmt.Errorf("--scans %d; take 1 to 1000", f.scans))
	case f.need < 1:
		return s, usage(fmt.Errorf("--need %d; at least 1", f.need))
	case !radio.LevelOK(f.threshold):
		return s, usage(fmt.Errorf("--threshold-dbm %g; a level from −120 to below 0 dBm", f.threshold))
	case !(f.spacing > 0):
		return s, usage(fmt.Errorf("--spacing %g; metres above 0", f.spacing))
	}
	for _, t := range []position.Target{{Share: 0.5, WithinM: f.target50}, {Share: 0.9, WithinM: f.target90}} {
		if t.WithinM == 0 {
			continue
		}
		if _, err := t.Check(0, 0); err != nil {
			return s, usage(fmt.Errorf("--target-ce%.0f %g: %w", 100*t.Share, t.WithinM, err))
		}
		f.asked = append(f.asked, t)
	}
	if f.facings == "free" {
		return s, nil
	}
	for _, part := range strings.Split(f.facings, ",") {
		deg, err := strconv.ParseFloat(strings.TrimSpace(part), 64)
		if err != nil || !(deg >= 0 && deg < 360) {
			return s, usage(fmt.Errorf("--facings %q; degrees from 0 to below 360 with commas between, or free", f.facings))
		}
		s.FacingsDeg = append(s.FacingsDeg, deg)
	}
	return s, nil
}

// survey is a walk being taken: the file, the state and what computes for it.
type survey struct {
	sh      *shell
	st      *store.Store
	plan    *site.Site
	session *walk.Session
	scanner radio.Scanner
	running *running
	flags   *surveyFlags
	resumed bool
	visited func()     // told of every visit that was stored; may be nil
	hidden  bool       // what the program finds is not to be shown
	drill   *tui.Drill // the case that is walked; may be nil

	mu   sync.Mutex
	ways map[string]*route.Ways
}

// newSurvey resumes the open walk of the source, or begins one. Points are laid
// where a floor has none; they become part of the plan.
func newSurvey(sh *shell, st *store.Store, f *surveyFlags, source walk.Source, seed uint64) (*survey, error) {
	settings, err := f.settings()
	if err != nil {
		return nil, err
	}
	if f.onScreen && !sh.onTerminal() { // before anything is written
		return nil, errNoTerminal
	}
	plan, rev, err := st.Plan()
	if err != nil {
		return nil, err
	}
	if f.floor != "" && plan.Floor(f.floor) == nil {
		return nil, usage(fmt.Errorf("no floor %q on the plan", f.floor))
	}
	if plan, rev, err = lay(st, plan, rev, f); err != nil {
		return nil, err
	}
	w, resumed, err := openWalk(sh, st, f, source, seed, settings, rev)
	if err != nil {
		return nil, err
	}
	session, err := walk.NewSession(plan, *w, stops(plan, f.floor))
	if err != nil {
		return nil, usage(err)
	}
	return &survey{sh: sh, st: st, plan: plan, session: session, flags: f, resumed: resumed,
		running: newRunning(plan, f.asked), ways: map[string]*route.Ways{}}, nil
}

// lay lays a grid of points on the floors that have none.
func lay(st *store.Store, plan *site.Site, rev uint64, f *surveyFlags) (*site.Site, uint64, error) {
	next := plan.Clone()
	var taken []string
	for _, fl := range plan.Floors {
		for _, p := range fl.Points {
			taken = append(taken, p.ID)
		}
	}
	changed := false
	for i := range next.Floors {
		fl := &next.Floors[i]
		if len(fl.Points) > 0 || (f.floor != "" && fl.ID != f.floor) {
			continue
		}
		pts, err := route.Lay(fl, f.spacing, taken...)
		if err != nil {
			return nil, 0, usage(err)
		}
		fl.Points = pts
		for _, p := range pts {
			taken = append(taken, p.ID)
		}
		changed = changed || len(pts) > 0
	}
	if !changed {
		return plan, rev, nil
	}
	rev, err := st.PutPlan(next)
	return next, rev, err
}

// stops puts the points of the floors in walking order.
func stops(plan *site.Site, only string) []walk.Stop {
	var out []walk.Stop
	for i := range plan.Floors {
		fl := &plan.Floors[i]
		if only != "" && fl.ID != only {
			continue
		}
		for _, k := range route.Order(fl, fl.Points, nil).Order {
			out = append(out, walk.Stop{Point: fl.Points[k].ID, Floor: fl.ID, At: fl.Points[k].At})
		}
	}
	return out
}

// openWalk finds the walk to go on with, or begins one.
func openWalk(sh *shell, st *store.Store, f *surveyFlags, source walk.Source, seed uint64, settings walk.Settings, rev uint64) (*walk.Walk, bool, error) {
	heads, err := st.Headers()
	if err != nil {
		return nil, false, err
	}
	var found *walk.Header
	for i := range heads {
		h := &heads[i]
		switch {
		case f.name != "" && h.Name == f.name:
			if h.Completed || h.Source != source || h.Receiver != f.receiver {
				return nil, false, usage(fmt.Errorf("walk %q is over, or was taken with another receiver (%s); start another with --walk NAME", f.name, h.Receiver))
			}
			found = h
		case f.name == "" && !h.Completed && h.Source == source && h.Receiver == f.receiver && (source != walk.Synthetic || h.Seed == seed):
			found = h
		}
	}
	if found != nil {
		w, err := st.Walk(found.ID)
		return w, true, err
	}
	now := sh.now().UTC()
	h := walk.Header{ID: newID(now), Name: f.name, Surveyor: f.surveyor, Receiver: f.receiver, Adapter: f.adapter, Source: source,
		Started: now, PlanRev: rev, Settings: settings, Seed: seed, Program: version}
	for n := len(heads) + 1; h.Name == ""; n++ {
		h.Name = fmt.Sprintf("walk %d", n)
		for _, o := range heads {
			if o.Name == h.Name {
				h.Name = ""
			}
		}
	}
	return &walk.Walk{Header: h}, false, st.BeginWalk(h)
}

// newID makes an identity for a walk that no other laptop will make.
func newID(now time.Time) string {
	var b [4]byte
	if _, err := rand.Read(b[:]); err != nil {
		panic(err) // the operating system has no randomness
	}
	return now.Format("20060102T150405Z") + "-" + hex.EncodeToString(b[:])
}

// store puts a fact on disk.
func (s *survey) store(f walk.Fact) error {
	id := s.session.Walk().ID
	if f.Visit == nil {
		return s.st.AppendMark(id, *f.Mark)
	}
	err := s.st.AppendVisit(id, *f.Visit)
	if err == nil && s.visited != nil {
		s.visited()
	}
	return err
}

// guide gives the way on foot.
func (s *survey) guide(from, to orb.Point, floor string) (tui.Leg, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	w, ok := s.ways[floor]
	if !ok {
		w = route.NewWays(s.plan.Floor(floor))
		s.ways[floor] = w
	}
	leg, ok := w.Leg(from, to)
	if !ok {
		return tui.Leg{}, false
	}
	via := append(append([]orb.Point{from}, leg.Via...), to)
	return tui.Leg{LengthM: leg.DistM, Via: via}, true
}

func (s *survey) config() tui.Config {
	cfg := tui.Config{
		Title: s.plan.Name, File: s.st.Path(), Session: s.session, Scanner: s.scanner,
		Store: s.store, Judge: s.running.judge, Doubts: s.running.doubts, Guide: s.guide, Lay: s.lay, Dark: underlays(s.st, s.plan), Prep: prepFindings(s.plan),
		Find:  func(ctx context.Context, w walk.Walk) ([]tui.Finding, error) { return find(ctx, s.plan, w) },
		Clock: s.sh.now,
		Bell:  func(n int) { fmt.Fprint(s.sh.out, strings.Repeat("\a", n)) },
		ASCII: s.flags.ascii, Feet: s.flags.feet, Theme: s.flags.themeOf(), Big: s.flags.big, Mouse: s.flags.mouse,
		NoFindings: s.hidden, Drill: s.drill,
	}
	return cfg
}

// screen runs the walk on the terminal and gives the farewell.
func (s *survey) screen(ctx context.Context) (string, error) {
	boot.Restore()
	cfg := s.config()
	cfg.Profile = profile(s.sh)
	bye, err := tui.Run(ctx, cfg, s.sh.in, s.sh.out)
	if err != nil {
		return bye, refused(fmt.Errorf("the screen failed: %w", err))
	}
	return bye, nil
}

// wantsPlain reports whether the walk runs as plain prompts.
func (f *surveyFlags) wantsPlain(sh *shell) bool { return f.plain || sh.getenv("ACCESSIBLE") != "" }
