package position

import (
	"footrule/internal/propagation"

	"github.com/paulmach/orb"
)

// JudgeWatched lets tests see the fit by which each place is judged.
var JudgeWatched = judgeWatched

// Without is the locator by which leave-one-out judges places of d.
func Without(m Method, g *Grid, d *propagation.Data, all, left *propagation.Fit, places ...int) Locator {
	return learnerOf(m)(&lessons{grid: g, data: d, fit: all}).without(left, places)
}

// Cells lists the cells where people may walk, and their step.
func Cells(g *Grid) (floor []int, at []orb.Point, stepM float64) {
	c := g.cells()
	return c.floor, c.at, c.stepM
}

// Prior is the log of how likely the cells are, given where the walk went.
func Prior(g *Grid, at []orb.Point, floor []int) []float64 { return g.cells().prior(at, floor) }

// Spacing is how far apart places of a walk are.
var Spacing = spacing

// SummariseJudged lets tests summarise fixes that they made up.
var SummariseJudged = summarise
