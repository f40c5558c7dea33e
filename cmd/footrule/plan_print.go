package main

import (
	"fmt"
	"math"
	"strconv"

	"footrule/internal/canvas"
	"footrule/internal/say"
	"footrule/internal/site"
)

// printPlan prints floors and taped distances. A scale that is off ends in 1.
func printPlan(sh *shell, plan *site.Site, asJSON bool) error {
	checks := make([]site.TapeCheck, len(plan.Floors))
	off := false
	for i := range plan.Floors {
		checks[i] = plan.CheckTaped(i)
		off = off || checks[i].Off || checks[i].Uneven
	}
	if asJSON {
		if err := printJSON(sh.out, planJSON(plan, checks)); err != nil {
			return err
		}
	} else {
		printFloors(sh, plan)
		printTaped(sh, checks)
	}
	if off {
		return &exit{code: exitNo}
	}
	return nil
}

func printFloors(sh *shell, plan *site.Site) {
	fmt.Fprintf(sh.out, "%s: %s, %s\n\n", plan.Name, say.Count(len(plan.Floors), "floor"), say.Count(len(plan.AccessPoints), "access point"))
	rows := [][]string{{"floor", "elevation m", "size m", "area m²", "walls", "areas", "points", "APs"}}
	for i := range plan.Floors {
		f := &plan.Floors[i]
		b := f.BoundingBox()
		rows = append(rows, []string{f.ID, say.Fixed(f.ElevationM, 2), fmt.Sprintf("%.2f×%.2f", b.Max[0]-b.Min[0], b.Max[1]-b.Min[1]), say.Fixed(f.Area(), 0),
			strconv.Itoa(len(f.Walls)), strconv.Itoa(len(f.Areas)), strconv.Itoa(len(f.Points)), strconv.Itoa(apsOn(plan, f.ID))})
	}
	table(sh.out, rows)
	for i := range plan.Floors {
		f := &plan.Floors[i]
		if len(f.Walls) > 0 {
			fmt.Fprintf(sh.out, "floor %s, walls: %s\n", f.ID, materialsText(f))
		}
		if d := f.Drawing; d != nil {
			fmt.Fprintf(sh.out, "floor %s, drawn in %s: 0, 0 is (%.10g, %.10g) there, %s\n", f.ID, canvas.Clean(d.File), d.Origin[0], d.Origin[1], unitText(d))
		}
	}
}

func apsOn(plan *site.Site, floor string) int {
	n := 0
	for _, ap := range plan.AccessPoints {
		if ap.Floor == floor {
			n++
		}
	}
	return n
}

func printTaped(sh *shell, checks []site.TapeCheck) {
	rows := [][]string{{"taped", "floor", "taped m", "on the plan m", "difference", "agrees within m"}}
	for _, c := range checks {
		for _, r := range c.Rows {
			verdict := say.Fixed(r.SlackM, 2)
			if r.Off {
				verdict += " – no"
			}
			rows = append(rows, []string{r.From + " to " + r.To, c.Floor, say.Fixed(r.TapedM, 2), say.Fixed(r.PlanM, 2), percent(r.TapedM/r.PlanM - 1), verdict})
		}
	}
	if len(rows) == 1 {
		fmt.Fprintln(sh.out, "\nno distance is taped: nothing but a tape tells whether the plan's scale is right")
		return
	}
	fmt.Fprintln(sh.out)
	table(sh.out, rows)
	for _, c := range checks {
		if len(c.Rows) > 0 {
			fmt.Fprintln(sh.out, scaleText(c))
		}
	}
}

// scaleText says what the taped distances of a floor mean for its scale.
func scaleText(c site.TapeCheck) string {
	by := fmt.Sprintf("%.1f %% (±%.1f)", 100*math.Abs(c.Scale-1), 100*c.Slack)
	switch {
	case c.Off && c.Scale > 1:
		return fmt.Sprintf("floor %s: the plan is too small, the building is %s larger; draw it again with a --scale or --unit %.4f times as large", c.Floor, by, c.Scale)
	case c.Off:
		return fmt.Sprintf("floor %s: the plan is too large, the building is %s smaller; draw it again with a --scale or --unit %.4f times as large", c.Floor, by, c.Scale)
	case c.Uneven:
		return fmt.Sprintf("floor %s: the taped distances contradict each other; one is misread, or a point or an access point is not where the plan has it", c.Floor)
	}
	return fmt.Sprintf("floor %s: the scale agrees, within %.1f %%", c.Floor, 100*c.Slack)
}

// percent prints a share with its sign.
func percent(v float64) string {
	s := say.Fixed(100*v, 1) + " %"
	if v > 0 {
		return "+" + s
	}
	return s
}

type jsonTaped struct {
	From    string `json:"from"`
	To      string `json:"to"`
	TapedM  number `json:"taped_m"`
	PlanM   number `json:"plan_m"`
	WithinM number `json:"within_m"`
	Agrees  bool   `json:"agrees"`
}

type jsonDrawing struct {
	File          string    `json:"file"`
	Kind          string    `json:"kind"`
	Origin        [2]number `json:"origin"`
	MetresPerUnit number    `json:"metres_per_unit"`
	TurnDeg       number    `json:"turn_deg"`
}

type jsonFloor struct {
	ID         string       `json:"id"`
	Name       string       `json:"name"`
	ElevationM number       `json:"elevation_m"`
	SizeM      [2]number    `json:"size_m"`
	AreaM2     number       `json:"area_m2"`
	Walls      int          `json:"walls"`
	Areas      int          `json:"areas"`
	Points     int          `json:"points"`
	APs        int          `json:"access_points"`
	Drawing    *jsonDrawing `json:"drawing"`
	Taped      []jsonTaped  `json:"taped"`
	Scale      number       `json:"scale"` // building over plan
	ScaleSlack number       `json:"scale_within"`
	ScaleOff   bool         `json:"scale_off"`
}

type jsonPlan struct {
	Name   string      `json:"name"`
	Floors []jsonFloor `json:"floors"`
}

func planJSON(plan *site.Site, checks []site.TapeCheck) jsonPlan {
	out := jsonPlan{Name: plan.Name, Floors: []jsonFloor{}}
	for i := range plan.Floors {
		f, c := &plan.Floors[i], checks[i]
		b := f.BoundingBox()
		j := jsonFloor{ID: f.ID, Name: f.Name, ElevationM: number(f.ElevationM), SizeM: pair(b.Max[0]-b.Min[0], b.Max[1]-b.Min[1]), AreaM2: number(f.Area()),
			Walls: len(f.Walls), Areas: len(f.Areas), Points: len(f.Points), APs: apsOn(plan, f.ID), Taped: []jsonTaped{},
			Scale: number(c.Scale), ScaleSlack: number(c.Slack), ScaleOff: c.Off || c.Uneven}
		if d := f.Drawing; d != nil {
			j.Drawing = &jsonDrawing{d.File, string(d.Kind), pair(d.Origin[0], d.Origin[1]), number(d.MetresPerUnit), number(d.TurnDeg)}
		}
		for _, r := range c.Rows {
			j.Taped = append(j.Taped, jsonTaped{r.From, r.To, number(r.TapedM), number(r.PlanM), number(r.SlackM), !r.Off})
		}
		out.Floors = append(out.Floors, j)
	}
	return out
}
