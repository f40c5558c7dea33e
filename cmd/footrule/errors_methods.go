package main

import (
	"fmt"
	"math"
	"strings"

	"footrule/internal/position"
	"footrule/internal/say"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/spf13/cobra"
)

// allMethods is the value of --method that judges by every method.
const allMethods = "all"

// compareMethods judges by every method and prints them side by side.
func compareMethods(sh *shell, cmd *cobra.Command, file string, plan *site.Site, walks []walk.Walk, o position.Options, asJSON bool) error {
	for _, name := range []string{"target-ce50", "target-ce90", "by", "points"} {
		if cmd.Flags().Changed(name) {
			return usage(fmt.Errorf("--%s goes with one method; name it, or leave out --%s", name, name))
		}
	}
	c, err := position.Compare(cmd.Context(), plan, walks, o, position.Methods()...)
	if cmd.Context().Err() != nil {
		return errStopped
	}
	if err != nil {
		return fmt.Errorf("%s can't be judged: %w", file, err)
	}
	if asJSON {
		return printJSON(sh.out, comparisonJSON(c))
	}
	e := c.Each[0]
	fmt.Fprintf(sh.out, "%s  %s, %s\n\n", plan.Name, say.Count(len(walks), "walk"), say.Count(e.Points, "place"))
	fmt.Fprintf(sh.out, "%s, one fix from each %s; model %s\n\n", e.Protocol, e.Fix, e.Fit.Model)
	printComparison(sh, c)
	return nil
}

func printComparison(sh *shell, c *position.Comparison) {
	rows := [][]string{{"method", "located", "mean m", "CE50 m", "95 % interval", "CE90 m", "95 % interval"}}
	for _, e := range c.Each {
		s := &e.Statistics
		rows = append(rows, []string{string(e.Method), fmt.Sprintf("%d of %d", s.Located, s.Fixes), say.Fixed(s.MeanM, 2),
			say.Fixed(s.CE50M, 2), span(e.CI95["ce50_m"], 2), say.Fixed(s.CE90M, 2), span(e.CI95["ce90_m"], 2)})
	}
	table(sh.out, rows)
	fmt.Fprintf(sh.out, "\ndifferences, fix by fix, at %s that all methods located, of %s\n\n", say.Plural(c.Fixes, "fix", "fixes"), say.Count(c.Places, "place"))
	rows = [][]string{{"errors of", "mean m", "95 % interval", "CE50 m", "CE90 m"}}
	for _, d := range c.Differences {
		rows = append(rows, []string{fmt.Sprintf("%s less those of %s", d.A, d.B), say.Fixed(d.MeanM, 2), span(d.CI95["mean_m"], 2), say.Fixed(d.CE50M, 2), say.Fixed(d.CE90M, 2)})
	}
	table(sh.out, rows)
	fmt.Fprintf(sh.out, "\n%s\n", toldApart(c))
	fmt.Fprintf(sh.out, "\nquantiles are %s; intervals are BCa bootstraps over places, for each pair by itself\n", position.QuantileRule)
}

// toldApart says which methods can be told apart, in one sentence.
func toldApart(c *position.Comparison) string {
	var apart, alike []string
	known := false
	for _, d := range c.Differences {
		if math.IsNaN(d.MeanM) {
			continue // one of them located nothing
		}
		known = known || !math.IsNaN(d.CI95["mean_m"].Lo)
		better, worse := d.A, d.B
		if d.MeanM > 0 {
			better, worse = d.B, d.A
		}
		if d.Apart() {
			apart = append(apart, fmt.Sprintf("%s errs %s m less than %s", better, say.Fixed(math.Abs(d.MeanM), 2), worse))
		} else {
			alike = append(alike, fmt.Sprintf("%s and %s", d.A, d.B))
		}
	}
	switch {
	case !known:
		return "Too few places to tell the methods apart; walk more points."
	case len(apart) == 0:
		return "No two of the methods can be told apart on these places."
	case len(alike) == 0:
		return "All can be told apart by their mean errors: " + strings.Join(apart, ", ") + "."
	}
	return "Told apart by their mean errors: " + strings.Join(apart, ", ") + "; not told apart: " + strings.Join(alike, ", ") + "."
}

type jsonDifference struct {
	A     string               `json:"a"`
	B     string               `json:"b"`
	Mean  number               `json:"mean_m"`
	CE50  number               `json:"ce50_m"`
	CE90  number               `json:"ce90_m"`
	CI95  map[string][2]number `json:"ci95"`
	Apart bool                 `json:"told_apart"`
}

type jsonComparison struct {
	Method      string           `json:"method"`
	Protocol    string           `json:"protocol"`
	FixFrom     string           `json:"fix_from"`
	Model       string           `json:"model"`
	Points      int              `json:"points"`
	Methods     []jsonErrors     `json:"methods"`
	Fixes       int              `json:"common_fixes"`
	Places      int              `json:"common_points"`
	Differences []jsonDifference `json:"differences"`
	Sentence    string           `json:"told_apart"`
}

func comparisonJSON(c *position.Comparison) jsonComparison {
	e := c.Each[0]
	out := jsonComparison{Method: allMethods, Protocol: string(e.Protocol), FixFrom: string(e.Fix), Model: string(e.Fit.Model), Points: e.Points,
		Fixes: c.Fixes, Places: c.Places, Differences: []jsonDifference{}, Sentence: toldApart(c)}
	for _, e := range c.Each {
		out.Methods = append(out.Methods, errorsJSON(e))
	}
	for _, d := range c.Differences {
		j := jsonDifference{A: string(d.A), B: string(d.B), Mean: number(d.MeanM), CE50: number(d.CE50M), CE90: number(d.CE90M), CI95: map[string][2]number{}, Apart: d.Apart()}
		for k, i := range d.CI95 {
			j.CI95[k] = pair(i.Lo, i.Hi)
		}
		out.Differences = append(out.Differences, j)
	}
	return out
}

// unknownMethod is the error of a --method that is none, before anything is read.
func unknownMethod(method string) error {
	if method == allMethods {
		return nil
	}
	for _, m := range position.Methods() {
		if string(m) == method {
			return nil
		}
	}
	return usage(fmt.Errorf("no method %q; use %s", method, methodNames()))
}

// methodNames lists what --method takes.
func methodNames() string {
	var names []string
	for _, m := range position.Methods() {
		names = append(names, string(m))
	}
	return strings.Join(names, ", ") + " or " + allMethods
}
