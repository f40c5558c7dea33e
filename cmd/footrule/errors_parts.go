package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"footrule/internal/position"
)

// partNames are what errors can be parted by.
var partNames = []string{"area"}

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
	rows := [][]string{{"area", "floor", "places", "located %", "mean m", "CE50 m", "interval", "CE90 m", "interval", "bound m", "in ellipse %"}}
	for i := range e.Areas {
		a := &e.Areas[i]
		s := &a.Statistics
		rows = append(rows, []string{a.Area, a.Floor, strconv.Itoa(a.Points), hundredths(a.Coverage.Est()), fixed(s.MeanM, 1),
			fixed(s.CE50M, 1), span(a.CI95["ce50_m"], 1), fixed(s.CE90M, 1), span(a.CI95["ce90_m"], 1), fixed(a.BoundRMSM, 1), hundredths(a.Ellipse.Est())})
	}
	table(sh.out, rows)
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
