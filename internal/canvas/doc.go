// Package canvas draws pictures made of character cells as plain values:
// [Canvas] and [Cell], [Dots] for lines finer than a cell, [Viewport] from
// metres to cells, [Ramp] for quantities, and writers that turn a canvas into
// SGR text ([Canvas.AppendTo]) or into SVG ([Canvas.SVG]).
//
// Caveat: the width of a character is decided here, rune by rune, and not asked
// of the terminal. What terminals disagree on (joiners, variation selectors,
// flags, stacked marks) is simplified by [Clean] before it is drawn.
//
// The package imports no terminal library and no package of ours.
package canvas
