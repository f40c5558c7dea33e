package doubt

import (
	"math"

	"footrule/internal/parallel"

	"github.com/paulmach/orb"
)

// Constants of a move.
const (
	leastMoveM = 3.0
	placeSD    = 1.2 // what the posterior is too sure by
	nearModeM  = 5.0
	otherOdds  = 3.0 // log of 20
)

// moved compares hanging anywhere with hanging where the plan says:
//
//	lbf = log mean_a exp(L(a) − L(plan))
//
// over the floor of the plan, or, with half of the prior, over the others.
func (f *fit) moved() []Finding {
	out := make([]*Finding, len(f.v.spots))
	parallel.Do(len(out), func(ap int) {
		if f.heardRows(ap) < 4 {
			return
		}
		s, plan := f.v.spots[ap], f.plain(ap)
		own := f.elsewhere(ap, s.floor, plan)
		if len(own) == 0 {
			return
		}
		lbf, floor, ll := logMean(own), s.floor, own
		if floors := len(f.v.ground.cells); floors > 1 {
			var others []float64
			most := lbf
			for fl := range floors {
				if fl == s.floor {
					continue
				}
				o := f.elsewhere(ap, fl, plan)
				if m := logMean(o) - math.Log(float64(floors-1)); m > most {
					most, floor, ll = m, fl, o
				}
				others = append(others, o...)
			}
			lbf = logSum([]float64{lbf, logMean(others)}) - math.Ln2
		}
		if !(lbf > 0) {
			return
		}
		place := f.place(ll, floor)
		floors := f.v.rows.site.Floors
		d := math.Hypot(distance(place.At, s.at), floors[floor].ElevationM-floors[s.floor].ElevationM)
		out[ap] = &Finding{Kind: Moved, APs: []int{ap}, Seems: []Place{place}, Effect: d, SE: place.SDM, Unit: "m", LBF: lbf, Threshold: thresholds[Moved]}
		if floor == s.floor && d <= leastMoveM {
			out[ap].LBF = min(lbf, 0)
		}
	})
	return kept(out)
}

// elsewhere is L of every cell of a floor less that of the plan's place.
func (f *fit) elsewhere(ap, floor int, plan float64) []float64 {
	ll := f.likely(ap, f.v.from(field{floor, f.v.spots[ap].height}))
	for c := range ll {
		ll[c] -= plan
	}
	return ll
}

func kept(in []*Finding) []Finding {
	var out []Finding
	for _, f := range in {
		if f != nil {
			out = append(out, *f)
		}
	}
	return out
}

// heardRows is the most rows that heard a radio of an access point.
func (f *fit) heardRows(ap int) int {
	n := 0
	for k := range f.radios {
		if f.radios[k].ap == ap {
			n = max(n, len(f.radios[k].rows))
		}
	}
	return n
}

// place sums up a log likelihood over the cells of a floor: the mean around its
// mode, the spread there, and a second mode far from the first.
func (f *fit) place(ll []float64, floor int) Place {
	cells := f.v.ground.cells[floor]
	best := 0
	for c := range ll {
		if ll[c] > ll[best] {
			best = c
		}
	}
	var at orb.Point
	sum := 0.0
	for c, p := range cells {
		if distance(p, cells[best]) <= nearModeM {
			w := math.Exp(ll[c] - ll[best])
			at[0] += w * p[0]
			at[1] += w * p[1]
			sum += w
		}
	}
	at[0], at[1] = at[0]/sum, at[1]/sum
	v, other := 0.0, -1
	for c, p := range cells {
		if d := distance(p, at); d <= 2*nearModeM {
			v += math.Exp(ll[c]-ll[best]) * d * d / sum
		} else if other < 0 || ll[c] > ll[other] {
			other = c
		}
	}
	step := f.v.ground.stepM[floor]
	out := Place{Floor: floor, At: at, SDM: placeSD * math.Sqrt(v+step*step/6)}
	if other >= 0 && ll[other] > ll[best]-otherOdds {
		p := cells[other]
		out.Other = &p
	}
	return out
}
