package coverage

import (
	"fmt"
	"math"
	"slices"

	"footrule/internal/propagation"
	"footrule/internal/radio"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// Source makes the model of a plan: the same building with access points added
// or moved. Its notes say what stands in for what is not known.
type Source func(*site.Site) (*propagation.Fit, []string, error)

// Box is an access point to be added, as far as it does not depend on where.
type Box struct {
	Bands   []radio.Band
	HeightM float64 // above its floor
}

// DefaultHeightM is where an access point hangs if nothing says otherwise: under
// a ceiling (common practice: 2.5 to 4 m).
const DefaultHeightM = 2.8

// LikeThose gives the box that most resembles the site's: the bands that most of
// its boxes have, and the median of their heights. Without any it has 2.4 and 5 GHz.
func LikeThose(s *site.Site) Box {
	if len(s.AccessPoints) == 0 {
		return Box{Bands: []radio.Band{radio.Band2, radio.Band5}, HeightM: DefaultHeightM}
	}
	var b Box
	var heights []float64
	for _, band := range radio.Bands() {
		n := 0
		for i := range s.AccessPoints {
			if slices.ContainsFunc(s.AccessPoints[i].Radios, func(r site.Radio) bool { return r.Band == band }) {
				n++
			}
		}
		if 2*n > len(s.AccessPoints) {
			b.Bands = append(b.Bands, band)
		}
	}
	if len(b.Bands) == 0 {
		b.Bands = []radio.Band{s.AccessPoints[0].Radios[0].Band}
	}
	for i := range s.AccessPoints {
		heights = append(heights, s.AccessPoints[i].HeightM)
	}
	slices.Sort(heights)
	b.HeightM = heights[len(heights)/2]
	return b
}

// Mount is a place where an access point can hang.
type Mount struct {
	Floor int // index into Site.Floors
	At    orb.Point
}

// DefaultSpacingM is how far apart mounts are tried (common practice: access
// points stand 12 to 20 m apart, so that 3 m is fine enough).
const DefaultSpacingM = 3.0

// MostMounts is the most places that are tried.
const MostMounts = 3000

// Mounts lists where on a floor an access point can hang: a square grid about
// spacingM apart and half of that from the edges of its bounding box, and a place
// half a spacing within each corner; all within the outline, outside of voids
// and of areas kept free of mounts.
func Mounts(s *site.Site, floor int, spacingM float64) ([]Mount, error) {
	if !(spacingM > 0) || math.IsInf(spacingM, 0) {
		return nil, fmt.Errorf("a spacing of %g m; give metres above 0", spacingM)
	}
	f := &s.Floors[floor]
	box := f.BoundingBox()
	w, h := box.Max[0]-box.Min[0], box.Max[1]-box.Min[1]
	if w/spacingM*(h/spacingM) > MostMounts {
		return nil, fmt.Errorf("floor %q has more than %d places %g m apart; give a larger spacing", f.ID, MostMounts, spacingM)
	}
	var out []Mount
	add := func(p orb.Point) {
		if !f.Mountable(p) {
			return
		}
		for _, m := range out {
			if planar.Distance(m.At, p) < spacingM/4 {
				return
			}
		}
		out = append(out, Mount{floor, p})
	}
	nx, ny := max(1, int(math.Ceil(w/spacingM-1e-9))), max(1, int(math.Ceil(h/spacingM-1e-9)))
	for j := range ny {
		for i := range nx {
			p := orb.Point{box.Min[0] + (float64(i)+.5)*w/float64(nx), box.Min[1] + (float64(j)+.5)*h/float64(ny)}
			add(orb.Point{tidy(p[0]), tidy(p[1])})
		}
	}
	n := len(f.Outline)
	for i, c := range f.Outline {
		// Along the bisector of the corner, inwards.
		u, v := direction(c, f.Outline[(i+n-1)%n]), direction(c, f.Outline[(i+1)%n])
		b := orb.Point{u[0] + v[0], u[1] + v[1]}
		if l := math.Hypot(b[0], b[1]); l > 1e-6 {
			for _, sign := range []float64{1, -1} {
				add(orb.Point{tidy(c[0] + sign*b[0]/l*spacingM/2), tidy(c[1] + sign*b[1]/l*spacingM/2)})
			}
		}
	}
	return out, nil
}

// tidy rounds to centimetres: nobody drills closer.
func tidy(v float64) float64 { return math.Round(100*v) / 100 }

func direction(a, b orb.Point) orb.Point {
	l := planar.Distance(a, b)
	return orb.Point{(b[0] - a[0]) / l, (b[1] - a[1]) / l}
}

// with adds a box at every mount to a copy of the site, under IDs that are free.
func with(s *site.Site, box Box, mounts []Mount, prefix string) *site.Site {
	out := s.Clone()
	taken := map[string]bool{}
	for i := range s.AccessPoints {
		taken[s.AccessPoints[i].ID] = true
	}
	n := 0
	for _, m := range mounts {
		ap := site.AccessPoint{Floor: s.Floors[m.Floor].ID, At: m.At, HeightM: box.HeightM}
		for {
			n++
			ap.ID = fmt.Sprintf("%s%d", prefix, n)
			if !taken[ap.ID] {
				break
			}
		}
		for _, b := range box.Bands {
			ap.Radios = append(ap.Radios, site.Radio{Band: b})
		}
		out.AccessPoints = append(out.AccessPoints, ap)
	}
	return out
}
