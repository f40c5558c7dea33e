package tui

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"footrule/internal/canvas"
	"footrule/internal/radio"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

// Question says what a prompt asks for.
type Question int

// The questions of a plain walk. Each has a default, the empty answer, which
// stands first in its choices.
const (
	AskGo     Question = iota // record here, or something else
	AskTurn                   // the next facing
	AskScan                   // a scan failed
	AskDoubt                  // the visit does not fit
	AskSave                   // the visit could not be stored
	AskReason                 // why skip or void
	AskPoint                  // which point
	AskOver                   // nothing is left to do
)

// Ask is one question: about which point, and what may be answered.
type Ask struct {
	Question Question
	Point    string
	Choices  []Choice
}

// does says what an answer does.
func (a *Ask) does(answer string) string {
	for _, c := range a.Choices {
		if c.Answer == answer {
			return c.Does
		}
	}
	return answer
}

// Choice is one answer: its letter, or the whole answer where it is longer, and what it does.
type Choice struct{ Answer, Does string }

// Pilot answers the questions of a plain walk in place of a person.
type Pilot func(Ask) string

// Autopilot records everywhere, repeats a visit that does not fit once and then
// keeps it, and finishes the walk at the end. Where a scan or the store fails it
// quits.
func Autopilot() Pilot {
	repeated := map[string]bool{}
	return func(a Ask) string {
		switch a.Question {
		case AskDoubt:
			if repeated[a.Point] {
				return "k"
			}
			repeated[a.Point] = true
			return "r"
		case AskScan, AskSave:
			return "q"
		case AskOver:
			return "f"
		}
		return ""
	}
}

// errQuit ends a plain walk in order.
var errQuit = errors.New("quit")

// plain is a walk as prompts.
type plain struct {
	cfg      Config
	s        *walk.Session
	words    words
	in       *bufio.Scanner
	out      io.Writer
	pilot    Pilot
	standing Standing
	warned   map[string]bool
	listed   bool  // what can be done at a point has been said
	failed   error // of writing
}

// Plain walks as prompts, line by line, over the same session as the screen:
// for screen readers, for a terminal that can do nothing else, and, with a pilot
// that answers, by itself. It returns nil when the walk is over, when somebody
// quits, and when the input ends; else the error of ctx, of reading or of writing.
// What is saved then stays saved.
func Plain(ctx context.Context, cfg Config, in io.Reader, out io.Writer, pilot Pilot) error {
	if cfg.Session == nil || cfg.Scanner == nil || cfg.Store == nil || cfg.Clock == nil {
		panic("tui: a config without session, scanner, store or clock")
	}
	if cfg.Title == "" {
		cfg.Title = cfg.Session.Site().Name
	}
	if cfg.File == "" {
		cfg.File = "FILE"
	}
	p := &plain{cfg: cfg, s: cfg.Session, words: words{marksOf(cfg.ASCII), cfg.Feet}, out: out, pilot: pilot, warned: map[string]bool{}}
	if in != nil {
		p.in = bufio.NewScanner(in)
	}
	p.say("%s: %s", p.cfg.Title, p.progress())
	if lack := lacks(p.s.Site(), cfg.File); lack != "" && p.s.Progress().Done == 0 {
		p.say("%s", lack)
	}
	p.judge(ctx)
	var err error
	for err == nil {
		if err = ctx.Err(); err != nil {
			break
		}
		if p.failed != nil {
			return p.failed
		}
		if _, ok := p.s.Current(); !ok {
			err = p.over()
			continue
		}
		err = p.stop(ctx)
	}
	if v := p.s.Pending(); v != nil {
		p.say("Nothing was kept of the visit at %s.", v.Point)
		_ = p.s.Drop() // a visit is pending, so it can be dropped
	}
	p.say("%s", p.progress())
	if errors.Is(err, errQuit) {
		return p.failed
	}
	return errors.Join(err, p.failed)
}

// say prints one clean line.
func (p *plain) say(format string, args ...any) {
	if _, err := fmt.Fprintln(p.out, canvas.Clean(fmt.Sprintf(format, args...))); err != nil && p.failed == nil {
		p.failed = err
	}
}

// ask puts a question until one of its choices, the name of a point, or the end of
// the input answers it. q quits everywhere.
func (p *plain) ask(a Ask) (string, error) {
	parts := make([]string, len(a.Choices))
	for i, c := range a.Choices {
		name := c.Answer
		if i == 0 {
			name = "enter"
		}
		parts[i] = name + " " + c.Does
	}
	line := canvas.Clean(strings.Join(parts, ", ") + ", q quits: ")
	if a.Question == AskGo && p.listed {
		line = canvas.Clean(parts[0] + ", ? says what else: ")
	}
	p.listed = p.listed || a.Question == AskGo
	for {
		if p.pilot == nil {
			if _, err := io.WriteString(p.out, line); err != nil {
				return "", err
			}
		}
		var got string
		switch {
		case p.pilot != nil:
			if got = p.pilot(a); got != "" {
				p.say("%s", joined(": ", a.Point, a.does(strings.TrimSpace(got))))
			}
		case p.in == nil || !p.in.Scan():
			fmt.Fprintln(p.out)
			if p.in != nil && p.in.Err() != nil {
				return "", fmt.Errorf("cannot read the answer: %w", p.in.Err())
			}
			return "", errQuit
		default:
			got = p.in.Text()
		}
		got = strings.TrimSpace(got)
		if got == "?" && p.pilot == nil {
			line = canvas.Clean(strings.Join(parts, ", ") + ", q quits: ")
			continue
		}
		if got == "q" {
			return "", errQuit
		}
		for i, c := range a.Choices {
			if got == c.Answer || i == 0 && got == "" {
				return c.Answer, nil
			}
		}
		p.say("%q is none of the answers.", got)
		if p.pilot != nil {
			return "", fmt.Errorf("the pilot answered %q, which is no choice", got)
		}
	}
}

func (p *plain) progress() string {
	pr := p.s.Progress()
	out := fmt.Sprintf("%d of %d points saved", pr.Done, pr.Done+pr.Todo)
	if pr.Skipped > 0 {
		out += fmt.Sprintf(", %d skipped", pr.Skipped)
	}
	return out + "."
}

// stop leads to the current stop and does there what is answered.
func (p *plain) stop(ctx context.Context) error {
	i, _ := p.s.Current()
	st := p.s.Stops()[i]
	p.say("")
	p.say("%s: %s", st.Point, p.way(st))
	got, err := p.ask(Ask{AskGo, st.Point, []Choice{{"r", "records"}, {"g", "goes to another point"},
		{"s", "skips it"}, {"n", "nudges where you stand"}, {"v", "voids the last visit"}, {"u", "takes the last step back"}}})
	if err != nil {
		return err
	}
	switch got {
	case "g":
		return p.another()
	case "s":
		reason, err := p.reason(st.Point, skipReasons)
		if err != nil {
			return err
		}
		return p.keep(ctx, func() (walk.Fact, error) { return p.s.SkipStop(reason, p.cfg.Clock()) })
	case "n":
		return p.nudge(st.Point)
	case "v":
		return p.void(ctx)
	case "u":
		return p.keep(ctx, func() (walk.Fact, error) { return p.s.Undo(p.cfg.Clock()) })
	}
	if err := p.s.Begin(p.cfg.Clock()); err != nil {
		p.say("! %s", sentence(err))
		return nil
	}
	return p.visit(ctx, st.Point)
}

// way says where the stop is, as seen from the last visit.
func (p *plain) way(st walk.Stop) string {
	f := p.s.Site().Floor(st.Floor)
	where, name := "", st.Floor
	if f != nil {
		if a := f.AreaAt(st.At); a != nil {
			where = " in " + a.ID
		}
		if f.Name != "" {
			name = f.Name
		}
	}
	floor, from, here := p.s.Here()
	switch {
	case !here:
		return fmt.Sprintf("the first point%s, at %s right and %s up on the plan of %s.", where, p.words.metres(st.At[0]), p.words.metres(st.At[1]), name)
	case floor != st.Floor:
		return fmt.Sprintf("on another floor, %s%s.", name, where)
	}
	leg := Leg{Via: []orb.Point{from, st.At}}
	if p.cfg.Guide != nil {
		if l, ok := p.cfg.Guide(from, st.At, floor); ok {
			leg = l
		}
	}
	parts := p.words.leg(leg)
	if len(parts) == 0 {
		parts = []string{"here"}
	}
	return strings.Join(parts, ", then ") + where + "."
}

// visit takes the scans of a visit, and keeps it or not.
func (p *plain) visit(ctx context.Context, point string) error {
	for p.s.Phase() != walk.Going && p.s.Phase() != walk.Over {
		var err error
		switch p.s.Phase() {
		case walk.Scanning:
			err = p.scan(ctx, point)
		case walk.Turning:
			face := facing(p.s.Recording().Facing)
			if _, err = p.ask(Ask{AskTurn, point, []Choice{{"t", "once you face " + face}}}); err == nil {
				err = p.s.Face(p.cfg.Clock())
			}
		case walk.Reviewing:
			err = p.review(ctx, point)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// scan takes the scans of one facing.
func (p *plain) scan(ctx context.Context, point string) error {
	rec := p.s.Recording()
	if rec.Scans == 0 && rec.All == 0 && rec.Facing != walk.NoFacing {
		p.say("Face %s and stand still.", facing(rec.Facing))
	}
	st := p.s.Stops()[mustCurrent(p.s)]
	for n := 0; p.s.Phase() == walk.Scanning && p.s.Recording().Facing == rec.Facing; n++ {
		if pl, ok := p.cfg.Scanner.(radio.Placer); ok {
			pl.Place(st.Floor, p.s.At(), rec.Facing)
		}
		sw, err := p.cfg.Scanner.Scan(ctx, radio.Request{NotBefore: p.s.Since()})
		if err == nil && !p.s.Take(sw) {
			err = errors.New("the receiver gave a scan that is older than the visit")
		}
		if err == nil {
			continue
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		p.say("! The scan failed. %s", sentence(err))
		got, err := p.ask(Ask{AskScan, point, []Choice{{"t", "tries again"}, {"d", "drops the visit"}}})
		if err != nil {
			return err
		}
		if got == "d" {
			return p.s.Drop()
		}
	}
	face := "Scans"
	if rec.Facing != walk.NoFacing {
		face = "Facing " + facing(rec.Facing)
	}
	if v := p.s.Pending(); v != nil {
		p.say("%s: %d scans, %d heard so far.", face, rec.ScansWant, p.s.HeardIn(v))
	}
	return nil
}

func mustCurrent(s *walk.Session) int {
	i, ok := s.Current()
	if !ok {
		panic("tui: a visit without a stop")
	}
	return i
}

// review compares a finished visit with the fit and stores it.
func (p *plain) review(ctx context.Context, point string) error {
	v := p.s.Pending()
	p.say("Heard at %s: %d, need %d.", point, p.s.HeardIn(v), p.s.Walk().Settings.Need)
	var doubts []Doubt
	if p.cfg.Doubts != nil {
		doubts = p.cfg.Doubts(v)
	}
	for _, d := range doubts {
		p.say("! %s", d.Text)
	}
	if len(doubts) > 0 {
		p.ring(2)
		undone, err := p.undo(Ask{AskDoubt, point, []Choice{{"r", "repeats"}, {"k", "keeps it"}, {"d", "drops it"}}})
		if undone || err != nil {
			return err
		}
	}
	for {
		f, err := p.s.Accept()
		if err != nil {
			return err
		}
		if err = p.cfg.Store(f); err == nil {
			p.s.Apply(f)
			p.say("Saved %s.", point)
			p.ring(1)
			p.judge(ctx)
			return nil
		}
		p.say("! Not saved. %s", sentence(err))
		p.ring(2)
		undone, err := p.undo(Ask{AskSave, point, []Choice{{"t", "tries to save again"}, {"r", "repeats the visit"}, {"d", "drops it"}}})
		if undone || err != nil {
			return err
		}
	}
}

// undo asks about a finished visit, and takes it back where the answer is to
// repeat or to drop it.
func (p *plain) undo(a Ask) (undone bool, err error) {
	got, err := p.ask(a)
	if err != nil {
		return false, err
	}
	switch got {
	case "r":
		return true, p.s.Redo(p.cfg.Clock())
	case "d":
		return true, p.s.Drop()
	}
	return false, nil
}

func (p *plain) ring(n int) {
	if p.cfg.Bell != nil {
		p.cfg.Bell(n)
	}
}
