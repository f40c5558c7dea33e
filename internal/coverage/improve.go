package coverage

import (
	"context"
	"math"
	"slices"
)

// improve swaps new places for others that lower the error to expect, after
// adding what is asked for beyond the need.
func (d *placing) improve(ctx context.Context, out *Placement) {
	sum := d.sum(nil)
	for k := range d.kept {
		d.add(sum, k, 1)
	}
	out.ErrorBeforeM = d.rms(sum)
	sum = d.sum(d.chosen)
	for range d.place.Extra {
		best, least := -1, math.Inf(1)
		for c := len(d.kept); c < len(d.reached); c++ {
			if slices.Contains(d.chosen, c) {
				continue
			}
			d.add(sum, c, 1)
			if v := d.rms(sum); v < least-1e-9 {
				best, least = c, v
			}
			d.add(sum, c, -1)
		}
		if best < 0 {
			break
		}
		d.chosen = append(d.chosen, best)
		d.add(sum, best, 1)
		d.extra++
	}
	now := d.rms(sum)
	for range mostRounds {
		changed := false
		for i, a := range d.chosen {
			if a < len(d.kept) || ctx.Err() != nil {
				continue
			}
			have := d.counts()
			d.add(sum, a, -1)
			best, least := a, now
			for b := len(d.kept); b < len(d.reached); b++ {
				if slices.Contains(d.chosen, b) || !d.canSwap(have, a, b) {
					continue
				}
				d.add(sum, b, 1)
				if v := d.rms(sum); v < least-leastGain {
					best, least = b, v
				}
				d.add(sum, b, -1)
			}
			d.add(sum, best, 1)
			if best != a {
				d.chosen[i], now, changed = best, least, true
			}
		}
		if !changed {
			break
		}
	}
	out.ErrorAfterM = now
}

// mostRounds is how often all chosen places are looked at again, and leastGain the
// metres of error that a swap must save.
const (
	mostRounds = 6
	leastGain  = 1e-4
)

// sum is the information in the sampled cells with some columns.
func (d *placing) sum(columns []int) [3][]float64 {
	var out [3][]float64
	for i := range out {
		out[i] = slices.Clone(d.base[i])
	}
	for _, c := range columns {
		d.add(out, c, 1)
	}
	return out
}

func (d *placing) add(to [3][]float64, column int, sign float64) {
	for i := range to {
		for j, v := range d.info[column][i] {
			to[i][j] += sign * float64(v)
		}
	}
}

// rms is the root mean square of the error to expect, √trace of the covariance,
// over the sampled area.
func (d *placing) rms(sum [3][]float64) float64 {
	total, area := 0.0, 0.0
	for j, c := range d.sample {
		xx, xy, yy := sum[0][j], sum[1][j], sum[2][j]
		total += d.cells[c].area * (xx + yy) / (xx*yy - xy*xy)
		area += d.cells[c].area
	}
	return math.Sqrt(total / area)
}
