// Package route says where to stand and in what order: [Lay] puts a grid of
// points on a floor, [Order] makes a short tour of points, [Ways]
// lead from one place to another around walls and voids.
//
// Caveat: doors are gaps between walls. A room that is drawn without one cannot
// be reached; the tour still visits its points, and says how many legs have no
// way. Gaps narrower than [SealM] are taken for slips of the pen.
//
// The package knows plans and points; it knows no walk, no model of the level,
// no disk and no terminal.
package route
