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
	at := links.site.AccessPoints[links.radios[radio].AP].At
	losses := f.loss[f.groupOf[radio]]
	var lost []float64
	var doubt []bool
	slabs := links.legs(radio, floor, func(storey int, t0, t1 float64) {
		if !links.walls.Any(storey) {
			return
		}
		if lost == nil {
			lost, doubt = make([]float64, len(out)), make([]bool, len(out))
		}
		if t1 > 0 {
			links.walls.Cast(storey, at, l.Towards(at, t1), 1, losses, lost, doubt)
		}
		if t0 > 0 {
			links.walls.Cast(storey, at, l.Towards(at, t0), -1, losses, lost, doubt)
		}
	})
	f.fall(radio, floor, l, out)
	if slabs > 0 {
		for n := range out {
			out[n] -= float64(slabs) * losses[len(losses)-1]
		}
	}
	for n, v := range lost {
		if out[n] -= v; doubt[n] {
			out[n] = f.Level(radio, floor, l.At(n))
		}
	}
}

// fall sets out to what distance and antenna leave of a radio's level.
func (f *Fit) fall(radio, floor int, l site.Lattice, out []float64) {
	links := f.links
	at := links.site.AccessPoints[links.radios[radio].AP].At
	rise := links.rise(radio, floor)
	const least = site.MinDistanceM * site.MinDistanceM
	level, slope := f.Radios[radio].Level1m.Est, -10*f.Radios[radio].Exponent.Est/(2*math.Ln10)
	broken := f.Groups[f.groupOf[radio]].BreakM > 0
	for j := range l.NY {
		row := out[j*l.NX : (j+1)*l.NX]
		dy := l.Origin[1] + float64(j)*l.DY - at[1]
		d2, from := dy*dy+rise*rise, l.Origin[0]-at[0]
		for i := range row {
			dx := from + float64(i)*l.DX
			row[i] = level + slope*ln(max(least, d2+dx*dx))
		}
		if !broken && !links.directional {
			continue
		}
		for i := range row {
			dx := from + float64(i)*l.DX
			if broken {
				row[i] = f.falls(radio, math.Log10(max(least, d2+dx*dx))/2)
			}
			row[i] += links.pattern(radio, floor, orb.Point{dx + at[0], dy + at[1]})
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
