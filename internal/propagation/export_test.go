package propagation

// Short lets tests see whether a refit goes by the sums of all rows.
func (r *Refits) Short(places ...int) bool {
	without := make([]bool, len(r.data.Places))
	for _, p := range places {
		without[p] = true
	}
	return r.short(without) != nil
}
