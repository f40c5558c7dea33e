package main

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"footrule/internal/position"
	"footrule/internal/say"
	"footrule/internal/walk"

	"github.com/spf13/cobra"
)

// errorsFlags are the flags of the command errors.
type errorsFlags struct {
	fitFlags
	method, protocol, fix string
	train, test           []string
	target50, target90    float64
	confidence            float64
	seed                  uint64
	by                    []string
}

func newErrors(sh *shell) *cobra.Command {
	var f errorsFlags
	var asJSON, all bool
	cmd := &cobra.Command{
		Use:   "errors FILE",
		Short: "Measure the position error and print its statistics",
		Long: `errors finds the position of every visit from its levels and says how far off it
was. What is judged was never in the fit: by default (leave-one-out) each place is
left out in turn, and each facing is judged alone, which errs on the safe side;
with --protocol leave-area-out all places of an area are left out together, which
shows what a part of the building is worth that nobody walked; with --train and
--test one walk is judged by a fit to another.

Statistics are named as in ISO/IEC 18305 (CE50: half of the fixes are within), in
metres on the plan. The bound is what no estimator can beat that knows the levels
alone; the outline of the plan may help it. The 95 % ellipse of a fix should hold
the true place in 95 of 100 cases; where it holds fewer, the building is less tidy
than the fit. --by area prints the figures of each
zone of the plan. --by ap judges again without each access point in turn, which
takes as long again for each, and says on which the accuracy hangs.

Methods are trilateration (likeliest place within the outline), posterior (least
expected error over where people walk: the plan without voids, mostly within 1.25
spacings of the points of the walk), radio-map (the same, by levels that follow the measured
ones wherever somebody stood) and nearest (the points with the most similar levels).
The last two want a dense walk. --method all judges by each, and says which can be
told apart.

A target is passed or failed by the exact binomial bound; where it is open, the
output says how many more points would settle it. It exits with 1 unless every
target is passed.`,
		Example: `  footrule errors depot.footrule
  footrule errors depot.footrule --target-ce50 5 --target-ce90 10
  footrule errors depot.footrule --by area,ap
  footrule errors depot.footrule --method all
  footrule errors depot.footrule --protocol leave-area-out --by area
  footrule errors depot.footrule --train monday --test tuesday --json`,
		Args: files(1, 1, "a site FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o, walksOf, err := f.options(cmd)
			if err != nil {
				return err
			}
			by, err := partsOf(f.by)
			if err != nil {
				return err
			}
			plan, walks, err := load(args[0], walksOf)
			if err != nil {
				return err
			}
			o.EachAP = by[byAP]
			o.Train, o.Test = idsOf(walks, f.train), idsOf(walks, f.test)
			if f.method == allMethods {
				return compareMethods(sh, cmd, args[0], plan, walks, o, asJSON)
			}
			e, err := position.Judge(cmd.Context(), plan, walks, o)
			if cmd.Context().Err() != nil {
				return errStopped
			}
			if err != nil {
				return fmt.Errorf("%s can't be judged: %w", args[0], err)
			}
			if asJSON {
				err = printJSON(sh.out, errorsJSON(e))
			} else {
				fmt.Fprintf(sh.out, "%s  %s, %s\n\n", plan.Name, say.Count(len(walks), "walk"), say.Count(e.Points, "place"))
				printErrors(sh, e, by, all)
			}
			if err != nil {
				return err
			}
			for _, t := range e.Targets {
				if t.Verdict != position.Passed {
					return &exit{code: exitNo}
				}
			}
			return nil
		},
	}
	f.add(cmd)
	fl := cmd.Flags()
	f.addJudging(cmd)
	fl.StringSliceVar(&f.by, "by", nil, "print the figures of each part as well: "+parts())
	fl.BoolVar(&all, "points", false, "print every fix")
	fl.BoolVar(&asJSON, "json", false, "print one JSON object")
	complete(cmd, "by", partNames...)
	return cmd
}

// addJudging adds the flags that say what is judged and how.
func (f *errorsFlags) addJudging(cmd *cobra.Command) {
	fl := cmd.Flags()
	fl.StringVar(&f.method, "method", string(position.Trilaterate), "how fixes are found: "+methodNames())
	fl.StringVar(&f.protocol, "protocol", "", "leave-one-out, leave-area-out or train-test (default: train-test with --train and --test, else leave-one-out)")
	fl.StringArrayVar(&f.train, "train", nil, "walk to fit (repeatable)")
	fl.StringArrayVar(&f.test, "test", nil, "walk to judge (repeatable)")
	fl.StringVar(&f.fix, "fix", "", "one fix from each visit, or from each facing (default: facing; visit for train-test)")
	fl.Float64Var(&f.target50, "target-ce50", 0, "metres that half of the places must be within")
	fl.Float64Var(&f.target90, "target-ce90", 0, "metres that 90 % of the places must be within")
	fl.Float64Var(&f.confidence, "confidence", 0.95, "at which a target is passed or failed")
	fl.Uint64Var(&f.seed, "seed", 1, "of the bootstrap behind the intervals")
	complete(cmd, "protocol", string(position.LeaveOneOut), string(position.LeaveAreaOut), string(position.TrainTest))
	complete(cmd, "fix", string(position.PerVisit), string(position.PerFacing))
	methods := []string{allMethods}
	for _, m := range position.Methods() {
		methods = append(methods, string(m))
	}
	complete(cmd, "method", methods...)
}

// options turns the flags into what Judge takes, and the walks to load.
func (f *errorsFlags) options(cmd *cobra.Command) (position.Options, []string, error) {
	p, err := f.fitFlags.options()
	if err == nil {
		err = unknownMethod(f.method)
	}
	if err != nil {
		return position.Options{}, nil, err
	}
	o := position.Options{Method: position.Method(f.method), Protocol: position.Protocol(f.protocol), Fix: position.Unit(f.fix), Propagation: p, Seed: f.seed}
	if len(f.walks) > 0 && len(f.train)+len(f.test) > 0 {
		return o, nil, usage(fmt.Errorf("--walk goes with leave-one-out; with --train and --test name the walks there"))
	}
	if o.Targets, err = targets(cmd, f.target50, f.target90, f.confidence); err != nil {
		return o, nil, err
	}
	return o, append(slices.Clone(f.walks), append(slices.Clone(f.train), f.test...)...), nil
}

// targets are those that the flags --target-ce50 and --target-ce90 ask for.
func targets(cmd *cobra.Command, ce50, ce90, confidence float64) ([]position.Target, error) {
	if !(confidence > 0 && confidence < 1) {
		return nil, usage(fmt.Errorf("--confidence %g; give a share between 0 and 1", confidence))
	}
	var out []position.Target
	for _, t := range []struct {
		flag         string
		share, value float64
	}{{"target-ce50", 0.5, ce50}, {"target-ce90", 0.9, ce90}} {
		if !cmd.Flags().Changed(t.flag) {
			continue
		}
		if !(t.value > 0) || math.IsInf(t.value, 0) {
			return nil, usage(fmt.Errorf("--%s %g; give metres above 0", t.flag, t.value))
		}
		out = append(out, position.Target{Share: t.share, WithinM: t.value, Confidence: confidence})
	}
	return out, nil
}

// idsOf turns names or IDs of loaded walks into IDs.
func idsOf(walks []walk.Walk, names []string) []string {
	var out []string
	for _, n := range names {
		for i := range walks {
			if walks[i].Name == n || walks[i].ID == n {
				out = append(out, walks[i].ID)
				break
			}
		}
	}
	return out
}

func printErrors(sh *shell, e *position.Errors, by map[string]bool, all bool) {
	s := &e.Statistics
	fmt.Fprintf(sh.out, "%s, %s, one fix from each %s; model %s\n", e.Method, e.Protocol, e.Fix, e.Fit.Model)
	fmt.Fprintf(sh.out, "%d of %s located, at %d of %s\n\n", s.Located, say.Plural(s.Fixes, "fix", "fixes"), e.Located, say.Count(e.Points, "place"))
	printFigures(sh, &e.Summary)
	fmt.Fprintf(sh.out, "\nquantiles are %s; intervals of metres are BCa bootstraps over places, widened for few of them, those of shares exact binomial\n", e.Quantiles)
	for _, t := range e.Targets {
		fmt.Fprintf(sh.out, "\n%s\n", verdict(t))
	}
	if by[byArea] {
		fmt.Fprintln(sh.out)
		printAreas(sh, e)
	}
	if by[byAP] {
		fmt.Fprintln(sh.out)
		printRemovals(sh, e)
	}
	if all {
		fmt.Fprintln(sh.out)
		printFixes(sh, e.Judged)
		return
	}
	printWorst(sh, e)
	printWarnings(sh, e.Fit.Warnings)
}

func printFixes(sh *shell, judged []position.Judged) {
	rows := [][]string{{"point", "floor", "facing", "stood at", "fix at", "error m", "bound m", "APs"}}
	for _, j := range judged {
		point, facing := j.Point, "–"
		if point == "" {
			point = "–"
		}
		if j.FacingDeg != walk.NoFacing {
			facing = say.Fixed(j.FacingDeg, 0)
		}
		fix := j.Fix.Reason
		if j.Fix.Located {
			fix = say.Fixed(j.Fix.At[0], 1) + ", " + say.Fixed(j.Fix.At[1], 1)
		}
		rows = append(rows, []string{point, j.Floor, facing, say.Fixed(j.At[0], 1) + ", " + say.Fixed(j.At[1], 1), fix,
			say.Fixed(j.ErrorM, 1), say.Fixed(j.BoundM, 1), strconv.Itoa(j.Fix.Heard)})
	}
	table(sh.out, rows)
}

// verdict says how a target was judged.
func verdict(t position.Outcome) string {
	s := fmt.Sprintf("target: %.0f %% within %g m: %s; %d of %s are within, at %.0f %% confidence the share is ",
		100*t.Share, t.WithinM, t.Verdict, t.Within, say.Count(t.Points, "place"), 100*t.Confidence)
	switch t.Verdict {
	case position.Passed:
		return s + fmt.Sprintf("at least %.0f %%", math.Floor(100*t.Lo))
	case position.Failed:
		hi := math.Ceil(100 * t.Hi)
		for step := 10.0; hi >= 100*t.Share && step <= 1000; step *= 10 { // below what is asked, and shown to be
			hi = math.Ceil(100*step*t.Hi) / step
		}
		return s + fmt.Sprintf("at most %g %%", hi)
	}
	s += fmt.Sprintf("%.0f to %.0f %%; ", math.Floor(100*t.Lo), math.Ceil(100*t.Hi))
	if t.MoreWithin > 0 {
		s += fmt.Sprintf("%s, all within, would pass it", say.Count(t.MoreWithin, "more place"))
	}
	if t.MoreAtRate > 0 {
		s += fmt.Sprintf(", %s at the rate so far would settle it (%s)", say.Count(t.MoreAtRate, "more place"), t.RateVerdict)
	}
	return s
}

type jsonTarget struct {
	Share      float64   `json:"share"`
	WithinM    float64   `json:"within_m"`
	Confidence float64   `json:"confidence"`
	Verdict    string    `json:"verdict"`
	Points     int       `json:"points"`
	Within     int       `json:"within"`
	Bounds     [2]number `json:"share_bounds"`
	MoreWithin int       `json:"more_within"`
	MoreAtRate int       `json:"more_at_rate"`
}

type jsonErrors struct {
	Method   string `json:"method"`
	Protocol string `json:"protocol"`
	FixFrom  string `json:"fix_from"`
	Model    string `json:"model"`
	jsonFigures
	Widening  number        `json:"ellipse_widening"`
	Quantiles string        `json:"quantiles"`
	Targets   []jsonTarget  `json:"targets"`
	Areas     []jsonArea    `json:"areas"`
	Removals  []jsonRemoval `json:"without_ap"`
	Worst     []jsonWorst   `json:"worst"`
	PerPoint  []jsonFix     `json:"per_point"`
}

func targetsJSON(e *position.Errors) []jsonTarget {
	out := []jsonTarget{}
	for _, t := range e.Targets {
		out = append(out, jsonTarget{t.Share, t.WithinM, t.Confidence, string(t.Verdict), t.Points, t.Within, pair(t.Lo, t.Hi), t.MoreWithin, t.MoreAtRate})
	}
	return out
}

func errorsJSON(e *position.Errors) jsonErrors {
	out := jsonErrors{Method: string(e.Method), Protocol: string(e.Protocol), FixFrom: string(e.Fix), Model: string(e.Fit.Model), jsonFigures: figuresJSON(&e.Summary),
		Widening: number(e.Widening), Quantiles: e.Quantiles, Targets: targetsJSON(e), Areas: areasJSON(e), Removals: removalsJSON(e), Worst: worstJSON(e), PerPoint: []jsonFix{}}
	for i := range e.Judged {
		out.PerPoint = append(out.PerPoint, fixJSON(&e.Judged[i]))
	}
	return out
}
