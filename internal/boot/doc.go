// Package boot keeps start-up quick on a terminal that never answers.
//
// Bubble Tea v1 asks the terminal for its background colour while packages are
// being initialised, and waits seconds for a reply, even for --version. It does
// not ask where CI is set. This package sets CI in its own init and [Restore]
// puts the environment back before a screen starts.
//
// Caveat: Go initialises packages in the order of their import paths, each
// after what it imports (Go specification, "Program initialization"). So this
// package imports nothing but os, and its path sorts before github.com.
package boot
