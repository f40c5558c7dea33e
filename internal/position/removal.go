package position

import (
	"cmp"
	"context"
	"math"
	"slices"

	"footrule/internal/propagation"
	"footrule/internal/walk"
)

// Removal is what the position error becomes without one access point: neither
// fit nor fixes hear any of its radios. Everything is fitted again, so that an
// access point that is not where the plan says no longer spoils the others, and
// places are left out as they were with it.
type Removal struct {
	AP     string
	Places int    // that heard it
	Reason string // why there are no figures without it, a phrase; else empty

	Summary // without it; no intervals
	Lost    int

	// ChangeM is the mean over the fixes located with and without it of the
	// error without less the error with it, in metres: what it is good for.
	// CI95 is its BCa interval over places. Both are NaN for no such fix.
	ChangeM  float64
	ChangeCI Interval
}

// removals judges without each access point that was heard in turn, those on
// which the accuracy hangs most first: fixes lost, then the change.
func (j *judge) removals(ctx context.Context) ([]Removal, error) {
	var out []Removal
	for a := range j.grid.site.AccessPoints {
		r := Removal{AP: j.grid.site.AccessPoints[a].ID, ChangeM: math.NaN(), ChangeCI: Interval{math.NaN(), math.NaN()}}
		places := map[walk.Place]bool{}
		deaf := func(stays []walk.Stay) []walk.Stay {
			return without(stays, func(k int) bool { return j.grid.refs[k].AP == a })
		}
		for _, stays := range [][]walk.Stay{j.train, j.test} {
			for i := range stays {
				for k, l := range stays[i].Levels {
					if l.Heard > 0 && j.grid.refs[k].AP == a {
						places[stays[i].Place()] = true
					}
				}
			}
		}
		if r.Places = len(places); r.Places == 0 {
			continue
		}
		sub := &judge{ctx: ctx, grid: j.grid, o: j.o, from: j.fit}
		var err error
		if j.o.Protocol == TrainTest {
			err = sub.trainTest(deaf(j.train), deaf(j.test))
		} else {
			err = sub.leaveOneOut(deaf(j.test))
		}
		if e := ctx.Err(); e != nil {
			return nil, e
		}
		if err != nil {
			r.Reason = err.Error()
			r.Lost = located(j.judged)
			out = append(out, r)
			continue
		}
		r.Summary = summarise(sub.judged, 0, 0)
		r.compare(j.judged, sub.judged, j.o.Resamples, j.o.Seed)
		out = append(out, r)
	}
	slices.SortStableFunc(out, func(a, b Removal) int {
		x, y := a.ChangeM, b.ChangeM
		if math.IsNaN(x) || math.IsNaN(y) || a.Lost != b.Lost {
			return cmp.Compare(b.Lost, a.Lost)
		}
		return cmp.Compare(y, x)
	})
	return out, nil
}

// located counts the fixes located.
func located(judged []Judged) int {
	n := 0
	for i := range judged {
		if judged[i].Fix.Located {
			n++
		}
	}
	return n
}

// without takes radios out of stays. A radio that is never heard is in no fit.
func without(stays []walk.Stay, gone func(radio int) bool) []walk.Stay {
	out := slices.Clone(stays)
	for i := range out {
		out[i].Levels = slices.Clone(out[i].Levels)
		for k := range out[i].Levels {
			if gone(k) {
				out[i].Levels[k] = walk.Level{}
			}
		}
	}
	return out
}

// compare pairs the same fixes with and without.
func (r *Removal) compare(with, without []Judged, resamples int, seed uint64) {
	type pair struct {
		sum, n float64
	}
	var places []pair
	for i := range with {
		if i == 0 || with[i].Place != with[i-1].Place {
			places = append(places, pair{})
		}
		switch p := &places[len(places)-1]; {
		case with[i].Fix.Located && without[i].Fix.Located:
			p.sum += without[i].ErrorM - with[i].ErrorM
			p.n++
		case with[i].Fix.Located:
			r.Lost++
		}
	}
	mean := func(times []int) float64 {
		sum, n := 0.0, 0.0
		for i, t := range times {
			sum += float64(t) * places[i].sum
			n += float64(t) * places[i].n
		}
		return sum / n
	}
	once := make([]int, len(places))
	for i := range once {
		once[i] = 1
	}
	r.ChangeM = mean(once)
	if len(places) >= leastForInterval {
		r.ChangeCI = BCa(len(places), mean, resamples, DefaultConfidence, seed)
	}
}

// estimate fits the walks, or fits them again from another fit.
func (j *judge) estimate(d *propagation.Data) (*propagation.Fit, error) {
	if j.from != nil {
		return propagation.EstimateFrom(d, j.o.Propagation, j.from)
	}
	return propagation.Estimate(d, j.o.Propagation)
}
