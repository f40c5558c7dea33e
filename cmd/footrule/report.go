package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"footrule/internal/canvas"
	"footrule/internal/coverage"
	"footrule/internal/doubt"
	"footrule/internal/infra"
	"footrule/internal/position"
	"footrule/internal/report"
	"footrule/internal/walk"

	"github.com/spf13/cobra"
)

// reportFlags are the flags of the command report.
type reportFlags struct {
	source                  sourceFlags
	cover                   coverFlags
	judge                   errorsFlags // but for its flags of the fit, which source has
	out                     []string
	title, customer, author string
	paper, bssid, levels    string
	date                    string
	asJSON                  bool
}

func newReport(sh *shell) *cobra.Command {
	var f reportFlags
	cmd := &cobra.Command{
		Use:   "report FILE",
		Short: "Write the report for the customer",
		Long: `report writes what the customer gets: what was asked, method and equipment, plans,
the fitted model, maps of coverage and expected error, the position error against the
targets and how the verdict was reached, what does not fit and what was done about
it, the checks of the infrastructure, what to do next, open questions, cautions, and
the limits of it all. Its numbers are those of fit, errors, cover, doubts, prep and
next, with the same flags.

It is one file, HTML or PDF by its name, or both with two --out; figures are in it,
and nothing in it comes from elsewhere. Both can be read aloud: the PDF is tagged.
It shows Latin, Greek and Cyrillic letters and has others read, the HTML shows all.
Equal input gives equal bytes: its date is that of the last scan, unless --date gives
another (or today).

Addresses of the site's own radios are left out (--bssid drop), hashed by a key that
stays in the site file (hash), or there (keep). Those of neighbours are never in it.

Before any walk it is a report on the plan: predictions from published figures
(--environment), infrastructure, open questions.

It exits with 0 when the report is written, whatever stands in it.`,
		Example: `  footrule report depot.footrule
  footrule report depot.footrule --target-ce50 5 --target-ce90 10 --customer "Harbour Depot" --author "R. Alder"
  footrule report depot.footrule --out depot.html --out depot.pdf --paper letter --levels each`,
		Args: files(1, 1, "a site FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := f.check(args[0]); err != nil {
				return err
			}
			if err := shown(args[0]); err != nil {
				return err
			}
			in, err := f.gather(cmd, sh, args[0])
			if err != nil {
				return err
			}
			doc := report.New(in)
			for _, name := range f.out {
				data := doc.HTML(report.Paper(f.paper))
				if isPDF(name) {
					if data, err = doc.PDF(report.Paper(f.paper)); err != nil {
						return err
					}
					if lacks := doc.Lacking(); lacks != "" {
						fmt.Fprintf(sh.err, "footrule: %s shows boxes for letters that its font lacks (%s); the HTML has them\n", name, canvas.Cut(lacks, 40, '…'))
					}
				}
				if err := replaceFile(name, data); err != nil {
					return err
				}
			}
			if f.asJSON {
				return printJSON(sh.out, reportJSON(in, f.out))
			}
			for _, name := range f.out {
				fmt.Fprintf(sh.out, "%s: the report\n", name)
			}
			return nil
		},
	}
	f.source.add(cmd)
	f.cover.addAs(cmd, "heard-confidence")
	fl := cmd.Flags()
	fl.StringArrayVar(&f.out, "out", nil, "file to write, .html or .pdf (repeatable; default: FILE with .html)")
	fl.StringVar(&f.title, "title", "", "title of the report")
	fl.StringVar(&f.customer, "customer", "", "whom it is for")
	fl.StringVar(&f.author, "author", "", "who answers for it")
	fl.StringVar(&f.date, "date", "", "date of the report, as 2026-01-31 or today (default: that of the last scan, and none before any walk)")
	fl.StringVar(&f.paper, "paper", string(report.A4), "size when printed: a4 or letter")
	fl.StringVar(&f.bssid, "bssid", string(report.Drop), "addresses of the site's own radios: keep, hash or drop")
	fl.StringVar(&f.levels, "levels", "strongest", "maps of levels: strongest, or each access point")
	f.judge.addJudging(cmd)
	fl.BoolVar(&f.asJSON, "json", false, "print one JSON object that says what was written")
	complete(cmd, "paper", string(report.A4), string(report.Letter))
	complete(cmd, "bssid", string(report.Keep), string(report.Hash), string(report.Drop))
	complete(cmd, "levels", "strongest", "each")
	return cmd
}

func isPDF(name string) bool { return strings.EqualFold(filepath.Ext(name), ".pdf") }

// check checks the flags, before anything is read.
func (f *reportFlags) check(path string) error {
	if len(f.out) == 0 {
		f.out = []string{strings.TrimSuffix(path, filepath.Ext(path)) + ".html"}
	}
	for i, name := range f.out {
		switch strings.ToLower(filepath.Ext(name)) {
		case ".html", ".htm", ".pdf":
		default:
			return usage(fmt.Errorf("--out %q; give a name that ends in .html or .pdf", name))
		}
		if slices.Contains(f.out[:i], name) {
			return usage(fmt.Errorf("--out %q twice; give each file once", name))
		}
	}
	for _, w := range []struct {
		flag, value string
		may         []string
	}{
		{"paper", f.paper, []string{string(report.A4), string(report.Letter)}},
		{"bssid", f.bssid, []string{string(report.Keep), string(report.Hash), string(report.Drop)}},
		{"levels", f.levels, []string{"strongest", "each"}},
	} {
		if !slices.Contains(w.may, w.value) {
			return usage(fmt.Errorf("--%s %q; give one of %s", w.flag, w.value, strings.Join(w.may, ", ")))
		}
	}
	if f.judge.method == allMethods {
		return usage(fmt.Errorf("--method %s; a report is on one method: name it", allMethods))
	}
	if f.date != "" && f.date != "today" {
		if _, err := time.Parse(time.DateOnly, f.date); err != nil {
			return usage(fmt.Errorf("--date %q; give today, or a date as 2026-01-31", f.date))
		}
	}
	return nil
}

// gather finds out all that the report says, by what the commands print.
func (f *reportFlags) gather(cmd *cobra.Command, sh *shell, path string) (*report.Input, error) {
	ctx := cmd.Context()
	f.judge.fitFlags = f.source.fitFlags
	judging, walksOf, err := f.judge.options(cmd)
	if err != nil {
		return nil, err
	}
	f.source.walks = walksOf
	p, err := f.source.predict(path)
	var unfit *notFitted
	if errors.As(err, &unfit) { // the report says so, and what its maps rest on instead
		f.source.environment = environmentNames()[0]
		p, err = f.source.predict(path)
	}
	if err != nil {
		return nil, err
	}
	o, err := f.cover.options(p.plan)
	if err != nil {
		return nil, err
	}
	c, err := surveyCover(ctx, p, o, false, coverage.DefaultReachM)
	if err != nil {
		return nil, stopped(ctx, err)
	}
	in := &report.Input{Title: f.title, Customer: f.customer, Author: f.author, Program: versionText(), Date: f.day(sh, p.walks),
		Addresses: report.Addresses(f.bssid), EachLevel: f.levels == "each",
		Site: p.plan, PlanRev: p.rev, Walks: p.walks, Fit: p.walked, Basis: p.text, Notes: p.notes, Cover: c.m, Holes: c.holes}
	for i := range c.m.Floors {
		in.Floors = append(in.Floors, c.m.Floors[i].Floor)
		in.Expected = append(in.Expected, c.expect(i).forReport())
	}
	in.Expected = append(in.Expected, c.expect(all(len(c.m.Floors))...).forReport())
	if unfit != nil {
		in.NotFitted = unfit.why.Error()
	}
	in.Asked = judging.Targets
	in.Infra = infra.Examine(p.plan)
	in.InfraVerdict = prepVerdict[in.Infra.Verdict()]
	if len(p.walks) == 0 {
		return in, nil
	}
	judging.Train, judging.Test = idsOf(p.walks, f.judge.train), idsOf(p.walks, f.judge.test)
	if in.Errors, err = position.Judge(ctx, p.plan, p.walks, judging); err != nil {
		if ctx.Err() != nil {
			return nil, errStopped
		}
		in.Errors, in.NotJudged = nil, err.Error()
	} else {
		for _, t := range in.Errors.Targets {
			in.Verdicts = append(in.Verdicts, verdict(t))
		}
		if in.Errors.Ellipse.Of > 0 {
			in.Ellipses = ellipses(&in.Errors.Summary)
		}
	}
	if in.Doubts, err = doubt.Find(ctx, p.plan, p.walks, doubt.Options{Seed: 1}); err != nil {
		return nil, errStopped
	}
	for i := range in.Doubts.Findings {
		in.DoubtTitles = append(in.DoubtTitles, findingTitle(p.plan, &in.Doubts.Findings[i]))
	}
	return in, f.further(cmd, path, in, judging)
}

// morePoints is how many points to walk next a report names.
const morePoints = 5

// further finds where to walk next.
func (f *reportFlags) further(cmd *cobra.Command, path string, in *report.Input, o position.Options) error {
	nf := nextFlags{fitFlags: f.source.fitFlags, more: morePoints, floors: f.cover.floors, worth: worthShare}
	n, err := lookFurther(cmd, path, &nf, position.FurtherOptions{More: nf.more, Propagation: o.Propagation, Seed: o.Seed})
	switch {
	case cmd.Context().Err() != nil:
		return errStopped
	case err != nil:
		in.NotNext = strings.TrimPrefix(err.Error(), path+": ")
		return nil
	}
	_, says, _ := n.verdict()
	in.Next = &report.Next{Says: says}
	in.Next.WalkM, in.Next.Minutes = n.length()
	for _, s := range n.tour {
		c := n.Chosen[s.chosen]
		in.Next.Points = append(in.Next.Points, report.NextPoint{Name: n.names[s.chosen].id, OnPlan: n.names[s.chosen].onPlan, Floor: n.plan.Floors[c.Floor].ID, At: c.At,
			BuysM: c.BuysM, ErrorM: c.ErrorM, WayM: s.walkM})
	}
	return nil
}

func (e expected) forReport() report.Expected {
	return report.Expected{InHull: e.inHull, NoFix: e.noFix, BoundMedian: e.boundMedian, Bound90: e.bound90,
		Mean: e.errorMean, Median: e.errorMedian, Ninety: e.errorNinety, Most: e.errorMost}
}

func stopped(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return errStopped
	}
	return err
}

// day is the date of the report.
func (f *reportFlags) day(sh *shell, walks []walk.Walk) time.Time {
	if f.date == "today" {
		return sh.now().UTC().Truncate(24 * time.Hour)
	}
	if t, err := time.Parse(time.DateOnly, f.date); err == nil {
		return t
	}
	var last time.Time
	for i := range walks {
		if walks[i].Started.After(last) {
			last = walks[i].Started
		}
		for _, v := range walks[i].Visits {
			for _, s := range v.Scans {
				if s.Time.After(last) {
					last = s.Time
				}
			}
		}
	}
	if last.IsZero() {
		return last // nothing says when
	}
	return last.UTC().Truncate(24 * time.Hour)
}

type jsonReport struct {
	Files   []string     `json:"files"`
	Date    string       `json:"date"`
	Site    string       `json:"site"`
	Walks   []string     `json:"walks"`
	Targets []jsonTarget `json:"targets"`
	Doubts  int          `json:"doubts"`
	Infra   string       `json:"infrastructure"`
}

func reportJSON(in *report.Input, files []string) jsonReport {
	out := jsonReport{Files: files, Date: in.Date.Format(time.DateOnly), Site: in.Site.Name, Walks: []string{}, Targets: []jsonTarget{}, Infra: string(in.Infra.Verdict())}
	for i := range in.Walks {
		out.Walks = append(out.Walks, in.Walks[i].Name)
	}
	if in.Errors != nil {
		out.Targets = targetsJSON(in.Errors)
	}
	if in.Doubts != nil {
		out.Doubts = len(in.Doubts.Findings)
	}
	return out
}
