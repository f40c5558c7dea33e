// Package drawing reads the plans that people have and makes floors of them:
// [Read] takes DXF, SVG or GeoJSON to a [Drawing] of shapes on layers, [Assign]
// says what its layers stand for, and [Floor] builds a site.Floor from it by the
// transform of a site.Drawing. [Picture] checks a PNG or JPEG before it is kept.
//
// What is read comes from strangers, so every reader has bounds: on the length
// of a line, on corners and layers kept ([MaxCorners], [MaxLayers]), on nesting
// ([MaxDepth]) and on copies ([MaxCopies]). A DXF is read as a stream and only
// layers that are asked for take memory.
//
// Caveat: a unit in a file's header is what a program's template said, not what
// the draughtsman meant. Hold the plan to a taped distance; see site.Taped.
//
// The package opens no file, and knows no store and no screen.
package drawing
