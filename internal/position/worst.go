package position

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"footrule/internal/propagation"
	"footrule/internal/say"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

// WorstPlace is a place with a large error, and why.
type WorstPlace struct {
	Place          walk.Place
	Point          string // empty where only coordinates are known
	Floor, Area    string // Area is Elsewhere outside of every zone
	At             orb.Point
	Fixes, Located int
	MeanErrorM     float64 // over located fixes, NaN for none
	Why            string  // a sentence
}

// Worst gives the worst places, at most n: those with no fix at all, then by the
// mean of their errors. The reason is that of their worst fix.
func (e *Errors) Worst(n int) []WorstPlace {
	var out []WorstPlace
	for i := 0; i < len(e.Judged); {
		first := &e.Judged[i]
		w := WorstPlace{Place: first.Place, Point: first.Point, Floor: first.Floor, Area: cmp.Or(first.Area, Elsewhere), At: first.At}
		sum := 0.0
		k := i
		for ; k < len(e.Judged) && e.Judged[k].Place == first.Place; k++ {
			w.Fixes++
			if e.Judged[k].Fix.Located {
				w.Located++
				sum += e.Judged[k].ErrorM
			}
		}
		w.MeanErrorM = sum / float64(w.Located)
		w.Why = e.why(e.Judged[i:k])
		out = append(out, w)
		i = k
	}
	slices.SortStableFunc(out, func(a, b WorstPlace) int {
		if a.Located == 0 || b.Located == 0 {
			return cmp.Compare(min(a.Located, 1), min(b.Located, 1))
		}
		return cmp.Compare(b.MeanErrorM, a.MeanErrorM)
	})
	return out[:min(n, len(out))]
}

const (
	// A bound so many times that of the site is large.
	largeBound = 1.3
	// Errors of a place whose mean vector is so much of their mean size go one way.
	oneWay = 0.8
	// mostDoubts are named of one fix.
	mostDoubts = 2
)

// why says in a sentence what stands out at a place: few access points, all of
// them to one side, a large bound, levels far off the fit.
func (e *Errors) why(judged []Judged) string {
	worst := &judged[0]
	var mean orb.Point
	size, located := 0.0, 0
	for i := range judged {
		r := &judged[i]
		if !worst.Fix.Located {
			break
		}
		if !r.Fix.Located || r.ErrorM > worst.ErrorM {
			worst = r
		}
		if r.Fix.Located {
			mean[0], mean[1] = mean[0]+r.VectorM[0], mean[1]+r.VectorM[1]
			size += r.ErrorM
			located++
		}
	}
	var says []string
	add := func(format string, args ...any) { says = append(says, fmt.Sprintf(format, args...)) }
	if !worst.Fix.Located {
		add("%s", worst.Fix.Reason)
	} else {
		if !worst.rightFloor() {
			add("the levels look like those of floor %s", worst.FixFloor)
		}
		if worst.Fix.Heard <= LeastAPs {
			add("only %d access points were heard, and a fix wants more than %d", worst.Fix.Heard, LeastAPs)
		}
	}
	for _, d := range worst.Doubts[:min(mostDoubts, len(worst.Doubts))] {
		switch {
		case d.Unheard:
			add("%s was not heard, and the fit expects %s dBm there", d.Name, say.Fixed(d.PredictDBm, 0))
		case d.ResidualDB < 0:
			add("%s is %.0f dB weaker than the fit expects", d.Name, -d.ResidualDB)
		default:
			add("%s is %.0f dB stronger than the fit expects", d.Name, d.ResidualDB)
		}
	}
	switch {
	case worst.OneSide && worst.Fix.Heard > 0:
		add("all access points heard are to one side of it")
	case worst.Fix.OnOutline:
		add("the levels draw the fix out of the outline")
	}
	switch {
	case math.IsNaN(worst.BoundM):
		add("the levels to expect there say next to nothing of the place")
	case worst.BoundM > largeBound*e.BoundRMSM:
		add("its bound of %.1f m is larger than the %.1f m of the site", worst.BoundM, e.BoundRMSM)
	}
	if len(says) == 0 {
		switch {
		case located > 2 && math.Hypot(mean[0], mean[1]) > oneWay*size:
			add("all of its fixes are off the same way: a wall that the plan does not have, or a point recorded at the wrong place")
		case worst.Held():
			add("nothing stands out, and its ellipse holds the place: chance")
		default:
			add("no single level stands out: many are a little off, as behind a wall that the plan does not have")
		}
	}
	return strings.Join(says, "; ")
}

// oneSide reports whether all access points of the fit that a stay heard are to
// one side of where it was made, on the plan: outside of their hull.
func oneSide(g *Grid, f *propagation.Fit, st *walk.Stay) bool {
	var at []float64
	for k := range f.Radios {
		if !f.Radios[k].InFit || k >= len(st.Levels) || st.Levels[k].Heard == 0 {
			continue
		}
		x, y := g.foot[k][0]-st.At[0], g.foot[k][1]-st.At[1]
		if math.Hypot(x, y) < lineM { // overhead
			return false
		}
		at = append(at, math.Atan2(y, x))
	}
	if len(at) == 0 {
		return true
	}
	slices.Sort(at)
	gap := at[0] + 2*math.Pi - at[len(at)-1]
	for i := 1; i < len(at); i++ {
		gap = max(gap, at[i]-at[i-1])
	}
	return gap > math.Pi+1e-9 // on an edge of the hull counts as inside
}
