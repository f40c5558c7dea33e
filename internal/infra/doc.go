// Package infra judges what the access points of a site hang on: power, ports,
// cable, racks, control, licences and the location service, and keeps the
// questions that somebody has to answer on site before anyone buys or climbs.
// [Examine] gives a [Report] of [Finding]s, each with its numbers and what it was
// checked against; where the patching is open, it proposes one.
//
// What the site file does not say is a finding of its own, [Unknown], and never
// passes for something that holds.
//
// Caveat: these are checks of figures on paper. Local codes and a person who is
// licensed for the work decide.
//
// The package knows no store, no screen and no radio.
package infra
