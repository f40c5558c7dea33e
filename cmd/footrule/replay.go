package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"footrule/internal/boot"
	"footrule/internal/canvas"
	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/say"
	"footrule/internal/site"
	"footrule/internal/walk"
	"footrule/tui"

	"github.com/spf13/cobra"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

type replayFlags struct {
	walks         []string
	plain, asJSON bool
	every         int
	ce50, ce90    float64
	screenFlags
}

func newReplay(sh *shell) *cobra.Command {
	var f replayFlags
	cmd := &cobra.Command{
		Use:   "replay FILE",
		Short: "Play a stored walk visit by visit, with what was known at each moment",
		Long: `replay plays a walk of FILE on the screen: forwards and back, at any speed, with the
fit, the position error and the doubts as they stood after each visit. With two
walks (--walk twice) both are played point by point, side by side, and the levels
that changed from the first to the second are listed: before and after an access
point was moved, or with two receivers.

--plain prints one line a visit instead of the screen, --json the same as data;
equal walks give equal output.`,
		Example: "  footrule replay depot.footrule\n  footrule replay depot.footrule --walk monday --walk tuesday\n  footrule replay depot.footrule --plain --every 5",
		Args:    files(1, 1, "a site FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := f.screenFlags.check(); err != nil {
				return err
			}
			switch {
			case f.every < 1:
				return usage(fmt.Errorf("--every %d; give 1 or more", f.every))
			case len(f.walks) > 2:
				return usage(fmt.Errorf("%d walks; a replay shows one, or two side by side", len(f.walks)))
			}
			plan, walks, err := load(args[0], f.walks)
			if err != nil {
				return err
			}
			if len(f.walks) == 0 && len(walks) > 1 {
				walks = walks[len(walks)-1:]
			}
			rec, err := drillOf(args[0])
			if err != nil {
				return err
			}
			hidden := rec != nil && !rec.Open()
			slices.SortStableFunc(walks, func(a, b walk.Walk) int { return rank(f.walks, &a) - rank(f.walks, &b) })
			asked, err := targets(cmd, f.ce50, f.ce90, position.DefaultConfidence)
			if err != nil {
				return err
			}
			var plays []*play
			for i := range walks {
				p, err := newPlay(plan, walks[i], hidden)
				if err != nil {
					return err
				}
				p.asked = asked
				plays = append(plays, p)
			}
			if f.plain || f.asJSON || f.wantsPlain(sh) {
				if len(plays) > 1 {
					return usage(errors.New("--plain and --json play one walk; name it with --walk"))
				}
				return plays[0].print(cmd.Context(), sh, &f)
			}
			if !sh.onTerminal() {
				return refused(errors.New("the screen needs a terminal at both ends; --plain prints the replay"))
			}
			return f.screen(cmd.Context(), sh, plan, plays, drillOnScreen(sh, rec, inFile(args[0])))
		},
	}
	fl := cmd.Flags()
	fl.StringArrayVar(&f.walks, "walk", nil, "walk to play, by name or ID; twice to play two side by side (default: the latest)")
	fl.BoolVar(&f.plain, "plain", false, "print one line a visit instead of the screen (also with ACCESSIBLE set)")
	fl.IntVar(&f.every, "every", 1, "with --plain or --json, judge after every so many visits, and after the last")
	fl.Float64Var(&f.ce50, "target-ce50", 0, "metres that half of the places must be within, shown beside the error")
	fl.Float64Var(&f.ce90, "target-ce90", 0, "metres that 90 % of the places must be within, shown beside the error")
	fl.BoolVar(&f.asJSON, "json", false, "print one JSON object")
	f.screenFlags.add(cmd, true)
	return cmd
}

func (f *replayFlags) wantsPlain(sh *shell) bool { return sh.getenv("ACCESSIBLE") != "" }

// rank is the place of a walk among the names that were given.
func rank(names []string, w *walk.Walk) int {
	return slices.IndexFunc(names, func(n string) bool { return n == w.Name || n == w.ID })
}

func (f *replayFlags) screen(ctx context.Context, sh *shell, plan *site.Site, plays []*play, d *tui.Drill) error {
	boot.Restore()
	cfg := tui.ReplayConfig{Title: plan.Name, Profile: profile(sh), ASCII: f.ascii, Feet: f.feet, Theme: f.themeOf(), Mouse: f.mouse, Prep: prepFindings(plan), Drill: d}
	for _, p := range plays {
		t := tui.Track{Player: p.player, Judge: p.judge, Lay: p.lay,
			Find: func(ctx context.Context, n int) ([]tui.Finding, error) { return find(ctx, p.plan, p.player.Known(n)) }}
		cfg.NoFindings = p.hidden
		cfg.Tracks = append(cfg.Tracks, t)
	}
	if len(plays) == 2 {
		cfg.Compare = func(_ context.Context, a, b int) ([]tui.Change, error) {
			return changes(plan, plays[0].player.Known(a), plays[1].player.Known(b)), nil
		}
	}
	if err := tui.RunReplay(ctx, cfg, sh.in, sh.out); err != nil {
		return refused(fmt.Errorf("the screen failed: %w", err))
	}
	return nil
}

// play is a walk that is played.
type play struct {
	plan     *site.Site
	player   *walk.Player
	settings walk.Settings
	hidden   bool // what the program finds is not to be shown
	asked    []position.Target
}

func newPlay(plan *site.Site, w walk.Walk, hidden bool) (*play, error) {
	if len(w.Visits) == 0 {
		return nil, usage(fmt.Errorf("walk %q has no visit to play", w.Name))
	}
	p, err := walk.NewPlayer(plan, w, stops(plan, ""))
	if err != nil {
		return nil, usage(fmt.Errorf("walk %q can't be played: %w", w.Name, err))
	}
	return &play{plan: plan, player: p, settings: p.Session().Walk().Settings, hidden: hidden}, nil
}

// judge is the standing after the first n facts, with the doubts about the
// latest visit by the fit before it.
func (p *play) judge(ctx context.Context, n int) (tui.Standing, error) {
	st, _, err := judgeWalk(ctx, p.plan, p.player.Known(n), p.asked)
	if n == 0 || err != nil {
		return st, err
	}
	if v := p.player.Fact(n - 1).Visit; v != nil {
		st.Odd = doubtsOf(p.plan, p.fit(n-1), v)
	}
	return st, nil
}

// fit is that after the first n facts, nil where there is none.
func (p *play) fit(n int) *propagation.Fit {
	w := p.player.Known(n)
	stays := walk.Stays(p.plan, []walk.Walk{w}, walk.ByVisit)
	if places(stays) < leastPlaces {
		return nil
	}
	fit, err := propagation.Estimate(propagation.Observe(p.plan, stays), propagation.Options{})
	if err != nil {
		return nil
	}
	return fit
}

func (p *play) lay(ctx context.Context, n int, q tui.Query) (tui.Map, error) {
	return layer(ctx, p.plan, p.fit(n), q, p.settings)
}

// changes compares the mean levels of two walks radio by radio over the points
// that both heard it at, the largest change first.
func changes(plan *site.Site, a, b walk.Walk) []tui.Change {
	levels := func(w walk.Walk) map[walk.Place]walk.Stay {
		out := map[walk.Place]walk.Stay{}
		for _, st := range walk.Stays(plan, []walk.Walk{w}, walk.ByVisit) {
			out[st.Place()] = st
		}
		return out
	}
	before, after := levels(a), levels(b)
	var out []tui.Change
	for k, ref := range plan.Radios() {
		var d []float64
		for place, st := range before {
			other, ok := after[place]
			if ok && st.Levels[k].Heard > 0 && other.Levels[k].Heard > 0 {
				d = append(d, other.Levels[k].MeanDBm-st.Levels[k].MeanDBm)
			}
		}
		if len(d) == 0 {
			continue
		}
		slices.Sort(d) // a map has no order, and sums depend on it
		mean, sd := stat.MeanStdDev(d, nil)
		half := math.NaN()
		if n := float64(len(d)); n > 1 {
			half = distuv.StudentsT{Sigma: 1, Nu: n - 1}.Quantile(0.975) * sd / math.Sqrt(n)
		}
		out = append(out, tui.Change{AP: ref.AP, Band: plan.AccessPoints[ref.AP].Radios[ref.Radio].Band,
			MeanDB: tui.Estimate{Value: mean, Half: half}, Points: len(d)})
	}
	slices.SortStableFunc(out, func(x, y tui.Change) int {
		switch {
		case math.Abs(x.MeanDB.Value) > math.Abs(y.MeanDB.Value):
			return -1
		case math.Abs(x.MeanDB.Value) < math.Abs(y.MeanDB.Value):
			return 1
		}
		return 0
	})
	return out
}

type jsonStep struct {
	Visit    string            `json:"visit"`
	Point    string            `json:"point"`
	Time     time.Time         `json:"time"`
	Heard    int               `json:"heard"`
	Points   int               `json:"points"`
	Exponent map[string]number `json:"exponent"`
	SigmaDB  map[string]number `json:"sigma_db"`
	CE50M    number            `json:"ce50_m"`
	CE50Half number            `json:"ce50_half_m"`
	CE90M    number            `json:"ce90_m"`
	Doubts   []string          `json:"doubts"`
	Findings []string          `json:"findings"`
}

type jsonReplay struct {
	Walk  string     `json:"walk"`
	Name  string     `json:"name"`
	Steps []jsonStep `json:"steps"`
}

// print plays the walk from end to end, one line a visit.
func (p *play) print(ctx context.Context, sh *shell, f *replayFlags) error {
	var visits []int // facts played after each
	for i := range p.player.Len() {
		if p.player.Fact(i).Visit != nil {
			visits = append(visits, i+1)
		}
	}
	h := p.player.Session().Walk().Header
	out := jsonReplay{Walk: h.ID, Name: h.Name, Steps: []jsonStep{}}
	rows := [][]string{{"visit", "point", "time", "heard", "points", "exponent", "half within m"}}
	if !f.asJSON {
		fmt.Fprintf(sh.out, "%s, %s of %s\n", canvas.Clean(h.Name), say.Count(len(visits), "visit"), p.plan.Name)
	}
	var notes []string
	for i, n := range visits {
		if (i+1)%f.every != 0 && i != len(visits)-1 {
			continue
		}
		p.player.Go(n)
		st, err := p.judge(ctx, n)
		if err == nil && !p.hidden {
			st.Findings, err = find(ctx, p.plan, p.player.Known(n))
		}
		if ctx.Err() != nil {
			return errStopped
		}
		v := p.player.Fact(n - 1).Visit
		s := jsonStep{Visit: v.ID, Point: v.Point, Heard: p.player.Session().HeardIn(v), Points: st.Points,
			Exponent: map[string]number{}, SigmaDB: map[string]number{}, CE50M: number(st.CE50M.Value), CE50Half: number(st.CE50M.Half), CE90M: number(st.CE90M.Value),
			Doubts: []string{}, Findings: []string{}}
		if len(v.Scans) > 0 {
			s.Time = v.Scans[0].Time
		}
		if err != nil {
			s.Doubts = append(s.Doubts, err.Error())
		}
		for _, d := range st.Odd {
			s.Doubts = append(s.Doubts, d.Text)
		}
		for _, d := range st.Findings {
			s.Findings = append(s.Findings, d.Title)
		}
		var exps []string
		for k, e := range st.Exponents {
			s.Exponent[string(e.Band)], s.SigmaDB[string(e.Band)] = number(e.Value), number(st.SpreadsDB[k].Value)
			exps = append(exps, half(e.Estimate, 1))
		}
		if len(exps) == 0 {
			exps = []string{"–"}
		}
		out.Steps = append(out.Steps, s)
		rows = append(rows, []string{canvas.Clean(v.ID), canvas.Clean(v.Point), s.Time.Format("15:04:05"), strconv.Itoa(s.Heard), strconv.Itoa(st.Points),
			strings.Join(exps, "  "), half(st.CE50M, 1)})
		for _, d := range append(slices.Clone(s.Doubts), s.Findings...) {
			notes = append(notes, fmt.Sprintf("  %s  %s", canvas.Clean(v.ID), canvas.Clean(d)))
		}
	}
	if f.asJSON {
		return printJSON(sh.out, out)
	}
	table(sh.out, rows)
	if len(notes) > 0 {
		fmt.Fprintf(sh.out, "\nwhat was doubted then\n%s\n", strings.Join(notes, "\n"))
	}
	return nil
}

// half prints an estimate with half of its interval, a dash where it is unknown.
func half(e tui.Estimate, digits int) string {
	if math.IsNaN(e.Value) {
		return "–"
	}
	return say.Fixed(e.Value, digits) + " ±" + say.Fixed(e.Half, digits)
}
