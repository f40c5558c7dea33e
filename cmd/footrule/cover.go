package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"

	"footrule/internal/coverage"
	"footrule/internal/walk"

	"github.com/spf13/cobra"
)

func newCover(sh *shell) *cobra.Command {
	var source sourceFlags
	var f coverFlags
	var picture mapFlags
	var require, reach float64
	var measured, asJSON bool
	cmd := &cobra.Command{
		Use:   "cover FILE",
		Short: "Show where how many access points are heard, and the holes",
		Long: `cover says what share of the walkable area hears at least 1, 2, 3 and 4 access
points, and lists the holes: connected cells that hear fewer than needed, with the
one added access point that closes most of each.

It predicts: from the fit of the walks in FILE, of another site like this one
(--like), or before any walk from published figures (--environment). An access point
counts as heard where its level is at or above the threshold with at least the
confidence; a box with two bands counts once. Beside that it says where a device is
inside the hull of the access points it hears, the bound on its position error, and
the error to expect.

With --map and --out it draws a map, as SVG or PNG by the name of the file; with
--measured the map of what is heard is the measured one.

With --measured it also counts what the walks heard: a cell takes what the nearest
place of a stay heard (Voronoi), out to --reach metres; and it says how prediction and
measurement differ there.

It exits with 1 where --require asks for a larger share than hears what is needed:
of the measured area with --measured, else as predicted.`,
		Example: "  footrule cover depot.footrule\n  footrule cover depot.footrule --environment office --need 4 --json\n  footrule cover depot.footrule --measured --require 0.95\n  footrule cover depot.footrule --map heard --out heard.svg",
		Args:    files(1, 1, "a site FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if cmd.Flags().Changed("require") && !(require > 0 && require <= 1) {
				return usage(fmt.Errorf("--require %g; give a share above 0, up to 1", require))
			}
			if !(reach > 0 && reach <= 1000) {
				return usage(fmt.Errorf("--reach %g; give metres above 0", reach))
			}
			if err := picture.check(); err != nil {
				return err
			}
			p, err := source.predict(args[0])
			if err != nil {
				return err
			}
			o, err := f.options(p.plan)
			if err != nil {
				return err
			}
			if measured && len(p.walks) == 0 {
				return usage(fmt.Errorf("%s has no walks yet to measure with; leave --measured out, or make one with: footrule walk %s", args[0], args[0]))
			}
			c, err := surveyCover(cmd.Context(), p, o, measured, reach)
			if errors.Is(err, context.Canceled) {
				return errStopped
			}
			if err != nil {
				return err
			}
			if picture.out != "" {
				if c.files, err = c.draw(&picture); err != nil {
					return err
				}
			}
			if asJSON {
				if err := printJSON(sh.out, c.json()); err != nil {
					return err
				}
			} else {
				c.print(sh)
			}
			if got := c.need(); require > 0 && !(got >= require-1e-12) {
				if !asJSON {
					fmt.Fprintf(sh.out, "\nrequired: %s of the area; missed\n", shareOf(require))
				}
				return &exit{code: exitNo}
			}
			return nil
		},
	}
	source.add(cmd)
	f.add(cmd)
	fl := cmd.Flags()
	fl.BoolVar(&measured, "measured", false, "count what the walks heard too, and compare")
	fl.Float64Var(&reach, "reach", coverage.DefaultReachM, "metres around a measured place that count as measured")
	fl.Float64Var(&require, "require", 0, "share of the area that must hear what is needed, such as 0.95")
	picture.add(cmd)
	fl.BoolVar(&asJSON, "json", false, "print one JSON object")
	return cmd
}

// cover is all that the command cover finds out.
type cover struct {
	*prediction
	m        *coverage.Map
	accuracy []*coverage.Accuracy // per floor of the map
	hull     [][]bool
	holes    []coverage.Hole
	measured *coverage.Map // nil unless asked for
	found    []coverage.Hole
	diff     coverage.Difference
	reachM   float64
	files    []string // pictures that were drawn
}

// mostClosed is for how many holes an added access point is looked for: the
// smaller ones are crumbs beside them.
const mostClosed = 8

func surveyCover(ctx context.Context, p *prediction, o coverage.Options, measured bool, reachM float64) (*cover, error) {
	c := &cover{prediction: p, reachM: reachM}
	var err error
	if c.m, err = coverage.Predict(ctx, p.plan, p.fit, o); err != nil {
		return nil, usage(err)
	}
	for i := range c.m.Floors {
		c.accuracy = append(c.accuracy, c.m.Accuracy(&c.m.Floors[i]))
		c.hull = append(c.hull, c.m.InHull(&c.m.Floors[i]))
	}
	if c.holes, err = c.closed(ctx, c.m); err != nil {
		return nil, err
	}
	if measured {
		if c.measured, err = coverage.Measured(p.plan, walk.Stays(p.plan, p.walks, walk.ByVisit), o, reachM); err != nil {
			return nil, usage(err)
		}
		if c.measured.Shares().AreaM2 == 0 {
			return nil, usage(fmt.Errorf("no cell is within %g m of a place that was measured; give a larger --reach", reachM))
		}
		if c.found, err = c.closed(ctx, c.measured); err != nil {
			return nil, err
		}
		c.diff = coverage.Compare(c.m, c.measured)
	}
	return c, nil
}

// closed lists the holes of a map, the larger ones with what closes most of them.
func (c *cover) closed(ctx context.Context, m *coverage.Map) ([]coverage.Hole, error) {
	holes := m.Holes()
	return holes, m.Close(ctx, holes[:min(mostClosed, len(holes))], c.source, coverage.LikeThose(c.plan), coverage.DefaultSpacingM)
}

// draw writes the picture that is asked for: what was measured where the number
// heard was, else what is predicted.
func (c *cover) draw(f *mapFlags) ([]string, error) {
	if c.measured != nil && f.kind == "heard" {
		return f.write(c.measured, c.measured.Picture, []string{fmt.Sprintf("Measured: every cell shows the nearest place that was walked, within %g m.", c.reachM)})
	}
	return f.write(c.m, c.m.Picture, append([]string{"Predicted from " + c.text + "."}, c.notes...))
}

// need is the share of the area that hears what is needed.
func (c *cover) need() float64 {
	if c.measured != nil {
		return c.diff.Measured.Need
	}
	return c.m.Shares().Need
}

// expected sums up bound and expected error over floors, by area.
type expected struct {
	inHull, noFix            float64 // shares of the area
	boundMedian, bound90     float64 // over the area that has one
	errorMean, errorMost     float64 // metres
	errorMedian, errorNinety float64
}

func (c *cover) expect(floors ...int) expected {
	var e expected
	type sized struct{ v, area float64 }
	var bounds, errors []sized
	area := 0.0
	for _, i := range floors {
		fm, a := &c.m.Floors[i], c.accuracy[i]
		for j, w := range fm.AreaM2 {
			area += w
			if c.hull[i][j] {
				e.inHull += w
			}
			if math.IsNaN(a.BoundM[j]) {
				e.noFix += w
			} else {
				bounds = append(bounds, sized{a.BoundM[j], w})
			}
			errors = append(errors, sized{a.ErrorM[j], w})
			e.errorMean += w * a.ErrorM[j]
			e.errorMost = max(e.errorMost, a.ErrorM[j])
		}
	}
	e.inHull, e.noFix, e.errorMean = e.inHull/area, e.noFix/area, e.errorMean/area
	quantile := func(v []sized, p float64) float64 {
		slices.SortFunc(v, func(a, b sized) int { return cmp.Compare(a.v, b.v) })
		total, sum := 0.0, 0.0
		for _, s := range v {
			total += s.area
		}
		for _, s := range v {
			if sum += s.area; sum >= p*total {
				return s.v
			}
		}
		return math.NaN()
	}
	e.boundMedian, e.bound90 = quantile(bounds, 0.5), quantile(bounds, 0.9)
	e.errorMedian, e.errorNinety = quantile(errors, 0.5), quantile(errors, 0.9)
	return e
}

func all(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

func shareOf(v float64) string {
	if math.IsNaN(v) {
		return "–"
	}
	s := strconv.FormatFloat(100*v, 'f', 1, 64)
	if s == "100.0" && v < 1 { // nearly all is not all
		s = "99.9"
	}
	return s + " %"
}
