package propagation

// Short lets tests see whether a refit goes by the sums of all rows.
func (r *Refits) Short(places ...int) bool {
	without := make([]bool, len(r.data.Places))
	for _, p := range places {
		without[p] = true
	}
	return r.short(without) != nil
}

// DrawnVariances are the prediction errors of level and exponent of every group, as
// variances and covariance, at a Λ over σ: about what is common to all groups.
func DrawnVariances(columns [][]float64, y []float64, group []int, t [3]float64) [][3]float64 {
	s := newMixedSums(len(columns), 2)
	x := make([]float64, len(columns))
	for i, g := range group {
		for j, c := range columns {
			x[j] = c[i]
		}
		s.add(g, x, x[:2], y[i], 1)
	}
	return s.drawn(t, make([][2][2]float64, len(s.groups))).variance
}

// Ln lets tests see the logarithm by which maps go.
var Ln = ln

// LogPhi lets tests see log Φ and the hazard.
var LogPhi = logPhi
