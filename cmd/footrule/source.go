package main

import (
	"fmt"
	"slices"
	"strings"

	"footrule/internal/coverage"
	"footrule/internal/propagation"
	"footrule/internal/say"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/spf13/cobra"
)

// sourceFlags say what predictions rest on, for every command that predicts.
type sourceFlags struct {
	fitFlags
	environment string
	like        string
}

func (f *sourceFlags) add(cmd *cobra.Command) {
	f.fitFlags.add(cmd)
	cmd.Flags().StringVar(&f.environment, "environment", "", "predict from published figures for such a building instead of a fit: "+strings.Join(environmentNames(), ", "))
	cmd.Flags().StringVar(&f.like, "like", "", "predict from the fit of another site file, of a building like this one")
	complete(cmd, "environment", environmentNames()...)
}

func environmentNames() []string {
	var names []string
	for _, e := range propagation.Environments() {
		names = append(names, e.Name)
	}
	return names
}

// prediction is what predictions for a site rest on.
type prediction struct {
	kind   string // fit, like or environment
	text   string // for people
	of     string // the environment's name or the other file
	notes  []string
	source coverage.Source
	fit    *propagation.Fit // for the plan as it is
	walked *propagation.Fit // of the site's own walks, where that is the source
	plan   *site.Site
	rev    uint64
	walks  []walk.Walk // of the site, as far as chosen; may be none
}

// predict reads a site file and makes the model that the flags ask for: an
// environment, the fit of another site, else the fit of this site's walks, and
// where there are none the first environment.
func (f *sourceFlags) predict(path string) (*prediction, error) {
	o, err := f.options()
	if err != nil {
		return nil, err
	}
	if f.environment != "" && f.like != "" {
		return nil, usage(fmt.Errorf("--environment and --like both say what to predict from; give one of them"))
	}
	p := &prediction{}
	if p.plan, p.rev, p.walks, err = planAndWalks(path, f.walks); err != nil {
		return nil, err
	}
	switch {
	case f.like != "":
		plan, walks, err := load(f.like, nil)
		if err != nil {
			return nil, err
		}
		fit, err := propagation.Estimate(propagation.Observe(plan, walk.Stays(plan, walks, walk.ByVisit)), o)
		if err != nil {
			return nil, fmt.Errorf("%s can't be fitted: %w", f.like, err)
		}
		p.kind, p.of = "like", f.like
		p.text = fmt.Sprintf("the %s fit of %s", fit.Model, plan.Name)
		p.source = func(s *site.Site) (*propagation.Fit, []string, error) { return fit.Transfer(s, true) }
	case f.environment != "" || len(p.walks) == 0:
		e := propagation.Environments()[0]
		if f.environment != "" {
			if e, err = propagation.EnvironmentOf(f.environment); err != nil {
				return nil, usage(err)
			}
		}
		p.kind, p.of = "environment", e.Name
		p.text = fmt.Sprintf("published figures, %s: %s (%s)", e.Name, e.Says, e.Source)
		p.source = e.Fit
	default:
		fit, err := propagation.Estimate(propagation.Observe(p.plan, walk.Stays(p.plan, p.walks, walk.ByVisit)), o)
		if err != nil {
			return nil, &notFitted{path, err}
		}
		p.kind, p.walked = "fit", fit
		p.text = fmt.Sprintf("the %s fit of %s", fit.Model, say.Count(len(p.walks), "walk"))
		p.source = func(s *site.Site) (*propagation.Fit, []string, error) { return fit.Transfer(s, false) }
	}
	p.fit, p.notes, err = p.source(p.plan)
	return p, err
}

// notFitted says why the walks of a site can't be fitted.
type notFitted struct {
	path string
	why  error
}

func (e *notFitted) Error() string {
	return fmt.Sprintf("%s can't be fitted, which --environment would do without: %v", e.path, e.why)
}

func (e *notFitted) Unwrap() error { return e.why }

type jsonSource struct {
	Kind  string   `json:"kind"`
	Of    *string  `json:"of"`
	Text  string   `json:"text"`
	Notes []string `json:"notes"`
}

func (p *prediction) json() jsonSource {
	out := jsonSource{Kind: p.kind, Text: p.text, Notes: p.notes}
	if p.of != "" {
		out.Of = &p.of
	}
	if out.Notes == nil {
		out.Notes = []string{}
	}
	return out
}

// coverFlags say what is asked of a map, for every command that maps.
type coverFlags struct {
	threshold, confidence, cell float64
	need                        int
	floors                      []string
	confidenceAs                string // name of its flag
}

func (f *coverFlags) add(cmd *cobra.Command) { f.addAs(cmd, "confidence") }

// addAs adds the flags where --confidence is taken by another.
func (f *coverFlags) addAs(cmd *cobra.Command, confidence string) {
	f.confidenceAs = confidence
	cmd.Flags().Float64Var(&f.threshold, "threshold-dbm", coverage.DefaultThresholdDBm, "level from which an access point is heard")
	cmd.Flags().Float64Var(&f.confidence, confidence, coverage.DefaultConfidence, "probability of that level from which it counts as heard")
	cmd.Flags().IntVar(&f.need, "need", coverage.DefaultNeed, "access points that must be heard")
	cmd.Flags().Float64Var(&f.cell, "cell", coverage.DefaultCellM, "size of a cell in metres")
	cmd.Flags().StringArrayVar(&f.floors, "floor", nil, "only this floor (repeatable)")
}

// options turns the flags into what a map takes.
func (f *coverFlags) options(s *site.Site) (coverage.Options, error) {
	o := coverage.Options{CellM: f.cell, ThresholdDBm: f.threshold, Confidence: f.confidence, Need: f.need}
	switch {
	case !(f.threshold >= -120 && f.threshold < 0):
		return o, usage(fmt.Errorf("--threshold-dbm %g; give a level from −120 to below 0 dBm", f.threshold))
	case !(f.confidence > 0 && f.confidence < 1):
		return o, usage(fmt.Errorf("--%s %g; give a share between 0 and 1", f.confidenceAs, f.confidence))
	case f.need < 1 || f.need > coverage.MostNeed:
		return o, usage(fmt.Errorf("--need %d; give 1 to %d access points", f.need, coverage.MostNeed))
	case !(f.cell >= 0.05 && f.cell <= 100):
		return o, usage(fmt.Errorf("--cell %g; give metres from 0.05 to 100", f.cell))
	}
	for _, id := range f.floors {
		i := s.FloorIndex(id)
		if i < 0 {
			var known []string
			for k := range s.Floors {
				known = append(known, s.Floors[k].ID)
			}
			return o, usage(fmt.Errorf("no floor %q; the plan has %q", id, known))
		}
		if !slices.Contains(o.Floors, i) {
			o.Floors = append(o.Floors, i)
		}
	}
	return o, nil
}
