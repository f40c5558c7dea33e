package position

import (
	"slices"

	"footrule/internal/propagation"
	"footrule/internal/walk"
)

// Method names a way to find fixes.
type Method string

// The methods.
const (
	Trilaterate Method = "trilateration" // [Trilateration]
	Posterior   Method = "posterior"     // least expected error under the fit, over where people can walk
	RadioMap    Method = "radio-map"     // the same with kriged residuals
	Nearest     Method = "nearest"       // weighted nearest stays in signal space
)

// methods is the table of methods, in the order in which they are shown.
var methods = []struct {
	name  Method
	learn func(*lessons) learner
}{
	{Trilaterate, learnTrilateration},
	{Posterior, learnPosterior},
	{RadioMap, learnMap},
	{Nearest, learnNearest},
}

// Methods lists the methods, in the order in which they are shown.
func Methods() []Method {
	var out []Method
	for _, m := range methods {
		out = append(out, m.name)
	}
	return out
}

// Locator finds the fix of a stay; Stay.Floor and Stay.At are not looked at. It
// is safe for use by several goroutines.
type Locator interface {
	Fix(*walk.Stay) Fix
}

// lessons are what a method learns from.
type lessons struct {
	grid *Grid
	data *propagation.Data
	fit  *propagation.Fit // to all of data
}

// learner makes locators of one method. What they share is prepared once.
type learner interface {
	// without gives the locator that learned from all stays but those at some
	// places, indices into Data.Places, and f is the fit to the rest. Nothing of
	// what is left out is in it. Several goroutines may call it at a time.
	without(f *propagation.Fit, places []int) Locator
}

func learnerOf(m Method) func(*lessons) learner {
	i := slices.IndexFunc(methods, func(e struct {
		name  Method
		learn func(*lessons) learner
	}) bool {
		return e.name == m
	})
	if i < 0 {
		return nil
	}
	return methods[i].learn
}

// left lists the stays of the lessons that are not at the places.
func (l *lessons) left(places []int) []int {
	out := make([]int, 0, l.data.Stays())
	for i, p := range l.data.PlaceOf {
		if !slices.Contains(places, p) {
			out = append(out, i)
		}
	}
	return out
}

func learnTrilateration(l *lessons) learner { return trilaterations{l.grid} }

// trilaterations learn from nothing but the fit.
type trilaterations struct{ grid *Grid }

func (t trilaterations) without(f *propagation.Fit, _ []int) Locator {
	return NewTrilateration(t.grid, f)
}
