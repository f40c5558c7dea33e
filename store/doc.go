// Package store remembers: one file per site holds the revisions of the plan
// and the walks with their visits and marks. [Create] and [Open] give a
// [Store]; BeginWalk, AppendVisit and AppendMark add facts, Import adds a
// captured walk as a whole, Plan, Headers, Walk and Walks read them back.
//
// Only facts are stored, and they are only ever added: what is computed from
// them is computed again.
//
// A call that adds something returns after the data were handed to the disk
// (fsync), so that what was reported as saved survives a killed process and,
// as far as the disk keeps its promise, a power cut. When a call fails, the
// facts saved before stay as they were and the store stays usable.
//
// Caveat: the file does not shrink; room that an import needed for sorting is
// used again by what is added next. One process at a time may write; several
// may read.
//
// Laws, tested under their numbers:
//
//  1. What was acknowledged is there, whole and equal, after a kill.
//  2. What was not acknowledged is there whole or not at all.
//  3. A damaged file gives an error or the data that were stored, never other
//     data and never a panic.
//  4. An import adds everything or nothing.
//
// This is the only package that knows the file on disk and the only one that
// imports bbolt. It never imports the screens or the commands.
package store
