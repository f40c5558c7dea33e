// Package drill makes training cases: an invented building whose truth is known,
// a plan of it as the trainee gets it, and something wrong with one of them, or
// nothing. [Lookup] finds a case by its name, [Make] builds it, a [Scanner] lets
// it be walked, [Hand] has it walked already, [Grade] holds answers against the
// truth, and [Reveal] lays the truth beside what the walk made of it.
//
// Equal specs give equal buildings, walks and sheets; randomness comes from the
// spec's seed, time from a clock that is passed in.
//
// Caveat: a [Record] keeps a case out of sight, no more. Whoever wants to look
// can.
//
// The package knows no store and no screen.
package drill
