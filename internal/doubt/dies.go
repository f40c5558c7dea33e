package doubt

import (
	"math"
	"slices"

	"footrule/internal/parallel"
)

// A part of a floor may lie behind walls that are not on the plan: what is left
// of a walk shares a shade of N(0, 2.5² dB²), averaged over so many levels.
const (
	shadeDB    = 2.5
	shadeSteps = 9
)

// shades are those levels in dB.
var shades = func() (v [shadeSteps]float64) {
	for s := range v {
		v[s] = shadeDB * quantile((float64(s)+.5)/shadeSteps)
	}
	return v
}()

// leastBefore is how many rows must have heard what is said to have died.
const leastBefore = 3

// dies looks for access points that were not heard from some row on though
// others were expected to: over the rows from τ on, far enough apart to be
// independent,
//
//	l(τ) = −log E_b Π P(unheard | b),  b ~ N(0, 2.5² dB²)
//	lbf = log mean_τ exp(l(τ))
//
// where l is −∞ for τ before it was last heard. Of rows too near to each other
// the one counts where hearing is likeliest.
func (f *fit) dies() []Finding {
	out := make([]*Finding, len(f.v.spots))
	parallel.Do(len(out), func(ap int) {
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
		n, share := f.v.rows.n, f.share(ap)
		l := make([]float64, n-1-last) // per τ
		expected, first := 0.0, n
		for k := range f.radios {
			rf := &f.radios[k]
			if rf.ap != ap || len(rf.rows) < leastBefore {
				continue
			}
			quiet := after(rf.silent, last)
			if len(quiet) == 0 {
				continue
			}
			first = min(first, quiet[0])
			ups := make(map[int]*upTo, len(quiet))
			for _, i := range quiet {
				ups[i] = f.upTo(k, i)
			}
			hearings := 0.0
			for a, i := range quiet {
				ll, sum := upTo{}, 0.0
				order := slices.Clone(quiet[a:])
				sortBy(order, func(i int) float64 { return -ups[i].hearing })
				for _, j := range f.spaced(order) {
					for s, v := range ups[j].unheard {
						ll.unheard[s] += v
					}
					sum += ups[j].hearing
				}
				from := last + 1
				if a > 0 {
					from = quiet[a-1] + 1
				}
				for t := from; t <= i; t++ {
					l[t-last-1] -= share * logMean(ll.unheard[:])
				}
				hearings = max(hearings, sum)
			}
			expected = max(expected, hearings)
		}
		if first == n {
			return
		}
		late := first
		for t, v := range l {
			if v > l[0]-wide && last+1+t > late {
				late = last + 1 + t
			}
		}
		out[ap] = &Finding{Kind: Dies, APs: []int{ap}, Effect: expected, SE: math.NaN(), LBF: logSum(l) - math.Log(float64(n)), Threshold: thresholds[Dies],
			When: f.visit(first), Early: f.visit(last), Late: f.visit(late), row: first}
	})
	return kept(out)
}

// upTo is what a silent row would be expected to hear: log P(unheard) in each
// shade, and the probability of being heard in none.
type upTo struct {
	unheard [shadeSteps]float64
	hearing float64
}

func (f *fit) upTo(k, i int) *upTo {
	c := k*f.v.rows.n + i
	mu, sd := f.predict(k, i, f.radios[k].rows, &f.krigs[k])
	pm, low := f.odds(f.v.rows.listened[c]), f.v.rows.floorDBm[c]
	out := &upTo{hearing: 1 - math.Exp(unheard(pm, mu, sd, low))}
	for s, db := range shades {
		out.unheard[s] = unheard(pm, mu+db, sd, low)
	}
	return out
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
