package validation

import (
	"context"
	"slices"

	"footrule/internal/propagation"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

// Coverage is coverage of sites given as hits and cases.
func Coverage(sites ...[2]float64) (p, lo, hi float64, cases int) {
	var s []share
	for _, v := range sites {
		s = append(s, share{v[0], v[1]})
	}
	return coverage(s)
}

var (
	MeanOf     = meanOf
	RatioOf    = ratioOf
	ConvexHull = func(ps ...orb.Point) orb.Ring { return convexHull(ps) }
)

// Judge fills in the verdict of a row.
func Judge(r Row) Verdict {
	r.judge()
	return r.Verdict
}

// LevelRows are the rows of a model in an open hall from the estimates of n at
// its sites, against the truth 3.
func LevelRows(m propagation.Model, sites ...propagation.Value) []Row {
	c := hall("a hall", nil)
	var fits []modelFit
	for _, v := range sites {
		fits = append(fits, modelFit{estimates: []estimate{{"n", 3, v}}})
	}
	rows := levelRows(&c, m, append(fits, modelFit{failed: "nothing heard"}))
	for i := range rows {
		rows[i].judge()
	}
	return rows
}

// Silent draws a site of every scene and gives, by its name, the share of stays
// that never heard a radio, that of scans that missed one, and whether the scene
// calls itself heard, missed or weak.
func Silent(ctx context.Context) (map[string][3]float64, error) {
	out := map[string][3]float64{}
	for _, c := range slices.Concat(levelScenes(false), boundScenes(false), honestyScenes(false)) {
		d, err := c.draw(1, 0)
		if err != nil {
			return nil, err
		}
		w, err := d.survey(ctx)
		if err != nil {
			return nil, err
		}
		var never, stays, missed, scans float64
		for _, st := range walk.Stays(d.site, []walk.Walk{w}, walk.ByVisit) {
			for _, l := range st.Levels {
				stays++
				scans += float64(st.Scans)
				missed += float64(st.Scans - l.Heard)
				if l.Heard == 0 {
					never++
				}
			}
		}
		out[c.name] = [3]float64{never / stays, missed / scans, float64(c.silence)}
	}
	return out, nil
}

// Search looks for a place on the first site of an open hall by an exhaustive
// search of the levels that the truth predicts there; beaten says whether it is
// likelier than the place moved by off.
func Search(at, off orb.Point) (mean orb.Point, beaten bool, err error) {
	c := hall("a hall", nil)
	d, err := c.draw(1, 0)
	if err != nil {
		return mean, false, err
	}
	st := walk.Stay{Scans: 1}
	for k := range d.truth.Radios {
		st.Levels = append(st.Levels, walk.Level{Heard: 1, MeanDBm: d.scanner.Model(k, "G", at)})
	}
	mean, beaten = d.search().locate(&st, orb.Point{at[0] + off[0], at[1] + off[1]})
	return mean, beaten, nil
}
