package position

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Target is what is asked of a site: a share of places within a distance.
type Target struct {
	Share      float64 // q, as 0.9 in "90 % within 10 m"
	WithinM    float64 // d
	Confidence float64 // 0 is [DefaultConfidence]
}

// DefaultConfidence is that at which a target is passed or failed.
const DefaultConfidence = 0.95

// Verdict says whether a target is met.
type Verdict string

// The verdicts.
const (
	Passed Verdict = "passed" // shown at the stated confidence
	Failed Verdict = "failed" // the contrary is shown
	Open   Verdict = "open"   // neither; walk more points
)

// Outcome is how a target was judged.
type Outcome struct {
	Target
	Verdict Verdict
	Points  int     // trials
	Within  int     // of them within the distance
	Lo, Hi  float64 // one-sided exact bounds on the share, each at the confidence

	// For Open: further points that would settle it. MoreWithin is the fewest,
	// should every one lie within the distance; MoreAtRate holds if they go on
	// as the points so far, 0 where settleMost would not do. RateVerdict is what
	// would be settled then.
	MoreWithin  int
	MoreAtRate  int
	RateVerdict Verdict
}

// settleMost bounds the search for further points: nobody walks that many.
const settleMost = 10000

// Check judges the target from so many points of which so many lay within the
// distance, by the exact binomial bound of Clopper and Pearson (Biometrika 26,
// 1934), one-sided at the confidence: passed where the lower bound on the share
// reaches q, failed where the upper stays below it. 59 of 59 show 95 % at 95 %
// confidence, and 29 of 29 show 90 %.
func (t Target) Check(within, points int) (Outcome, error) {
	if t.Confidence == 0 {
		t.Confidence = DefaultConfidence
	}
	switch {
	case !(t.Share > 0 && t.Share < 1):
		return Outcome{}, fmt.Errorf("target share %g; give a share between 0 and 1", t.Share)
	case !(t.Confidence > 0 && t.Confidence < 1):
		return Outcome{}, fmt.Errorf("target confidence %g; give a share between 0 and 1", t.Confidence)
	case !(t.WithinM > 0):
		return Outcome{}, fmt.Errorf("target distance %g m; give more than 0", t.WithinM)
	}
	if within < 0 || within > points {
		panic(fmt.Sprintf("position: %d of %d points", within, points))
	}
	o := Outcome{Target: t, Points: points, Within: within}
	o.Lo, o.Hi = binomialBounds(within, points, t.Confidence)
	o.Verdict = t.verdict(within, points)
	if o.Verdict != Open {
		return o, nil
	}
	o.MoreWithin = 1
	for t.verdict(within+o.MoreWithin, points+o.MoreWithin) != Passed {
		o.MoreWithin++
	}
	for m := 1; m <= settleMost && points > 0; m++ {
		hits := within + int(math.Round(float64(m)*float64(within)/float64(points)))
		if v := t.verdict(hits, points+m); v != Open {
			o.MoreAtRate, o.RateVerdict = m, v
			break
		}
	}
	return o, nil
}

// verdict compares P(at least within | q) and P(at most within | q) with the
// tail, which is the same as comparing the bounds with q.
func (t Target) verdict(within, points int) Verdict {
	if points == 0 {
		return Open
	}
	b := distuv.Binomial{N: float64(points), P: t.Share}
	tail := 1 - t.Confidence
	if within > 0 && 1-b.CDF(float64(within-1)) <= tail {
		return Passed
	}
	if within < points && b.CDF(float64(within)) <= tail {
		return Failed
	}
	return Open
}

// binomialBounds are the one-sided Clopper-Pearson bounds.
func binomialBounds(k, n int, confidence float64) (lo, hi float64) {
	lo, hi = 0, 1
	if k > 0 {
		lo = distuv.Beta{Alpha: float64(k), Beta: float64(n - k + 1)}.Quantile(1 - confidence)
	}
	if k < n {
		hi = distuv.Beta{Alpha: float64(k + 1), Beta: float64(n - k)}.Quantile(confidence)
	}
	return lo, hi
}
