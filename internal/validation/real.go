package validation

import (
	"context"
	"fmt"
	"math"

	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/site"
	"footrule/internal/walk"
)

// RealSite is a real site with two recorded walks, of which the second went to
// places where the first was not. A site that has no walks is passed over.
type RealSite struct {
	Name         string
	Site         *site.Site
	Survey, Test walk.Walk
}

// Recording says which files of a folder a real site is read from, without
// their ending: site, survey and test.
type Recording struct {
	Folder, Survey, Test string
	references           map[position.Method]float64
}

// Recordings lists the real sites that there are references for.
//
// The references are mean errors in metres at the test points by an independent
// implementation of each method on the same files: fit on the survey, one fix
// per test point from the mean of all its scans; exponent and level per access
// point by least squares on point means, search inside the outline. They are
// figures to come near, not the truth.
func Recordings() []Recording {
	const posterior, nearest, radioMap = "posterior", "nearest", "radio-map"
	return []Recording{
		{"rtt_library", "survey-300", "test-300", map[position.Method]float64{position.Trilaterate: 2.58, posterior: 1.73, nearest: 1.38, radioMap: 1.07}},
		{"ble_tetam", "survey", "test", map[position.Method]float64{position.Trilaterate: 3.08, posterior: 2.92, nearest: 2.77, radioMap: 1.90}},
	}
}

// nearReference is how much worse than its reference a method may be.
const nearReference = 1.1

// fittedBy is how levels are fitted before fixes are found: as the
// references were, and by the default.
var fittedBy = []struct {
	name       string
	o          propagation.Options
	referenced bool
}{
	{"", propagation.Options{Model: propagation.OLS, PerAP: true}, true},
	{" by the default fit", propagation.Options{}, false},
}

// realSites asks what methods give at real places that were not walked before.
func realSites(o Options) (tasks []task, rows func() []Row) {
	var out []Row
	for i := range o.Real {
		r := &o.Real[i]
		for _, m := range position.Methods() {
			for _, by := range fittedBy {
				at := len(out)
				out = append(out, Row{Study: "real sites", Scene: r.Name, Subject: string(m), Figure: "mean error" + by.name, Unit: "m", Sites: 1, Expect: Anything()})
				if by.referenced {
					if ref, ok := referenceOf(r.Name, m); ok {
						out[at].Expect = Range{math.Inf(-1), nearReference * ref}
						out[at].Note = fmt.Sprintf("reference %.2f m", ref)
					}
				}
				tasks = append(tasks, func(ctx context.Context) error {
					e, err := position.Judge(ctx, r.Site, []walk.Walk{r.Survey, r.Test}, position.Options{Method: m, Train: []string{r.Survey.ID}, Test: []string{r.Test.ID},
						Fix: position.PerVisit, Propagation: by.o, Seed: o.Seed})
					if err != nil {
						return fmt.Errorf("%s, %s: %w", r.Name, m, err)
					}
					row := &out[at]
					ci := e.CI95["mean_m"]
					row.Value, row.Lo, row.Hi, row.Cases = e.Statistics.MeanM, ci.Lo, ci.Hi, e.Points
					if e.Located < e.Points {
						row.Note = fmt.Sprintf("%s; %d of %d located", row.Note, e.Located, e.Points)
					}
					return nil
				})
			}
		}
	}
	return tasks, func() []Row { return out }
}

func referenceOf(name string, m position.Method) (float64, bool) {
	for _, r := range Recordings() {
		if r.Folder == name {
			v, ok := r.references[m]
			return v, ok
		}
	}
	return 0, false
}
