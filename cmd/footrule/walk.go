package main

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"footrule/internal/canvas"
	"footrule/internal/radio"
	"footrule/internal/radio/nl80211"
	"footrule/internal/radio/synthetic"
	"footrule/internal/say"
	"footrule/internal/walk"
	"footrule/store"

	"github.com/spf13/cobra"
)

func newWalk(sh *shell) *cobra.Command {
	var f surveyFlags
	var simulated, end bool
	var seed uint64
	var iface string
	cmd := &cobra.Command{
		Use:   "walk FILE",
		Short: "Walk a site point by point and record levels",
		Long: `walk shows the plan with the next point to stand at, records several scans there,
says at once whether they make sense, and keeps the fit and the position error up
to date. Every visit is on disk before it is called saved, so a walk goes on where
it stopped, whatever stopped it.

Levels come from this machine's wireless interface (see: footrule doctor), or
with --synthetic from a simulated building over the same plan.`,
		Example: "  footrule walk depot.footrule\n  footrule walk depot.footrule --synthetic --seed 7\n  footrule walk depot.footrule --facings free --scans 5 --surveyor Kim",
		Args:    files(1, 1, "a site FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if end {
				return endWalk(sh, args[0], f.name)
			}
			st, err := open(args[0], false)
			if err != nil {
				return err
			}
			defer st.Close()
			source := walk.Live
			if simulated {
				source = walk.Synthetic
			} else if cmd.Flags().Changed("seed") {
				return usage(errors.New("--seed belongs to --synthetic"))
			}
			plan, _, err := st.Plan()
			if err != nil {
				return err
			}
			rec, err := drillIn(st)
			switch {
			case err != nil:
				return err
			case rec != nil && !simulated:
				return usage(fmt.Errorf("%s is a drill, and its building is invented; walk it with --synthetic", args[0]))
			case rec != nil && cmd.Flags().Changed("seed"):
				return usage(fmt.Errorf("%s is a drill, and its building has a seed of its own", args[0]))
			}
			var scanner radio.Scanner
			var visited func()
			if simulated && f.receiver == "" {
				f.receiver = "simulated"
			}
			if rec != nil {
				sc, err := drillScanner(st, rec)
				if err != nil {
					return err
				}
				scanner, visited, seed = sc, sc.Visited, 0
			} else if simulated {
				if scanner, err = synthetic.New(plan, synthetic.Office().Truth(plan, seed), seed, synthetic.WallClock{}); err != nil {
					return usage(err)
				}
			} else {
				live, err := nl80211.Open(iface, nl80211.Options{})
				if err != nil {
					return refused(fmt.Errorf("%w; footrule doctor says what this machine lacks, and --synthetic walks a simulated building", err))
				}
				defer live.Close()
				f.adapter = adapterOf(live.Interface())
				if f.receiver == "" {
					f.receiver = live.Interface().Name
				}
				ours := plan.RadioOf()
				if scanner, err = nl80211.NewSweeper(live, nil, 0, func(b radio.BSSID) bool { _, ok := ours[b]; return ok }); err != nil {
					return err
				}
			}
			f.onScreen = !f.wantsPlain(sh)
			s, err := newSurvey(sh, st, &f, source, seed)
			if err != nil {
				return err
			}
			seen := &lastScan{scanner: scanner}
			s.scanner, s.visited = scanner, visited
			s.hidden = rec != nil && !rec.Open()
			s.drill = drillOnScreen(sh, rec, func(do func(*store.Store) error) error { return do(st) })
			if !simulated {
				s.scanner = seen
			}
			before := len(s.session.Walk().Visits)
			if err := s.run(cmd.Context()); err != nil {
				return err
			}
			if err := seen.failed(); err != nil && len(s.session.Walk().Visits) == before {
				return refused(fmt.Errorf("nothing was recorded: %w", err))
			}
			return nil
		},
	}
	f.add(cmd)
	cmd.Flags().BoolVar(&simulated, "synthetic", false, "take levels from a simulated building")
	cmd.Flags().Uint64Var(&seed, "seed", 1, "of the simulated building")
	cmd.Flags().BoolVar(&end, "end", false, "only end the walk of --walk, so that nobody goes on with it")
	cmd.Flags().StringVar(&iface, "iface", "", "wireless interface (default: the first)")
	return cmd
}

// adapterOf names an interface with its driver.
func adapterOf(i nl80211.Interface) string {
	if i.Driver == "" {
		return i.Name
	}
	return i.Name + ", driver " + i.Driver
}

// lastScan is a scanner that remembers what its latest scan ended in.
type lastScan struct {
	scanner radio.Scanner
	mu      sync.Mutex
	err     error
}

// Scan implements radio.Scanner.
func (l *lastScan) Scan(ctx context.Context, req radio.Request) (radio.Sweep, error) {
	sw, err := l.scanner.Scan(ctx, req)
	l.mu.Lock()
	defer l.mu.Unlock()
	l.err = err
	return sw, err
}

// failed is the error of the latest scan, nil where it was called off.
func (l *lastScan) failed() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if errors.Is(l.err, context.Canceled) {
		return nil
	}
	return l.err
}

// endWalk ends an open walk without walking it.
func endWalk(sh *shell, path, name string) error {
	if name == "" {
		return usage(errors.New("--end needs --walk NAME"))
	}
	st, err := store.Open(path, store.Options{Version: version, Clock: sh.now})
	if err != nil {
		return err
	}
	defer st.Close()
	ids, err := walkIDs(st, path, []string{name})
	if err != nil {
		return err
	}
	w, err := st.Walk(ids[0])
	if err != nil {
		return err
	}
	if w.Completed {
		fmt.Fprintf(sh.out, "%s was over already\n", canvas.Clean(walkName(&w.Header)))
		return nil
	}
	if err := st.EndWalk(ids[0]); err != nil {
		return err
	}
	fmt.Fprintf(sh.out, "%s is over, with %s\n", canvas.Clean(walkName(&w.Header)), say.Count(len(w.Visits), "visit"))
	return st.Close()
}
