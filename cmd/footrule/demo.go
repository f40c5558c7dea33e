package main

import (
	"fmt"
	"os"
	"path/filepath"
	"time"

	"footrule/internal/radio/synthetic"
	"footrule/internal/walk"
	"footrule/store"

	"github.com/spf13/cobra"
)

func newDemo(sh *shell) *cobra.Command {
	var f surveyFlags
	var seed uint64
	var keep string
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Walk an invented site, without a radio or any set-up",
		Long: `demo makes a site file of an invented building and opens the walk on it; levels come
from a simulation with walls, shadowing, bodies, missed scans and drift. With
--plain, or where there is no terminal, it walks the site by itself and prints
what a surveyor would see, then the fit and the position error.`,
		Example: "  footrule demo\n  footrule demo --plain --seed 7",
		Args:    files(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			path := keep
			if path == "" {
				dir, err := os.MkdirTemp("", "footrule-demo-")
				if err != nil {
					return refused(err)
				}
				path = filepath.Join(dir, "demo.footrule")
			}
			plan := synthetic.DemoSite()
			st, err := store.Create(path, plan, store.Options{Version: version})
			if err != nil {
				return err
			}
			defer st.Close()
			f.receiver = "simulated"
			byItself := f.plain || !sh.onTerminal()
			var clock synthetic.Clock = synthetic.WallClock{}
			if byItself {
				// A walk that takes no time, and the same one every time.
				clock = synthetic.NewSimulatedClock(time.Date(2026, 1, 5, 8, 0, 0, 0, time.UTC))
				sh = &shell{in: sh.in, out: sh.out, err: sh.err, now: clock.Now, getenv: sh.getenv}
			}
			s, err := newSurvey(sh, st, &f, walk.Synthetic, seed)
			if err != nil {
				return err
			}
			if s.scanner, err = synthetic.New(plan, synthetic.Office().Truth(plan, seed), seed, clock); err != nil {
				return err
			}
			if byItself {
				return s.byItself(cmd.Context(), path)
			}
			if err := s.run(cmd.Context()); err != nil {
				return err
			}
			fmt.Fprintf(sh.out, "the demo's file stays at %s; try footrule fit and footrule errors on it\n", path)
			return nil
		},
	}
	f.add(cmd)
	cmd.Flags().Uint64Var(&seed, "seed", 1, "of the simulated levels")
	cmd.Flags().StringVar(&keep, "file", "", "where to make the site file (default: a temporary folder)")
	return cmd
}
