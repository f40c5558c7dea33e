package position

import (
	"cmp"
	"math"
	"slices"

	"github.com/paulmach/orb"
)

// Share is how many of the fixes that count have a property, with an exact
// binomial interval over places (Clopper and Pearson), in which a place counts by
// the share of its fixes, the sum rounded down for the lower end and up for the
// upper.
type Share struct {
	Fixes, Of int
	CI95      Interval
}

// Est is the share, NaN of none.
func (s Share) Est() float64 { return float64(s.Fixes) / float64(s.Of) }

// Summary describes fixes at some places. Figures are by the names of ISO/IEC
// 18305:2016, clause 8.
type Summary struct {
	Points     int                 // places judged
	Located    int                 // of them with a fix at least once
	Statistics Statistics          // over fixes
	CI95       map[string]Interval // by BCa over places, see [forPlaces]; NaN for fewer than 5 of them
	BoundRMSM  float64             // RMS of the bound over located fixes that have one, NaN for none

	Coverage       Share   // fixes located
	FloorDetection Share   // of located fixes: on the floor where the surveyor stood
	ZoneDetection  Share   // of those who stood in a zone and were located: in that zone
	Ellipse        Share   // of located fixes with an ellipse: it holds the place, on its floor
	EllipseM2      float64 // mean area of the ellipses, NaN for none
}

// leastForInterval is how many places a bootstrapped interval needs: fewer have
// less than some hundred different resamples, and the interval of two is the gap
// between them.
const leastForInterval = 5

// summarise describes what was judged; intervals come from so many resamples of
// places, none for 0, NaN for few places. The fixes of a place stand together.
func summarise(judged []Judged, resamples int, seed uint64) Summary {
	type sized struct {
		r     float64
		place int
	}
	var all []sized
	var vectors []orb.Point
	var located []Judged
	s := Summary{CI95: map[string]Interval{}}
	boundSq, bounds := 0.0, 0
	found := false
	for i := range judged {
		r := &judged[i]
		if i == 0 || r.Place != judged[i-1].Place {
			s.Points++
			found = false
		}
		if !r.Fix.Located {
			continue
		}
		if !found {
			s.Located++
			found = true
		}
		all = append(all, sized{r.ErrorM, s.Points - 1})
		vectors = append(vectors, r.VectorM)
		located = append(located, *r)
		if !math.IsNaN(r.BoundM) {
			boundSq += r.BoundM * r.BoundM
			bounds++
		}
	}
	s.Statistics = Summarise(vectors, len(judged))
	s.BoundRMSM = math.Sqrt(boundSq / float64(bounds))
	s.Coverage = share(judged, nil, func(r *Judged) bool { return r.Fix.Located })
	s.FloorDetection = share(located, nil, (*Judged).rightFloor)
	s.ZoneDetection = share(located, func(r *Judged) bool { return r.Area != "" }, func(r *Judged) bool { return r.rightFloor() && r.FixArea == r.Area })
	s.Ellipse = share(located, (*Judged).hasEllipse, (*Judged).Held)
	area := 0.0
	for i := range located {
		if located[i].hasEllipse() {
			area += located[i].Ellipse.Area()
		}
	}
	s.EllipseM2 = area / float64(s.Ellipse.Of)
	if resamples == 0 {
		return s
	}
	slices.SortStableFunc(all, func(a, b sized) int { return cmp.Compare(a.r, b.r) })
	sample := make([]float64, 0, 2*len(all))
	ci := bcaAll(s.Points, len(figureNames), func(times []int, to []float64) {
		sample = sample[:0]
		for _, a := range all {
			for range times[a.place] {
				sample = append(sample, a.r)
			}
		}
		v := figures(sample)
		copy(to, v[:])
	}, resamples, forPlaces(DefaultConfidence, s.Points), seed)
	for k, name := range figureNames {
		if s.Points < leastForInterval {
			ci[k] = Interval{math.NaN(), math.NaN()}
		}
		s.CI95[name] = ci[k]
	}
	return s
}

// share counts the fixes that are one of all (nil is every one) and have a
// property. The fixes of a place stand together.
func share(judged []Judged, one, has func(*Judged) bool) Share {
	var s Share
	places, sum := 0, 0.0
	for i := 0; i < len(judged); {
		n, hits := 0, 0
		k := i
		for ; k < len(judged) && judged[k].Place == judged[i].Place; k++ {
			if one != nil && !one(&judged[k]) {
				continue
			}
			n++
			if has(&judged[k]) {
				hits++
			}
		}
		i = k
		if n > 0 {
			places++
			sum += float64(hits) / float64(n)
			s.Of += n
			s.Fixes += hits
		}
	}
	if places == 0 {
		s.CI95 = Interval{math.NaN(), math.NaN()}
		return s
	}
	tail := (1 + DefaultConfidence) / 2
	lo, _ := binomialBounds(int(sum+1e-9), places, tail)
	_, hi := binomialBounds(int(math.Ceil(sum-1e-9)), places, tail)
	s.CI95 = Interval{lo, hi}
	return s
}
