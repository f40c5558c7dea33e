package main

import (
	"context"
	"fmt"
)

// run takes the walk on the screen, or as plain prompts.
func (s *survey) run(ctx context.Context, path string) error {
	if !s.sh.onTerminal() {
		return refused(fmt.Errorf("walk needs a terminal at both ends; --plain walks by prompts, and footrule import takes captures"))
	}
	bye, err := s.screen(ctx)
	if bye != "" {
		fmt.Fprintln(s.sh.out, bye)
	}
	return err
}
func (s *survey) byItself(ctx context.Context, path string) error { return nil }
