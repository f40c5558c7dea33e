package position

import (
	"math"

	"footrule/internal/kriging"
	"footrule/internal/propagation"

	"github.com/paulmach/orb"
)

// spots are where the stays of a walk were made, each once, and the ways there.
type spots struct {
	at     []orb.Point
	floor  []int
	ofStay []int // per stay of the data
	ways
}

func spotsOf(l *lessons) *spots {
	s := stoodOf(l)
	s.ways = waysTo(l.data.Site, l.grid.refs, s.floor, s.at)
	return s
}

// stoodOf is spots without the ways.
func stoodOf(l *lessons) *spots {
	type key struct {
		floor int
		at    orb.Point
	}
	s := &spots{}
	seen := map[key]int{}
	for i, at := range l.data.At {
		k := key{l.data.Floor[i], at}
		n, ok := seen[k]
		if !ok {
			n = len(s.at)
			seen[k] = n
			s.at, s.floor = append(s.at, at), append(s.floor, k.floor)
		}
		s.ofStay = append(s.ofStay, n)
	}
	return s
}

// left says of every spot whether a stay is left there without some places.
func (s *spots) left(l *lessons, without map[int]bool) []bool {
	out := make([]bool, len(s.at))
	for i, n := range s.ofStay {
		out[n] = out[n] || !without[l.data.PlaceOf[i]]
	}
	return out
}

// row is what the stays at one place say of one radio: the mean of their levels.
type row struct {
	places []int // of the data
	at     orb.Point
	level  float64 // mean over stays that heard
	spots  []int   // of those stays
	within float64 // Σ (level of a stay − mean)²
}

// series is one radio on one floor as its rows say. What a fit leaves there is
// linear in its parameters: it is what the fit to all leaves, and the difference
// of the two in level, exponent and losses.
type series struct {
	radio, floor int
	rows         []row
	family       *kriging.Family
	materials    []string // crossed on the way to a row or a cell
	linear       *kriging.Linear
	maps         *keep[kriging.Node, *kriging.Map] // of all series with the layout
	carried      keep[kriging.Node, *kriging.Carried]
}

// mostRows is how many rows a series may have. Where more places were walked,
// as when every scan has one of its own, those next to each other become one row.
const mostRows = 400

// seriesOf gathers the rows of a radio on a floor from the stays that heard it.
func seriesOf(l *lessons, s *spots, radio, floor int) *series {
	out := &series{radio: radio, floor: floor}
	type key struct {
		place int
		x, y  float64
	}
	var stays []int
	for i := range l.data.Scans {
		if l.data.Floor[i] == floor && l.data.Levels[i*l.data.Radios+radio].Heard > 0 {
			stays = append(stays, i)
		}
	}
	side := 0.0
	for {
		var order []key
		groups := map[key][]int{}
		for _, i := range stays {
			at := l.data.At[i]
			k := key{l.data.PlaceOf[i], at[0], at[1]}
			if side > 0 {
				k = key{-1, floorTo(at[0], side), floorTo(at[1], side)}
			}
			if groups[k] == nil {
				order = append(order, k)
			}
			groups[k] = append(groups[k], i)
		}
		if len(order) > mostRows {
			side = max(.1, 1.25*side)
			continue
		}
		for _, k := range order {
			out.rows = append(out.rows, rowOf(l.data, s, radio, groups[k]))
		}
		return out
	}
}

func rowOf(d *propagation.Data, s *spots, radio int, stays []int) row {
	var r row
	n := float64(len(stays))
	for _, i := range stays {
		r.level += d.Levels[i*d.Radios+radio].MeanDBm / n
		r.at[0] += d.At[i][0] / n
		r.at[1] += d.At[i][1] / n
		r.spots = append(r.spots, s.ofStay[i])
		if len(r.places) == 0 || r.places[len(r.places)-1] != d.PlaceOf[i] {
			r.places = append(r.places, d.PlaceOf[i])
		}
	}
	for _, i := range stays {
		e := d.Levels[i*d.Radios+radio].MeanDBm - r.level
		r.within += e * e
	}
	return r
}

// layout is where the rows are; one of more stays is less noisy.
func (s *series) layout() kriging.Layout {
	var l kriging.Layout
	for i := range s.rows {
		l.At = append(l.At, s.rows[i].at)
		l.Noise = append(l.Noise, 1/float64(len(s.rows[i].spots)))
	}
	return l
}

// columns prepare residuals: the first is what the fit to all leaves, the others
// are the terms of a level with the sign turned.
func (s *series) columns(g *ways, f *propagation.Fit) [][]float64 {
	out := [][]float64{make([]float64, len(s.rows))}
	levels := g.level(f, s.radio)
	for i := range s.rows {
		out[0][i] = s.rows[i].level - s.rows[i].mean(levels)
	}
	for _, term := range g.terms(s.radio, s.materials) {
		c := make([]float64, len(s.rows))
		for i := range s.rows {
			c[i] = -s.rows[i].mean(term)
		}
		out = append(out, c)
	}
	return out
}

// mean is that of a value of spots over the stays of a row.
func (r *row) mean(of []float64) float64 {
	sum := 0.0
	for _, spot := range r.spots {
		sum += of[spot] / float64(len(r.spots))
	}
	return sum
}

// residuals are the rows less what a fit predicts, as kriging takes them; rows
// at the places left out do not count.
func (s *series) residuals(all, f *propagation.Fit, without map[int]bool) kriging.Series {
	out := kriging.Series{Linear: s.linear, Coef: []float64{1}}
	was, is := parametersOf(all, s.radio, s.materials), parametersOf(f, s.radio, s.materials)
	for j := range is {
		out.Coef = append(out.Coef, is[j]-was[j])
	}
	for i := range s.rows {
		r := &s.rows[i]
		gone := false
		for _, p := range r.places {
			gone = gone || without[p]
		}
		if gone {
			out.Without = append(out.Without, i)
			continue
		}
		out.WithinSquare += r.within
		out.WithinDF += len(r.spots) - 1
	}
	return out
}

func floorTo(x, side float64) float64 { return math.Floor(x/side) * side }
