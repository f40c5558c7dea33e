package propagation

import (
	"math"
	"slices"
	"sync"
)

// Refits fits the model of an earlier fit again without some of its places, as
// leave-one-out does for every place, in the time of one evaluation of the
// likelihood: with gradient g and information H of all rows at the parameters of
// the fit, and g_P and H_P of the rows of the places P, the first Newton step
//
//	(H − H_P)⁻¹ (g − g_P)
//
// costs no evaluation but of the rows of P. Miss rates come from tallies less
// those of P, and what they change in g by its derivatives. From there [EstimateFrom]'s steps go on over the rows that are
// left, which for most places is one. Least squares needs no step after the
// first. Its laws:
//
//  1. A fit is that of [EstimateFrom] to the stays that are left, to what that
//     leaves of a last step, without warnings. Nothing of what is left out stays.
//  2. It is EstimateFrom itself where leaving out changes more than the sums:
//     the floor of hearing of a band, the radios that were heard, or what the
//     levels can tell; where bounds of least squares change; and for all places
//     where a band is not in the fit, or an exponent or the scatter is not
//     estimated but stands in; and for all places under pooled.
//  3. Equal places give equal fits, whatever the number of processors.
type Refits struct {
	data  *Data
	o     Options
	start *Fit
	all   []*bandRefit
	base  *Fit // of all rows
}

// NewRefits prepares refits of a fit of d by o.
func NewRefits(d *Data, o Options, fit *Fit) *Refits {
	if o.Model == "" {
		o.Model = TwoLevel
	}
	r := &Refits{data: d, o: o, start: fit}
	if o.Model == Pooled || fit.Model != o.Model || fit.PerAP != o.PerAP || len(fit.Radios) != d.Radios {
		return r
	}
	base := newFit(d, o)
	var all []*bandRefit
	for _, band := range base.bands() {
		g := gather(d, base.bandOf, band, o.FloorDBm, nil)
		if g == nil {
			continue
		}
		f, err := fitGroup(d, g, o, o.PerAP)
		if err != nil || f.standsIn() {
			return r
		}
		f.warm(fit, base)
		all = append(all, newBandRefit(f, o.MissRate))
		base.take(f)
	}
	base.Warnings = nil
	r.all, r.base = all, base
	return r
}

// Without fits again without places, indices into Data.Places. Several
// goroutines may call it at a time.
func (r *Refits) Without(places ...int) (*Fit, error) {
	without := make([]bool, len(r.data.Places))
	for _, p := range places {
		without[p] = true
	}
	if f := r.short(without); f != nil {
		return f, nil
	}
	left := r.data.Subset(func(i int) bool { return !without[r.data.PlaceOf[i]] })
	return EstimateFrom(left, r.o, r.start)
}

// standsIn says whether an exponent or the scatter is not estimated.
func (f *groupFit) standsIn() bool {
	held := slices.Clone(f.fixed)
	if f.model == Robust {
		held[f.psiAt()] = false
	}
	return slices.Contains(held, true)
}

// short is the fit without places, nil where law 2 wants EstimateFrom.
func (r *Refits) short(without []bool) *Fit {
	if r.all == nil {
		return nil
	}
	fits := make([]*groupFit, len(r.all))
	for g, b := range r.all {
		if fits[g] = b.without(without, r.o.FloorDBm != nil); fits[g] == nil {
			return nil
		}
	}
	if !r.solve(fits) {
		return nil
	}
	out := *r.base
	out.Groups, out.Radios, out.Walls = slices.Clone(out.Groups), slices.Clone(out.Radios), slices.Clone(out.Walls)
	out.rates, out.loss, out.curves = slices.Clone(out.rates), slices.Clone(out.loss), &sync.Map{}
	for g, f := range fits {
		out.loss[g] = make([]float64, len(f.wall))
		out.lessen(g, f, r.all[g].rowsAt)
		out.estimates(g, f)
	}
	return &out
}

// farGain is the climb promised by a first step, in log likelihood, above which
// its quadratic is not trusted unseen. From so far off the last step, which is
// taken on trust, may promise farLast at most: what is left of it goes with its
// square, and a place that moves a fit so far must leave nothing. From nearby
// [roughGain] leaves 1e-4 of a standard error.
const (
	farGain = 10.0
	farLast = 1e-5
)

// solve goes to the maximum; false where that has to be sought the long way.
func (r *Refits) solve(fits []*groupFit) bool {
	if r.o.Model == OLS {
		return true
	}
	if m := r.o.MissRate; r.o.Model == TwoLevel && (m == nil || *m > 0) || r.o.Model == Robust && m == nil {
		counts := make([][]tally, len(fits))
		var site tally
		for g, b := range r.all {
			counts[g] = b.tallies(fits[g].without)
			for _, t := range counts[g] {
				site.add(t)
			}
		}
		for g, f := range fits {
			f.rates = missRates(counts[g], site, m)
		}
	}
	last := roughGain
	for g, f := range fits {
		for k, by := range r.all[g].byRate {
			was := r.all[g].f.rates[k]
			for a, j := range f.locals(k) {
				f.opt.grad[j] += by[0][a]*(f.rates[k].scan-was.scan) + by[1][a]*(f.rates[k].stay-was.stay)
			}
		}
		lambda := 0.0
		p := &problem{design: f.design, lik: f.lik, fixed: f.fixed, lower: f.lower}
		next, gain, err := p.propose(f.opt, &lambda)
		if err == nil && next != nil && gain < farGain && lambda == 0 {
			f.theta = next
		} else {
			last = farLast
		}
	}
	switch r.o.Model {
	case TwoLevel:
		return solveTwoLevel(fits, r.o.MissRate, last, false, false) == nil
	case Robust:
		return solveRobust(fits, r.o.MissRate, last, false, false) == nil
	}
	for _, f := range fits {
		p := &problem{design: f.design, lik: f.lik, fixed: f.fixed, lower: f.lower, tol: last, brief: true}
		o, err := p.maximise(f.theta)
		if err != nil {
			return false
		}
		f.theta, f.opt = o.theta, o
		f.sigma = math.Exp(f.theta[f.psiAt()])
	}
	return true
}

// lessen takes out of the counts of group g what the places left out had.
func (f *Fit) lessen(g int, b *groupFit, rowsAt [][]int) {
	group := &f.Groups[g]
	group.Readings, group.Censored, group.Stays, group.Silent = b.counts.readings, b.counts.missed, b.counts.heard, b.counts.silent
	for p, rows := range rowsAt {
		if !b.design.without[p] {
			continue
		}
		b.placesOf(rows, func(k int, heard bool) {
			if heard {
				f.Radios[b.radios[k]].Points--
			} else {
				f.Radios[b.radios[k]].Silent--
			}
		})
		for _, i := range rows {
			if b.level[i].Heard == 0 {
				continue
			}
			f.Radios[b.radios[b.blockOf(i)]].Readings -= b.level[i].Heard
			for j, c := range b.wall {
				if c[i] < 0 {
					f.Walls[g*len(b.wall)+j].Crossed--
				}
			}
		}
	}
}
