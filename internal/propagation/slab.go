package propagation

import (
	"math"
	"math/cmplx"
	"slices"
	"strings"

	"footrule/internal/radio"
)

// Medium is a building material as ITU-R P.2040 describes it: relative
// permittivity a f^b and conductivity c f^d in S/m, f in GHz.
type Medium struct {
	Name       string
	A, B, C, D float64
}

// media are those of ITU-R P.2040-3, Table 3.
var media = []Medium{
	{"concrete", 5.24, 0, 0.0462, 0.7822},
	{"brick", 3.91, 0, 0.0238, 0.16},
	{"plasterboard", 2.73, 0, 0.0085, 0.9395},
	{"wood", 1.99, 0, 0.0047, 1.0718},
	{"glass", 6.31, 0, 0.0036, 1.3394},
	{"ceiling-board", 1.48, 0, 0.0011, 1.0750},
	{"chipboard", 2.58, 0, 0.0217, 0.7800},
	{"plywood", 2.71, 0, 0.33, 0},
	{"marble", 7.074, 0, 0.0055, 0.9262},
	{"metal", 1, 0, 1e7, 0},
}

// MediumOf finds a material of ITU-R P.2040-3 by its name.
func MediumOf(name string) (Medium, bool) {
	i := slices.IndexFunc(media, func(m Medium) bool { return m.Name == name })
	if i < 0 {
		return Medium{}, false
	}
	return media[i], true
}

// Polarisation of the field against the plane of incidence.
type Polarisation uint8

// Transverse electric: the field is parallel to the slab; transverse magnetic:
// it lies in the plane of incidence. At normal incidence they are the same.
const (
	TE Polarisation = iota
	TM
)

// Slab gives the coefficients of transmission and reflection of a plane wave
// of freqMHz by a slab thickM thick, at an angle of incidence in radians (ITU-R
// P.2040-3, equation 43): with η = ε − j 17.98 σ/f, s = √(η − sin² θ) and
// q = 2π d s/λ,
//
//	r = (cos θ − s)/(cos θ + s)            TE
//	r = (η cos θ − s)/(η cos θ + s)        TM
//	T = (1 − r²) e^(−jq)/(1 − r² e^(−2jq)),  R = r (1 − e^(−2jq))/(1 − r² e^(−2jq))
//
// Without conductivity |T|² + |R|² = 1, and a slab of half a wavelength (in the
// material, at normal incidence) lets all through.
func (m Medium) Slab(freqMHz, thickM, angle float64, p Polarisation) (t, r complex128) {
	const c = 299792458.0
	f := freqMHz / 1000
	eta := complex(m.A*math.Pow(f, m.B), -17.98*m.C*math.Pow(f, m.D)/f)
	sin, cos := math.Sincos(angle)
	s := cmplx.Sqrt(eta - complex(sin*sin, 0))
	q := complex(2*math.Pi*thickM*f*1e9/c, 0) * s
	in := complex(cos, 0)
	if p == TM {
		in *= eta
	}
	r0 := (in - s) / (in + s)
	once, twice := cmplx.Exp(-1i*q), cmplx.Exp(-2i*q)
	return (1 - r0*r0) * once / (1 - r0*r0*twice), r0 * (1 - twice) / (1 - r0*r0*twice)
}

// SlabLossDB is −20 log10 |T| at normal incidence.
func (m Medium) SlabLossDB(freqMHz, thickM float64) float64 {
	t, _ := m.Slab(freqMHz, thickM, 0, TE)
	return -20 * math.Log10(cmplx.Abs(t))
}

// build is how a wall that a plan calls by a material is usually built: leaves
// of a medium (common practice).
type build struct {
	names  []string
	medium string
	thickM float64
	leaves int
}

var builds = []build{
	{[]string{"concrete"}, "concrete", 0.20, 1},
	{[]string{"brick", "masonry"}, "brick", 0.20, 1},
	{[]string{"plasterboard", "drywall", "gypsum"}, "plasterboard", 0.0125, 2},
	{[]string{"glass", "window"}, "glass", 0.006, 1},
	{[]string{"wood", "timber"}, "wood", 0.04, 1},
	{[]string{"chipboard"}, "chipboard", 0.02, 1},
	{[]string{"plywood"}, "plywood", 0.018, 1},
	{[]string{"ceiling-board", "ceiling board"}, "ceiling-board", 0.015, 1},
	{[]string{"marble", "stone"}, "marble", 0.03, 1},
	{[]string{"metal", "steel"}, "metal", 0.001, 1},
}

// Losses in dB where nothing else is known: of a light wall and of a storey at
// 1800 MHz (COST 231 multi-wall model), and the most that a wall is credited
// with: what goes around it and through its gaps is more (common practice).
const (
	LightWallDB = 3.4
	StoreyDB    = 18.3
	mostWallDB  = 40.0
)

// WallLossDB is the loss of one crossing of a wall by the name of its material
// in a plan, as usually built, at the band's typical frequency (ITU-R P.2040-3
// slabs at normal incidence, leaf by leaf). Where the name is not known it is
// [LightWallDB] and known is false.
func WallLossDB(material string, b radio.Band) (db float64, known bool) {
	name := strings.ToLower(material)
	for _, w := range builds {
		if slices.Contains(w.names, name) {
			m, _ := MediumOf(w.medium)
			return min(mostWallDB, float64(w.leaves)*m.SlabLossDB(float64(b.TypicalMHz()), w.thickM)), true
		}
	}
	return LightWallDB, false
}
