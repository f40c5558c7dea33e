package canvas

import "slices"

// Steps is the number of steps of a ramp.
const Steps = 9

// Ramp gives the colour of step 0 (light) to Steps−1 (dark), clamped: from a
// pale mint over teal to a deep blue, always in one hue direction.
//
// The steps are equal pieces of a path in CIELAB (D65) along which L* falls in a
// line from 93 to 22, the hue angle turns in a line from 150° to 270° and
// chroma follows a quadratic from 22 over 30 to 20, as far as sRGB reaches.
// Laws, each tested under its number:
//
//  1. neighbours differ by 11 in CIELAB (ΔE*ab), all within 5 %;
//  2. L* falls from step to step, so that the ramp also works without colour;
//  3. seen without long- or medium-wave cones (Machado, Oliveira and Fernandes
//     2009, severity 1.0) L* still falls, and the smallest difference is at
//     least three quarters of the largest;
//  4. the nine entries of the 256-colour palette are different, and L* falls.
func Ramp(step int) Color { return ramp[min(Steps-1, max(0, step))] }

var ramp = [Steps]Color{
	Hex(0xccf5d5), Hex(0xa5ddc5), Hex(0x81c6b8), Hex(0x60aeac), Hex(0x4396a0),
	Hex(0x2d7e91), Hex(0x216680), Hex(0x1d4d6a), Hex(0x1c3652),
}

// On gives a colour that can be read on step: black on the light ones, white
// on the dark ones.
func On(step int) Color {
	if step <= 4 {
		return Hex(0x000000).As16(0)
	}
	return Hex(0xffffff).As16(15)
}

// Scale cuts a quantity into steps at fixed edges, ascending. Step i holds the
// values from Edges[i−1] up to but not including Edges[i].
type Scale struct {
	Edges [Steps - 1]float64
}

// Step gives the step of v, 0 to Steps−1; −1 where v is not a number.
func (s Scale) Step(v float64) int {
	if v != v {
		return -1
	}
	i, found := slices.BinarySearch(s.Edges[:], v)
	if found {
		i++
	}
	return i
}

// LevelScale cuts levels in dBm, and ErrorScale position errors in metres, the
// same on screens and on pictures. They are not to be changed.
var (
	LevelScale = Scale{Edges: [Steps - 1]float64{-88, -82, -76, -70, -64, -58, -52, -46}}
	ErrorScale = Scale{Edges: [Steps - 1]float64{1, 2, 3, 4, 5, 7, 10, 15}}
)
