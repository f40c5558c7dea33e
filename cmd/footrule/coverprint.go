package main

import (
	"fmt"
	"strconv"

	"footrule/internal/coverage"
	"footrule/internal/say"
)

func (c *cover) print(sh *shell) {
	o, s := c.m.Options, c.m.Shares()
	fmt.Fprintf(sh.out, "%s  %s\n", c.plan.Name, c.text)
	for _, n := range c.notes {
		fmt.Fprintf(sh.out, "  %s\n", n)
	}
	fmt.Fprintf(sh.out, "heard: %s dBm or more at a probability of %g; %s m² in cells of %g m\n\n", say.Fixed(o.ThresholdDBm, 0), o.Confidence, say.Fixed(s.AreaM2, 0), o.CellM)
	rows := [][]string{{"access points heard", "share of area", "mean probability"}}
	if c.measured != nil {
		rows[0] = append(rows[0], "where measured", "measured", "points apart")
	}
	for k := range coverage.Reported {
		row := []string{fmt.Sprintf("at least %d", k+1), shareOf(s.Heard[k]), say.Fixed(s.AtLeast[k], 3)}
		if c.measured != nil {
			p, m := c.diff.Predicted.Heard[k], c.diff.Measured.Heard[k]
			row = append(row, shareOf(p), shareOf(m), signed(100*(m-p), 1))
		}
		rows = append(rows, row)
	}
	table(sh.out, rows)
	if c.measured != nil {
		fmt.Fprintf(sh.out, "\nmeasured: %s m² by the nearest of the places that were walked, within %g m (Voronoi)\n", say.Fixed(c.diff.Measured.AreaM2, 0), c.reachM)
		fmt.Fprintf(sh.out, "more heard than predicted on %s m², fewer on %s m²; of the need both say the same on %s\n",
			say.Fixed(c.diff.MoreM2, 0), say.Fixed(c.diff.FewerM2, 0), shareOf(c.diff.NeedAgrees))
	}
	if len(c.m.Floors) > 1 {
		c.printFloors(sh)
	}
	e := c.expect(all(len(c.m.Floors))...)
	fmt.Fprintf(sh.out, "\ninside the hull of the access points heard: %s of the area\n", shareOf(e.inHull))
	fmt.Fprintf(sh.out, "bound on the position error, %d scans: half of the area within %s m, 90 %% within %s m; no fix on %s\n",
		o.Scans, say.Fixed(e.boundMedian, 1), say.Fixed(e.bound90, 1), shareOf(e.noFix))
	fmt.Fprintf(sh.out, "expected error: mean %s m, half of the area within %s m, 90 %% within %s m, at worst %s m\n",
		say.Fixed(e.errorMean, 1), say.Fixed(e.errorMedian, 1), say.Fixed(e.errorNinety, 1), say.Fixed(e.errorMost, 1))
	c.printHoles(sh, "holes, as predicted", c.holes, c.m)
	if c.measured != nil {
		c.printHoles(sh, "holes, as measured", c.found, c.measured)
	}
	for _, name := range c.files {
		fmt.Fprintf(sh.out, "\n%s: the map\n", name)
	}
}

func signed(v float64, digits int) string {
	if s := say.Fixed(v, digits); v > 0 {
		return "+" + s
	}
	return say.Fixed(v, digits)
}

func (c *cover) printFloors(sh *shell) {
	fmt.Fprintln(sh.out)
	rows := [][]string{{"floor", "area m²", "need heard", "expected error m"}}
	for i := range c.m.Floors {
		fm := &c.m.Floors[i]
		s := fm.Shares(c.m.Options.Need)
		rows = append(rows, []string{c.plan.Floors[fm.Floor].ID, say.Fixed(s.AreaM2, 0), shareOf(s.Need), say.Fixed(c.expect(i).errorMean, 1)})
	}
	table(sh.out, rows)
}

// mostHoles is how many holes are printed; JSON has all.
const mostHoles = 12

func (c *cover) printHoles(sh *shell, title string, holes []coverage.Hole, m *coverage.Map) {
	if len(holes) == 0 {
		fmt.Fprintf(sh.out, "\n%s: none; every cell hears %d\n", title, m.Options.Need)
		return
	}
	sum := 0.0
	for _, h := range holes {
		sum += h.AreaM2
	}
	fmt.Fprintf(sh.out, "\n%s: %s m² in %s that hear fewer than %d\n", title, say.Fixed(sum, 0), say.Count(len(holes), "hole"), m.Options.Need)
	rows := [][]string{{"floor", "centre", "area m²", "least heard", "one added at", "closes m²"}}
	for i, h := range holes {
		if i == mostHoles {
			break
		}
		row := []string{c.plan.Floors[h.Floor].ID, place(h.Centre[0], h.Centre[1]), say.Fixed(h.AreaM2, 1), strconv.Itoa(h.Heard), "–", "–"}
		if a := h.Added; a != nil {
			row[4], row[5] = place(a.At[0], a.At[1]), say.Fixed(a.ClosesM2, 1)
		}
		rows = append(rows, row)
	}
	table(sh.out, rows)
	if n := len(holes) - mostHoles; n > 0 {
		fmt.Fprintf(sh.out, "and %s more (--json has all)\n", say.Count(n, "smaller one"))
	}
}

func place(x, y float64) string { return say.Fixed(x, 1) + ", " + say.Fixed(y, 1) }
