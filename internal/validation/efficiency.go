package validation

import (
	"context"
	"fmt"
	"math"

	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// leastForBound is how many access points must be heard for the claim on
// efficiency.
const leastForBound = 4

// boundFixes is how many fixes a site gives.
const boundFixes = 60

func boundScenes(quick bool) []scene {
	var out []scene
	for _, sigma := range []float64{.5, 1.5, 3, 4.5} {
		out = append(out, hall(fmt.Sprintf("open hall, σ %g dB", sigma), func(c *scene) { c.sigmaDB, c.scatterDB = sigma, .3*sigma }))
	}
	if quick {
		return out[1:3]
	}
	return append(out,
		hall("office with walls, σ 3 dB", func(c *scene) {
			c.width, c.depth, c.aps, c.walls, c.sigmaDB, c.scatterDB = 45, 30, 8, true, 3, 1
		}),
		hall("sparse, σ 3 dB", func(c *scene) {
			c.width, c.depth, c.aps, c.points, c.silence, c.sigmaDB, c.scatterDB, c.floorDBm = 90, 60, 12, 70, weak, 3, 1, -88.5
		}))
}

// squares are Σ error² and Σ bound² over the fixes of a site, how many of its
// covariances held the truth in their 95 % ellipse, and what an exhaustive search
// made of the same stays: how many fixes it beat, and its Σ error².
type squares struct {
	err, bound   float64
	fixes, tried int
	ellipse      share
	beaten       share
	leastErr     float64
}

// knowledge is from which fit the fixes of the study come.
var knowledge = []string{"true parameters", "fitted"}

// efficiency asks how near trilateration comes to the bound inside the hull of
// the access points.
func efficiency(o Options) (tasks []task, rows func() []Row) {
	scenes := boundScenes(o.Quick)
	tasks, found := overSites(o, scenes, o.Sites, func(ctx context.Context, d *drawn) ([]squares, error) {
		truth, err := d.truly()
		if err != nil {
			return nil, err
		}
		w, err := d.survey(ctx)
		if err != nil {
			return nil, err
		}
		var feet []orb.Point
		for _, ap := range d.site.AccessPoints {
			feet = append(feet, ap.At)
		}
		hull := convexHull(feet)
		fresh, err := d.fresh(ctx, boundFixes, func(p orb.Point) bool { return planar.RingContains(hull, p) })
		if err != nil {
			return nil, err
		}
		fitted, err := propagation.Estimate(propagation.Observe(d.site, walk.Stays(d.site, []walk.Walk{w}, walk.ByVisit)), propagation.Options{})
		if err != nil {
			return nil, err
		}
		grid := position.NewGrid(d.site)
		stays := walk.Stays(d.site, []walk.Walk{fresh}, walk.ByVisit)
		return []squares{fixesOf(grid, truth, truth, stays, d.search()), fixesOf(grid, fitted, truth, stays, nil)}, nil
	})
	return tasks, func() (rows []Row) {
		for i := range scenes {
			for k := range knowledge {
				var of []squares
				for _, site := range found[i] {
					of = append(of, site[k])
				}
				rows = append(rows, efficiencyRows(&scenes[i], knowledge[k], of)...)
			}
		}
		return rows
	}
}

func efficiencyRows(c *scene, known string, sites []squares) (rows []Row) {
	row := func(figure string, expect Range) Row {
		return Row{Study: "trilateration and its bound", Scene: c.name, Subject: known, Figure: figure, Sites: len(sites), Expect: expect}
	}
	var e, b, least []float64
	var fixes, tried int
	var ellipse, beaten []share
	for i := range sites {
		s := &sites[i]
		e, b, least = append(e, s.err), append(b, s.bound), append(least, s.leastErr)
		fixes += s.fixes
		tried += s.tried
		ellipse, beaten = append(ellipse, s.ellipse), append(beaten, s.beaten)
	}
	ratio := func(r Row, e []float64) Row {
		r.Value, r.Lo, r.Hi = ratioOf(e, b)
		r.Value, r.Lo, r.Hi, r.Cases = math.Sqrt(r.Value), math.Sqrt(r.Lo), math.Sqrt(r.Hi), fixes
		return r
	}
	r := ratio(row("RMS error over bound", reachesBound), e)
	if c.walls {
		r.Expect.Lo = math.Inf(-1)
		r.Note = "walls tell more than the bound counts"
	}
	if fixes < tried {
		r.Note = fmt.Sprintf("%d of %d located", fixes, tried)
	}
	rows = append(rows, r)
	if beaten[0].cases > 0 {
		r = row("fixes that an exhaustive search beats", Range{0, mostBeaten})
		r.Value, r.Lo, r.Hi, r.Cases = coverage(beaten)
		rows = append(rows, r, ratio(row("least mean square, RMS error over bound", Anything()), least))
	}
	if known == knowledge[1] {
		return rows // the ellipse of a single fix takes the fit for exact
	}
	r = row("95 % ellipse, coverage", covers95)
	r.Value, r.Lo, r.Hi, r.Cases = coverage(ellipse)
	return append(rows, r)
}

// reachesBound is the RMS error over the bound inside the hull. Where walls make
// the level jump only its upper end holds: the bound takes levels for smooth, and
// a jump tells on which side of the wall a place is.
var reachesBound = Range{1, 1.1}

// mostBeaten is the share of fixes that may be on the second of two peaks about
// as high: the search sets out from a coarse grid.
const mostBeaten = .005

// fixesOf makes fixes of stays by a fit and holds them to the bound under the
// truth. Only places where the access points that were heard are enough count.
func fixesOf(grid *position.Grid, f, truth *propagation.Fit, stays []walk.Stay, all *exhaustive) (out squares) {
	tri := position.NewTrilateration(grid, f)
	for i := range stays {
		st := &stays[i]
		fix := tri.Fix(st)
		b, ok := grid.Bound(truth, st.Floor, st.At, st.Scans)
		if !ok || fix.Heard < leastForBound {
			continue
		}
		out.tried++
		if !fix.Located {
			continue
		}
		out.fixes++
		dx, dy := fix.At[0]-st.At[0], fix.At[1]-st.At[1]
		out.err += dx*dx + dy*dy
		out.bound += b.XX + b.YY
		if all != nil {
			mean, beaten := all.locate(st, fix.At)
			x, y := mean[0]-st.At[0], mean[1]-st.At[1]
			out.leastErr += x*x + y*y
			out.beaten.cases++
			if beaten {
				out.beaten.hits++
			}
		}
		if fix.Ellipse.MajorM > 0 {
			out.ellipse.cases++
			if fix.Ellipse.Holds(fix.At, st.At) {
				out.ellipse.hits++
			}
		}
	}
	return out
}
