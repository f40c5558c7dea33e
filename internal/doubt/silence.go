package doubt

import (
	"cmp"
	"math"
	"slices"
)

// Constants of silence.
const (
	oddSilence  = .04 // stays that miss a strong radio for no reason at all
	strongDB    = 12  // above the floor of hearing a scan that misses says so of the receiver
	mostMissing = .9
)

// silence estimates how often strong radios are missed: by scans where they are
// heard, and by whole stays where they are predicted two spreads above the floor
// of hearing.
//
//	P(unheard) = pm + (1 − pm) Φ((c − ½ − μ)/s),  pm = p0^m + 0.04 + 1.5 q
func (f *fit) silence() {
	r := f.v.rows
	missed, scans := 0.0, 0.0
	silent, strong := 0.0, 0.0
	for k := range f.radios {
		rf := &f.radios[k]
		if len(rf.rows) == 0 || f.v.dead[rf.ap] {
			continue
		}
		for _, i := range rf.rows {
			if c := k*r.n + i; r.listened[c] > 1 && r.level[c] > r.floorDBm[c]+strongDB {
				missed += float64(r.listened[c] - r.heard[c])
				scans += float64(r.listened[c])
			}
		}
		o := f.ownOf(k)
		s := math.Sqrt(f.bands[rf.band].s2)
		count := func(rows []int, n *float64) {
			for _, i := range rows {
				if f.mean(rf, i)+o.b0+o.b1*f.x(rf, i) > r.floorDBm[k*r.n+i]+2*s {
					*n++
					strong++
				}
			}
		}
		var heard float64
		count(rf.rows, &heard)
		count(rf.silent, &silent)
	}
	f.missScan = (missed + 1) / (scans + 10)
	if strong > 0 {
		f.missStay = silent / strong
	}
	// Rows within ℓ of each other share what made them silent.
	area, stays := 0.0, 0.0
	for fl := range r.site.Floors {
		here := 0.0
		for i := range r.n {
			if r.floor[i] == fl && !r.out[i] {
				here++
			}
		}
		if here > 0 {
			area += r.site.Floors[fl].Area()
			stays += here
		}
	}
	same := 2 * math.Pi * math.Pi * f.ell * f.ell * (1 - f.rho) * stays / max(area, 1)
	f.weight = max(.15, 1/max(1, same))
}

// ownOf is what the rows of a radio say of its own level and slope.
func (f *fit) ownOf(k int) own {
	rf := &f.radios[k]
	_, o := f.evidence(&f.bands[rf.band], f.tauN, len(rf.rows), rf.logDet, f.products(k, rf.rows, rf.chol))
	return o
}

// odds is pm of a stay of m scans.
func (f *fit) odds(m int) float64 {
	return min(math.Pow(f.missScan, float64(m))+oddSilence+1.5*f.missStay, mostMissing)
}

// unheard is log P(unheard) of a level predicted as mu ± sd where the floor of
// hearing is c.
func unheard(pm, mu, sd, c float64) float64 {
	return math.Log(pm + (1-pm)*phi((c-.5-mu)/sd))
}

// phi is the distribution function of the standard normal.
func phi(z float64) float64 { return .5 * math.Erfc(-z/math.Sqrt2) }

// spaced picks, in order, rows at least max(1.5 ℓ, 2 m) apart, which count as
// independent.
func (f *fit) spaced(rows []int) []int {
	r := f.v.rows
	gap := max(1.5*f.ell, 2)
	var out []int
	for _, i := range rows {
		ok := true
		for _, j := range out {
			if r.floor[i] == r.floor[j] && distance(r.at[i], r.at[j]) < gap {
				ok = false
				break
			}
		}
		if ok {
			out = append(out, i)
		}
	}
	return out
}

// quantile is that of the standard normal.
func quantile(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }

// sortBy sorts rows by a key, stably.
func sortBy(rows []int, key func(i int) float64) {
	slices.SortStableFunc(rows, func(a, b int) int { return cmp.Compare(key(a), key(b)) })
}
