// Package coverage says where on the floors of a site how many access points
// are heard, and where further ones should hang. [Predict] maps the levels of a
// propagation fit onto [Cells], [Measured] those of a walk; from a [Map] come the
// shares of area heard by at least k, their probabilities, [Hole]s, the bound
// and the expected error; [Place] finds the fewest added access points.
//
// Caveat: a predicted map is as good as the model behind it. Walls that the
// plan does not have are holes that the map does not have.
//
// The package knows no disk, no terminal and no scanner.
package coverage
