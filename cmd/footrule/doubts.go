package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"footrule/internal/doubt"
	"footrule/internal/say"
	"footrule/internal/site"

	"github.com/spf13/cobra"
)

// pDraws is the number of sites that a p-value is drawn from.
const pDraws = 99

func newDoubts(sh *shell) *cobra.Command {
	var names []string
	var asJSON, pValue bool
	cmd := &cobra.Command{
		Use:   "doubts FILE",
		Short: "Name what does not fit between the plan and the walks",
		Long: `doubts looks, in the walks of FILE, for what does not fit: access points that hang
elsewhere or at each other's places, whose power changed or that fell silent, that
were never heard; points recorded at the wrong place or as each other; receivers that
report more than others; points and access points drawn to two scales.

Each is named with its size and its evidence, how many times more likely the levels
are with the fault than without, above a threshold that keeps clean walks quiet.
A plan whose scale is wrong for points and access points alike can't be seen in levels:
tape a distance.

It exits with 1 when something is named.`,
		Example: "  footrule doubts depot.footrule\n  footrule doubts depot.footrule --walk monday --json",
		Args:    files(1, 1, "a site FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			plan, walks, err := load(args[0], names)
			if err != nil {
				return err
			}
			if err := shown(args[0]); err != nil {
				return err
			}
			o := doubt.Options{Seed: 1}
			if pValue {
				o.Draws = pDraws
			}
			rep, err := doubt.Find(cmd.Context(), plan, walks, o)
			if err != nil {
				return errStopped
			}
			if asJSON {
				if err := printJSON(sh.out, doubtsJSON(plan, rep)); err != nil {
					return err
				}
			} else {
				printDoubts(sh, rep)
			}
			if len(rep.Findings) > 0 {
				return &exit{code: exitNo}
			}
			return nil
		},
	}
	cmd.Flags().StringArrayVar(&names, "walk", nil, "use only this walk (repeatable)")
	cmd.Flags().BoolVar(&pValue, "p-value", false, "also how often a site without a fault gives as much evidence (some fifty times the work)")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	return cmd
}

type jsonVisit struct {
	Walk  string    `json:"walk"`
	Visit string    `json:"visit"`
	Point *string   `json:"point"`
	Floor string    `json:"floor"`
	At    [2]number `json:"at"`
	Time  string    `json:"time"`
}

type jsonSeems struct {
	Floor string     `json:"floor"`
	At    [2]number  `json:"at"`
	SDM   number     `json:"sd_m"`
	Other *[2]number `json:"other"` // nearly as likely
}

type jsonMisfit struct {
	Kind      string      `json:"kind"`
	APs       []string    `json:"access_points"`
	Radios    []string    `json:"radios"`
	Visits    []jsonVisit `json:"visits"`
	Receiver  *string     `json:"receiver"`
	Against   *string     `json:"against"`
	Since     *jsonVisit  `json:"since"`
	Between   []jsonVisit `json:"between"`
	Seems     []jsonSeems `json:"seems"`
	PlaceOf   []string    `json:"at_place_of"`
	Effect    number      `json:"effect"`
	EffectSE  number      `json:"effect_se"`
	Unit      string      `json:"unit"`
	Evidence  number      `json:"evidence"`
	Threshold number      `json:"threshold"`
	Suspicion bool        `json:"suspicion"`
	Text      string      `json:"text"`
	Do        string      `json:"do"`
}

type jsonAPOutlook struct {
	AP       string  `json:"access_point"`
	MoveM    number  `json:"move_m"`
	StepDB   number  `json:"step_db"`
	StepSE   number  `json:"step_se_db"`
	Bookend  bool    `json:"step_by_repeats"`
	Dying    *string `json:"dying_before"` // visit
	Hearings number  `json:"expected_hearings"`
}

type jsonVisitOutlook struct {
	Walk  string `json:"walk"`
	Visit string `json:"visit"`
	OffM  number `json:"off_m"`
}

type jsonReceiverOutlook struct {
	Receiver string `json:"receiver"`
	Against  string `json:"against"`
	OffsetDB number `json:"offset_db"`
}

// jsonOutlook is the sizes that are named in nine of ten cases; null for none.
type jsonOutlook struct {
	APs       []jsonAPOutlook       `json:"access_points"`
	Visits    []jsonVisitOutlook    `json:"visits"`
	Receivers []jsonReceiverOutlook `json:"receivers"`
	Text      []string              `json:"text"`
}

func outlookJSON(plan *site.Site, o *doubt.Outlook) jsonOutlook {
	out := jsonOutlook{APs: []jsonAPOutlook{}, Visits: []jsonVisitOutlook{}, Receivers: []jsonReceiverOutlook{}, Text: append([]string{}, o.Text...)}
	for _, a := range o.APs {
		j := jsonAPOutlook{AP: plan.AccessPoints[a.AP].ID, MoveM: number(a.MoveM), StepDB: number(a.StepDB), StepSE: number(a.StepSE), Bookend: a.Bookend, Hearings: number(a.Hearing)}
		if a.Dying != nil {
			j.Dying = &a.Dying.ID
		}
		out.APs = append(out.APs, j)
	}
	for _, v := range o.Visits {
		out.Visits = append(out.Visits, jsonVisitOutlook{v.Visit.Walk, v.Visit.ID, number(v.OffM)})
	}
	for _, r := range o.Receivers {
		out.Receivers = append(out.Receivers, jsonReceiverOutlook{r.Receiver, r.Against, number(r.OffsetDB)})
	}
	return out
}

type jsonDoubts struct {
	Visits   int          `json:"visits"`
	Places   int          `json:"places"`
	Findings []jsonMisfit `json:"findings"`
	Missing  *string      `json:"missing"`
	PValue   *number      `json:"p_value"`
	Power    jsonOutlook  `json:"power"`
	Advice   []string     `json:"advice"`
}

func doubtsJSON(plan *site.Site, rep *doubt.Report) jsonDoubts {
	out := jsonDoubts{Visits: rep.Visits, Places: rep.Places, Findings: []jsonMisfit{}, Advice: append([]string{}, rep.Advice...)}
	out.Power = outlookJSON(plan, &rep.Power)
	if rep.Missing != "" {
		out.Missing = &rep.Missing
	}
	if rep.PValue != nil {
		p := number(*rep.PValue)
		out.PValue = &p
	}
	visit := func(v doubt.Visit) jsonVisit {
		j := jsonVisit{Walk: v.Walk, Visit: v.ID, Floor: plan.Floors[v.Floor].ID, At: pair(v.At[0], v.At[1]), Time: v.Time.UTC().Format(time.RFC3339)}
		if v.Point != "" {
			j.Point = &v.Point
		}
		return j
	}
	refs := plan.Radios()
	for _, f := range rep.Findings {
		j := jsonMisfit{Kind: string(f.Kind), APs: []string{}, Radios: []string{}, Visits: []jsonVisit{}, Between: []jsonVisit{}, Seems: []jsonSeems{}, PlaceOf: []string{},
			Effect: number(f.Effect), EffectSE: number(f.SE), Unit: f.Unit, Evidence: number(f.LBF), Threshold: number(f.Threshold), Suspicion: f.Suspicion, Text: f.Text, Do: f.Do}
		for _, ap := range f.APs {
			j.APs = append(j.APs, plan.AccessPoints[ap].ID)
		}
		for _, k := range f.Radios {
			j.Radios = append(j.Radios, plan.RadioName(refs[k]))
		}
		for _, ap := range f.AtPlaceOf {
			j.PlaceOf = append(j.PlaceOf, plan.AccessPoints[ap].ID)
		}
		for _, v := range f.Visits {
			j.Visits = append(j.Visits, visit(v))
		}
		for _, v := range []*doubt.Visit{f.Early, f.Late} {
			if v != nil {
				j.Between = append(j.Between, visit(*v))
			}
		}
		if f.When != nil {
			v := visit(*f.When)
			j.Since = &v
		}
		if f.Kind == doubt.Receiver {
			j.Receiver, j.Against = &f.Receiver, &f.Against
		}
		for _, p := range f.Seems {
			s := jsonSeems{Floor: plan.Floors[p.Floor].ID, At: pair(p.At[0], p.At[1]), SDM: number(p.SDM)}
			if p.Other != nil {
				o := pair(p.Other[0], p.Other[1])
				s.Other = &o
			}
			j.Seems = append(j.Seems, s)
		}
		out.Findings = append(out.Findings, j)
	}
	return out
}

func printDoubts(sh *shell, rep *doubt.Report) {
	fmt.Fprintf(sh.out, "%s at %s\n\n", say.Count(rep.Visits, "visit"), say.Count(rep.Places, "place"))
	if rep.Missing != "" {
		fmt.Fprintf(sh.out, "nothing could be looked for: %s\n", rep.Missing)
		return
	}
	if len(rep.Findings) == 0 {
		fmt.Fprintln(sh.out, "nothing that does not fit")
	}
	for i, f := range rep.Findings {
		if i > 0 {
			fmt.Fprintln(sh.out)
		}
		fmt.Fprintln(sh.out, capital(f.Text)+".")
		fmt.Fprintf(sh.out, "  do: %s\n", f.Do)
		fmt.Fprintf(sh.out, "  evidence %s, threshold %s\n", say.Fixed(f.LBF, 1), say.Fixed(f.Threshold, 1))
	}
	for _, part := range []struct {
		head string
		text []string
	}{{"what this walk could have shown, in nine of ten cases:", rep.Power.Text}, {"to find more:", rep.Advice}} {
		if len(part.text) > 0 {
			fmt.Fprintf(sh.out, "\n%s\n", part.head)
			for _, t := range part.text {
				fmt.Fprintf(sh.out, "  %s\n", t)
			}
		}
	}
	if rep.PValue != nil {
		fmt.Fprintf(sh.out, "\np-value %s: the share of sites without a fault that give as much evidence\n", say.Fixed(*rep.PValue, 2))
	}
}

// capital sets the first letter of a sentence, but leaves names as they are.
func capital(s string) string {
	first, rest, _ := strings.Cut(s, " ")
	for _, r := range first {
		if r < 'a' || r > 'z' {
			return s
		}
	}
	return strings.ToUpper(first[:1]) + first[1:] + " " + rest
}

// suspect enters in the radios of a fit what is doubted of their access point,
// or of the radio alone.
func suspect(radios []jsonRadio, plan *site.Site, rep *doubt.Report) {
	for k, ref := range plan.Radios() {
		for i := range rep.Findings {
			f := &rep.Findings[i]
			if radios[k].Suspect == nil && slices.Contains(f.APs, ref.AP) && (len(f.Radios) == 0 || slices.Contains(f.Radios, k)) {
				radios[k].Suspect = &f.Text
			}
		}
	}
}

// printSuspects lists below a fit what does not fit.
func printSuspects(sh *shell, rep *doubt.Report) {
	if len(rep.Findings) == 0 {
		return
	}
	fmt.Fprintln(sh.out, "\nwhat does not fit (more: footrule doubts):")
	for _, f := range rep.Findings {
		fmt.Fprintf(sh.out, "  %s\n", f.Text)
	}
}
