// Package report makes the report that a customer gets: [New] writes a [Document]
// from what the other packages found, [Document.HTML] and [Document.PDF] set the same
// document as one file that needs nothing beside it.
//
// Plain values go in and bytes come out, equal for equal input; the date is one of
// the values. Whatever names come in are text and nothing else.
//
// Caveat: it computes nothing that other packages answer for. A number stands here
// as the commands print it.
//
// The package knows no disk, no terminal and no clock.
package report
