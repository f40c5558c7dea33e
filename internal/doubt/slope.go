package doubt

import "math"

// slopes looks for access points whose level does not fall with distance: an
// exponent of N(0, 1) against that of the band, where its own rows say less than
// zero by more than their standard error.
func (f *fit) slopes() []Finding {
	var out []Finding
	for ap := range f.v.spots {
		lbf, n, weight := 0.0, 0.0, 0.0
		for k := range f.radios {
			rf := &f.radios[k]
			if rf.ap != ap || len(rf.rows) < leastRows {
				continue
			}
			b := &f.bands[rf.band]
			g := f.products(k, rf.rows, rf.chol)
			as, _ := f.evidence(b, f.tauN, len(rf.rows), rf.logDet, g)
			flat := g // e + n̄ x: about an exponent of zero
			flat.oe += b.exponent * g.ox
			flat.ee += 2*b.exponent*g.xe + b.exponent*b.exponent*g.xx
			flat.xe += b.exponent * g.xx
			against, _ := f.evidence(b, 1, len(rf.rows), rf.logDet, flat)
			lbf += against - as
			va, _ := f.priors(rf)
			m := 1/va + g.oo
			info := (g.xx - g.ox*g.ox/m) / b.s2
			n += info * (b.exponent + (g.xe-g.ox*g.oe/m)/(info*b.s2))
			weight += info
		}
		if weight == 0 {
			continue
		}
		share := f.share(ap)
		se := 1 / math.Sqrt(weight*share)
		if n /= weight; n+se >= 0 {
			continue
		}
		out = append(out, Finding{Kind: Slope, APs: []int{ap}, Effect: n, SE: se, LBF: lbf * share, Threshold: thresholds[Slope]})
	}
	return out
}
