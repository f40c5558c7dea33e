// Package export gives the facts of a site out in open formats: [Formats] lists
// them, each a list of [File]s with relative names that are safe on any file
// system and never leave the folder they are put in. [Data.Hide] replaces what
// identifies networks before anything is written.
//
// Laws: equal input gives equal bytes; a walk.csv or the JSON Lines read back give
// the visits that went in; what a format can't carry is in JSON Lines.
//
// The package writes to streams and knows no disk and no store. It is the only one
// that knows the Parquet library.
package export
