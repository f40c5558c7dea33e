package main

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"footrule/internal/position"
	"footrule/internal/say"
)

// What errors can be parted by.
const (
	byArea = "area"
	byAP   = "ap"
)

var partNames = []string{byArea, byAP}

func parts() string { return strings.Join(partNames, ", ") }

// partsOf checks the words of --by.
func partsOf(words []string) (map[string]bool, error) {
	out := map[string]bool{}
	for _, w := range words {
		if !slices.Contains(partNames, w) {
			return nil, usage(fmt.Errorf("--by %q; give one or more of %s", w, parts()))
		}
		out[w] = true
	}
	return out, nil
}

// printAreas prints the figures of each area.
func printAreas(sh *shell, e *position.Errors) {
	rows := [][]string{{"area", "floor", "places", "located %", "mean m", "CE50 m", "95 % interval", "CE90 m", "95 % interval", "bound m", "in ellipse %"}}
	for i := range e.Areas {
		a := &e.Areas[i]
		s := &a.Statistics
		rows = append(rows, []string{a.Area, a.Floor, strconv.Itoa(a.Points), hundredths(a.Coverage.Est()), say.Fixed(s.MeanM, 1),
			say.Fixed(s.CE50M, 1), span(a.CI95["ce50_m"], 1), say.Fixed(s.CE90M, 1), span(a.CI95["ce90_m"], 1), say.Fixed(a.BoundRMSM, 1), hundredths(a.Ellipse.Est())})
	}
	table(sh.out, rows)
}

// printRemovals prints what the error becomes without each access point, and
// which ones the accuracy hangs on.
func printRemovals(sh *shell, e *position.Errors) {
	rows := [][]string{{"without", "heard at", "fixes lost", "mean m", "CE50 m", "CE90 m", "change m", "95 % interval"}}
	var reasons []string
	for i := range e.Removals {
		r := &e.Removals[i]
		if r.Reason != "" {
			rows = append(rows, []string{r.AP, strconv.Itoa(r.Places), strconv.Itoa(r.Lost), "–", "–", "–", "–", ""})
			reasons = append(reasons, fmt.Sprintf("without %s there is no figure: %s", r.AP, r.Reason))
			continue
		}
		s := &r.Statistics
		rows = append(rows, []string{r.AP, strconv.Itoa(r.Places), strconv.Itoa(r.Lost), say.Fixed(s.MeanM, 2), say.Fixed(s.CE50M, 2), say.Fixed(s.CE90M, 2), signed(r.ChangeM, 2), change(r.ChangeCI)})
	}
	table(sh.out, rows)
	fmt.Fprintln(sh.out)
	for _, s := range append(reasons, hangsOn(e.Removals)...) {
		fmt.Fprintln(sh.out, s)
	}
}

func change(i position.Interval) string {
	if math.IsNaN(i.Lo) {
		return "–"
	}
	return signed(i.Lo, 2) + " to " + signed(i.Hi, 2)
}

// hangsOn says which access points carry the accuracy and which spoil it, where
// that is beyond chance.
func hangsOn(rs []position.Removal) []string {
	var out []string
	needed := false
	for i := range rs {
		r := &rs[i]
		if r.Lost > 0 {
			out = append(out, fmt.Sprintf("without %s there is no fix in %d of the %d", r.AP, r.Lost, r.Lost+r.Statistics.Located))
			needed = true
		}
	}
	most := -1
	for i := range rs {
		if rs[i].ChangeCI.Lo > 0 && (most < 0 || rs[i].ChangeM > rs[most].ChangeM) {
			most = i
		}
	}
	if most >= 0 {
		r := &rs[most]
		out = append(out, fmt.Sprintf("the accuracy hangs most on %s: without it errors are %s m larger in the mean (%s)", r.AP, say.Fixed(r.ChangeM, 2), span(r.ChangeCI, 2)))
		needed = true
	}
	if !needed {
		out = append(out, "the accuracy hangs on no single access point: no change is beyond chance")
	}
	for i := range rs {
		if r := &rs[i]; r.ChangeCI.Hi < 0 {
			out = append(out, fmt.Sprintf("without %s errors are %s m smaller in the mean: its levels mislead; see whether it hangs where the plan says, and with these BSSIDs", r.AP, say.Fixed(-r.ChangeM, 2)))
		}
	}
	return out
}

// printWorst prints the worst places, each with the reason.
func printWorst(sh *shell, e *position.Errors) {
	fmt.Fprintf(sh.out, "\nthe worst places (--points prints every fix):\n")
	for _, w := range e.Worst(5) {
		fmt.Fprintf(sh.out, "  %s: %s\n", placeName(&w), w.Why)
	}
}

func placeName(w *position.WorstPlace) string {
	name := w.Point
	if name == "" {
		name = say.Fixed(w.At[0], 1) + ", " + say.Fixed(w.At[1], 1)
	}
	off := "no fix"
	if w.Located > 0 {
		off = say.Fixed(w.MeanErrorM, 1) + " m off"
	}
	if w.Fixes > 1 && w.Located > 0 {
		off += " in the mean of " + strconv.Itoa(w.Located)
	}
	in := w.Floor
	if w.Area != position.Elsewhere {
		in += ", " + w.Area
	}
	return fmt.Sprintf("%s (%s), %s", name, in, off)
}

type jsonArea struct {
	Floor string `json:"floor"`
	Area  string `json:"area"`
	jsonFigures
}

func areasJSON(e *position.Errors) []jsonArea {
	out := []jsonArea{}
	for i := range e.Areas {
		a := &e.Areas[i]
		out = append(out, jsonArea{a.Floor, a.Area, figuresJSON(&a.Summary)})
	}
	return out
}

type jsonRemoval struct {
	ID       string    `json:"id"`
	Places   int       `json:"heard_places"`
	Lost     int       `json:"lost_fixes"`
	Mean     number    `json:"mean_m"`
	RMS      number    `json:"rms_m"`
	CE50     number    `json:"ce50_m"`
	CE90     number    `json:"ce90_m"`
	CE95     number    `json:"ce95_m"`
	Change   number    `json:"change_m"`
	ChangeCI [2]number `json:"change_ci95"`
	Reason   *string   `json:"reason"`
}

// removalsJSON is null where nothing was judged without an access point.
func removalsJSON(e *position.Errors) []jsonRemoval {
	var out []jsonRemoval
	for i := range e.Removals {
		r := &e.Removals[i]
		s := r.Statistics
		if r.Reason != "" {
			s = position.Summarise(nil, 0)
		}
		out = append(out, jsonRemoval{r.AP, r.Places, r.Lost, number(s.MeanM), number(s.RMSM), number(s.CE50M), number(s.CE90M), number(s.CE95M),
			number(r.ChangeM), pair(r.ChangeCI.Lo, r.ChangeCI.Hi), known(r.Reason)})
	}
	return out
}

type jsonWorst struct {
	Point  *string   `json:"point"`
	Floor  string    `json:"floor"`
	Area   string    `json:"area"`
	At     [2]number `json:"at"`
	Fixes  int       `json:"fixes"`
	Found  int       `json:"located_fixes"`
	ErrorM number    `json:"mean_error_m"`
	Why    string    `json:"why"`
}

func worstJSON(e *position.Errors) []jsonWorst {
	out := []jsonWorst{}
	for _, w := range e.Worst(10) {
		out = append(out, jsonWorst{known(w.Point), w.Floor, w.Area, pair(w.At[0], w.At[1]), w.Fixes, w.Located, number(w.MeanErrorM), w.Why})
	}
	return out
}
