package tui_test

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"testing"

	"footrule/internal/walk"
	"footrule/tui"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func prompts(t *testing.T, n int, change func(*tui.Config)) (*robot, func(in string, pilot tui.Pilot) (string, error)) {
	s := hall()
	var cfg tui.Config
	r := scene(t, s, grid(s, 4)[:n], settings(), func(c *tui.Config) {
		c.Bell = nil
		if change != nil {
			change(c)
		}
		cfg = *c
	})
	return r, func(in string, pilot tui.Pilot) (string, error) {
		var out bytes.Buffer
		err := tui.Plain(context.Background(), cfg, strings.NewReader(in), &out, pilot)
		return out.String(), err
	}
}

func TestPlainByItself(t *testing.T) {
	r, run := prompts(t, 7, nil)
	r.ether.delta[2] = -14 // repeated once at each point, and kept
	out, err := run("", tui.Autopilot())
	require.NoError(t, err)
	assert.True(t, r.s.Walk().Completed)
	assert.Len(t, r.s.Walk().Standing(), 7)
	golden(t, "plain.txt", out)
}

func TestPlainByHand(t *testing.T) {
	r, run := prompts(t, 4, nil)
	// record, turn; skip as blocked; undo; go to the second nearest; nudge; void; quit in a visit
	out, err := run("\n\ns\n2\nu\ng\n2\nn\nr\nr\nb\n\n\nv\n1\nnonsense\n\n", nil)
	require.NoError(t, err)
	kinds := []walk.MarkKind{}
	for _, m := range r.s.Walk().Marks {
		kinds = append(kinds, m.Kind)
	}
	assert.Equal(t, []walk.MarkKind{walk.Skip, walk.Unskip, walk.Goto, walk.Void}, kinds)
	assert.Len(t, r.s.Walk().Visits, 2)
	assert.Equal(t, "P03", r.s.Walk().Visits[1].Point)
	assert.InDelta(t, 2.5, r.s.Walk().Visits[1].At[0], 1e-9)
	assert.Contains(t, out, "Nudged 0.5 m right.")
	assert.Contains(t, out, "Skipped P02: blocked.")
	assert.Contains(t, out, "\"nonsense\" is none of the answers.")
	assert.Contains(t, out, "Nothing was kept of the visit at P03.")
	assert.True(t, strings.HasSuffix(out, "1 of 4 points saved.\n"), out)
}

func TestPlainStoreFails(t *testing.T) {
	r, run := prompts(t, 2, nil)
	r.disk.full = true
	out, err := run("\n\nt\n", nil)
	require.NoError(t, err)
	assert.NotContains(t, out, "Saved")
	assert.Equal(t, 2, strings.Count(out, "! Not saved. No space left on device; free some and try again."))
	assert.Contains(t, out, "Nothing was kept of the visit at P01.")

	r, run = prompts(t, 2, nil)
	r.disk.full = true
	out, err = run("", tui.Autopilot())
	require.NoError(t, err, "a pilot does not try for ever")
	assert.Contains(t, out, "0 of 2 points saved.")
}

func TestPlainScanFails(t *testing.T) {
	r, run := prompts(t, 1, nil)
	gone := errors.New("wlan0 has gone")
	r.ether.fail.Store(&gone)
	out, err := run("\nt\nd\nq\n", nil)
	require.NoError(t, err)
	assert.Equal(t, 2, strings.Count(out, "! The scan failed. wlan0 has gone."))
	assert.Empty(t, r.disk.facts)
}

type brokenPipe struct{}

func (brokenPipe) Write([]byte) (int, error) { return 0, errors.New("broken pipe") }

func TestPlainEnds(t *testing.T) {
	r, _ := prompts(t, 2, nil)
	cfg := tui.Config{Session: r.s, Scanner: r.ether, Store: r.disk.put, Clock: r.ether.clock}
	assert.ErrorContains(t, tui.Plain(context.Background(), cfg, strings.NewReader("\n"), brokenPipe{}, nil), "broken pipe")
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	assert.ErrorIs(t, tui.Plain(ctx, cfg, strings.NewReader("\n\n"), &bytes.Buffer{}, nil), context.Canceled)
	assert.ErrorContains(t, tui.Plain(context.Background(), cfg, nil, &bytes.Buffer{}, func(tui.Ask) string { return "x" }), "no choice")
	assert.ErrorContains(t, tui.Plain(context.Background(), cfg, strings.NewReader(strings.Repeat("x", 1<<20)), &bytes.Buffer{}, nil), "cannot read the answer")
}

func TestPlainCleansNames(t *testing.T) {
	s := hall()
	s.Name = "Depot\x1b[2J\n"
	stops := grid(s, 4)[:1]
	stops[0].Point = "P\x1b]0;x\x07\n1"
	r := scene(t, s, stops, settings(), nil)
	var out bytes.Buffer
	cfg := tui.Config{Session: r.s, Scanner: r.ether, Store: r.disk.put, Clock: r.ether.clock}
	require.NoError(t, tui.Plain(context.Background(), cfg, nil, &out, tui.Autopilot()))
	assert.NotContains(t, out.String(), "\x1b")
	assert.NotContains(t, out.String(), "\x07")
	assert.True(t, r.s.Walk().Completed)
}
