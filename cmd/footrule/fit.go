package main

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"footrule/internal/doubt"
	"footrule/internal/propagation"
	"footrule/internal/report"
	"footrule/internal/say"
	"footrule/internal/walk"

	"github.com/spf13/cobra"
)

// fitFlags are the flags of every command that fits.
type fitFlags struct {
	model    string
	perAP    bool
	missRate string
	floor    string
	walks    []string
}

func (f *fitFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.model, "model", string(propagation.TwoLevel), "how levels are fitted: "+models())
	cmd.Flags().BoolVar(&f.perAP, "per-ap", false, "give each access point its own exponent (pooled does in any case)")
	cmd.Flags().StringVar(&f.missRate, "miss-rate", "auto", "share of scans that miss a strong access point: auto, or 0 to below 1 (ols and pooled leave silence out)")
	cmd.Flags().StringVar(&f.floor, "floor-dbm", "auto", "lowest level the receiver hears: auto, or dBm")
	cmd.Flags().StringArrayVar(&f.walks, "walk", nil, "use only this walk (repeatable)")
	complete(cmd, "model", modelNames()...)
}

func modelNames() []string {
	var out []string
	for _, m := range propagation.Models() {
		out = append(out, string(m))
	}
	return out
}

func models() string { return strings.Join(modelNames(), ", ") }

// complete offers the words of a flag to the shell.
func complete(cmd *cobra.Command, flag string, words ...string) {
	_ = cmd.RegisterFlagCompletionFunc(flag, cobra.FixedCompletions(words, cobra.ShellCompDirectiveNoFileComp))
}

// options turns the flags into what the estimator takes.
func (f *fitFlags) options() (propagation.Options, error) {
	o := propagation.Options{Model: propagation.Model(f.model), PerAP: f.perAP}
	if !slices.Contains(propagation.Models(), o.Model) {
		return o, usage(fmt.Errorf("no model %q; use one of %s", f.model, models()))
	}
	if f.missRate != "auto" {
		p, err := strconv.ParseFloat(f.missRate, 64)
		if err != nil || !(p >= 0 && p < 1) {
			return o, usage(fmt.Errorf("--miss-rate %q; give auto, or a share from 0 to below 1", f.missRate))
		}
		o.MissRate = &p
	}
	if f.floor != "auto" {
		c, err := strconv.ParseFloat(f.floor, 64)
		if err != nil || !(c >= -120 && c < 0) {
			return o, usage(fmt.Errorf("--floor-dbm %q; give auto, or a level from −120 to below 0 dBm", f.floor))
		}
		o.FloorDBm = &c
	}
	return o, nil
}

func newFit(sh *shell) *cobra.Command {
	var flags fitFlags
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "fit FILE",
		Short: "Fit the propagation model and print it",
		Long: `fit estimates, from the walks in FILE, how levels fall off in this building: the
exponent and the spread of each band, the level of each radio at 1 m, and the
loss of each wall material, with 95 % intervals that respect that readings taken
at one place share their shadowing.

The models: ols uses what was heard and leaves silence out; censored takes a radio
that a whole stay did not hear as weak; two-level (the default) looks at each scan,
knows that receivers miss strong radios too, and estimates how often; robust gives
levels that are far off less weight, for bodies, doors and wrong points, and takes
silence like two-level, by stays; pooled leaves silence out like ols and gives each
radio a level and an exponent drawn towards those of its band, the more the less it
was heard.

ols and pooled are of the levels that were heard, censored and robust of all
visits, two-level of all scans: log likelihood and AICc compare fits of one kind,
the prediction error compares any.`,
		Example: "  footrule fit depot.footrule\n  footrule fit depot.footrule --model ols --per-ap --json",
		Args:    files(1, 1, "a site FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o, err := flags.options()
			if err != nil {
				return err
			}
			plan, walks, err := load(args[0], flags.walks)
			if err != nil {
				return err
			}
			stays := walk.Stays(plan, walks, walk.ByVisit)
			fit, err := propagation.Estimate(propagation.Observe(plan, stays), o)
			if err != nil {
				return fmt.Errorf("%s can't be fitted: %w", args[0], err)
			}
			hidden, err := hides(args[0])
			if err != nil {
				return err
			}
			rep := &doubt.Report{}
			if !hidden {
				if rep, err = doubt.Find(cmd.Context(), plan, walks, doubt.Options{Brief: true}); err != nil {
					return errStopped
				}
			}
			if asJSON {
				out := fitJSON(fit)
				suspect(out.AccessPoints, plan, rep)
				return printJSON(sh.out, out)
			}
			fmt.Fprintf(sh.out, "%s  %s, %s at %s\n\n", plan.Name, say.Count(len(walks), "walk"), say.Count(len(stays), "visit"), say.Count(places(stays), "place"))
			printFit(sh, fit)
			if hidden {
				fmt.Fprintf(sh.out, "\n%s\n", hiddenText)
			}
			printSuspects(sh, rep)
			return nil
		},
	}
	flags.add(cmd)
	cmd.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	return cmd
}

func places(stays []walk.Stay) int {
	seen := map[walk.Place]bool{}
	for i := range stays {
		seen[stays[i].Place()] = true
	}
	return len(seen)
}

// printFit prints a fit as tables.
func printFit(sh *shell, f *propagation.Fit) {
	fmt.Fprintf(sh.out, "model %s%s; ± is half of a 95 %% interval\n\n", f.Model, map[bool]string{true: ", an exponent per access point"}[f.PerAP || f.Model == propagation.Pooled])
	head := []string{"band", "exponent", "spread dB", "shadowing dB", "scatter dB", "floor dBm", "missed", "readings", "unheard"}
	if f.Model == propagation.Pooled {
		head[3], head[4] = "exponents vary", "at 1 m vary dB"
	}
	rows := [][]string{head}
	for _, g := range f.Groups {
		shadow, scatter := report.Spreads(f.Model, &g)
		missed := "–" // what the model doesn't tell
		if !f.Model.IgnoresSilence() {
			missed = say.Fixed(100*g.MissRate, 0) + " %"
		}
		rows = append(rows, []string{string(g.Band), within(g.Exponent, 2), within(g.SigmaDB, 1), shadow, scatter,
			say.Fixed(g.FloorDBm, 0), missed, strconv.Itoa(g.Readings), strconv.Itoa(g.Censored)})
	}
	table(sh.out, rows)
	fmt.Fprintln(sh.out)
	rows = [][]string{{"radio", "at 1 m dBm", "exponent", "places", "silent", "readings"}}
	for _, r := range f.Radios {
		if !r.InFit {
			rows = append(rows, []string{r.Name, "–", "–", "0", strconv.Itoa(r.Silent), "0"})
			continue
		}
		rows = append(rows, []string{r.Name, within(r.Level1m, 1), within(r.Exponent, 2), strconv.Itoa(r.Points), strconv.Itoa(r.Silent), strconv.Itoa(r.Readings)})
	}
	table(sh.out, rows)
	if len(f.Walls) > 0 {
		fmt.Fprintln(sh.out)
		rows = [][]string{{"wall", "band", "loss dB", "seen through"}}
		for _, w := range f.Walls {
			rows = append(rows, []string{w.Material, string(w.Band), within(w.LossDB, 1), strconv.Itoa(w.Crossed)})
		}
		table(sh.out, rows)
	}
	fmt.Fprintf(sh.out, "\nlog likelihood %s, AICc %s, prediction error with the place left out %s dB\n", say.Fixed(f.LogLikelihood, 1), say.Fixed(f.AICc, 1), say.Fixed(f.LOORMSEDB, 1))
	printWarnings(sh, f.Warnings)
}

func printWarnings(sh *shell, ws []propagation.Warning) {
	if len(ws) == 0 {
		return
	}
	fmt.Fprintln(sh.out, "\nto doubt:")
	for _, w := range ws {
		fmt.Fprintf(sh.out, "  %s\n", sentence(w))
	}
}

type jsonGroup struct {
	Band        string    `json:"band"`
	Exponent    number    `json:"exponent"`
	ExponentSE  number    `json:"exponent_se"`
	ExponentCI  [2]number `json:"exponent_ci95"`
	SigmaDB     number    `json:"sigma_db"`
	SigmaSE     number    `json:"sigma_se"`
	ResidualDB  number    `json:"residual_db"` // about the fit, as the model's estimator has it
	ShadowDB    number    `json:"shadow_db"`
	ScatterDB   number    `json:"scatter_db"`
	FloorDBm    number    `json:"floor_dbm"`
	MissRate    number    `json:"miss_rate"`
	Readings    int       `json:"readings"`
	Censored    int       `json:"censored"`
	HeardStays  int       `json:"heard_stays"`
	SilentStays int       `json:"silent_stays"`
	ExponentSD  number    `json:"exponent_sd"`
	LevelSD     number    `json:"level_1m_sd_db"`
}

type jsonRadio struct {
	ID         string    `json:"id"`
	Band       string    `json:"band"`
	Radio      string    `json:"radio"`
	Level      number    `json:"level_1m_dbm"`
	LevelSE    number    `json:"level_1m_se"`
	LevelCI    [2]number `json:"level_1m_ci95"`
	Exponent   number    `json:"exponent"`
	ExponentSE number    `json:"exponent_se"`
	MissRate   number    `json:"miss_rate"`
	Readings   int       `json:"readings"`
	Places     int       `json:"places"`
	Silent     int       `json:"silent_places"`
	Suspect    *string   `json:"suspect"`
}

type jsonWall struct {
	Material string    `json:"material"`
	Band     string    `json:"band"`
	LossDB   number    `json:"loss_db"`
	LossSE   number    `json:"loss_se"`
	LossCI   [2]number `json:"loss_ci95"`
	Crossed  int       `json:"crossed"`
}

type jsonFit struct {
	Model         string      `json:"model"`
	PerAP         bool        `json:"per_ap"`
	Groups        []jsonGroup `json:"groups"`
	AccessPoints  []jsonRadio `json:"access_points"`
	Walls         []jsonWall  `json:"walls"`
	LogLikelihood number      `json:"log_likelihood"`
	AICc          number      `json:"aicc"`
	LOORMSE       number      `json:"loo_rmse_db"`
	Warnings      []string    `json:"warnings"`
}

func fitJSON(f *propagation.Fit) jsonFit {
	out := jsonFit{Model: string(f.Model), PerAP: f.PerAP, LogLikelihood: number(f.LogLikelihood), AICc: number(f.AICc), LOORMSE: number(f.LOORMSEDB),
		Groups: []jsonGroup{}, AccessPoints: []jsonRadio{}, Walls: []jsonWall{}, Warnings: []string{}}
	for _, g := range f.Groups {
		miss, shadow, scatter := g.MissRate, math.NaN(), math.NaN()
		expSD, levelSD := math.NaN(), math.NaN()
		switch f.Model {
		case propagation.TwoLevel:
			shadow, scatter = g.ShadowingDB(), g.ScatterDB
		case propagation.Pooled:
			expSD, levelSD = g.ExponentSD, g.Level1mSDDB
		}
		if f.Model.IgnoresSilence() {
			miss = math.NaN()
		}
		out.Groups = append(out.Groups, jsonGroup{Band: string(g.Band), Exponent: number(g.Exponent.Est), ExponentSE: number(g.Exponent.SE),
			ExponentCI: pair(g.Exponent.Lo, g.Exponent.Hi), SigmaDB: number(g.SigmaDB.Est), SigmaSE: number(g.SigmaDB.SE), ResidualDB: number(g.ResidualDB()),
			ShadowDB: number(shadow), ScatterDB: number(scatter), FloorDBm: number(g.FloorDBm), MissRate: number(miss),
			Readings: g.Readings, Censored: g.Censored, HeardStays: g.Stays, SilentStays: g.Silent,
			ExponentSD: number(expSD), LevelSD: number(levelSD)})
	}
	for _, r := range f.Radios {
		if f.Model.IgnoresSilence() {
			r.MissRate = math.NaN()
		}
		out.AccessPoints = append(out.AccessPoints, jsonRadio{ID: r.AP, Band: string(r.Band), Radio: r.Name, Level: number(r.Level1m.Est), LevelSE: number(r.Level1m.SE),
			LevelCI: pair(r.Level1m.Lo, r.Level1m.Hi), Exponent: number(r.Exponent.Est), ExponentSE: number(r.Exponent.SE), MissRate: number(r.MissRate),
			Readings: r.Readings, Places: r.Points, Silent: r.Silent})
	}
	for _, w := range f.Walls {
		out.Walls = append(out.Walls, jsonWall{Material: w.Material, Band: string(w.Band), LossDB: number(w.LossDB.Est), LossSE: number(w.LossDB.SE),
			LossCI: pair(w.LossDB.Lo, w.LossDB.Hi), Crossed: w.Crossed})
	}
	for _, w := range f.Warnings {
		out.Warnings = append(out.Warnings, sentence(w))
	}
	return out
}
