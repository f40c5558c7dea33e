package main

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"footrule/internal/boot"
	"footrule/internal/canvas"
	"footrule/internal/radio"
	"footrule/internal/radio/grouping"
	"footrule/internal/say"
	"footrule/internal/site"
	"footrule/internal/walk"
	"footrule/store"
	"footrule/tui"

	"github.com/spf13/cobra"
)

// radiosFlags are the flags of the command radios.
type radiosFlags struct {
	walks, sets, accept []string
	asJSON, edit        bool
	screenFlags
}

func newRadios(sh *shell) *cobra.Command {
	var f radiosFlags
	cmd := &cobra.Command{
		Use:   "radios FILE",
		Short: "Propose which BSSIDs belong to which radio of the plan",
		Long: `radios looks at what the walks in FILE heard and proposes which BSSIDs are one radio
and which radios one access point, each with its evidence: channels, patterns of
addresses, levels that differ by a constant, sets of BSSIDs that beacons announced
(from live scans and captured frames; --set adds one that was seen elsewhere). It says where that contradicts the
plan, and which unknown BSSs carry an SSID of this site.

These are proposals, and nothing changes by itself: --edit shows them one by one,
--accept takes one by its id. What is accepted becomes a new revision of the plan.
A score is not a probability; read the evidence.`,
		Example: "  footrule radios depot.footrule\n  footrule radios depot.footrule --edit\n  footrule radios depot.footrule --accept 02005e100121@AP-01/5\n  footrule radios depot.footrule --set 02:00:5e:10:01:50/3 --json",
		Args:    files(1, 1, "a site FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			switch {
			case f.edit && (f.asJSON || len(f.accept) > 0):
				return usage(errors.New("--edit shows proposals on the screen; use it without --json and --accept"))
			case f.edit && !sh.onTerminal():
				return refused(errors.New("--edit needs a terminal at both ends; --accept ID takes a proposal without one"))
			}
			sets, err := parseSets(f.sets)
			if err != nil {
				return err
			}
			if !f.edit && len(f.accept) == 0 {
				plan, walks, err := load(args[0], f.walks)
				if err != nil {
					return err
				}
				rep := grouping.Propose(plan, grouping.Listen(plan, walks), grouping.Options{Sets: sets})
				return printRadios(sh, plan, walks, rep, f.asJSON)
			}
			r, err := openRadios(args[0], f.walks, sets)
			if err != nil {
				return err
			}
			defer r.st.Close()
			if f.edit {
				return r.edit(cmd, sh, &f.screenFlags)
			}
			return r.accept(sh, f.accept, f.asJSON)
		},
	}
	cmd.Flags().StringArrayVar(&f.walks, "walk", nil, "use only this walk (repeatable)")
	cmd.Flags().StringArrayVar(&f.sets, "set", nil, "a multiple-BSSID set that a beacon announced, as BSSID/N: the transmitted BSSID and the max indicator (repeatable)")
	cmd.Flags().StringArrayVar(&f.accept, "accept", nil, "accept the proposal with this id (repeatable)")
	cmd.Flags().BoolVar(&f.edit, "edit", false, "go through the proposals on the screen")
	f.screenFlags.add(cmd, false)
	cmd.Flags().BoolVar(&f.asJSON, "json", false, "print one JSON object")
	return cmd
}

// parseSets reads BSSID/N.
func parseSets(texts []string) ([]grouping.MultipleBSSID, error) {
	var out []grouping.MultipleBSSID
	for _, t := range texts {
		addr, n, ok := strings.Cut(t, "/")
		b, err := radio.ParseBSSID(addr)
		k, err2 := strconv.Atoi(n)
		if !ok || err != nil || err2 != nil || k < 1 || k > grouping.MaxIndicatorMost {
			return nil, usage(fmt.Errorf("--set %q; give a BSSID, a slash and the max indicator from 1 to %d, such as 02:00:5e:10:01:50/3", t, grouping.MaxIndicatorMost))
		}
		out = append(out, grouping.MultipleBSSID{Transmitted: b, MaxIndicator: k})
	}
	return out, nil
}

// radiosFile is a site file whose radios are being assigned.
type radiosFile struct {
	st    *store.Store
	plan  *site.Site
	walks []walk.Walk
	heard grouping.Heard
	o     grouping.Options
}

func openRadios(path string, names []string, sets []grouping.MultipleBSSID) (*radiosFile, error) {
	st, err := open(path, false)
	if err != nil {
		return nil, err
	}
	r := &radiosFile{st: st, o: grouping.Options{Sets: sets}}
	err = func() error {
		var err error
		if r.plan, _, err = st.Plan(); err != nil {
			return err
		}
		ids, err := walkIDs(st, path, names)
		if err != nil {
			return err
		}
		if len(ids) == 0 {
			return usage(fmt.Errorf("%s has no walks yet; make one with: footrule walk %s", path, path))
		}
		r.walks, err = st.Walks(ids...)
		return err
	}()
	if err != nil {
		st.Close()
		return nil, err
	}
	r.heard = grouping.Listen(r.plan, r.walks)
	return r, nil
}

func (r *radiosFile) propose(plan *site.Site) grouping.Report {
	return grouping.Propose(plan, r.heard, r.o)
}

// put makes a plan the newest revision and proposes anew.
func (r *radiosFile) put(plan *site.Site) (tui.AssignSaved, error) {
	rev, err := r.st.PutPlan(plan)
	if err != nil {
		return tui.AssignSaved{}, err
	}
	return tui.AssignSaved{Rev: rev, Report: r.propose(plan)}, nil
}

// edit goes through the proposals on the screen.
func (r *radiosFile) edit(cmd *cobra.Command, sh *shell, look *screenFlags) error {
	if err := look.check(); err != nil {
		return err
	}
	boot.Restore()
	bye, err := tui.RunAssign(cmd.Context(), tui.AssignConfig{
		Plan: r.plan, Report: r.propose(r.plan), Put: r.put, Profile: profile(sh), ASCII: look.ascii, Theme: look.themeOf(),
	}, sh.in, sh.out)
	fmt.Fprintln(sh.out, bye)
	if err != nil {
		return refused(fmt.Errorf("the screen failed: %w", err))
	}
	return nil
}

// accept takes proposals by their ids: all of them or, where one can't be, none.
func (r *radiosFile) accept(sh *shell, ids []string, asJSON bool) error {
	rep, next := r.propose(r.plan), r.plan
	var done []*grouping.Proposal
	for _, id := range ids {
		p := rep.Find(id)
		if p == nil {
			return usage(fmt.Errorf("no proposal %q; footrule radios FILE lists them", id))
		}
		c, ok := p.Change()
		if !ok {
			return usage(fmt.Errorf("%s has no place on the plan (%s); choose one with --edit", p.BSSID, p.Why))
		}
		var err error
		if next, err = grouping.Apply(next, c); err != nil {
			return usage(err)
		}
		done = append(done, p)
	}
	saved, err := r.put(next)
	if err != nil {
		return err
	}
	if asJSON {
		return printRadios(sh, next, r.walks, saved.Report, true)
	}
	of, refs := next.RadioOf(), next.Radios()
	for _, p := range done {
		fmt.Fprintf(sh.out, "%s is under %s\n", p.BSSID, next.RadioName(refs[of[p.BSSID]]))
	}
	fmt.Fprintf(sh.out, "saved as revision %d of the plan\n", saved.Rev)
	return nil
}

// ssidText is an SSID as it may be shown.
func ssidText(ssids []string) string {
	if len(ssids) == 0 {
		return "–"
	}
	text := canvas.Cut(ssids[0], 20, '…')
	if len(ssids) > 1 {
		text += fmt.Sprintf(" +%d", len(ssids)-1)
	}
	return text
}

func channelOf(freqMHz int) string {
	band, ok := radio.BandOf(freqMHz)
	if c, have := radio.Channel(freqMHz); ok && have {
		return fmt.Sprintf("%d (%s)", c, band)
	}
	if freqMHz == 0 {
		return "–"
	}
	return strconv.Itoa(freqMHz) + " MHz"
}

func printRadios(sh *shell, plan *site.Site, walks []walk.Walk, rep grouping.Report, asJSON bool) error {
	if asJSON {
		return printJSON(sh.out, radiosJSON(rep))
	}
	fmt.Fprintf(sh.out, "%s  %s, %s at %s; %s as planned, %d on the plan and not heard\n\n", plan.Name, say.Count(len(walks), "walk"),
		say.Count(rep.Scans, "scan"), say.Count(rep.Places, "place"), say.Count(rep.AsPlanned, "BSSID"), len(rep.Unheard))
	if len(rep.Proposals) == 0 {
		fmt.Fprintln(sh.out, "nothing to propose: all that was heard is on the plan")
		printBoxes(sh, rep)
		return nil
	}
	rows := [][]string{{"proposal", "BSSID", "SSID", "channel", "scans", "strongest dBm", "from", "to", "score"}}
	for _, p := range rep.Proposals {
		from, to, sc := "–", "–", say.Fixed(p.Score, 2)
		if p.Planned != "" {
			from = p.Planned
		}
		if p.ToName != "" {
			to = p.ToName
		}
		if p.Confidence != "" {
			sc += " " + string(p.Confidence)
		}
		ssid := ssidText(p.SSIDs)
		if p.OwnSSID {
			ssid += " (ours)"
		}
		rows = append(rows, []string{string(p.Kind), p.BSSID.String(), ssid, channelOf(p.FreqMHz), strconv.Itoa(p.Scans), say.Fixed(p.StrongestDBm, 0), from, to, sc})
	}
	table(sh.out, rows)
	fmt.Fprintln(sh.out, "\nevidence (weight above 0 for, below 0 against):")
	for _, p := range rep.Proposals {
		fmt.Fprintf(sh.out, "  %s\n    %s\n", p.ID, canvas.Clean(p.Why))
		for _, e := range p.Evidence {
			fmt.Fprintf(sh.out, "    %6s  %s\n", weight(e.Weight), canvas.Clean(e.Text))
		}
	}
	printBoxes(sh, rep)
	fmt.Fprintln(sh.out, "\nnothing was changed; accept with --accept ID, or go through them with --edit")
	return nil
}

// printBoxes prints the radios that look like one access point, where the plan
// does not have them so.
func printBoxes(sh *shell, rep grouping.Report) {
	for _, a := range rep.AccessPoints {
		if len(a.Radios) < 2 || len(a.Planned) == 1 {
			continue
		}
		if len(a.Planned) > 1 {
			fmt.Fprintf(sh.out, "\none access point by the walks, on the plan under %s:\n", strings.Join(a.Planned, " and "))
		} else {
			fmt.Fprintln(sh.out, "\none access point by the walks, and not on the plan:")
		}
		for _, k := range a.Radios {
			r := rep.Radios[k]
			name := r.Planned
			if name == "" {
				name = "no radio of the plan"
			}
			fmt.Fprintf(sh.out, "  %s, %s: %s\n", name, channelOf(r.FreqMHz), strings.Join(addresses(r.BSSIDs), " "))
		}
		fmt.Fprintf(sh.out, "    score %s; of the first two:\n", say.Fixed(a.Score, 2))
		for _, e := range a.Evidence {
			fmt.Fprintf(sh.out, "    %6s  %s\n", weight(e.Weight), canvas.Clean(e.Text))
		}
	}
}

// weight prints a weight with its sign.
func weight(w float64) string {
	switch {
	case math.IsInf(w, -1):
		return "never"
	case w > 0:
		return "+" + say.Fixed(w, 1)
	}
	return say.Fixed(w, 1)
}

type jsonEvidence struct {
	Kind   string  `json:"kind"`
	Weight *number `json:"weight"` // null: rules it out
	N      int     `json:"n"`
	Value  number  `json:"value"`
	Text   string  `json:"text"`
}

type jsonProposal struct {
	ID         string         `json:"id"`
	Kind       string         `json:"kind"`
	BSSID      string         `json:"bssid"`
	SSIDs      []string       `json:"ssids"`
	FreqMHz    *int           `json:"freq_mhz"`
	Scans      int            `json:"scans"`
	Places     int            `json:"places"`
	Strongest  number         `json:"strongest_dbm"`
	From       *string        `json:"from"`
	To         *string        `json:"to"`
	With       *string        `json:"with"`
	Score      number         `json:"score"`
	Confidence *string        `json:"confidence"`
	OwnSSID    bool           `json:"own_ssid"`
	Why        string         `json:"why"`
	Evidence   []jsonEvidence `json:"evidence"`
}

type jsonRadioGroup struct {
	BSSIDs  []string `json:"bssids"`
	FreqMHz *int     `json:"freq_mhz"`
	Planned *string  `json:"planned"`
	Score   number   `json:"score"`
}

type jsonAPGroup struct {
	Radios   []int          `json:"radios"`
	Planned  []string       `json:"planned"`
	Score    number         `json:"score"`
	Evidence []jsonEvidence `json:"evidence"`
}

type jsonRadios struct {
	Scans        int              `json:"scans"`
	Places       int              `json:"places"`
	AsPlanned    int              `json:"as_planned"`
	Unheard      []string         `json:"unheard"`
	OwnSSIDs     []string         `json:"own_ssids"`
	Proposals    []jsonProposal   `json:"proposals"`
	Radios       []jsonRadioGroup `json:"radios"`
	AccessPoints []jsonAPGroup    `json:"access_points"`
}

// known gives nil for the zero value, which JSON says as null.
func known[T comparable](v T) *T {
	var zero T
	if v == zero {
		return nil
	}
	return &v
}

func addresses(ids []radio.BSSID) []string {
	out := []string{}
	for _, b := range ids {
		out = append(out, b.String())
	}
	return out
}

func evidenceJSON(ev []grouping.Evidence) []jsonEvidence {
	out := []jsonEvidence{}
	for _, e := range ev {
		j := jsonEvidence{Kind: string(e.Kind), N: e.N, Value: number(e.Value), Text: e.Text}
		if w := number(e.Weight); !math.IsInf(e.Weight, -1) {
			j.Weight = &w
		}
		out = append(out, j)
	}
	return out
}

func radiosJSON(rep grouping.Report) jsonRadios {
	out := jsonRadios{Scans: rep.Scans, Places: rep.Places, AsPlanned: rep.AsPlanned, Unheard: addresses(rep.Unheard),
		OwnSSIDs: append([]string{}, rep.OwnSSIDs...), Proposals: []jsonProposal{}, Radios: []jsonRadioGroup{}, AccessPoints: []jsonAPGroup{}}
	for _, p := range rep.Proposals {
		j := jsonProposal{ID: p.ID, Kind: string(p.Kind), BSSID: p.BSSID.String(), SSIDs: append([]string{}, p.SSIDs...), FreqMHz: known(p.FreqMHz),
			Scans: p.Scans, Places: p.Places, Strongest: number(p.StrongestDBm), From: known(p.Planned), To: known(p.ToName),
			Score: number(p.Score), Confidence: known(string(p.Confidence)), OwnSSID: p.OwnSSID, Why: p.Why, Evidence: evidenceJSON(p.Evidence)}
		if p.With != nil {
			j.With = known(p.With.String())
		}
		out.Proposals = append(out.Proposals, j)
	}
	for _, r := range rep.Radios {
		out.Radios = append(out.Radios, jsonRadioGroup{BSSIDs: addresses(r.BSSIDs), FreqMHz: known(r.FreqMHz), Planned: known(r.Planned), Score: number(r.Score)})
	}
	for _, a := range rep.AccessPoints {
		out.AccessPoints = append(out.AccessPoints, jsonAPGroup{Radios: a.Radios, Planned: append([]string{}, a.Planned...), Score: number(a.Score), Evidence: evidenceJSON(a.Evidence)})
	}
	return out
}
