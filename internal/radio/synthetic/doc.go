// Package synthetic gives levels from a model with known truth: [Truth] says
// how every radio, wall and receiver of a site really is, an [Environment]
// draws one that is typical, and a [Scanner] takes sweeps of it. Faults are
// planted by changing the truth. [Demo] is an invented site to try things on.
//
// Equal sites, truths, seeds, clocks and calls give equal sweeps. Time is a
// [Clock]: a [SimulatedClock] lets a walk take no time.
//
// Caveat: shadowing is one Gaussian field per radio with an exponential
// correlation. Real buildings are less tidy, so what an estimator achieves here
// is the best that it can do, not what it does on a real floor.
//
// The package knows no estimator, no store and no screen.
package synthetic
