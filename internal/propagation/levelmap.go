package propagation

import (
	"math"

	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// LevelMap predicts the level in dBm of a radio, an index into Site.Radios, at
// every place of a lattice on a floor, an index into Site.Floors: [Fit.Level]
// of each but for rounding, by the shadows of the walls instead of place by
// place. It is NaN everywhere for a radio that is not in the fit. Several
// goroutines may call it at a time.
func (f *Fit) LevelMap(radio, floor int, l site.Lattice, out []float64) {
	if f.groupOf[radio] < 0 {
		for n := range out {
			out[n] = math.NaN()
		}
		return
	}
	links := f.links
	ref := links.radios[radio]
	at := links.site.AccessPoints[ref.AP].At
	losses := f.loss[f.groupOf[radio]]
	fixed := 0.0 // of the slabs, the same everywhere
	lost, doubt := make([]float64, len(out)), make([]bool, len(out))
	slabs := links.legs(radio, floor, func(storey int, t0, t1 float64) {
		if t1 > 0 {
			links.walls.Cast(storey, at, l.Towards(at, t1), 1, losses, lost, doubt)
		}
		if t0 > 0 {
			links.walls.Cast(storey, at, l.Towards(at, t0), -1, losses, lost, doubt)
		}
	})
	if slabs > 0 {
		fixed = float64(slabs) * losses[len(losses)-1]
	}
	rise := links.rise(radio, floor)
	rise2, least := rise*rise, site.MinDistanceM*site.MinDistanceM
	n := 0
	for j := range l.NY {
		dy := l.Origin[1] + float64(j)*l.DY - at[1]
		for i := range l.NX {
			if doubt[n] {
				out[n] = f.Level(radio, floor, l.At(n))
			} else {
				dx := l.Origin[0] + float64(i)*l.DX - at[0]
				logD := math.Log(max(least, dx*dx+dy*dy+rise2)) / (2 * math.Ln10)
				out[n] = f.falls(radio, logD) - lost[n] - fixed + links.pattern(radio, floor, orb.Point{dx + at[0], dy + at[1]})
			}
			n++
		}
	}
}

// ExponentAt is how fast the level of a radio falls at a distance in metres: its
// exponent, or that beyond the break.
func (f *Fit) ExponentAt(radio int, distanceM float64) float64 {
	if g := f.Group(radio); g != nil && g.BreakM > 0 && distanceM > g.BreakM {
		return g.Beyond
	}
	return f.Radios[radio].Exponent.Est
}
