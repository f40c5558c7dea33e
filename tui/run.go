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
	_, err = program(ctx, m, cfg.Mouse, in, out).Run()
	if errors.Is(err, tea.ErrInterrupted) || ctx.Err() != nil {
		err = nil
	}
	return m.Farewell(), err
}

// RunReplay plays stored walks on the terminal until the viewer quits or ctx ends.
func RunReplay(ctx context.Context, cfg ReplayConfig, in io.Reader, out io.Writer) error {
	_, err := program(ctx, NewReplay(cfg), cfg.Mouse, in, out).Run()
	if errors.Is(err, tea.ErrInterrupted) || ctx.Err() != nil {
		err = nil
	}
	return err
}

// framesPerSecond is enough for what changes here, and easy on a battery and on
// a line; where nothing changes nothing is written.
const framesPerSecond = 15

func program(ctx context.Context, m tea.Model, mouse bool, in io.Reader, out io.Writer) *tea.Program {
	opts := []tea.ProgramOption{tea.WithContext(ctx), tea.WithInput(in), tea.WithOutput(out), tea.WithAltScreen(), tea.WithFPS(framesPerSecond)}
	if mouse {
		opts = append(opts, tea.WithMouseCellMotion())
	}
	return tea.NewProgram(m, opts...)
}
