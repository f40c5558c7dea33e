// Package tui shows a walk and takes it along: [Model] is the Bubble Tea program
// over a [walk.Session], [Plain] the same walk as prompts, line by line. Both are
// made from a [Config], which brings in everything that computes or has effects.
//
// Caveat: a session belongs to the model (or the prompts) that was given it;
// nothing else may change it meanwhile. What Config's functions get are
// snapshots, and they are called from other goroutines.
//
// The package does no mathematics, opens no file, knows no radio and no
// estimator; it imports neither store nor propagation nor position.
package tui
