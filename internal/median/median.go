package median

import (
	"math"
	"slices"
)

// Of is the median of v, the mean of the middle two where they are even; NaN for
// none. v stays as it is.
func Of(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	v = slices.Clone(v)
	slices.Sort(v)
	return (v[(len(v)-1)/2] + v[len(v)/2]) / 2
}
