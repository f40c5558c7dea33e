package main

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"footrule/internal/position"
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
}

func newErrors(sh *shell) *cobra.Command {
	var f errorsFlags
	var asJSON, all bool
	cmd := &cobra.Command{
		Use:   "errors FILE",
		Short: "Measure the position error and print its statistics",
		Long: `errors finds the position of every visit from its levels and says how far off it
was. What is judged was never in the fit: by default each place is left out in
turn, and each facing is judged alone, which errs on the safe side; with --train
and --test one walk is judged by a fit to another.

Statistics are named as in ISO/IEC 18305 (CE50: half of the fixes are within).
A target is passed or failed by the exact binomial bound; where it is open, the
output says how many more points would settle it. It exits with 1 unless every
target is passed.`,
		Example: "  footrule errors depot.footrule\n  footrule errors depot.footrule --target-ce50 5 --target-ce90 10\n  footrule errors depot.footrule --train monday --test tuesday --json",
		Args:    files(1, 1, "a site FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o, walksOf, err := f.options(cmd)
			if err != nil {
				return err
			}
			plan, walks, err := load(args[0], walksOf)
			if err != nil {
				return err
			}
			o.Train, o.Test = idsOf(walks, f.train), idsOf(walks, f.test)
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
				fmt.Fprintf(sh.out, "%s  %s, %s\n\n", plan.Name, count(len(walks), "walk"), count(e.Points, "place"))
				printErrors(sh, e, all)
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
	fl.StringVar(&f.method, "method", string(position.Trilaterate), fmt.Sprintf("how fixes are found: one of %v", position.Methods()))
	fl.StringVar(&f.protocol, "protocol", "", "leave-one-out or train-test (default: train-test with --train and --test, else leave-one-out)")
	fl.StringArrayVar(&f.train, "train", nil, "walk to fit (repeatable)")
	fl.StringArrayVar(&f.test, "test", nil, "walk to judge (repeatable)")
	fl.StringVar(&f.fix, "fix", "", "one fix from each visit, or from each facing (default: facing; visit for train-test)")
	fl.Float64Var(&f.target50, "target-ce50", 0, "metres that half of the places must be within")
	fl.Float64Var(&f.target90, "target-ce90", 0, "metres that 90 % of the places must be within")
	fl.Float64Var(&f.confidence, "confidence", 0.95, "at which a target is passed or failed")
	fl.Uint64Var(&f.seed, "seed", 1, "of the bootstrap behind the intervals")
	fl.BoolVar(&all, "points", false, "print every fix")
	fl.BoolVar(&asJSON, "json", false, "print one JSON object")
	complete(cmd, "protocol", string(position.LeaveOneOut), string(position.TrainTest))
	complete(cmd, "fix", string(position.PerVisit), string(position.PerFacing))
	var methods []string
	for _, m := range position.Methods() {
		methods = append(methods, string(m))
	}
	complete(cmd, "method", methods...)
	return cmd
}

// options turns the flags into what Judge takes, and the walks to load.
func (f *errorsFlags) options(cmd *cobra.Command) (position.Options, []string, error) {
	p, err := f.fitFlags.options()
	if err != nil {
		return position.Options{}, nil, err
	}
	o := position.Options{Method: position.Method(f.method), Protocol: position.Protocol(f.protocol), Fix: position.Unit(f.fix), Propagation: p, Seed: f.seed}
	if len(f.walks) > 0 && len(f.train)+len(f.test) > 0 {
		return o, nil, usage(fmt.Errorf("--walk goes with leave-one-out; with --train and --test name the walks there"))
	}
	targets := []struct {
		flag         string
		share, value float64
	}{{"target-ce50", 0.5, f.target50}, {"target-ce90", 0.9, f.target90}}
	for _, t := range targets {
		if !cmd.Flags().Changed(t.flag) {
			continue
		}
		if !(t.value > 0) || math.IsInf(t.value, 0) {
			return o, nil, usage(fmt.Errorf("--%s %g; give metres above 0", t.flag, t.value))
		}
		o.Targets = append(o.Targets, position.Target{Share: t.share, WithinM: t.value, Confidence: f.confidence})
	}
	return o, append(slices.Clone(f.walks), append(slices.Clone(f.train), f.test...)...), nil
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

// statistic is one row of the error statistics, by the field name in JSON.
type statistic struct {
	key, name string
	value     float64
}

func statistics(s *position.Statistics) []statistic {
	return []statistic{
		{"mean_m", "mean", s.MeanM}, {"rms_m", "RMS", s.RMSM}, {"ce50_m", "CE50, half within", s.CE50M},
		{"ce90_m", "CE90, 9 of 10 within", s.CE90M}, {"ce95_m", "CE95", s.CE95M}, {"max_m", "largest", s.MaxM},
	}
}

func printErrors(sh *shell, e *position.Errors, all bool) {
	s := &e.Statistics
	fmt.Fprintf(sh.out, "%s, %s, one fix from each %s; model %s\n", e.Method, e.Protocol, e.Fix, e.Fit.Model)
	fmt.Fprintf(sh.out, "%d of %s located, at %d of %s\n\n", s.Located, countFixes(s.Fixes), e.Located, count(e.Points, "place"))
	rows := [][]string{{"error", "m", "95 % interval"}}
	for _, st := range statistics(s) {
		ci := ""
		if i, ok := e.CI95[st.key]; ok {
			ci = fixed(i.Lo, 2) + " to " + fixed(i.Hi, 2)
		}
		rows = append(rows, []string{st.name, fixed(st.value, 2), ci})
	}
	rows = append(rows, []string{"bias right, up", fixed(s.BiasM[0], 2) + ", " + fixed(s.BiasM[1], 2), ""},
		[]string{"bound, RMS", fixed(e.BoundRMSM, 2), ""})
	table(sh.out, rows)
	fmt.Fprintf(sh.out, "\nquantiles are %s; intervals are BCa bootstraps over places\n", e.Quantiles)
	for _, t := range e.Targets {
		fmt.Fprintf(sh.out, "\n%s\n", verdict(t))
	}
	if all {
		fmt.Fprintln(sh.out)
		printFixes(sh, e.Judged)
		return
	}
	worst := slices.Clone(e.Judged)
	slices.SortStableFunc(worst, func(a, b position.Judged) int {
		switch {
		case a.ErrorM > b.ErrorM:
			return -1
		case a.ErrorM < b.ErrorM:
			return 1
		}
		return 0
	})
	fmt.Fprintf(sh.out, "\nthe worst (--points prints all):\n")
	printFixes(sh, worst[:min(5, len(worst))])
	printWarnings(sh, e.Fit.Warnings)
}

func countFixes(n int) string {
	if n == 1 {
		return "1 fix"
	}
	return strconv.Itoa(n) + " fixes"
}

func printFixes(sh *shell, judged []position.Judged) {
	rows := [][]string{{"point", "floor", "facing", "stood at", "fix at", "error m", "bound m", "APs"}}
	for _, j := range judged {
		point, facing := j.Point, "–"
		if point == "" {
			point = "–"
		}
		if j.FacingDeg != walk.NoFacing {
			facing = fixed(j.FacingDeg, 0)
		}
		fix := j.Fix.Reason
		if j.Fix.Located {
			fix = fixed(j.Fix.At[0], 1) + ", " + fixed(j.Fix.At[1], 1)
		}
		rows = append(rows, []string{point, j.Floor, facing, fixed(j.At[0], 1) + ", " + fixed(j.At[1], 1), fix,
			fixed(j.ErrorM, 1), fixed(j.BoundM, 1), strconv.Itoa(j.Fix.Heard)})
	}
	table(sh.out, rows)
}

// verdict says how a target was judged.
func verdict(t position.Outcome) string {
	s := fmt.Sprintf("target: %.0f %% within %g m: %s; %d of %s are within, at %.0f %% confidence the share is ",
		100*t.Share, t.WithinM, t.Verdict, t.Within, count(t.Points, "place"), 100*t.Confidence)
	switch t.Verdict {
	case position.Passed:
		return s + fmt.Sprintf("at least %.0f %%", math.Floor(100*t.Lo))
	case position.Failed:
		return s + fmt.Sprintf("at most %.0f %%", math.Ceil(100*t.Hi))
	}
	s += fmt.Sprintf("%.0f to %.0f %%; ", math.Floor(100*t.Lo), math.Ceil(100*t.Hi))
	if t.MoreWithin > 0 {
		s += fmt.Sprintf("%s, all within, would pass it", count(t.MoreWithin, "more place"))
	}
	if t.MoreAtRate > 0 {
		s += fmt.Sprintf(", %s at the rate so far would settle it (%s)", count(t.MoreAtRate, "more place"), t.RateVerdict)
	}
	return s
}

type jsonFix struct {
	Point   *string    `json:"point"`
	Walk    string     `json:"walk"`
	Visit   string     `json:"visit"`
	Floor   string     `json:"floor"`
	At      [2]number  `json:"at"`
	Facing  *number    `json:"facing_deg"`
	Fix     *[2]number `json:"fix"`
	ErrorM  number     `json:"error_m"`
	BoundM  number     `json:"bound_m"`
	Heard   int        `json:"heard"`
	Scans   int        `json:"scans"`
	Outside bool       `json:"on_outline"`
	Reason  *string    `json:"reason"`
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
	Method     string               `json:"method"`
	Protocol   string               `json:"protocol"`
	FixFrom    string               `json:"fix_from"`
	Model      string               `json:"model"`
	Points     int                  `json:"points"`
	Located    int                  `json:"located"`
	Fixes      int                  `json:"fixes"`
	LocatedFix int                  `json:"located_fixes"`
	Mean       number               `json:"mean_m"`
	RMS        number               `json:"rms_m"`
	CE50       number               `json:"ce50_m"`
	CE90       number               `json:"ce90_m"`
	CE95       number               `json:"ce95_m"`
	Max        number               `json:"max_m"`
	Bias       [2]number            `json:"bias_m"`
	Covariance [2][2]number         `json:"covariance_m2"`
	CI95       map[string][2]number `json:"ci95"`
	Quantiles  string               `json:"quantiles"`
	Bound      number               `json:"bound_rms_m"`
	Targets    []jsonTarget         `json:"targets"`
	PerPoint   []jsonFix            `json:"per_point"`
}

func errorsJSON(e *position.Errors) jsonErrors {
	s := &e.Statistics
	c := s.Covariance
	out := jsonErrors{Method: string(e.Method), Protocol: string(e.Protocol), FixFrom: string(e.Fix), Model: string(e.Fit.Model), Points: e.Points, Located: e.Located,
		Fixes: s.Fixes, LocatedFix: s.Located, Mean: number(s.MeanM), RMS: number(s.RMSM), CE50: number(s.CE50M), CE90: number(s.CE90M),
		CE95: number(s.CE95M), Max: number(s.MaxM), Bias: pair(s.BiasM[0], s.BiasM[1]), Covariance: [2][2]number{pair(c.XX, c.XY), pair(c.XY, c.YY)},
		CI95: map[string][2]number{}, Quantiles: e.Quantiles, Bound: number(e.BoundRMSM), Targets: []jsonTarget{}, PerPoint: []jsonFix{}}
	for k, i := range e.CI95 {
		out.CI95[k] = pair(i.Lo, i.Hi)
	}
	for _, t := range e.Targets {
		out.Targets = append(out.Targets, jsonTarget{t.Share, t.WithinM, t.Confidence, string(t.Verdict), t.Points, t.Within, pair(t.Lo, t.Hi), t.MoreWithin, t.MoreAtRate})
	}
	for _, j := range e.Judged {
		f := jsonFix{Walk: j.Walk, Visit: j.Visit, Floor: j.Floor, At: pair(j.At[0], j.At[1]), ErrorM: number(j.ErrorM), BoundM: number(j.BoundM),
			Heard: j.Fix.Heard, Scans: j.Scans, Outside: j.Fix.OnOutline}
		if j.Point != "" {
			f.Point = &j.Point
		}
		if j.FacingDeg != walk.NoFacing {
			n := number(j.FacingDeg)
			f.Facing = &n
		}
		if j.Fix.Located {
			p := pair(j.Fix.At[0], j.Fix.At[1])
			f.Fix = &p
		} else {
			f.Reason = &j.Fix.Reason
		}
		out.PerPoint = append(out.PerPoint, f)
	}
	return out
}
