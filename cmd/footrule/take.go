package main

import (
	"context"
	"errors"
	"fmt"

	"footrule/internal/position"
	"footrule/internal/say"
	"footrule/internal/site"
	"footrule/internal/walk"
	"footrule/tui"
)

// errNoTerminal is what a walk on the screen ends with where there is no terminal.
var errNoTerminal = refused(errors.New("the screen needs a terminal at both ends; --plain walks by prompts"))

// run takes the walk on the screen, or as plain prompts.
func (s *survey) run(ctx context.Context) error {
	if s.resumed {
		p := s.session.Progress()
		fmt.Fprintf(s.sh.out, "going on with %s: %d done, %d skipped, %d to do\n", s.session.Walk().Name, p.Done, p.Skipped, p.Todo)
	}
	if s.flags.wantsPlain(s.sh) {
		return s.ended(ctx, tui.Plain(ctx, s.config(), s.sh.in, s.sh.out, nil))
	}
	if !s.sh.onTerminal() {
		return errNoTerminal
	}
	bye, err := s.screen(ctx)
	if bye != "" {
		fmt.Fprintln(s.sh.out, bye)
		if next := s.onward(); next != "" {
			fmt.Fprintln(s.sh.out, next)
		}
	}
	return err
}

// onward says what comes after the walk, as far as it went.
func (s *survey) onward() string {
	p, file := s.session.Progress(), s.st.Path()
	switch {
	case s.hidden:
		return ""
	case p.Done == 0:
		return lacking(s.plan, file)
	case p.Todo > 0 && s.session.Walk().Source == walk.Synthetic:
		return fmt.Sprintf("go on with: footrule walk %s --synthetic", file)
	case p.Todo > 0:
		return fmt.Sprintf("go on with: footrule walk %s", file)
	}
	return fmt.Sprintf("next: footrule doubts %s\n      footrule errors %s\n      footrule report %s --out report.html", file, file, file)
}

// lacking says what a plan needs before it is walked; empty where it has that.
func lacking(plan *site.Site, file string) string {
	switch {
	case len(plan.AccessPoints) == 0:
		return fmt.Sprintf("next: put the access points with footrule plan %s --edit", file)
	case len(plan.RadioOf()) == 0:
		return fmt.Sprintf("next: say the BSSIDs of the access points, or nothing counts as heard: footrule plan %s --edit (n, then e)", file)
	}
	return ""
}

// byItself walks without a person and then prints the fit and the error, as the
// commands fit and errors do.
func (s *survey) byItself(ctx context.Context, path string) error {
	fmt.Fprintf(s.sh.out, "%s, an invented site with simulated levels; the walk goes by itself\n\n", s.plan.Name)
	cfg := s.config()
	cfg.Bell, cfg.Find = nil, nil // fit names at the end what does not fit
	if err := s.ended(ctx, tui.Plain(ctx, cfg, s.sh.in, s.sh.out, tui.Autopilot())); err != nil {
		return err
	}
	if p := s.session.Progress(); p.Todo > 0 {
		return refused(fmt.Errorf("the walk stopped with %s to do", say.Count(p.Todo, "point")))
	}
	walks := []walk.Walk{*s.session.Walk()}
	fit := s.running.latest()
	if fit == nil {
		return errors.New("the walk could not be fitted")
	}
	fmt.Fprintf(s.sh.out, "\nfootrule fit %s\n\n", path)
	printFit(s.sh, fit)
	e, err := position.Judge(ctx, s.plan, walks, position.Options{Seed: 1, Targets: []position.Target{{Share: 0.5, WithinM: 5}, {Share: 0.9, WithinM: 10}}})
	if err != nil {
		return err
	}
	fmt.Fprintf(s.sh.out, "\nfootrule errors %s --target-ce50 5 --target-ce90 10\n\n", path)
	printErrors(s.sh, e, nil, false)
	return nil
}

// ended says in our words how a plain walk ended.
func (s *survey) ended(ctx context.Context, err error) error {
	if err != nil && ctx.Err() != nil {
		return errStopped
	}
	return err
}
