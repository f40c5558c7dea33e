package route

import (
	"fmt"
	"math"
	"slices"

	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

const (
	// WallMarginM is kept from walls and from the outline where possible: a
	// person with a laptop needs it (common practice).
	WallMarginM = 0.3
	// MaxPoints is the most points that Lay puts on a floor; a walk of one
	// minute a point would take two weeks.
	MaxPoints = 20000
)

// Lay puts a grid of points on a floor, spacingM metres apart, centred in the
// box around the outline. A grid place closer than [WallMarginM] to a wall, the
// outline or a void, or where nobody can stand, is moved to the closest place
// that keeps the margin, by at most a quarter of the spacing; where there is
// none it stays if someone can stand there and is left out otherwise.
//
// Points come row by row from the lower left, with IDs P01, P02 and so on, in
// as many digits as the largest number needs. IDs of the floor's own points and
// those in taken are passed over: give the IDs of the other floors there.
func Lay(f *site.Floor, spacingM float64, taken ...string) ([]site.Point, error) {
	if !(spacingM > 0) || math.IsInf(spacingM, 1) {
		return nil, fmt.Errorf("spacing of %v m; give a number of metres above 0", spacingM)
	}
	box := f.BoundingBox()
	nx, x0 := rows(box.Min[0], box.Max[0], spacingM)
	ny, y0 := rows(box.Min[1], box.Max[1], spacingM)
	if n := nx * ny; n > MaxPoints {
		return nil, fmt.Errorf("a spacing of %v m gives some %.0f points on floor %q, more than %d; give a wider one", spacingM, n, f.ID, MaxPoints)
	}
	keep := margins(f)
	var at []orb.Point
	for j := range int(ny) {
		for i := range int(nx) {
			if p, ok := settle(f, keep, orb.Point{x0 + float64(i)*spacingM, y0 + float64(j)*spacingM}, spacingM/4); ok {
				at = append(at, p)
			}
		}
	}
	return number(f, at, taken), nil
}

// rows is how many rows fit between lo and hi, and where the first one is.
func rows(lo, hi, spacing float64) (n, first float64) {
	n = math.Max(1, math.Round((hi-lo)/spacing))
	return n, (lo + hi - (n-1)*spacing) / 2
}

// margins gives every line to keep off.
func margins(f *site.Floor) []orb.LineString {
	lines := []orb.LineString{append(orb.LineString(slices.Clone(f.Outline)), f.Outline[0])}
	for _, w := range f.Walls {
		lines = append(lines, w.Line)
	}
	for _, a := range f.Areas {
		if a.Kind == site.Void {
			lines = append(lines, append(orb.LineString(slices.Clone(a.Polygon)), a.Polygon[0]))
		}
	}
	return lines
}

// settle moves a grid place by at most reach, on a raster of 8 steps.
func settle(f *site.Floor, lines []orb.LineString, p orb.Point, reach float64) (orb.Point, bool) {
	var by []orb.LineString // all that can matter
	for _, l := range lines {
		if l.Bound().Pad(reach*math.Sqrt2 + WallMarginM).Contains(p) {
			by = append(by, l)
		}
	}
	free := func(q orb.Point) bool {
		for _, l := range by {
			if planar.DistanceFrom(l, q) < WallMarginM-site.OnLineM {
				return false
			}
		}
		return f.Walkable(q)
	}
	if free(p) {
		return p, true
	}
	best, least := orb.Point{}, math.Inf(1)
	const steps = 8
	for j := -steps; j <= steps; j++ {
		for i := -steps; i <= steps; i++ {
			dx, dy := float64(i)*reach/steps, float64(j)*reach/steps
			if d := math.Hypot(dx, dy); d < least-1e-9 && d <= reach+1e-9 {
				if q := (orb.Point{p[0] + dx, p[1] + dy}); free(q) {
					best, least = q, d
				}
			}
		}
	}
	if !math.IsInf(least, 1) {
		return best, true
	}
	return p, f.Walkable(p)
}

// number gives IDs in order and passes over those that are taken.
func number(f *site.Floor, at []orb.Point, taken []string) []site.Point {
	used := map[string]bool{}
	for _, id := range taken {
		used[id] = true
	}
	for _, p := range f.Points {
		used[p.ID] = true
	}
	for digits := len(fmt.Sprint(max(10, len(at)))); ; digits++ {
		out := make([]site.Point, 0, len(at))
		for n := 1; len(out) < len(at); n++ {
			id := fmt.Sprintf("P%0*d", digits, n)
			if len(id) > digits+1 {
				break // too many are taken: one digit more
			}
			if !used[id] {
				out = append(out, site.Point{ID: id, At: at[len(out)]})
			}
		}
		if len(out) == len(at) {
			return out
		}
	}
}
