package tui

import (
	"context"
	"errors"
	"io"

	tea "github.com/charmbracelet/bubbletea"
)

// Run takes a walk on the whole screen of a terminal until somebody quits or ctx
// ends, and gives what is to be said after it. The error is that of the terminal.
func Run(ctx context.Context, cfg Config, in io.Reader, out io.Writer) (farewell string, err error) {
	m := New(cfg)
	err = onScreen(ctx, m, cfg.Mouse, in, out)
	return m.Farewell(), err
}

// RunReplay plays stored walks on the terminal until the viewer quits or ctx ends.
func RunReplay(ctx context.Context, cfg ReplayConfig, in io.Reader, out io.Writer) error {
	return onScreen(ctx, NewReplay(cfg), cfg.Mouse, in, out)
}

// framesPerSecond is enough for what changes here, and easy on a battery and on
// a line; where nothing changes nothing is written.
const framesPerSecond = 15

// onScreen runs a model until it quits or ctx ends; neither is an error.
func onScreen(ctx context.Context, m tea.Model, mouse bool, in io.Reader, out io.Writer) error {
	opts := []tea.ProgramOption{tea.WithContext(ctx), tea.WithInput(in), tea.WithOutput(out), tea.WithAltScreen(), tea.WithFPS(framesPerSecond)}
	if mouse {
		opts = append(opts, tea.WithMouseCellMotion())
	}
	_, err := tea.NewProgram(m, opts...).Run()
	if errors.Is(err, tea.ErrInterrupted) || ctx.Err() != nil {
		return nil
	}
	return err
}
