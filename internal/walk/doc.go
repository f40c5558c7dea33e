// Package walk holds what a surveyor did: [Walk], [Visit], [Scan] and [Mark]
// as plain facts, [Session] as the state machine that a screen or a prompt
// drives to make them, [Stays] that turns readings into levels per radio, and
// the reader of walk.csv.
//
// Caveat: facts are only ever added. A visit that is taken back stays on
// record with a mark that voids it; ask [Walk.Standing] for what counts.
//
// The package knows no disk, no terminal and no estimator; time and sweeps
// come in as arguments.
package walk
