// Package figure draws pictures as shapes on a page: [Figure] takes rectangles,
// polygons, lines, circles and text, and gives them out as SVG or PNG, the same
// picture and byte for byte the same for equal input. [Plan] is a floor plan with
// cells in the steps of the canvas' ramp, walls, access points, a scale and a
// legend.
//
// Plain values go in and bytes come out. Text in an SVG is set by the font that the
// reader has; its room is measured in the Go fonts, which the PNG is set in.
//
// The package knows nothing of sites or levels, no disk and no terminal.
package figure
