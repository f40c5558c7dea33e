package position

import (
	"math"
	"slices"

	"github.com/paulmach/orb"
)

// errors turns what was judged into figures.
func (j *judge) errors() (*Errors, error) {
	e := &Errors{
		Method: j.o.Method, Protocol: j.o.Protocol, Fix: j.o.Fix, Points: j.places, Quantiles: QuantileRule,
		Judged: j.judged, Fit: j.fit, Refits: j.refits,
	}
	type sized struct {
		r     float64
		place int
	}
	var all []sized
	var vectors []orb.Point
	boundSq, bounds := 0.0, 0
	place := -1
	found := false
	for i := range j.judged {
		r := &j.judged[i]
		if i == 0 || r.Place != j.judged[i-1].Place {
			place++
			found = false
		}
		if !r.Fix.Located {
			continue
		}
		if !found {
			e.Located++
			found = true
		}
		if j.grid.site.Floors[r.Fix.Floor].ID == r.Floor {
			e.FloorRight++
		}
		all = append(all, sized{r.ErrorM, place})
		vectors = append(vectors, orb.Point{r.Fix.At[0] - r.At[0], r.Fix.At[1] - r.At[1]})
		if !math.IsNaN(r.BoundM) {
			boundSq += r.BoundM * r.BoundM
			bounds++
		}
	}
	e.Statistics = Summarise(vectors, len(j.judged))
	e.BoundRMSM = math.Sqrt(boundSq / float64(bounds))
	slices.SortStableFunc(all, func(a, b sized) int {
		switch {
		case a.r < b.r:
			return -1
		case a.r > b.r:
			return 1
		}
		return 0
	})
	sample := make([]float64, 0, 2*len(all))
	ci := bcaAll(j.places, len(figureNames), func(times []int, to []float64) {
		sample = sample[:0]
		for _, a := range all {
			for range times[a.place] {
				sample = append(sample, a.r)
			}
		}
		v := figures(sample)
		copy(to, v[:])
	}, j.o.Resamples, DefaultConfidence, j.o.Seed)
	e.CI95 = make(map[string]Interval, len(figureNames))
	for k, name := range figureNames {
		e.CI95[name] = ci[k]
	}
	for _, t := range j.o.Targets {
		o, err := t.Check(j.within(t.WithinM), j.places)
		if err != nil {
			return nil, err
		}
		e.Targets = append(e.Targets, o)
	}
	return e, nil
}

// within counts the places within a distance by the share of their fixes that
// are, rounded down.
func (j *judge) within(d float64) int {
	sum := 0.0
	for i := 0; i < len(j.judged); {
		n, hits := 0, 0
		for k := i; k < len(j.judged) && j.judged[k].Place == j.judged[i].Place; k++ {
			n++
			if j.judged[k].ErrorM <= d {
				hits++
			}
		}
		sum += float64(hits) / float64(n)
		i += n
	}
	return int(sum + 1e-9)
}
