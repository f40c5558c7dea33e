// Command speed holds the time that the program takes against R, numpy and scipy
// doing the same computation on the same numbers, in one run on one machine. It
// makes the numbers (fixed seeds), runs every reference and our own code on them,
// checks that both agree to the digits that are stated, and prints a table of
// ratios:
//
//	go run ./internal/validation/speed
//
// A reference that is not installed is named, with how to get it, and left out.
// The scripts that the references run stand in ref: vectorised, on whatever BLAS
// is installed; they read their numbers before the clock starts.
package main
