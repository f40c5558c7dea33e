package propagation

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Estimate fits the model that o names to d. A band whose exponent cannot be
// told is left out with a warning; it is an error where no band is left, where
// nothing was heard, and where an option is out of range.
//
//	ols        minimises Σ (ȳ − μ)² over the pairs that heard
//	censored   maximises the likelihood of [CensoredNormal] on mean levels, a
//	           pair that never heard being at most the floor c
//	two-level  maximises the likelihood of all scans: a stay's readings share a
//	           shadowing term, a scan that missed was weak or missed
//	robust     solves Σ ψ((ȳ − μ)/s) = 0 with Huber's ψ at 1.345 and s the median
//	           absolute residual over 0.6745, see [RobustLinear]; a pair that never
//	           heard was weak, by the density that Huber's ψ is the likelihood of,
//	           or missed
//	pooled     levels and exponents of the radios are normal about the band's, fitted
//	           to the pairs that heard by restricted likelihood, see [RandomEffects]
//
// μ = A_k − 10 n log10 d − Σ c_w L_w, with L_w ≥ 0 and, under PerAP or pooled, n_k ≥ 0:
// an estimate below zero is set to zero and named in a warning.
func Estimate(d *Data, o Options) (*Fit, error) { return estimate(d, o, nil, true) }

// EstimateFrom is Estimate from the parameters of an earlier fit of the same
// model, for the refits of a walk or of leave-one-out: a few Newton steps, no
// standard errors, intervals or leave-one-out error (all NaN) and no
// practitioner's warnings. A start that does not fit is not used.
func EstimateFrom(d *Data, o Options, start *Fit) (*Fit, error) {
	return estimate(d, o, start, false)
}

func estimate(d *Data, o Options, start *Fit, full bool) (*Fit, error) {
	if o.Model == "" {
		o.Model = TwoLevel
	}
	if !slices.Contains(Models(), o.Model) {
		return nil, fmt.Errorf("unknown model %q; choose one of %s", o.Model, strings.Trim(fmt.Sprint(Models()), "[]"))
	}
	if m := o.MissRate; m != nil && !(*m >= 0 && *m < 1) {
		return nil, fmt.Errorf("miss rate %g is not a share; give 0 to below 1", *m)
	}
	if c := o.FloorDBm; c != nil && (math.IsNaN(*c) || math.IsInf(*c, 0)) {
		return nil, fmt.Errorf("floor of hearing %g is not a level in dBm", *c)
	}
	if start != nil && (start.Model != o.Model || start.PerAP != o.PerAP || len(start.Radios) != d.Radios) {
		start = nil
	}
	out := newFit(d, o)
	room := rooms.Get().(*room)
	defer room.leave(rooms)
	var fits []*groupFit
	var failed error
	for _, band := range out.bands() {
		g := gather(d, out.bandOf, band, o.FloorDBm, room)
		if g == nil {
			continue
		}
		f, err := fitGroup(d, g, o, o.ownExponents())
		if err != nil {
			out.Warnings = append(out.Warnings, Warning{Text: fmt.Sprintf("the %s GHz radios are not in the fit: %s", band, err)})
			failed = err
			continue
		}
		f.warm(start, out)
		fits = append(fits, f)
	}
	if len(fits) == 0 {
		if failed == nil {
			failed = fmt.Errorf("none of the %d radios of the site was heard in %d stays; check the BSSIDs of the access points", d.Radios, d.Stays())
		}
		return nil, failed
	}
	if err := solve(fits, o, start != nil, full); err != nil {
		return nil, err
	}
	for _, f := range fits {
		out.take(f)
	}
	if full {
		out.judge(d, fits)
		out.doubt(d, fits)
	}
	return out, nil
}

// fitGroup lays out a band and solves its least squares.
func fitGroup(d *Data, g *rows, o Options, perAP bool) (*groupFit, error) {
	f := &groupFit{rows: g, data: d, model: o.Model, perAP: perAP}
	common := func() (float64, error) {
		c, err := fitGroup(d, g, o, false)
		if err != nil {
			return 0, err
		}
		if err := solve([]*groupFit{c}, o, false, false); err != nil {
			return 0, err
		}
		return max(0, c.theta[c.exponentAt()]), nil
	}
	if err := f.lay(common); err != nil {
		return nil, err
	}
	f.rates = make([]missRate, f.blocks)
	if f.model == Pooled {
		return f, nil
	}
	if err := f.ols(); err != nil {
		return nil, err
	}
	f.startSpreads()
	return f, nil
}

// startSpreads parts the least-squares spread into shadowing and scatter. With
// no stay that heard a radio twice the data do not tell them apart.
func (f *groupFit) startSpreads() {
	if f.model != TwoLevel {
		return
	}
	var ss, df, inv float64
	for _, i := range f.heard {
		ss += f.level[i].SumSqDB
		df += float64(f.level[i].Heard - 1)
		inv += 1 / float64(f.level[i].Heard)
	}
	q := f.psiAt()
	f.lower[q], f.lower[q+1] = math.Log(leastShadowDB), math.Log(leastScatterDB)
	if df == 0 {
		e := max(f.sigma/2, leastScatterDB)
		f.theta[q], f.theta[q+1] = math.Log(max(f.sigma*math.Sqrt(0.75), leastShadowDB)), math.Log(e)
		f.fixed[q+1] = true
		f.warn(-1, "every stay at %s GHz is one scan, so the scatter from scan to scan cannot be told from shadowing: %.1f dB stands in; take two scans or more at a point", f.band, e)
		return
	}
	e2 := max(ss/df, leastScatterDB*leastScatterDB)
	s2 := max(f.sigma*f.sigma-e2*inv/float64(len(f.heard)), 0.25)
	f.theta[q], f.theta[q+1] = math.Log(math.Sqrt(s2)), math.Log(math.Sqrt(e2))
}

// warm takes over the parameters of an earlier fit, where it has them.
func (f *groupFit) warm(start *Fit, now *Fit) {
	if start == nil || f.model == OLS {
		return
	}
	g := -1
	for i := range start.Groups {
		if start.Groups[i].Band == f.band {
			g = i
		}
	}
	if g < 0 {
		return
	}
	if f.model == Pooled {
		f.pooling.shape = start.pooling[g].shape
		return
	}
	for k, r := range f.radios {
		if !start.Radios[r].InFit {
			continue
		}
		f.theta[k] = start.Radios[r].Level1m.Est
		f.rates[k] = start.rates[r]
		if f.perAP && !f.fixed[f.blocks+k] {
			f.theta[f.blocks+k] = start.Radios[r].Exponent.Est
		}
	}
	if !f.perAP {
		f.theta[f.exponentAt()] = start.Groups[g].Exponent.Est
	}
	for j, m := range f.walls {
		if m < len(start.loss[g]) {
			f.theta[f.wallAt(j)] = start.loss[g][m]
		}
	}
	q := f.psiAt()
	f.theta[q] = math.Log(start.Groups[g].ShadowDB)
	if f.model == TwoLevel && !f.fixed[q+1] {
		f.theta[q+1] = math.Log(start.Groups[g].ScatterDB)
	}
}

// In log-likelihood units: what a Newton step may promise and still be the last
// while the miss rates are not settled, and in a warm refit; and how far the
// quadrature of two-level lets a sum over thousands of rows wander.
const (
	roughGain       = 1e-3
	quadratureNoise = 1e-6
)

// solve maximises the likelihoods of all bands together: they share nothing
// but the site's miss rates.
func solve(fits []*groupFit, o Options, warm, full bool) error {
	switch o.Model {
	case OLS:
		for _, f := range fits {
			f.lik = ordinary{f.rows}
		}
	case Censored:
		for _, f := range fits {
			if err := f.censored(o.MissRate); err != nil {
				return err
			}
		}
	case TwoLevel:
		for _, f := range fits {
			f.lik = f.twoLevel()
		}
		last := 0.0
		if warm {
			last = roughGain // the step after it is taken on trust, and squares what is left
		}
		return solveTwoLevel(fits, o.MissRate, last, warm, full)
	case Robust:
		for _, f := range fits {
			f.lik = f.resistant()
		}
		return solveRobust(fits, o.MissRate, roughGain, warm, full)
	case Pooled:
		for _, f := range fits {
			f.lik = ordinary{f.rows}
			if err := f.pool(); err != nil {
				return err
			}
		}
	}
	return nil
}

// tobit lays out the censored likelihood and takes over a given miss rate.
func (f *groupFit) tobit(miss *float64) *tobit {
	n := f.rows.n()
	t := &tobit{y: make([]float64, n), side: make([]int8, n)}
	for i, l := range f.level {
		if t.y[i] = l.MeanDBm; l.Heard == 0 {
			t.y[i], t.side[i] = f.floorAt(i), -1
		}
	}
	if miss != nil && *miss > 0 {
		t.miss = slices.Repeat([]float64{*miss}, n)
		for k := range f.rates {
			f.rates[k].stay = *miss
		}
	}
	return t
}

func (f *groupFit) censored(miss *float64) error {
	t := f.tobit(miss)
	q := f.psiAt()
	start := append([]float64(nil), f.theta...)
	start[q] = math.Exp(-f.theta[q])
	for j := range q {
		start[j] *= start[q]
	}
	share := 0.0
	if miss != nil {
		share = *miss
	}
	d, olsen := f.olsen(share)
	// A fixed exponent is fixed as n, not as n/σ: its term goes into y.
	for k := range f.blocks {
		if j := f.blocks + k; f.perAP && f.fixed[j] {
			for i := d.start[k]; i < d.start[k+1]; i++ {
				olsen.y[i] -= f.theta[j] * d.own[i]
				d.own[i] = 0
			}
		}
	}
	lower := append([]float64(nil), f.lower...)
	theta, err := maximiseOlsen(d, olsen, start, f.fixed, lower)
	if err != nil {
		return fmt.Errorf("%s GHz: %w", f.band, err)
	}
	for j := range theta {
		if !f.fixed[j] {
			f.theta[j] = theta[j]
		}
	}
	t.natural = true
	f.lik = t
	f.sigma = math.Exp(f.theta[q])
	return nil
}

// ratesSettled is the change of a miss rate that is no longer followed, and
// rateRounds how often rates and likelihood take turns at most.
const (
	ratesSettled = 2e-3
	rateRounds   = 12
)

// twoLevel lays out the likelihood of scans, under the rates of f as they will be.
func (f *groupFit) twoLevel() *twoLevel {
	t := &twoLevel{pairs: make([]pair, f.rows.n()), block: make([]int, f.rows.n())}
	for i, l := range f.level {
		t.pairs[i] = pair{heard: l.Heard, missed: f.scans[i] - l.Heard, mean: l.MeanDBm, sumSq: l.SumSqDB, floor: f.floorAt(i) - 0.5}
	}
	for k := range f.blocks {
		for i := f.design.start[k]; i < f.design.start[k+1]; i++ {
			t.block[i] = k
		}
	}
	return t
}

// solveTwoLevel climbs from the parameters of fits until a step promises less
// than last; for stale see [settleRates].
func solveTwoLevel(fits []*groupFit, miss *float64, last float64, stale, full bool) error {
	climb := func(tol float64, brief bool) error {
		for _, f := range fits {
			f.lik.(*twoLevel).rates = f.rates
			o, err := (&problem{design: f.design, lik: f.lik, fixed: f.fixed, lower: f.lower, tol: tol, noise: quadratureNoise, brief: brief}).maximise(f.theta)
			if err != nil {
				return fmt.Errorf("%s GHz: %w", f.band, err)
			}
			f.theta, f.opt = o.theta, o
		}
		return nil
	}
	if miss != nil && *miss == 0 { // nothing is missed but for its level
		for _, f := range fits {
			f.rates = make([]missRate, f.blocks)
		}
	} else if err := settleRates(fits, miss, stale, func() error { return climb(roughGain, true) }); err != nil {
		return err
	}
	if err := climb(last, !full); err != nil {
		return err
	}
	for _, f := range fits {
		s, e := math.Exp(f.theta[f.psiAt()]), math.Exp(f.theta[f.psiAt()+1])
		f.sigma = math.Sqrt(s*s + e*e/f.meanHeard())
	}
	return nil
}

// settleRates lets miss rates and likelihood take turns. Where the parameters
// are the maximum of other data (stale), rates that have not changed say
// nothing about them. The share of scans missed may be given.
func settleRates(fits []*groupFit, scan *float64, stale bool, climb func() error) error {
	for round := range rateRounds {
		change := 0.0
		all := make([][]tally, len(fits))
		var site tally
		for g, f := range fits {
			all[g] = f.tallies(f.rates)
			for _, t := range all[g] {
				site.add(t)
			}
		}
		for g, f := range fits {
			next := missRates(all[g], site, scan)
			for k := range next {
				change = max(change, math.Abs(next[k].scan-f.rates[k].scan), math.Abs(next[k].stay-f.rates[k].stay))
			}
			f.rates = next
		}
		if change < ratesSettled && !(stale && round == 0) {
			return nil
		}
		if err := climb(); err != nil {
			return err
		}
	}
	return nil
}

// meanHeard is the mean number of scans that heard, over the pairs that did.
func (f *groupFit) meanHeard() float64 {
	return float64(f.counts.readings) / float64(f.counts.heard)
}
