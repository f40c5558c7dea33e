// Package draft edits a plan: Draft holds a site with its history, adds, moves
// and deletes what is on a floor, and takes steps back and on again. A Ref names
// one thing that can be taken hold of: an access point, a point, a corner of the
// outline, a wall or an area.
//
// Caveat: every step leaves a site that [site.Site.Validate] accepts, or is not
// made; the plan that came in is never changed.
//
// The package knows no disk and no screen.
package draft
