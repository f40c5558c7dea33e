package main

import (
	"context"
	"fmt"
	"io"
	"math"

	"footrule/internal/doubt"
	"footrule/internal/drill"
	"footrule/internal/say"
	"footrule/store"

	"github.com/paulmach/orb"
	"github.com/spf13/cobra"
)

func newDrillGrade(sh *shell) *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "grade FILE",
		Short: "Grade the answers to a drill and show the truth",
		Long: `grade holds the answers in FILE against the truth, says what each was worth and
why, whether the walk could have shown it, and lays the truth beside the estimate.
The case is open then: no answer is taken any more, and doubts, fit and the screens
show what the program finds.

It exits with 1 unless every fault was named, with what has it, and nothing else.`,
		Example: "  footrule drill grade one.footrule",
		Args:    files(1, 1, "a drill's FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			st, rec, c, err := openDrill(args[0], false)
			if err != nil {
				return err
			}
			defer st.Close()
			if len(rec.Answers) == 0 && !rec.Open() {
				return usage(fmt.Errorf("nothing was answered yet, and grading shows the truth; footrule drill answer %s KIND, or nothing where all is well", args[0]))
			}
			g, err := gradeDrill(cmd.Context(), sh, st, rec, c)
			if err != nil {
				return err
			}
			if asJSON {
				if err := printJSON(sh.out, gradeJSON(c, &g.score, &g.truth, g.before)); err != nil {
					return err
				}
			} else {
				printGrade(sh.out, c, &g.score, &g.truth)
				fmt.Fprintln(sh.out)
				if g.before {
					fmt.Fprintln(sh.out, "the case was open before")
				} else {
					fmt.Fprintln(sh.out, "the case is open now: no further answer is taken, and doubts, fit and the screens")
					fmt.Fprintln(sh.out, "show what the program finds. footrule drill sheet FILE prints the solution")
				}
			}
			if !g.score.Right {
				return &exit{code: exitNo}
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	return cmd
}

// grade is what answers were worth, and the truth.
type grade struct {
	score  drill.Score
	truth  drill.Revealed
	before bool // the case was open before
}

// gradeDrill grades the answers of a record and opens its case.
func gradeDrill(ctx context.Context, sh *shell, st *store.Store, rec *drill.Record, c *drill.Case) (*grade, error) {
	var e drill.Evidence
	var err error
	if e.Walks, err = st.Walks(); err != nil {
		return nil, err
	}
	if visitsOf(e.Walks) > 0 {
		if e.Report, err = doubt.Find(ctx, c.Plan, e.Walks, doubt.Options{Seed: 1}); err != nil {
			return nil, errStopped
		}
	}
	g := &grade{score: drill.Grade(c, rec.Answers, e), before: rec.Open()}
	if g.truth, err = drill.Reveal(ctx, c, e); err != nil {
		if ctx.Err() != nil {
			return nil, errStopped
		}
		return nil, err
	}
	opened(rec, sh.now())
	if rec.Score == nil {
		rec.Score = &g.score.Points
	}
	return g, keepDrill(st, rec)
}

// printGrade prints a score with its reasons, and the truth.
func printGrade(w io.Writer, c *drill.Case, s *drill.Score, t *drill.Revealed) {
	fmt.Fprintf(w, "%s: %d of 100\n", called(c), s.Points)
	for _, why := range s.Why {
		paragraph(w, "  ", capital(why)+".")
	}
	for i := range s.Marks {
		m := &s.Marks[i]
		fmt.Fprintln(w)
		paragraph(w, "wrong was  ", capital(m.Truth)+".")
		if len(m.Answers) == 0 {
			fmt.Fprintln(w, "you said   nothing of it")
		}
		for _, a := range m.Answers {
			paragraph(w, "you said   ", a.String())
		}
		for _, k := range m.Credits {
			paragraph(w, fmt.Sprintf("  %3.0f of %-3.0f %-22s", k.Got, k.Of, k.What), k.Why)
		}
		head := map[drill.Shown]string{drill.Yes: "could be seen: ", drill.No: "could hardly be seen: ", drill.Guess: "could not be seen: "}[m.Shown]
		paragraph(w, head, m.Why)
	}
	for _, also := range s.Also {
		fmt.Fprintln(w)
		paragraph(w, "said twice ", also.String()+" – that is what you named already, by another name")
	}
	for _, a := range s.False {
		fmt.Fprintln(w)
		paragraph(w, "accused    ", a.String()+" – that is in order")
	}
	if s.Lost > 0 {
		fmt.Fprintf(w, "\n  −%d for what was said beside the truth\n", s.Lost)
	}
	printTruth(w, c, t)
}

// printTruth lays the truth beside the estimate.
func printTruth(w io.Writer, c *drill.Case, t *drill.Revealed) {
	fmt.Fprintln(w, "\nthe truth beside the estimate")
	rows := [][]string{{"", "by the walk", "in truth"}}
	for _, b := range t.Bands {
		est := say.Fixed(b.Exponent, 2)
		if !math.IsNaN(b.Exponent) {
			est += " ±" + say.Fixed(b.ExponentHalf, 2)
		}
		rows = append(rows, []string{"exponent, " + string(b.Band) + " GHz", est, say.Fixed(b.TrueN, 2)})
		rows = append(rows, []string{"spread dB, " + string(b.Band) + " GHz", say.Fixed(b.ShadowDB, 1), say.Fixed(b.TrueDB, 1)})
	}
	rows = append(rows,
		[]string{"half of the fixes within m", say.Fixed(t.WalkedCE50M, 1), say.Fixed(t.TrueCE50M, 1)},
		[]string{"nine in ten within m", say.Fixed(t.WalkedCE90M, 1), say.Fixed(t.TrueCE90M, 1)})
	table(w, rows)
	fmt.Fprintln(w)
	paragraph(w, "", "In truth: the spread of shadowing alone; the fixes at 40 places where nobody had walked, by the plan that was handed out, held against where somebody really stood.")
	if t.Missing != "" {
		paragraph(w, "no estimate: ", t.Missing)
	}
	if len(t.APs) > 0 {
		rows := [][]string{{"access point", "on the plan m", "by the levels m", "in truth m"}}
		for _, a := range t.APs {
			seems := "–"
			if a.Seems != nil {
				seems = at(*a.Seems) + on(a.Floors[2])
			}
			really := at(a.Truth) + on(a.Floors[1])
			if a.Silent {
				really += " silent"
			}
			rows = append(rows, []string{a.ID, at(a.Plan) + on(a.Floors[0]), seems, really})
		}
		fmt.Fprintln(w)
		table(w, rows)
	}
	fmt.Fprintln(w)
	if len(t.Programs) == 0 {
		fmt.Fprintln(w, "the program itself finds nothing in the walk")
		return
	}
	fmt.Fprintln(w, "the program itself finds:")
	for _, p := range t.Programs {
		paragraph(w, "  ", capital(p)+".")
	}
}

// on names a floor, where there are several.
func on(floor string) string {
	if floor == "" {
		return ""
	}
	return " on " + floor
}

func at(p orb.Point) string { return place(p[0], p[1]) }

type jsonBandTruth struct {
	Band     string `json:"band"`
	Exponent number `json:"exponent"`
	Half     number `json:"exponent_half"`
	TrueN    number `json:"true_exponent"`
	SigmaDB  number `json:"sigma_db"`
	ShadowDB number `json:"true_shadowing_db"`
}

type jsonAPTruth struct {
	ID     string     `json:"id"`
	Plan   [2]number  `json:"plan"`
	Seems  *[2]number `json:"seems"`
	Truth  [2]number  `json:"truth"`
	Silent bool       `json:"silent"`
	Floors []string   `json:"floors,omitempty"` // of plan, truth and levels, where there are several
}

type jsonGrade struct {
	Case string `json:"case"`
	Seed uint64 `json:"seed"`
	*drill.Score
	Bands    []jsonBandTruth `json:"bands"`
	APs      []jsonAPTruth   `json:"access_points"`
	CE50M    number          `json:"ce50_m"`
	CE90M    number          `json:"ce90_m"`
	TrueCE50 number          `json:"true_ce50_m"`
	TrueCE90 number          `json:"true_ce90_m"`
	Missing  *string         `json:"missing"`
	Findings []string        `json:"findings"`
	Before   bool            `json:"open_before"`
}

func gradeJSON(c *drill.Case, s *drill.Score, t *drill.Revealed, before bool) jsonGrade {
	out := jsonGrade{Case: c.ID, Seed: c.Seed, Score: s, Bands: []jsonBandTruth{}, APs: []jsonAPTruth{},
		CE50M: number(t.WalkedCE50M), CE90M: number(t.WalkedCE90M), TrueCE50: number(t.TrueCE50M), TrueCE90: number(t.TrueCE90M),
		Findings: append([]string{}, t.Programs...), Before: before}
	for _, b := range t.Bands {
		out.Bands = append(out.Bands, jsonBandTruth{string(b.Band), number(b.Exponent), number(b.ExponentHalf), number(b.TrueN), number(b.ShadowDB), number(b.TrueDB)})
	}
	for _, a := range t.APs {
		j := jsonAPTruth{ID: a.ID, Plan: pair(a.Plan[0], a.Plan[1]), Truth: pair(a.Truth[0], a.Truth[1]), Silent: a.Silent}
		if a.Seems != nil {
			p := pair(a.Seems[0], a.Seems[1])
			j.Seems = &p
		}
		if a.Floors[0] != "" {
			j.Floors = a.Floors[:]
		}
		out.APs = append(out.APs, j)
	}
	if t.Missing != "" {
		out.Missing = &t.Missing
	}
	return out
}
