package position

import (
	"context"
	"math"
	"slices"

	"footrule/internal/site"
	"footrule/internal/walk"
)

// Comparison is several methods judged on the same fixes.
type Comparison struct {
	Each        []*Errors    // one for each method, each judged as [Judge] does
	Fixes       int          // that every method located; the differences are over these
	Places      int          // of them
	Differences []Difference // of every pair, in the order of the methods
}

// Difference is how much larger the errors of method A are than those of B.
type Difference struct {
	A, B  Method
	MeanM float64 // mean of A's error less B's, fix by fix
	CE50M float64 // A's CE50 less B's
	CE90M float64
	CI95  map[string]Interval // of mean_m, ce50_m and ce90_m
}

// Apart says whether the methods can be told apart: the interval of the mean
// difference leaves out 0. It is for one pair by itself.
func (d *Difference) Apart() bool {
	i := d.CI95["mean_m"]
	return i.Lo > 0 || i.Hi < 0
}

// differenceNames are the figures of a Difference, in the order of its intervals.
var differenceNames = [...]string{"mean_m", "ce50_m", "ce90_m"}

// Compare judges the walks by every method, and the methods by each other: the
// errors of two methods at one fix share the levels, so it is their difference
// that tells them apart, over the fixes that all methods located; a method that
// located none stands aside, and its differences are NaN. Intervals are
// BCa bootstraps over places, the same resamples for all pairs. Options.Method is
// not looked at.
func Compare(ctx context.Context, s *site.Site, walks []walk.Walk, o Options, methods ...Method) (*Comparison, error) {
	c := &Comparison{}
	for _, m := range methods {
		o.Method = m
		e, err := Judge(ctx, s, walks, o)
		if err != nil {
			return nil, err
		}
		c.Each = append(c.Each, e)
	}
	if len(methods) > 1 {
		if o.Resamples == 0 {
			o.Resamples = DefaultResamples
		}
		c.compare(o.Resamples, o.Seed)
	}
	return c, nil
}

// compare finds the differences.
func (c *Comparison) compare(resamples int, seed uint64) {
	n := len(c.Each)
	type fix struct {
		errors []float64 // per method
		place  int
	}
	var all []fix
	last := -1
	first := c.Each[0].Judged
	for i := range first {
		f := fix{errors: make([]float64, n)}
		located := true
		for m, e := range c.Each {
			located = located && (e.Judged[i].Fix.Located || e.Statistics.Located == 0)
			f.errors[m] = e.Judged[i].ErrorM
		}
		if !located {
			continue
		}
		if last < 0 || first[i].Place != first[last].Place {
			c.Places++
		}
		last = i
		f.place = c.Places - 1
		all = append(all, f)
	}
	c.Fixes = len(all)
	order := make([][]int, n) // per method, fixes by ascending error
	for m := range order {
		for i := range all {
			order[m] = append(order[m], i)
		}
		slices.SortStableFunc(order[m], func(a, b int) int {
			switch x, y := all[a].errors[m], all[b].errors[m]; {
			case x < y:
				return -1
			case x > y:
				return 1
			}
			return 0
		})
	}
	var pairs [][2]int
	for a := range n {
		for b := a + 1; b < n; b++ {
			pairs = append(pairs, [2]int{a, b})
		}
	}
	own := make([][3]float64, n) // mean, CE50 and CE90 of each method in a sample
	sample := make([]float64, 0, 2*len(all))
	statistic := func(times []int, to []float64) {
		for m := range own {
			sample = sample[:0]
			sum := 0.0
			for _, i := range order[m] {
				for range times[all[i].place] {
					sample = append(sample, all[i].errors[m])
					sum += all[i].errors[m]
				}
			}
			own[m] = [3]float64{sum / float64(len(sample)), Quantile(sample, .5), Quantile(sample, .9)}
		}
		for p, ab := range pairs {
			for k := range differenceNames {
				to[p*len(differenceNames)+k] = own[ab[0]][k] - own[ab[1]][k]
			}
		}
	}
	intervals := bcaAll(c.Places, len(pairs)*len(differenceNames), statistic, resamples, DefaultConfidence, seed)
	once := make([]int, c.Places)
	for i := range once {
		once[i] = 1
	}
	est := make([]float64, len(pairs)*len(differenceNames))
	statistic(once, est)
	for p, ab := range pairs {
		d := Difference{A: c.Each[ab[0]].Method, B: c.Each[ab[1]].Method, CI95: map[string]Interval{}}
		at := p * len(differenceNames)
		d.MeanM, d.CE50M, d.CE90M = est[at], est[at+1], est[at+2]
		for k, name := range differenceNames {
			d.CI95[name] = intervals[at+k]
			if c.Places < leastForInterval {
				d.CI95[name] = Interval{math.NaN(), math.NaN()}
			}
		}
		c.Differences = append(c.Differences, d)
	}
}
