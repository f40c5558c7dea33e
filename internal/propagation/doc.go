// Package propagation estimates how levels fall off in a building: [Observe]
// lines up levels with distances and walls into a [Data], [Estimate] fits a
// [Model] to them, and a [Fit] predicts the level of any radio at any place,
// says how likely an observed level is, and which levels it doubts.
//
// [Refits] fits again without some places, for leave-one-out.
//
// [LeastSquares], [CensoredNormal], [RobustLinear] and [RandomEffects] are the same
// numerics on plain arrays.
//
// Caveat: a radio that was not heard is not therefore weak. How silence enters
// is part of the model, and the same in the fit and in [Fit.LogLik]; see
// [Options].
//
// The package knows no disk, no terminal and no scanner.
package propagation
