// Package input holds the one error that bad input ends in: what is wrong,
// where it stands (file, line, column) and what was expected instead.
//
// Readers of site.toml and walk.csv return [*Error]; commands print it as a
// single line and exit with status 2. The package imports nothing of ours.
package input
