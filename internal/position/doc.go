// Package position turns levels into places and says how far off they are. A
// [Locator] finds the [Fix] of a stay under a [Field] (what a propagation fit
// predicts), [Bound] is the error that no estimator can beat, [Summarise] and
// [BCa] describe errors, and [Judge] measures them honestly: the place that is
// judged was never in the fit.
//
// Caveat: the bound holds for the model. Walls that the plan does not have and
// levels that the fit got wrong come on top of it.
//
// The package knows no disk, no terminal and no scanner; randomness comes in as
// a seed.
package position
