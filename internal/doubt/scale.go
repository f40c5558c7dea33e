package doubt

import (
	"math"
	"slices"

	"footrule/internal/parallel"

	"github.com/paulmach/orb"
)

// Constants of the scale.
const (
	scaleSteps = 13
	scaleReach = .27 // of log s
	scaleSD    = .12 // prior of log s
	leastN     = 1.5 // a refit outside these explains nothing
	mostN      = 6.0
)

// scale refits with the points s times as far from the plan's origin, or from
// the middle of the points, while access points stay:
//
//	lbf = log Σ_s p(s) exp(L(s) − L(1)),  log s ~ N(0, 0.12²)
//
// over the rows in which a radio is predicted above the floor of hearing: what is
// heard below is the upper part of what there is, and a scale that leads fewer
// ways through walls would have that for evidence.
func (f *fit) scale() []Finding {
	f = f.inTheClear()
	before := f.again(f.v).total()
	var out []Finding
	for _, middle := range []bool{false, true} {
		if fd, ok := f.scaleAbout(middle, before); ok {
			out = append(out, fd)
		}
	}
	if len(out) == 2 && out[1].LBF > out[0].LBF {
		out[0] = out[1]
	}
	return out[:min(len(out), 1)]
}

func (f *fit) scaleAbout(middle bool, before float64) (Finding, bool) {
	logs, ll, weight := make([]float64, scaleSteps), make([]float64, scaleSteps), make([]float64, scaleSteps)
	sum := 0.0
	for i := range logs {
		logs[i] = scaleReach * (2*float64(i)/(scaleSteps-1) - 1)
		weight[i] = math.Exp(-logs[i] * logs[i] / (2 * scaleSD * scaleSD))
		sum += weight[i]
	}
	parallel.Do(scaleSteps, func(i int) {
		switch {
		case i == scaleSteps/2:
			ll[i] = before
			return
		default:
			ll[i] = f.scaled(middle, math.Exp(logs[i]))
		}
	})
	best, mean, v := scaleSteps/2, 0.0, 0.0
	for i := range ll {
		if ll[i] > ll[best] {
			best = i
		}
	}
	odds, total := 0.0, 0.0
	for i := range ll {
		w := weight[i] / sum * math.Exp(ll[i]-ll[best])
		odds += w
		mean += w * logs[i]
		total += w
	}
	mean /= total
	for i := range ll {
		v += weight[i] / sum * math.Exp(ll[i]-ll[best]) * (logs[i] - mean) * (logs[i] - mean) / total
	}
	lbf := ll[best] - before + math.Log(odds)
	if best == scaleSteps/2 {
		return Finding{}, false
	}
	grid := logs[1] - logs[0]
	s := math.Exp(mean)
	fd := Finding{Kind: Scale, Effect: s, SE: s * math.Sqrt(v+grid*grid/12), LBF: lbf, Threshold: thresholds[Scale]}
	if middle {
		fd.partner = 1
	}
	return fd, true
}

// anchor is what points are scaled about.
func (f *fit) anchor(middle bool, floor int) orb.Point {
	var at orb.Point
	if !middle {
		return at
	}
	r, n := f.v.rows, 0.0
	for i := range r.n {
		if r.floor[i] == floor && !r.out[i] {
			at[0] += r.at[i][0]
			at[1] += r.at[i][1]
			n++
		}
	}
	return orb.Point{at[0] / max(n, 1), at[1] / max(n, 1)}
}

// stretched gives the rows with points s times as far from the anchor.
func (f *fit) stretched(middle bool, s float64) *rows {
	r := f.v.rows.clone()
	for fl := range r.site.Floors {
		a := f.anchor(middle, fl)
		for i := range r.n {
			if r.floor[i] == fl {
				p := f.v.rows.at[i]
				r.at[i] = orb.Point{a[0] + s*(p[0]-a[0]), a[1] + s*(p[1]-a[1])}
			}
		}
	}
	return r
}

// scaled is the log likelihood of the site with points so scaled, Ā, n̄ and L
// fitted again; −Inf where the exponent would be none.
func (f *fit) scaled(middle bool, s float64) float64 {
	v := f.v.with(f.stretched(middle, s), f.v.spots, true)
	g := f.again(v)
	for b := range g.bands {
		if n := g.bands[b].exponent; n < leastN || n > mostN {
			return math.Inf(-1)
		}
	}
	return g.total()
}

// inTheClear is the fit over the rows in which a radio is predicted a spread
// above the floor of hearing.
func (f *fit) inTheClear() *fit {
	g := *f
	g.radios = slices.Clone(f.radios)
	for k := range g.radios {
		if len(f.radios[k].rows) >= 3 {
			o := f.ownOf(k)
			g.radios[k].rows, g.radios[k].silent = f.clear(k, o, f.radios[k].rows), f.clear(k, o, f.radios[k].silent)
		}
	}
	return &g
}

// again fits a view with the lengths and nuggets of f and the shared terms
// from there on.
func (f *fit) again(v *view) *fit {
	g := &fit{v: v, ell: f.ell, rho: f.rho, tauN: f.tauN, kappa: f.kappa, shareDB: f.shareDB, missScan: f.missScan, missStay: f.missStay, weight: f.weight}
	g.plan = v.ground.measure(v.spots, v.rows.floor, v.rows.at)
	g.bands = make([]bandFit, len(f.bands))
	for b := range f.bands {
		g.bands[b] = f.bands[b]
		g.bands[b].loss = append([]float64(nil), f.bands[b].loss...)
	}
	g.radios = append([]radioFit(nil), f.radios...)
	g.aim()
	g.shared(3, .8)
	g.refactor()
	return g
}

// refactor takes the correlation anew.
func (f *fit) refactor() {
	f.corr = f.correlation(f.ell, f.rho)
	parallel.Do(len(f.radios), func(k int) {
		rf := &f.radios[k]
		rf.chol, rf.logDet = factor(f.corr, f.v.rows.n, rf.rows)
	})
}
