// Package validation holds the program against what it promises, on simulated
// sites whose truth is known and on recorded walks of real ones. [Run] carries
// out the studies and gives a [Report]: rows that each say what was found, with
// its interval, what is expected, and whether that holds.
//
// Caveat: a simulated site is drawn from the model that is fitted, with faults
// added. What holds here can still fail in a building; what fails here fails
// everywhere.
//
// The package prints nothing and knows no disk, no terminal and no clock.
package validation
