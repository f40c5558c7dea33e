package validation

import (
	"footrule/internal/propagation"

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
