// Package kriging predicts a quantity in the plane from values at places, by a
// Gaussian process of mean zero with the exponential kernel
//
//	cov(g(p), g(q)) = s² exp(−|p − q|/ℓ),  y_i = g(p_i) + e_i,  var e_i = ρ s² w_i
//
// (Cressie, Statistics for Spatial Data, 1993, ch. 3; Rasmussen and Williams,
// Gaussian Processes for Machine Learning, 2006, ch. 2 and 5). A [System] is the
// covariance of some rows, factored once: it leaves rows out in closed form. A
// [Map] carries a system onto many places: predictions there, without some rows,
// and how sure they would be after further rows. A [Family] keeps the systems of
// one layout over a lattice of hyperparameters, and [Best] chooses a node of it
// by marginal likelihood, for several series that share them.
//
// Caveat: values must be less their mean already; the process knows no trend, and
// far from all rows a prediction is 0 with variance s².
//
// The package knows plain arrays alone: metres, and the unit of the values.
package kriging
