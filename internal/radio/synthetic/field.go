package synthetic

import (
	"math"
	"math/rand/v2"

	"github.com/paulmach/orb"
)

// fieldWaves is how many cosines make a field. The marginal kurtosis is then
// 3 − 1.5/fieldWaves, and a field costs some 2 µs a place.
const fieldWaves = 192

// field is a Gaussian random field on the plane with mean 0, variance 1 and
// correlation exp(−d/l), by the spectral method (Shinozuka and Deodatis 1991, from memory):
//
//	S(p) = √(2/M) Σ_m cos(k_m · p + φ_m)
//
// φ is uniform, the direction of k is uniform and its length has the spectrum
// of the exponential correlation in two dimensions, whose distribution function
// is F(|k|) = 1 − 1/√(1 + l²|k|²). Lengths are stratified: one from each of M
// equally likely parts, which leaves the correlation as it is over many fields
// and keeps it nearer to that in each.
type field struct {
	waves []wave
}

type wave struct{ kx, ky, phase float64 }

func newField(rng *rand.Rand, lengthM float64) field {
	f := field{waves: make([]wave, fieldWaves)}
	for m := range f.waves {
		u := (float64(m) + rng.Float64()) / fieldWaves
		k := math.Sqrt(1/((1-u)*(1-u))-1) / lengthM
		sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
		f.waves[m] = wave{k * cos, k * sin, 2 * math.Pi * rng.Float64()}
	}
	return f
}

func (f field) at(p orb.Point) float64 {
	sum := 0.0
	for _, w := range f.waves {
		sum += math.Cos(w.kx*p[0] + w.ky*p[1] + w.phase)
	}
	return sum * math.Sqrt(2.0/fieldWaves)
}
