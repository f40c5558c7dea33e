package position

import (
	"fmt"

	"footrule/internal/propagation"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// Fix is a position estimated from the levels of one stay.
type Fix struct {
	Located bool
	Reason  string // why not located, a phrase; else empty

	Floor      int // index into Site.Floors
	At         orb.Point
	LogLik     float64    // natural log of the likelihood there
	Covariance Covariance // from the curvature there
	Sure       bool       // Covariance is known; it is not with all radios on one line with the fix
	Ellipse    Ellipse    // holds the place with 95 % if the fit were exact; zero where the method leaves it to Covariance
	OnOutline  bool       // the likelihood goes on rising outside
	Heard      int        // access points heard that are in the fit
}

// LeastAPs is how many access points must be heard for a fix: two circles meet
// in two places.
const LeastAPs = 3

// Trilateration finds fixes by maximum likelihood of the place under a fit,
// silence included as the fit treats it ([propagation.Fit.LogLik]), within the
// outlines of all floors. It sets out from the best peaks of a [Grid] and climbs
// by Newton's method; where walls make the level jump a pattern search follows,
// since slopes don't see jumps. It is safe for use by several goroutines.
//
// There is no fix from fewer than [LeastAPs] access points, nor from access
// points on one line where the place mirrored in that line is inside the
// outline and fits about as well.
type Trilateration struct {
	grid   *Grid
	fit    *propagation.Fit
	levels []span // per radio
}

// NewTrilateration prepares the search under a fit of the grid's site.
func NewTrilateration(g *Grid, f *propagation.Fit) *Trilateration {
	return &Trilateration{grid: g, fit: f, levels: g.spans(f)}
}

const (
	// peaks is how many peaks of the grid are climbed, and peakDepth how much
	// less likely than the best one may be: a peak may gain that much between
	// the places of the grid.
	peaks     = 4
	peakDepth = 8.0
	// rivalDepth is half of the 95 % quantile of χ² with one degree of freedom:
	// a place less unlikely than that fits about as well.
	rivalDepth = 1.92
	// lineM is how far an access point may stand off a line and still count as
	// on it: as well as plans are drawn.
	lineM = 0.05
)

// Fix locates a stay. Stay.Floor and Stay.At are not looked at.
func (t *Trilateration) Fix(st *walk.Stay) Fix {
	heard := t.heard(st)
	fix := Fix{Heard: len(heard)}
	switch {
	case len(heard) == 0:
		fix.Reason = "no access point of the fit was heard"
		return fix
	case len(heard) < LeastAPs:
		fix.Reason = fmt.Sprintf("%d of the %d access points needed were heard", len(heard), LeastAPs)
		return fix
	}
	line, spread, onLine := throughAll(heard)
	if onLine && spread <= lineM {
		fix.Reason = fmt.Sprintf("the %d access points heard hang in one place", len(heard))
		return fix
	}

	s := newSearch(t, st)
	best := s.best(s.peaks())
	if onLine {
		rival := place{floor: best.floor, at: mirror(best.at, line)}
		if off := planar.Distance(rival.at, best.at); off > 2*t.grid.stepM && t.grid.site.Floors[best.floor].Inside(rival.at) {
			rival = s.climb(rival.floor, rival.at)
			if planar.Distance(rival.at, best.at) > t.grid.stepM && rival.l > best.l-rivalDepth {
				fix.Reason = fmt.Sprintf("the %d access points heard stand on one line: (%.1f, %.1f) and (%.1f, %.1f) fit alike",
					len(heard), best.at[0], best.at[1], rival.at[0], rival.at[1])
				return fix
			}
		}
	}
	fix.Located, fix.Floor, fix.At, fix.LogLik = true, best.floor, best.at, best.l
	fix.OnOutline = len(edgesAt(t.grid.site.Floors[best.floor].Outline, best.at)) > 0
	fix.Covariance, fix.Sure = s.covariance(best)
	fix.Ellipse = s.ellipse(best, fix.Covariance, fix.Sure)
	return fix
}

// heard gives the plan places of the access points of the fit that were heard.
func (t *Trilateration) heard(st *walk.Stay) []orb.Point {
	var out []orb.Point
	last := -1
	for k, r := range t.grid.refs {
		if t.fit.Radios[k].InFit && k < len(st.Levels) && st.Levels[k].Heard > 0 && r.AP != last {
			out = append(out, t.grid.foot[k])
			last = r.AP
		}
	}
	return out
}

// throughAll gives the line through the two places furthest from each other's
// kind, how far apart they are, and whether all places lie on it.
func throughAll(ps []orb.Point) (line [2]orb.Point, length float64, all bool) {
	line = [2]orb.Point{ps[0], ps[0]}
	for range 2 {
		for _, p := range ps {
			if planar.Distance(line[0], p) > planar.Distance(line[0], line[1]) {
				line[1] = p
			}
		}
		line[0], line[1] = line[1], line[0]
	}
	length = planar.Distance(line[0], line[1])
	if length <= lineM {
		return line, length, true
	}
	for _, p := range ps {
		if planar.Distance(p, mirror(p, line)) > 2*lineM {
			return line, length, false
		}
	}
	return line, length, true
}

// mirror reflects p in a line.
func mirror(p orb.Point, line [2]orb.Point) orb.Point {
	ux, uy := line[1][0]-line[0][0], line[1][1]-line[0][1]
	s := ((p[0]-line[0][0])*ux + (p[1]-line[0][1])*uy) / (ux*ux + uy*uy)
	return orb.Point{2*(line[0][0]+s*ux) - p[0], 2*(line[0][1]+s*uy) - p[1]}
}
