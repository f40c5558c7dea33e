// Package site holds the plan of a building and what hangs in it: [Site],
// [Floor], [Wall], [Area], [Point], [AccessPoint] and [Radio], with their
// geometry (inside an outline, walls crossed, distances), and the reader of
// site.toml. [Drawing] says which file a floor was drawn from and how; [Taped]
// distances hold a plan to the building.
//
// Coordinates are metres, x to the right and y up on the plan, heights above
// the floor. A Site that came from [Read] is valid; one made in code is
// checked by Validate.
//
// Caveat: geometry that runs along a wall, or exactly through a corner, is
// decided by stated rules and not by rounding; see [WallIndex].
//
// The package knows no store, no screen and no estimator.
package site
