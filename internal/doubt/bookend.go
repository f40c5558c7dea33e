package doubt

import (
	"math"

	"footrule/internal/median"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Constants of points visited at both ends of a walk.
const (
	bookendSpan  = .6  // share of the rows that has to lie between the two visits
	bookendLeast = 3   // points that heard an access point both times
	bookendAPs   = 4   // access points heard both times, for their median to be that of the visit
	bookendDB    = 2.0 // a smaller change is drift
	bookendRate  = .02 // of sites with a false name
	bookendSlack = 1.15
	bookendSD    = 1.0 // dB, least spread of a difference
	bookendMarg  = 6.0 // dB above the floor of hearing, for what is heard not to be a selection
)

// bookend is how the level of an access point changed at points visited at both
// ends of the walk.
type bookend struct {
	n        int
	mean, se float64
	critical float64 // |mean| above which it is named
}

// evidence is the log Bayes factor of a change of N(0, 6² dB²) at a mean m.
func (b *bookend) evidence(m float64) float64 {
	v, w := b.se*b.se, stepSD*stepSD
	return .5*m*m*(1/v-1/(v+w)) - .5*math.Log1p(w/v)
}

// pairs lists places visited twice by one receiver with most of the rows between,
// each by its first and last row.
func (f *fit) pairs() [][2]int {
	r := f.v.rows
	type key struct{ place, receiver int }
	first, last := map[key]int{}, map[key]int{}
	var order []key
	for i := range r.n {
		if r.out[i] {
			continue
		}
		k := key{r.place[i], r.receiver[i]}
		if _, ok := first[k]; !ok {
			first[k] = i
			order = append(order, k)
		}
		last[k] = i
	}
	var out [][2]int
	for _, k := range order {
		if float64(last[k]-first[k]) >= bookendSpan*float64(r.n) {
			out = append(out, [2]int{first[k], last[k]})
		}
	}
	return out
}

// bookends tells changes of power without any model of the levels: D is the
// second less the first level of an access point at a point, less the median of
// those of all access points there, and one is named where, of K,
//
//	|mean D| > 1.15 z(1 − 0.02/2K) s/√n and 2 dB,  n ≥ 3, s pooled and at least 1 dB
//
// It is nil for an access point that was not heard at both ends.
func (f *fit) bookends() []*bookend {
	r := f.v.rows
	out := make([]*bookend, len(f.v.spots))
	diffs := make([][]float64, len(out))
	for _, p := range f.pairs() {
		d := make([]float64, len(out))
		var heard []float64
		for ap := range d {
			sum, n := 0.0, 0.0
			for k := range f.radios {
				a, b := k*r.n+p[0], k*r.n+p[1]
				if f.radios[k].ap == ap && r.heard[a] > 0 && r.heard[b] > 0 && r.listened[a] > 0 && r.listened[b] > 0 &&
					(r.level[a]+r.level[b])/2 > r.floorDBm[a]+bookendMarg {
					sum += r.level[b] - r.level[a]
					n++
				}
			}
			if d[ap] = sum / n; n > 0 {
				heard = append(heard, d[ap])
			}
		}
		if len(heard) < bookendAPs {
			continue
		}
		mid := median.Of(heard)
		for ap := range d {
			if !math.IsNaN(d[ap]) {
				diffs[ap] = append(diffs[ap], d[ap]-mid)
			}
		}
	}
	ss, df, k := 0.0, 0.0, 0.0
	for _, d := range diffs {
		if len(d) < bookendLeast {
			continue
		}
		_, v := stat.MeanVariance(d, nil)
		ss += v * float64(len(d)-1)
		df += float64(len(d) - 1)
		k++
	}
	if k == 0 {
		return out
	}
	s := math.Max(math.Sqrt(ss/df), bookendSD)
	z := distuv.UnitNormal.Quantile(1 - bookendRate/(2*k))
	for ap, d := range diffs {
		if len(d) < bookendLeast {
			continue
		}
		se := s / math.Sqrt(float64(len(d)))
		out[ap] = &bookend{n: len(d), mean: stat.Mean(d, nil), se: se, critical: math.Max(bookendSlack*z*se, bookendDB)}
	}
	return out
}
