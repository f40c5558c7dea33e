package main

import (
	"context"
	"io"
	"path/filepath"
	"testing"
	"time"

	"footrule/internal/radio/synthetic"
	"footrule/internal/walk"
	"footrule/store"
	"footrule/tui"

	"github.com/stretchr/testify/require"
)

// demoWalk walks the demo's site by itself, without judging on the way.
func demoWalk(tb testing.TB, seed uint64) *survey {
	tb.Helper()
	plan := synthetic.DemoSite()
	clock := synthetic.NewSimulatedClock(time.Date(2026, 1, 5, 8, 0, 0, 0, time.UTC))
	sh := &shell{out: io.Discard, err: io.Discard, now: clock.Now, getenv: func(string) string { return "" }}
	st, err := store.Create(filepath.Join(tb.TempDir(), "demo.footrule"), plan, store.Options{Version: version, NoSync: true})
	require.NoError(tb, err)
	tb.Cleanup(func() { st.Close() })
	f := surveyFlags{facings: "0,90,180,270", scans: 3, need: 3, threshold: -75, spacing: 5, screenFlags: screenFlags{theme: "any"}}
	s, err := newSurvey(sh, st, &f, walk.Synthetic, seed)
	require.NoError(tb, err)
	s.scanner, err = synthetic.New(plan, synthetic.Office().Truth(plan, seed), seed, clock)
	require.NoError(tb, err)
	cfg := s.config()
	cfg.Judge, cfg.Doubts = nil, nil
	require.NoError(tb, tui.Plain(context.Background(), cfg, nil, io.Discard, tui.Autopilot()))
	require.Zero(tb, s.session.Progress().Todo)
	return s
}

// BenchmarkRunning is the fit and the error that are worked out after a visit,
// at the end of the demo's walk: 42 places, 4 facings, 16 radios.
func BenchmarkRunning(b *testing.B) {
	s := demoWalk(b, 1)
	for b.Loop() {
		st, err := s.running.judge(context.Background(), *s.session.Walk())
		require.NoError(b, err)
		require.True(b, st.Ready())
	}
}
