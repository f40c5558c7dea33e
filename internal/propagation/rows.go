package propagation

import (
	"math"

	"footrule/internal/radio"
	"footrule/internal/walk"
)

// rows is the pairs of stay and radio of one band, radio by radio, for the
// radios that were heard at all.
type rows struct {
	room   *room
	band   radio.Band
	radios []int // index into Site.Radios, of every block
	start  []int // first row of every block, and the end

	stay  []int     // per row
	x     []float64 // −10 log10 d
	level []walk.Level
	scans []int
	wall  [][]float64 // per material, −crossings of every row

	// Levels are as an antenna's axis would have them, and the floor of hearing of
	// a row is raised by as much, so that the pattern of an antenna is in neither.
	pattern []float64 // per row, 0 or less; nil where no antenna has one

	heard  []int // rows that heard, in order
	first  []int // per block, its first place in heard, and the end
	floor  float64
	counts struct{ readings, missed, heard, silent int }
}

// floorAt is the floor of hearing of a row.
func (r *rows) floorAt(i int) float64 {
	if r.pattern == nil {
		return r.floor
	}
	return r.floor - r.pattern[i]
}

// lowestAt is the lowest level that a row heard, as it was reported.
func (r *rows) lowestAt(i int) float64 {
	if r.pattern == nil {
		return lowest(r.level[i])
	}
	return lowest(r.level[i]) + r.pattern[i]
}

func (r *rows) n() int { return len(r.stay) }

// lowest is the lowest level that a stay heard, +Inf where it heard none.
func lowest(l walk.Level) float64 {
	switch {
	case l.Heard == 0:
		return math.Inf(1)
	case l.MinDBm < 0:
		return min(l.MeanDBm, l.MinDBm)
	}
	return l.MeanDBm
}

// block gives the block of every row.
func (r *rows) blockOf(i int) int {
	lo, hi := 0, len(r.radios)
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; r.start[mid] <= i {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

// oneDistance is the ratio of the largest to the smallest distance below which
// all places of a radio count as one distance: with σ = 4 dB and 20 places the
// exponent has a standard error of 4 there, larger than any exponent.
const oneDistance = 1.25

// spread gives the number of distinct places that heard a radio and the ratio
// of the largest to the smallest of their distances.
func (r *rows) spread(block int, d *Data) (places int, ratio float64) {
	seen := map[int]bool{}
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := r.start[block]; i < r.start[block+1]; i++ {
		if r.level[i].Heard > 0 {
			seen[d.PlaceOf[r.stay[i]]] = true
			lo, hi = min(lo, r.x[i]), max(hi, r.x[i])
		}
	}
	return len(seen), math.Pow(10, (hi-lo)/10)
}
