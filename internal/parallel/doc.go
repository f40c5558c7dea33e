// Package parallel runs a loop on all processors. What the body writes has to be
// told apart by the index, so that results don't depend on how many there are.
package parallel
