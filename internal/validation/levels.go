package validation

import (
	"context"
	"math"
	"slices"

	"footrule/internal/propagation"
	"footrule/internal/radio"
	"footrule/internal/radio/synthetic"
	"footrule/internal/walk"

	"gonum.org/v1/gonum/stat"
)

// byVisit are the models that fit the mean level of a visit and do not ask how
// many of its scans heard: a level that one scan of four heard is the mean of the
// lucky ones, and they believe it.
var byVisit = []propagation.Model{propagation.Censored, propagation.Robust}

// promised reports whether a model promises its parameters in a scene. One that
// leaves silence out, or fits by visit, does not where radios fall below the
// floor of hearing.
func promised(m propagation.Model, c *scene) bool {
	return c.silence < weak || !m.IgnoresSilence() && !slices.Contains(byVisit, m)
}

// oneSlope reports whether all radios of a fit have the exponent of their band.
func oneSlope(f *propagation.Fit) bool {
	for k := range f.Radios {
		if g := f.Group(k); g != nil && f.Radios[k].Exponent.Est != g.Exponent.Est {
			return false
		}
	}
	return true
}

// parameters of the model of the level, as they are shown.
var parameters = []string{"n", "A", "L", "σ"}

// units of the parameters.
var units = map[string]string{"A": "dB", "L": "dB", "σ": "dB"}

// estimate is one estimate beside its truth.
type estimate struct {
	parameter string
	truth     float64
	propagation.Value
}

func (e *estimate) covers() bool { return e.Lo <= e.truth && e.truth <= e.Hi }

// modelFit is what a model made of a site; failed says why it could not.
type modelFit struct {
	estimates []estimate
	oneSlope  bool // all radios of a band have the exponent of the band
	failed    string
}

func levelScenes(quick bool) []scene {
	out := []scene{
		hall("open hall", nil),
		hall("office with walls", func(c *scene) {
			c.width, c.depth, c.aps, c.points, c.walls, c.lengthM = 45, 30, 8, 50, true, 3
		}),
		hall("sparse", func(c *scene) {
			c.width, c.depth, c.aps, c.points, c.silence = 90, 60, 12, 70, weak
			c.exponent, c.sigmaDB, c.floorDBm = 3.3, 5, -88.5
		}),
	}
	if quick {
		return out
	}
	return append(out,
		hall("shadowing over 3 m", func(c *scene) { c.lengthM = 3 }),
		hall("shadowing over 8 m", func(c *scene) { c.lengthM = 8 }),
		hall("small, shadowing over 8 m", func(c *scene) { c.width, c.depth, c.aps, c.points, c.lengthM = 35, 25, 6, 35, 8 }),
		hall("two bands", func(c *scene) { c.bands, c.lengthM = []radio.Band{radio.Band2, radio.Band5}, 3 }),
		hall("one scan in six missed", func(c *scene) { c.missRate, c.silence, c.lengthM = 1.0/6, missed, 3 }),
		hall("exponents differ by 0.3", func(c *scene) { c.exponentSD = .3 }),
		hall("four facings, all faults", func(c *scene) {
			c.office, c.mixed, c.walls, c.facings, c.scans, c.silence = true, true, true, 4, 3, weak
			c.width, c.depth, c.aps = 45, 30, 8
		}),
	)
}

// levels asks whether models find the truth, and whether it lies in their
// intervals as often as they say.
func levels(o Options) (tasks []task, rows func() []Row) {
	scenes := levelScenes(o.Quick)
	models := propagation.Models()
	tasks, found := overSites(o, scenes, o.Sites, func(ctx context.Context, d *drawn) ([]modelFit, error) {
		w, err := d.survey(ctx)
		if err != nil {
			return nil, err
		}
		data := propagation.Observe(d.site, walk.Stays(d.site, []walk.Walk{w}, walk.ByVisit))
		var out []modelFit
		for _, m := range models {
			f, err := propagation.Estimate(data, propagation.Options{Model: m})
			if err != nil {
				out = append(out, modelFit{failed: err.Error()})
				continue
			}
			out = append(out, modelFit{estimates: d.beside(f), oneSlope: oneSlope(f)})
		}
		return out, nil
	})
	return tasks, func() (rows []Row) {
		for i := range scenes {
			for j, m := range models {
				var fits []modelFit
				for _, site := range found[i] {
					fits = append(fits, site[j])
				}
				rows = append(rows, levelRows(&scenes[i], m, fits)...)
			}
		}
		return rows
	}
}

// beside puts the estimates of a fit beside the truth.
func (d *drawn) beside(f *propagation.Fit) (out []estimate) {
	for _, g := range f.Groups {
		var n float64
		var count int
		for _, r := range d.truth.Radios {
			if r.Band == g.Band {
				n += r.Exponent
				count++
			}
		}
		truth := d.scene.exponent
		if d.scene.office {
			truth = n / float64(count)
		}
		out = append(out, estimate{"n", truth, g.Exponent})
		if !d.scene.mixed {
			out = append(out, estimate{"σ", d.sigma(), g.SigmaDB})
		}
	}
	if !d.scene.mixed {
		for k, r := range f.Radios {
			if r.InFit {
				out = append(out, estimate{"A", d.truth.Radios[k].Level1mDBm, r.Level1m})
			}
		}
	}
	for _, w := range f.Walls {
		out = append(out, estimate{"L", d.truth.Walls[synthetic.Wall{Material: w.Material, Band: w.Band}], w.LossDB})
	}
	return out
}

// covers95 is what a 95 % interval may cover.
var covers95 = Range{.93, .97}

// leastOff is the bias, in standard deviations of an estimate, with which an
// interval that is right otherwise still covers 93 %:
// Φ(1.96 − b) − Φ(−1.96 − b) = 0.93.
const leastOff = .41

func levelRows(c *scene, m propagation.Model, fits []modelFit) (rows []Row) {
	failed := 0
	for i := range fits {
		if fits[i].failed != "" {
			failed++
		}
	}
	row := func(figure, unit string, expect Range) Row {
		if !promised(m, c) {
			expect = Anything()
		}
		return Row{Study: "propagation model", Scene: c.name, Subject: string(m), Figure: figure, Unit: unit, Sites: len(fits), Expect: expect, Lo: math.NaN(), Hi: math.NaN()}
	}
	for _, p := range parameters {
		var hits []share
		var offs, all []float64 // mean error of each site, all errors
		for _, f := range fits {
			var h share
			var sum float64
			for i := range f.estimates {
				e := &f.estimates[i]
				if e.parameter != p {
					continue
				}
				h.cases++
				sum += e.Est - e.truth
				all = append(all, e.Est-e.truth)
				if e.covers() {
					h.hits++
				}
			}
			if h.cases > 0 {
				hits = append(hits, h)
				offs = append(offs, sum/h.cases)
			}
		}
		if len(all) == 0 {
			continue
		}
		coverageExpected, note := covers95, ""
		if p == "A" && c.exponentSD > 0 && slices.ContainsFunc(fits, func(f modelFit) bool { return f.oneSlope }) {
			// A level at 1 m makes up for an exponent that is not the radio's own.
			coverageExpected, note = Anything(), "one exponent for all"
		}
		r := row(p+", coverage", "", coverageExpected)
		r.Value, r.Lo, r.Hi, r.Cases = coverage(hits)
		r.Note = note
		rows = append(rows, r)

		// Held to the spread of the estimates over all sites.
		sd := stat.StdDev(all, nil)
		r = row(p+", bias", units[p], Range{-leastOff * sd, leastOff * sd})
		r.Value, r.Lo, r.Hi = meanOf(offs)
		r.Cases = len(all)
		rows = append(rows, r)
	}
	if failed > 0 {
		r := row("not fitted", "", Range{0, 0})
		r.Value, r.Cases = float64(failed)/float64(len(fits)), len(fits)
		r.Note = fits[slices.IndexFunc(fits, func(f modelFit) bool { return f.failed != "" })].failed
		rows = append(rows, r)
	}
	return rows
}
