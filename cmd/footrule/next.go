package main

import (
	"fmt"
	"math"

	"footrule/internal/position"
	"footrule/internal/say"

	"github.com/spf13/cobra"
)

// nextFlags are the flags of the command next.
type nextFlags struct {
	fitFlags
	more               int
	floors             []string
	fix                string
	target50, target90 float64
	confidence, worth  float64
	seed               uint64
	put, asJSON        bool
}

func newNext(sh *shell) *cobra.Command {
	var f nextFlags
	cmd := &cobra.Command{
		Use:   "next FILE",
		Short: "Say where to walk next, and when to stop",
		Long: `next chooses the points whose visits would lower the position error most, tells what
each buys, and puts them in the order of a short tour from where the last walk
ended. It shows the error that some of the points walked would have given and how it
would go on, and says in a sentence whether that is worth the walk: go on, or enough.

Points of the plan that were not walked yet come first, and a grid of the places
where somebody can stand beside them. --add puts the chosen grid places on the plan,
as a new revision, so that footrule walk goes there.

The error is that of radio-map fixes where people walk (see: footrule errors). What
further points would make of it follows from how unsure the map is between the
points walked; the size of it is that of the errors measured by leaving places out.
It is a forecast: walk them, and errors tells what they bought.

JSON fields: points_walked; measured {mean_m, ci95, ce50_m, ce90_m, scale};
error_now_m; walked [{points, met_m, error_m}]; further [{points, error_m}]; next [{rank,
tour, point, on_plan, floor, at, buys_m, walk_m, minutes}]; tour {walk_m, minutes,
visit_minutes, visit_minutes_from, speed_m_s}; verdict (go-on or enough), share_saved,
worth_share, says; floors [{floor, error_m}]; targets; added_revision.

With targets it exits with 1 unless every target is passed.`,
		Example: `  footrule next depot.footrule
  footrule next depot.footrule --more 10 --target-ce50 3 --target-ce90 8
  footrule next depot.footrule --floor G --add
  footrule next depot.footrule --json`,
		Args: files(1, 1, "a site FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o, err := f.options(cmd)
			if err != nil {
				return err
			}
			n, err := lookFurther(cmd, args[0], &f, o)
			if cmd.Context().Err() != nil {
				return errStopped
			}
			if err != nil {
				return err
			}
			if f.put {
				if err := n.add(args[0]); err != nil {
					return err
				}
			}
			if f.asJSON {
				err = printJSON(sh.out, n.json())
			} else {
				n.print(sh, f.put)
			}
			if err != nil {
				return err
			}
			for _, t := range n.Errors.Targets {
				if t.Verdict != position.Passed {
					return &exit{code: exitNo}
				}
			}
			return nil
		},
	}
	f.add(cmd)
	fl := cmd.Flags()
	fl.IntVar(&f.more, "more", 5, "points to choose")
	fl.StringArrayVar(&f.floors, "floor", nil, "choose points on this floor, by its id (repeatable; default: all)")
	fl.StringVar(&f.fix, "fix", string(position.PerVisit), "the error measured is that of one fix from each visit, or from each facing")
	fl.Float64Var(&f.target50, "target-ce50", 0, "metres that half of the places must be within")
	fl.Float64Var(&f.target90, "target-ce90", 0, "metres that 90 % of the places must be within")
	fl.Float64Var(&f.confidence, "confidence", 0.95, "at which a target is passed or failed")
	fl.Float64Var(&f.worth, "worth", worthShare, "per cent of the error that the points must save to be worth the walk")
	fl.Uint64Var(&f.seed, "seed", 1, "of the bootstrap behind the interval")
	fl.BoolVar(&f.put, "add", false, "put the chosen grid places on the plan as points")
	fl.BoolVar(&f.asJSON, "json", false, "print one JSON object")
	complete(cmd, "fix", string(position.PerVisit), string(position.PerFacing))
	return cmd
}

// worthShare is the share of the error, in per cent, that is worth the walk where
// nothing else is said.
const worthShare = 3

// mostMore bounds --more: the forecast says little of more than that.
const mostMore = 50

func (f *nextFlags) options(cmd *cobra.Command) (position.FurtherOptions, error) {
	o := position.FurtherOptions{More: f.more, Fix: position.Unit(f.fix), Seed: f.seed}
	var err error
	if o.Propagation, err = f.fitFlags.options(); err != nil {
		return o, err
	}
	switch {
	case f.more < 1 || f.more > mostMore:
		return o, usage(fmt.Errorf("--more %d; give 1 to %d points", f.more, mostMore))
	case o.Fix != position.PerVisit && o.Fix != position.PerFacing:
		return o, usage(fmt.Errorf("--fix %q; give %s or %s", f.fix, position.PerVisit, position.PerFacing))
	case !(f.worth >= 0 && f.worth <= 100):
		return o, usage(fmt.Errorf("--worth %g; give per cent from 0 to 100", f.worth))
	}
	o.Targets, err = targets(cmd, f.target50, f.target90, f.confidence)
	return o, err
}

// verdict says in a sentence whether the points are worth the walk.
func (n *next) verdict() (word, says string, saved float64) {
	last := n.Chosen[len(n.Chosen)-1]
	saved = 1 - last.ErrorM/n.NowM
	points := say.Count(len(n.Chosen), "more point")
	if saved < n.worth {
		return "enough", fmt.Sprintf("enough: %s would bring the mean error of radio-map fixes from %s m to %s m, %s %% less; less than %s %% is not worth the walk",
			points, say.Fixed(n.NowM, 2), say.Fixed(last.ErrorM, 2), say.Fixed(100*saved, 1), trimmed(100*n.worth)), saved
	}
	return "go-on", fmt.Sprintf("go on: %s would bring the mean error of radio-map fixes from %s m to %s m, %s %% less",
		points, say.Fixed(n.NowM, 2), say.Fixed(last.ErrorM, 2), say.Fixed(100*saved, 0)), saved
}

func trimmed(v float64) string { return say.Minus(fmt.Sprintf("%g", math.Round(v*10)/10)) }
