// Package propagation estimates how levels fall off in a building: [Observe]
// lines up levels with distances and walls, [Estimate] fits a [Model] to them,
// and a [Fit] predicts the level of any radio at any place.
//
// Caveat: a radio that was not heard is not therefore weak. How silence enters
// is part of the model; see [Options].
//
// The package knows no disk, no terminal and no scanner.
package propagation
