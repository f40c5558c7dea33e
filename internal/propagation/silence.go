package propagation

import "math"

// Constants of the miss rates. They are fixed beforehand, not tuned per site.
const (
	// strongDB above the floor of hearing a level is strong: silence there has
	// another reason than the level.
	strongDB = 12.0
	// A radio's own share of misses counts with as many scans (stays) as it
	// had at strong levels, the site's share with these many.
	siteScans = 20.0
	siteStays = 6.0
	// Before any evidence, one stay in a hundred misses a strong radio; that
	// belief weighs as much as 25 stays.
	priorStayMiss  = 0.01
	priorStayCount = 25.0
	// mostMissed keeps log(1 − p) finite for a radio that is hardly ever heard.
	mostMissed = 0.95
)

// tally counts misses at strong levels.
type tally struct {
	missed, rows float64 // scans missed in rows that heard
	scans        []int   // how many of those rows had so many scans
	silent, all  float64 // stays missed altogether, and all, at strong predicted levels
}

func (t *tally) add(o tally) {
	t.missed += o.missed
	t.rows += o.rows
	for m, n := range o.scans {
		t.count(m, n)
	}
	t.silent += o.silent
	t.all += o.all
}

// count enters n rows of m scans.
func (t *tally) count(m, n int) {
	for len(t.scans) <= m {
		t.scans = append(t.scans, 0)
	}
	t.scans[m] += n
}

// less takes out what o counted of the same block.
func (t tally) less(o tally) tally {
	t.missed -= o.missed
	t.rows -= o.rows
	t.scans = append([]int(nil), t.scans...)
	for m, n := range o.scans {
		t.scans[m] -= n
	}
	t.silent -= o.silent
	t.all -= o.all
	return t
}

// tallies counts, for every block, what is missed 12 dB or more above the
// floor: scans by the measured mean of stays that heard, and stays by the
// level that the fit predicts, each silent stay by the odds that it was missed
// rather than too weak.
func (f *groupFit) tallies(rates []missRate) []tally {
	out := make([]tally, f.blocks)
	x := make([]float64, len(f.locals(0)))
	for k := range f.blocks {
		at := f.locals(k)
		for i := f.design.start[k]; i < f.design.start[k+1]; i++ {
			if !f.out(i) {
				f.tally(&out[k], i, rates[k], at, x)
			}
		}
	}
	return out
}

// tally enters row i of a block whose local parameters are at.
func (f *groupFit) tally(t *tally, i int, rate missRate, at []int, x []float64) {
	l, m := f.level[i], f.scans[i]
	if l.Heard > 0 && m > 1 && l.MeanDBm >= f.floorAt(i)+strongDB {
		t.missed += float64(m - l.Heard)
		t.rows++
		t.count(m, 1)
	}
	eta := f.regressors(i, at, f.theta, x)
	if eta < f.floorAt(i)+strongDB {
		return
	}
	t.all++
	if l.Heard == 0 {
		weak := f.weak(eta-f.floorAt(i)+f.floor, m, rate)
		pi := max(rate.stay, 1e-4)
		t.silent += pi / (pi + (1-pi)*weak)
	}
}

// weak is how likely a radio of mean level eta goes unheard in m scans for its level.
func (f *groupFit) weak(eta float64, m int, rate missRate) float64 {
	psi := f.theta[f.psiAt():]
	if f.model == Robust {
		l, _, _ := huberMissed((f.floor-eta)/math.Exp(psi[0]), 0)
		return math.Exp(l)
	}
	var o deriv
	p := pair{missed: m, floor: f.floor - 0.5, scan: rate.scan}
	p.logLik(eta, math.Exp(psi[0]), math.Exp(psi[1]), &o)
	return math.Exp(o.l)
}

// scanMiss solves for p0, drawn towards prior with the weight of siteScans. A
// stay that heard at all says of its m scans that not every one missed, so
//
//	E[missed | heard] = m p (1 − p^{m−1})/(1 − p^m)
//
// and p is the fixed point of missed / Σ m (1 − p^{m−1})/(1 − p^m).
func (t *tally) scanMiss(prior, weight float64) float64 {
	if t.rows == 0 {
		return prior
	}
	p := 0.1
	for range 50 {
		den := 0.0
		for m, n := range t.scans {
			if n > 0 {
				pm := math.Pow(p, float64(m-1))
				den += float64(n) * float64(m) * (1 - pm) / (1 - pm*p)
			}
		}
		next := min((t.missed+weight*prior)/(den+weight), mostMissed)
		if math.Abs(next-p) < 1e-7 {
			return next
		}
		p = next
	}
	return p
}

// missRates turns tallies into rates, radio by radio drawn towards the site; the
// share of scans is as given, unless nil.
func missRates(ts []tally, site tally, given *float64) []missRate {
	scan := site.scanMiss(0, 0)
	stay := (site.silent + priorStayMiss*priorStayCount) / (site.all + priorStayCount)
	out := make([]missRate, len(ts))
	for k := range ts {
		t := &ts[k]
		out[k] = missRate{
			scan: t.scanMiss(scan, siteScans),
			stay: min((t.silent+siteStays*stay)/(t.all+siteStays), mostMissed),
		}
		if given != nil {
			out[k].scan = *given
		}
	}
	return out
}
