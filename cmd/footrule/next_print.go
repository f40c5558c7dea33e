package main

import (
	"fmt"
	"strconv"

	"footrule/internal/say"
)

func (n *next) print(sh *shell, add bool) {
	e := n.Errors
	fmt.Fprintf(sh.out, "%s  %s\n\n", n.plan.Name, say.Count(n.Places, "place")+" walked")
	_, says, _ := n.verdict()
	paragraph(sh.out, "", says)
	for _, t := range e.Targets {
		fmt.Fprintln(sh.out)
		paragraph(sh.out, "", verdict(t))
	}
	fmt.Fprintln(sh.out)
	rows := [][]string{{"next", "", "floor", "at", "buys m", "then m", "way m"}}
	for k, s := range n.tour {
		c := n.Chosen[s.chosen]
		kind := "not on the plan"
		if n.names[s.chosen].onPlan {
			kind = "of the plan"
		} else if n.added > 0 {
			kind = "added"
		}
		way := say.Fixed(s.walkM, 0)
		if k == 0 && s.walkM == 0 {
			way = "–"
		}
		rows = append(rows, []string{n.names[s.chosen].id, kind, n.plan.Floors[c.Floor].ID, place(c.At[0], c.At[1]), say.Fixed(c.BuysM, 3), say.Fixed(c.ErrorM, 2), way})
	}
	table(sh.out, rows)
	walkM, minutes := n.length()
	paragraph(sh.out, "", fmt.Sprintf("in the order to walk them, from where the last walk ended; %s m and some %s minutes (%s a visit, %s; %s m/s)",
		say.Fixed(walkM, 0), say.Fixed(minutes, 0), n.pace.visit, n.pace.from, trimmed(n.pace.speedMps)))
	fmt.Fprintln(sh.out)
	rows = [][]string{{"points", "met m", "to expect m"}}
	for _, b := range n.Behind {
		rows = append(rows, []string{strconv.Itoa(b.Places), say.Fixed(b.MetM, 2), say.Fixed(b.ErrorM, 2)})
	}
	for i, c := range n.Chosen {
		rows = append(rows, []string{strconv.Itoa(n.Places + i + 1), "", say.Fixed(c.ErrorM, 2)})
	}
	table(sh.out, rows)
	ci := e.CI95["mean_m"]
	fmt.Fprintln(sh.out)
	paragraph(sh.out, "", fmt.Sprintf("met: the mean error of radio-map fixes at the places left over, by so many that lie all over the floors; for all %d, at each of them left out (95 %% interval %s to %s m)",
		e.Points, say.Fixed(ci.Lo, 2), say.Fixed(ci.Hi, 2)))
	paragraph(sh.out, "", fmt.Sprintf("to expect: the same where people walk, from how unsure the map is there, times %s, so that it agrees with what was met at the places left out", say.Fixed(n.Scale, 2)))
	switch {
	case n.added > 0:
		fmt.Fprintf(sh.out, "\nsaved as revision %d of the plan; footrule walk goes there\n", n.added)
	case add:
		fmt.Fprintln(sh.out, "\nnothing to add: all of them are on the plan")
	case n.off() > 0:
		fmt.Fprintf(sh.out, "\n%s not on the plan; --add puts them there, so that footrule walk goes there\n", isAre(n.off()))
	}
}

func isAre(n int) string {
	if n == 1 {
		return "1 point is"
	}
	return strconv.Itoa(n) + " points are"
}

// off counts chosen points that the plan does not have.
func (n *next) off() int {
	k := 0
	for _, name := range n.names {
		if !name.onPlan {
			k++
		}
	}
	return k
}

func (n *next) length() (walkM, minutes float64) {
	for _, s := range n.tour {
		walkM, minutes = walkM+s.walkM, minutes+s.minutes
	}
	return walkM, minutes
}

type jsonReach struct {
	Points int    `json:"points"`
	ErrorM number `json:"error_m"`
}

type jsonMilestone struct {
	Points int    `json:"points"`
	MetM   number `json:"met_m"`
	ErrorM number `json:"error_m"`
}

type jsonNextPoint struct {
	Rank    int       `json:"rank"`
	Tour    int       `json:"tour"`
	Point   string    `json:"point"`
	OnPlan  bool      `json:"on_plan"`
	Floor   string    `json:"floor"`
	At      [2]number `json:"at"`
	BuysM   number    `json:"buys_m"`
	WalkM   number    `json:"walk_m"`
	Minutes number    `json:"minutes"`
}

type jsonNextMeasured struct {
	Method   string    `json:"method"`
	Protocol string    `json:"protocol"`
	FixFrom  string    `json:"fix_from"`
	MeanM    number    `json:"mean_m"`
	CI95     [2]number `json:"ci95"`
	CE50M    number    `json:"ce50_m"`
	CE90M    number    `json:"ce90_m"`
	Scale    number    `json:"scale"`
}

type jsonNextTour struct {
	WalkM            number `json:"walk_m"`
	Minutes          number `json:"minutes"`
	VisitMinutes     number `json:"visit_minutes"`
	VisitMinutesFrom string `json:"visit_minutes_from"`
	SpeedMps         number `json:"speed_m_s"`
}

type jsonNextFloor struct {
	Floor  string `json:"floor"`
	ErrorM number `json:"error_m"`
}

type jsonNext struct {
	PointsWalked int              `json:"points_walked"`
	Measured     jsonNextMeasured `json:"measured"`
	NowM         number           `json:"error_now_m"`
	Walked       []jsonMilestone  `json:"walked"`
	Further      []jsonReach      `json:"further"`
	Next         []jsonNextPoint  `json:"next"`
	Tour         jsonNextTour     `json:"tour"`
	Verdict      string           `json:"verdict"`
	Saved        number           `json:"share_saved"`
	Worth        number           `json:"worth_share"`
	Says         string           `json:"says"`
	Floors       []jsonNextFloor  `json:"floors"`
	Targets      []jsonTarget     `json:"targets"`
	Added        *uint64          `json:"added_revision"`
}

func (n *next) json() jsonNext {
	e := n.Errors
	ci := e.CI95["mean_m"]
	walkM, minutes := n.length()
	word, says, saved := n.verdict()
	out := jsonNext{PointsWalked: n.Places, NowM: number(n.NowM), Verdict: word, Says: says, Saved: number(saved), Worth: number(n.worth), Added: known(n.added),
		Measured: jsonNextMeasured{string(e.Method), string(e.Protocol), string(e.Fix), number(e.Statistics.MeanM), pair(ci.Lo, ci.Hi),
			number(e.Statistics.CE50M), number(e.Statistics.CE90M), number(n.Scale)},
		Tour:    jsonNextTour{number(walkM), number(minutes), number(n.pace.visit.Minutes()), n.pace.from, number(n.pace.speedMps)},
		Targets: targetsJSON(e)}
	for _, b := range n.Behind {
		out.Walked = append(out.Walked, jsonMilestone{b.Places, number(b.MetM), number(b.ErrorM)})
	}
	tour := make([]int, len(n.Chosen))
	for k, s := range n.tour {
		tour[s.chosen] = k
	}
	for i, c := range n.Chosen {
		out.Further = append(out.Further, jsonReach{n.Places + i + 1, number(c.ErrorM)})
		s := n.tour[tour[i]]
		out.Next = append(out.Next, jsonNextPoint{i + 1, tour[i] + 1, n.names[i].id, n.names[i].onPlan, n.plan.Floors[c.Floor].ID,
			pair(c.At[0], c.At[1]), number(c.BuysM), number(s.walkM), number(s.minutes)})
	}
	for fl, m := range n.Floor {
		out.Floors = append(out.Floors, jsonNextFloor{n.plan.Floors[fl].ID, number(m)})
	}
	return out
}
