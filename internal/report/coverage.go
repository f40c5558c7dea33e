package report

import (
	"fmt"
	"strings"

	"footrule/internal/coverage"
	"footrule/internal/say"
	"footrule/internal/site"
)

// kinds are the maps of a report, besides those of single access points.
var kinds = []struct{ kind, says string }{
	{"heard", ""}, // what is edged is said where something is
	{"strongest", "A device hears its strongest access point at this level"},
	{"error", "It is what to expect, and was not measured"},
	{"bound", "No estimator that knows the levels alone can be better than this; who knows the outline may be"},
}

// coverage shows the maps, with their shares and holes.
func (w *writer) coverage() {
	w.section("Coverage")
	m := w.Cover
	w.say("Predicted from " + w.Basis + ". A map is as good as what it rests on: a wall that the plan lacks is a hole that the map lacks.")
	if len(w.Notes) > 0 {
		w.say("What stands in for what is not known:")
		w.list(w.Notes)
	}
	s := m.Shares()
	var rows [][]string
	for k := range coverage.Reported {
		rows = append(rows, []string{fmt.Sprintf("at least %d", k+1), percent(s.Heard[k], 1), say.Fixed(s.AtLeast[k], 3)})
	}
	w.table(fmt.Sprintf("Share of %s m² that hears so many access points, at %s dBm or more", say.Fixed(s.AreaM2, 0), number(m.Options.ThresholdDBm)), rows,
		"access points heard", "share of area %#", "mean probability#")
	w.expected()
	for i := range m.Floors {
		for _, k := range kinds {
			w.mapOf(&m.Floors[i], k.kind, k.says)
		}
		if w.EachLevel {
			for a := range w.Site.AccessPoints {
				w.mapOf(&m.Floors[i], "level:"+w.Site.AccessPoints[a].ID, "")
			}
		}
	}
	w.holes()
}

// expected tells the expected error and the bound, floor by floor.
func (w *writer) expected() {
	var rows [][]string
	for i, e := range w.Expected {
		name := "all"
		if i < len(w.Cover.Floors) {
			if name = floorName(&w.Site.Floors[w.Cover.Floors[i].Floor]); len(w.Cover.Floors) == 1 {
				continue
			}
		}
		rows = append(rows, []string{name, percent(e.InHull, 1), say.Fixed(e.BoundMedian, 1), say.Fixed(e.Bound90, 1), percent(e.NoFix, 1),
			say.Fixed(e.Mean, 1), say.Fixed(e.Median, 1), say.Fixed(e.Ninety, 1), say.Fixed(e.Most, 1)})
	}
	w.table(fmt.Sprintf("What maps let expect of fixes from %d scans", w.Cover.Options.Scans), rows, "floor", "inside the access points heard, % of area#",
		"bound m, on half of the area#", "bound m, on 90 %#", "no fix, % of area#", "expected error m, mean#", "error m, on half of the area#", "error m, on 90 %#", "error m, worst#")
}

// mapOf adds one map of a floor.
func (w *writer) mapOf(fm *coverage.FloorMap, kind, says string) {
	p, err := w.Cover.Picture(fm, kind)
	if err != nil {
		panic(err) // kinds are known, and so are the access points of the plan
	}
	p.Inset = true
	p.Title = strings.TrimPrefix(p.Title, w.Site.Name+", ")
	more := capital(p.Subtitle)
	if len(p.Attention) > 0 {
		says = "Parts edged in orange hear fewer than are needed"
	}
	if says != "" {
		more += ". " + says
	}
	p.Desc = w.size(fm.Floor) + " " + w.seen(fm, kind)
	w.picture(p.Figure(), more)
}

// seen says in words what a map shows.
func (w *writer) seen(fm *coverage.FloorMap, kind string) string {
	at := 0
	for i := range w.Cover.Floors {
		if &w.Cover.Floors[i] == fm {
			at = i
		}
	}
	e := w.Expected[at]
	switch kind {
	case "heard":
		s := fm.Shares(w.Cover.Options.Need)
		return fmt.Sprintf("%s %% of its area hears %d access points or more.", percent(s.Need, 1), w.Cover.Options.Need)
	case "error":
		return fmt.Sprintf("The expected error is %s metres or less on half of its area and %s or less on nine tenths.", say.Fixed(e.Median, 1), say.Fixed(e.Ninety, 1))
	case "bound":
		return fmt.Sprintf("The bound is %s metres or less on half of the area that has one and %s or less on nine tenths; %s %% has none.", say.Fixed(e.BoundMedian, 1), say.Fixed(e.Bound90, 1), percent(e.NoFix, 1))
	}
	return "Colours go from light for weak to dark for strong levels, in dBm, by the steps of the legend."
}

// mostHoles is how many holes the report lists.
const mostHoles = 12

func (w *writer) holes() {
	need := w.Cover.Options.Need
	if len(w.Holes) == 0 {
		w.say(fmt.Sprintf("Holes: none. Every cell hears %s or more.", say.Count(need, "access point")))
		return
	}
	sum := 0.0
	var rows [][]string
	for i, h := range w.Holes {
		sum += h.AreaM2
		if i >= mostHoles {
			continue
		}
		row := []string{w.Site.Floors[h.Floor].ID, place(h.Centre), say.Fixed(h.AreaM2, 1), whole(h.Heard), "–", "–"}
		if a := h.Added; a != nil {
			row[4], row[5] = place(a.At), say.Fixed(a.ClosesM2, 1)
		}
		rows = append(rows, row)
	}
	w.table(fmt.Sprintf("Holes: %s m² in %s that hear fewer than %d", say.Fixed(sum, 0), say.Count(len(w.Holes), "hole"), need), rows,
		"floor", "centre x, y m#", "area m²#", "least heard#", "one access point added at#", "closes m²#")
	if n := len(w.Holes) - mostHoles; n > 0 {
		w.say(fmt.Sprintf("And %s more.", say.Count(n, "smaller hole")))
	}
}

// scale holds the plan to distances taped in the building.
func (w *writer) scale() {
	w.section("The scale of the plan")
	var rows [][]string
	var says []string
	for _, k := range w.Input.Floors {
		c := w.Site.CheckTaped(k)
		name := floorName(&w.Site.Floors[k])
		if len(c.Rows) == 0 {
			says = append(says, name+": no distance was taped; levels cannot tell whether its scale is right")
			continue
		}
		for _, r := range c.Rows {
			agrees := "yes"
			if r.Off {
				agrees = "no"
			}
			rows = append(rows, []string{c.Floor, r.From + " to " + r.To, say.Fixed(r.TapedM, 2), say.Fixed(r.PlanM, 2), say.Fixed(r.SlackM, 2), agrees})
		}
		says = append(says, name+": "+scaleSays(&c))
	}
	if len(rows) > 0 {
		w.table("Distances taped in the building against the plan", rows, "floor", "from and to", "taped m#", "on the plan m#", "may differ by m#", "agree")
	}
	w.list(says)
}

func scaleSays(c *site.TapeCheck) string {
	text := fmt.Sprintf("building over plan is %s, within %s", say.Fixed(c.Scale, 3), say.Fixed(c.Slack, 3))
	switch {
	case c.Uneven:
		return text + "; the distances contradict each other: tape them again"
	case c.Off:
		return text + "; the scale of the plan is off, and with it every distance and error in this report"
	}
	return text + "; the plan's scale holds"
}
