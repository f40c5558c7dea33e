package validation

import (
	"context"
	"fmt"
	"math"

	"footrule/internal/position"
	"footrule/internal/walk"
)

// honestyScenes are small, as most sites are: with few points each one that is
// left out is missed.
func honestyScenes(quick bool) []scene {
	out := []scene{
		hall("office, four facings, all faults", func(c *scene) {
			c.office, c.mixed, c.walls, c.facings, c.scans, c.silence = true, true, true, 4, 3, weak
			c.width, c.depth, c.aps, c.points = 45, 30, 8, 40
		}),
	}
	if quick {
		return out
	}
	return append(out,
		hall("hall, four facings", func(c *scene) { c.facings, c.scans, c.points, c.lengthM = 4, 2, 40, 3 }),
		hall("sparse, four facings", func(c *scene) {
			c.width, c.depth, c.aps, c.points, c.silence, c.facings, c.scans = 90, 60, 12, 50, weak, 4, 3
			c.exponent, c.sigmaDB, c.lengthM, c.floorDBm = 3.3, 5, 5, -88.5
		}))
}

// freshPlaces is how many places that the survey never saw stand for the whole
// floor, many against those of the survey, so that what they scatter by adds
// little to it.
const (
	freshPlaces      = 240
	freshPlacesQuick = 120
)

// honestyShare is how many sites of a kind these studies take, as a part of
// Options.Sites: each judges a site a dozen times.
const honestyShare = 4

// The figures of a site that are compared, and the cuts of its walks.
var (
	comparedFigures = []string{"mean", "CE50"}
	cuts            = []position.Unit{position.PerVisit, position.PerFacing}
)

// judgedBoth is one method on one site, judged by leave-one-out and at places
// never walked; figures in the order of comparedFigures, by cut.
type judgedBoth struct {
	left, fresh [2][2]float64
	inside      [2]bool // the interval of the mean by leave-one-out holds the mean at places never walked
	freshMS     float64 // mean square error at places never walked, by visit
	ellipse     share   // how many ellipses held the place there, by visit
	lost        [2]int  // fixes that were not located there, and how many were tried
}

// local are the methods that learn from the places around: where one is left
// out there is a hole in what they know, which there is not between places that
// were walked. Leave-one-out must not flatter them, and may be more cautious.
var local = map[position.Method]bool{"nearest": true, "radio-map": true}

// leastFlattery and mostCaution bound what leave-one-out may say over what is:
// too small by a twentieth, too large by an eighth.
const (
	leastFlattery = .95
	mostCaution   = 1.125
)

// honesty asks whether the error that leave-one-out reports is the error where
// nobody walked, and how methods compare there.
func honesty(o Options) (tasks []task, rows func() []Row) {
	scenes := honestyScenes(o.Quick)
	methods := position.Methods()
	places := freshPlaces
	if o.Quick {
		places = freshPlacesQuick
	}
	sites := max(2, o.Sites/honestyShare)
	tasks, found := overSites(o, scenes, sites, func(ctx context.Context, d *drawn) ([]judgedBoth, error) {
		survey, err := d.survey(ctx)
		if err != nil {
			return nil, err
		}
		fresh, err := d.fresh(ctx, places, anywhere)
		if err != nil {
			return nil, err
		}
		var out []judgedBoth
		for _, m := range methods {
			j, err := d.judgeBoth(ctx, m, survey, fresh)
			if err != nil {
				return nil, fmt.Errorf("%s: %w", m, err)
			}
			out = append(out, j)
		}
		return out, nil
	})
	return tasks, func() (rows []Row) {
		for i := range scenes {
			for j, m := range methods {
				var of []judgedBoth
				for _, site := range found[i] {
					of = append(of, site[j])
				}
				rows = append(rows, honestyRows(scenes[i].name, m, of)...)
			}
		}
		for i := range scenes {
			for j, m := range methods {
				var of, first []judgedBoth
				for _, site := range found[i] {
					of, first = append(of, site[j]), append(first, site[0])
				}
				rows = append(rows, methodRows(scenes[i].name, m, of, first)...)
			}
		}
		return rows
	}
}

func (d *drawn) judgeBoth(ctx context.Context, m position.Method, survey, fresh walk.Walk) (out judgedBoth, err error) {
	for c, cut := range cuts {
		o := position.Options{Method: m, Fix: cut, Seed: d.seed, Resamples: 500}
		left, err := position.Judge(ctx, d.site, []walk.Walk{survey}, o)
		if err != nil {
			return out, err
		}
		o.Train, o.Test, o.Resamples = []string{surveyWalk}, []string{freshWalk}, 100
		there, err := position.Judge(ctx, d.site, []walk.Walk{survey, fresh}, o)
		if err != nil {
			return out, err
		}
		out.left[c] = [2]float64{left.Statistics.MeanM, left.Statistics.CE50M}
		out.fresh[c] = [2]float64{there.Statistics.MeanM, there.Statistics.CE50M}
		ci := left.CI95["mean_m"]
		out.inside[c] = ci.Lo <= there.Statistics.MeanM && there.Statistics.MeanM <= ci.Hi
		if cut == position.PerVisit {
			out.freshMS = there.Statistics.RMSM * there.Statistics.RMSM
			for i := range there.Judged {
				if r := &there.Judged[i]; r.Ellipse.MajorM > 0 {
					out.ellipse.cases++
					if r.Held() {
						out.ellipse.hits++
					}
				}
			}
			out.lost = [2]int{there.Statistics.Fixes - there.Statistics.Located, there.Statistics.Fixes}
		}
	}
	return out, nil
}

func honestyRows(name string, m position.Method, sites []judgedBoth) (rows []Row) {
	row := func(figure string, expect Range) Row {
		if local[m] {
			expect.Hi = math.Inf(1)
		}
		return Row{Study: "leave-one-out against places never walked", Scene: name, Subject: string(m), Figure: figure, Sites: len(sites), Cases: len(sites), Expect: expect}
	}
	column := func(of func(*judgedBoth) float64) (out []float64) {
		for i := range sites {
			out = append(out, of(&sites[i]))
		}
		return out
	}
	for c, cut := range cuts {
		for k, figure := range comparedFigures {
			r := row(fmt.Sprintf("%s by %s, ratio", figure, cut), Range{leastFlattery, mostCaution})
			r.Value, r.Lo, r.Hi = ratioOf(column(func(j *judgedBoth) float64 { return j.left[c][k] }), column(func(j *judgedBoth) float64 { return j.fresh[c][k] }))
			rows = append(rows, r)
		}
		var hits []share
		for i := range sites {
			h := share{cases: 1}
			if sites[i].inside[c] {
				h.hits++
			}
			hits = append(hits, h)
		}
		r := row(fmt.Sprintf("mean by %s, coverage", cut), covers95)
		if local[m] {
			r.Expect, r.Note = Anything(), "it errs on the safe side"
		}
		r.Value, r.Lo, r.Hi, r.Cases = coverage(hits)
		rows = append(rows, r)
	}
	// What is reported by default, beside what a whole visit gives.
	r := row("mean by facing over visits there, ratio", Range{leastFlattery, math.Inf(1)})
	r.Value, r.Lo, r.Hi = ratioOf(column(func(j *judgedBoth) float64 { return j.left[1][0] }), column(func(j *judgedBoth) float64 { return j.fresh[0][0] }))
	return append(rows, r)
}

// notWorse are the methods whose fix is the mean of a posterior under the model
// that was simulated: over many places none has a smaller mean square error,
// trilateration neither.
var notWorse = map[position.Method]bool{"posterior": true, "radio-map": true}

func methodRows(name string, m position.Method, sites, first []judgedBoth) (rows []Row) {
	row := func(figure, unit string, expect Range) Row {
		return Row{Study: "methods at places never walked", Scene: name, Subject: string(m), Figure: figure, Unit: unit, Sites: len(sites), Expect: expect}
	}
	var mean, ms, ms0 []float64
	lost, tried := 0, 0
	for i := range sites {
		mean = append(mean, sites[i].fresh[0][0])
		ms, ms0 = append(ms, sites[i].freshMS), append(ms0, first[i].freshMS)
		lost += sites[i].lost[0]
		tried += sites[i].lost[1]
	}
	r := row("mean error by visit", "m", Anything())
	r.Value, r.Lo, r.Hi = meanOf(mean)
	r.Cases = tried
	if lost > 0 {
		r.Note = fmt.Sprintf("%d of %d not located", lost, tried)
	}
	rows = append(rows, r)
	var ellipse []share
	for i := range sites {
		ellipse = append(ellipse, sites[i].ellipse)
	}
	r = row("95 % ellipse by visit, coverage", "", covers95)
	if local[m] { // it is widened by what leave-one-out found
		r.Expect.Hi, r.Note = math.Inf(1), "it errs on the safe side"
	}
	if r.Value, r.Lo, r.Hi, r.Cases = coverage(ellipse); r.Cases > 0 {
		rows = append(rows, r)
	}
	if m == position.Trilaterate {
		return rows
	}
	r = row("RMS error over trilateration's", "", Anything())
	if notWorse[m] {
		r.Expect = Range{math.Inf(-1), 1}
	}
	r.Value, r.Lo, r.Hi = ratioOf(ms, ms0)
	r.Value, r.Lo, r.Hi, r.Cases = math.Sqrt(r.Value), math.Sqrt(r.Lo), math.Sqrt(r.Hi), tried
	return append(rows, r)
}
