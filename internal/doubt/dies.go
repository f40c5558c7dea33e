package doubt

import "math"

// A part of a floor may lie behind walls that are not on the plan: what is left
// of a walk shares a shade of N(0, 2.5² dB²), averaged over so many levels.
const (
	shadeDB    = 2.5
	shadeSteps = 9
)

// leastBefore is how many rows must have heard what is said to have died.
const leastBefore = 3

// dies looks for access points that were not heard from some row on though
// others were expected to: over rows after that, far enough apart to be
// independent,
//
//	lbf = −log E_b Π P(unheard | b) − log N,  b ~ N(0, 2.5² dB²)
func (f *fit) dies() []Finding {
	out := make([]*Finding, len(f.v.spots))
	each(len(out), func(ap int) {
		last, heard := -1, 0
		for k := range f.radios {
			if rf := &f.radios[k]; rf.ap == ap && len(rf.rows) > 0 {
				last = max(last, rf.rows[len(rf.rows)-1])
				heard = max(heard, len(rf.rows))
			}
		}
		if heard < leastBefore {
			return
		}
		lbf, first := 0.0, -1
		expected := 0.0
		for k := range f.radios {
			rf := &f.radios[k]
			if rf.ap != ap || len(rf.rows) < leastBefore {
				continue
			}
			hearings := 0.0
			apart := f.spaced(after(rf.silent, last))
			ll := make([]float64, shadeSteps)
			for _, i := range apart {
				c := k*f.v.rows.n + i
				mu, sd := f.predict(k, i, rf.rows, &f.krigs[k])
				pm, low := f.odds(f.v.rows.listened[c]), f.v.rows.floorDBm[c]
				for s := range ll {
					ll[s] += unheard(pm, mu+shadeDB*quantile((float64(s)+.5)/shadeSteps), sd, low)
				}
				hearings += 1 - math.Exp(unheard(pm, mu, sd, low))
			}
			sum := -logMean(ll)
			for _, i := range after(rf.silent, last) {
				if first < 0 || i < first {
					first = i
				}
			}
			lbf += sum
			expected = max(expected, hearings)
		}
		if first < 0 {
			return
		}
		lbf = lbf*f.share(ap) - math.Log(float64(f.v.rows.n))
		out[ap] = &Finding{Kind: Dies, APs: []int{ap}, Effect: expected, SE: math.NaN(), LBF: lbf, Threshold: thresholds[Dies],
			When: f.visit(first), Early: f.visit(last), Late: f.visit(first), row: first}
	})
	return kept(out)
}

// after keeps the rows later than one.
func after(rows []int, row int) []int {
	for a, i := range rows {
		if i > row {
			return rows[a:]
		}
	}
	return nil
}

// neverSteps is the number of levels over which that of an access point that
// was never heard is averaged.
const neverSteps = 25

// never lists the access points that no row heard: dead where silence is less
// likely than 0.01 if it were alive, of any level that those of its band have,
//
//	P = E_A Π P(unheard | A),  A ~ N(Ā, τ_A²), over rows far enough apart
//
// and else without a point near enough.
func (f *fit) never() []Finding {
	var out []Finding
	for ap := range f.v.spots {
		if f.v.dead[ap] {
			continue
		}
		lbf, can, radios, m, heard := 0.0, false, []int(nil), 0.0, 0
		for k := range f.radios {
			rf := &f.radios[k]
			if rf.ap != ap {
				continue
			}
			heard += len(rf.rows)
			if len(rf.rows) == 0 && len(rf.silent) > 0 {
				can, radios = true, append(radios, k)
				lbf -= f.silentP(k)
				m++
			}
		}
		if !can || heard > 0 && len(radios) == 0 {
			continue
		}
		lbf /= 1 + f.kappa*(m-1)
		fd := Finding{Kind: Dead, APs: []int{ap}, Effect: math.NaN(), SE: math.NaN(), LBF: lbf, Threshold: thresholds[Dead]}
		if heard > 0 {
			fd.Radios = radios
		}
		if lbf < fd.Threshold {
			if heard > 0 {
				continue // the other band says that it is alive, and nothing says that this one is not
			}
			fd.Kind, fd.Threshold = Unreached, 0
		}
		out = append(out, fd)
	}
	return out
}

// silentP is log P of a radio that no row heard.
func (f *fit) silentP(k int) float64 {
	rf, r := &f.radios[k], f.v.rows
	b := &f.bands[rf.band]
	// The rows nearest first, so that those apart are the ones that tell most.
	order := append([]int(nil), rf.silent...)
	sortBy(order, func(i int) float64 { return -f.mean(rf, i) })
	rows := f.spaced(order)
	var ll []float64
	for s := range neverSteps {
		a := b.tauA * quantile((float64(s)+.5)/neverSteps)
		sum := 0.0
		for _, i := range rows {
			x := f.x(rf, i)
			c := k*r.n + i
			sum += unheard(f.odds(r.listened[c]), f.mean(rf, i)+a, math.Sqrt(b.s2+f.tauN*f.tauN*x*x/4), r.floorFor(c))
		}
		ll = append(ll, sum)
	}
	return logMean(ll)
}
