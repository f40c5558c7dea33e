package propagation

import (
	"fmt"
	"math"
)

// resistant is the likelihood of mean levels whose residuals over the scale s
// have the density exp(−ρ(u))/Z with Huber's ρ, for which his estimator is the
// maximum likelihood: normal within [hubers], exponential beyond. A stay that
// never heard has log(π + (1 − π) F((c − μ)/s)), F being the distribution of
// that density, and every other 1 − π. The slope of either is bounded, so that a
// wrong silence pulls no harder than a wrong level.
//
// The spread parameter log s stays put here: s is the median of absolute
// residuals, see [groupFit.scale].
type resistant struct {
	*rows
	block []int // per row
	rates []missRate
}

func (f *groupFit) resistant() *resistant {
	t := &resistant{rows: f.rows, block: make([]int, f.rows.n()), rates: f.rates}
	for k := range f.blocks {
		for i := f.design.start[k]; i < f.design.start[k+1]; i++ {
			t.block[i] = k
		}
	}
	return t
}

func (t *resistant) row(i int, eta float64, psi []float64, o *deriv) {
	*o = deriv{}
	s := math.Exp(psi[0])
	pi := t.rates[t.block[i]].stay
	if l := t.level[i]; l.Heard > 0 {
		o.l, o.m, o.mm = huberHeard((l.MeanDBm-eta)/s, s, pi)
		return
	}
	l, l1, l2 := huberMissed((t.floor-eta)/s, pi)
	o.l, o.m, o.mm = l, -l1/s, l2/(s*s)
}

var (
	logHuberZ = math.Log(huberZ)
	huberZ    = sqrt2Pi*(1-2*bigPhi(-hubers)) + 2/hubers*math.Exp(-hubers*hubers/2)
)

// huberHeard gives the log density of a level u scales off and its first two
// derivatives by the mean.
func huberHeard(u, s, pi float64) (l, m, mm float64) {
	l = math.Log1p(-pi) - logHuberZ - math.Log(s)
	switch {
	case u > hubers:
		return l - hubers*u + hubers*hubers/2, hubers / s, 0
	case u < -hubers:
		return l + hubers*u + hubers*hubers/2, -hubers / s, 0
	}
	return l - u*u/2, u / s, -1 / (s * s)
}

// huberMissed is log(π + (1 − π) F(z)) and its first two derivatives.
func huberMissed(z, pi float64) (f, f1, f2 float64) {
	edge := math.Exp(-hubers*hubers/2) / (hubers * huberZ) // F(−k)
	psi := max(-hubers, min(z, hubers))
	if z < -hubers && pi == 0 { // without underflow
		return math.Log(edge) + hubers*(z+hubers), hubers, 0
	}
	var cdf, density float64
	switch {
	case z < -hubers:
		cdf = edge * math.Exp(hubers*(z+hubers))
		density = hubers * cdf
	case z > hubers:
		rest := edge * math.Exp(-hubers*(z-hubers))
		cdf, density = 1-rest, hubers*rest
	default:
		cdf = edge + sqrt2Pi*(bigPhi(z)-bigPhi(-hubers))/huberZ
		density = math.Exp(-z*z/2) / huberZ
	}
	g := pi + (1-pi)*cdf
	r := (1 - pi) * density / g
	return math.Log(g), r, -r * (psi + r)
}

// surely is how much a row that heard counts for the scale: fully where the
// level is predicted three scales above the floor, so that the radio is heard
// whichever way the residual lies, and hardly below one, where those heard are
// the lucky ones.
func surely(above float64) float64 { return max(0.01, min((above-1)/2, 1)) }

// scale is the median of absolute residuals over 0.6745, of all rows that heard
// where nothing was silent, and weighed by [surely] where something was.
func (f *groupFit) scale() float64 {
	s := math.Exp(f.theta[f.psiAt()])
	var res, w []float64
	f.eachHeard(func(i int, _ []int, _ []float64, eta float64) {
		res = append(res, f.level[i].MeanDBm-eta)
		if f.counts.silent > 0 {
			w = append(w, surely((eta-f.floorAt(i))/s))
		}
	})
	return max(medianAbs(res, w)*perMAD, leastScaleDB)
}

// eachHeard hands over the rows that heard and are not left out, each with the
// columns of its block, its regressors there, good until the next row, and the
// level that the parameters expect.
func (f *groupFit) eachHeard(do func(i int, at []int, x []float64, eta float64)) {
	x := make([]float64, len(f.locals(0)))
	k := -1
	var at []int
	for _, i := range f.heard {
		if f.out(i) {
			continue
		}
		if k < 0 || i >= f.design.start[k+1] {
			k = f.blockOf(i)
			at = f.locals(k)
		}
		do(i, at, x, f.regressors(i, at, f.theta, x))
	}
}

// leastScaleDB stands in for a scale of 0, where more than half of the levels
// lie on the model.
const leastScaleDB = 1e-6

// scaleRounds bounds how often scale and parameters take turns, and circling is
// how often before the scale is sought between two that were too small and too
// large: a median moves in steps, and with weights may go round in a circle.
const (
	scaleRounds = 200
	circling    = 20
)

// resist climbs from the parameters of f with the scale that they leave, until
// the scale changes by less than settled of itself.
func (f *groupFit) resist(settled, last float64, brief bool) error {
	q := f.psiAt()
	small, large := math.NaN(), math.NaN()
	next := math.Log(f.scale())
	for round := range scaleRounds {
		f.theta[q] = next
		o, err := (&problem{design: f.design, lik: f.lik, fixed: f.fixed, lower: f.lower, tol: last, brief: brief}).maximise(f.theta)
		if err != nil {
			return fmt.Errorf("%s GHz: %w", f.band, err)
		}
		f.theta, f.opt = o.theta, o
		left := math.Log(f.scale())
		if math.Abs(left-next) < settled || math.Abs(large-small) < settled {
			f.sigma = math.Exp(next)
			return nil
		}
		if left > next {
			small = next
		} else {
			large = next
		}
		next = left
		if round >= circling && !math.IsNaN(small+large) {
			next = (small + large) / 2
		}
	}
	return fmt.Errorf("%s GHz: the scale of the residuals has not settled in %d rounds", f.band, scaleRounds)
}

// How far the scale is followed, of itself: in a full fit, and in a warm refit
// or while the miss rates are not settled.
const (
	scaleSettled = 1e-10
	roughScale   = 1e-5
)

func solveRobust(fits []*groupFit, miss *float64, last float64, stale, full bool) error {
	climb := func(settled, last float64, brief bool) error {
		for _, f := range fits {
			f.lik.(*resistant).rates = f.rates
			if err := f.resist(settled, last, brief); err != nil {
				return err
			}
		}
		return nil
	}
	if miss != nil {
		for _, f := range fits {
			for k := range f.rates {
				f.rates[k] = missRate{stay: *miss}
			}
		}
	} else if err := settleRates(fits, nil, stale, func() error { return climb(roughScale, roughGain, true) }); err != nil {
		return err
	}
	if full {
		return climb(scaleSettled, 0, false)
	}
	return climb(roughScale, last, true)
}

// influence is how the levels of a [Robust] fit pull: the root of the mean
// square of ψ, and the mean of ψ', in scales.
func (f *groupFit) influence() (pull, slope float64) {
	x := make([]float64, len(f.locals(0)))
	s := math.Exp(f.theta[f.psiAt()])
	for _, i := range f.heard {
		u := (f.level[i].MeanDBm - f.regressors(i, f.locals(f.blockOf(i)), f.theta, x)) / s
		if a := math.Abs(u); a > hubers {
			pull += hubers * hubers
		} else {
			pull += u * u
			slope++
		}
	}
	n := float64(len(f.heard))
	return math.Sqrt(pull / n), slope / n
}
