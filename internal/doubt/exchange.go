package doubt

import (
	"math"
	"slices"

	"footrule/internal/parallel"
)

// exchanges tries every two of the worst rows in each other's places, by the
// likelihood of the site.
func (f *fit) exchanges(worst []spotted, before float64) []Finding {
	r := f.v.rows
	var top []spotted
	for _, s := range worst {
		if s.lbf > exchangeLeast && len(top) < exchangeTop && !slices.ContainsFunc(top, func(o spotted) bool { return r.place[o.rows[0]] == r.place[s.rows[0]] }) {
			top = append(top, s)
		}
	}
	var pairs [][2]int
	for a := range top {
		for b := range a {
			i, j := top[a].rows[0], top[b].rows[0]
			if r.floor[i] == r.floor[j] && distance(r.at[i], r.at[j]) >= exchangeGap {
				pairs = append(pairs, [2]int{b, a})
			}
		}
	}
	gain := make([]float64, len(pairs))
	parallel.Do(len(pairs), func(p int) {
		gain[p] = f.again(f.v.with(exchanged(r, top[pairs[p][0]].rows, top[pairs[p][1]].rows), f.v.spots, true)).total() - before
	})
	var out []Finding
	for p, g := range gain {
		a, b := &top[pairs[p][0]], &top[pairs[p][1]]
		fd := Finding{Kind: Exchange, Effect: distance(r.at[a.rows[0]], r.at[b.rows[0]]), SE: math.NaN(), Unit: "m",
			LBF: g, Threshold: max(thresholds[Exchange], max(a.lbf, 0)+max(b.lbf, 0)), row: a.rows[0], partner: b.rows[0], sets: [2][]int{a.rows, b.rows}}
		fd.Visits = []Visit{*f.visit(a.rows[0]), *f.visit(b.rows[0])}
		out = append(out, fd)
	}
	return out
}

// exchangeLeast is the evidence below which a row is not worth an exchange.
const exchangeLeast = 1.0

// exchanged gives rows with the places of two sets of them exchanged.
func exchanged(r *rows, a, b []int) *rows {
	out := r.clone()
	pa, pb := r.at[a[0]], r.at[b[0]]
	for _, i := range a {
		out.at[i] = pb
	}
	for _, i := range b {
		out.at[i] = pa
	}
	return out
}
