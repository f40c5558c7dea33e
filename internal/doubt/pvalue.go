package doubt

import (
	"context"
	"math"
	"math/rand/v2"

	"footrule/internal/parallel"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
)

// pValue is how often a site without a fault gives as much evidence over a
// threshold as was seen: levels are drawn from the fit of what is left when all
// that was named is corrected, and everything is fitted again to each draw.
//
//	p = (1 + #{draws with at least margin}) / (1 + draws)
func (f *fit) pValue(ctx context.Context, margin float64, draws int, seed uint64) float64 {
	at := make([]float64, draws)
	parallel.Do(draws, func(d int) {
		if ctx.Err() != nil {
			return
		}
		r := f.draw(rand.New(rand.NewPCG(seed, uint64(d))))
		v := f.v.with(r, f.v.spots, false)
		v.dead = f.v.dead
		at[d] = margins(newFit(v).candidates(ctx, true))
	})
	n := 0.0
	for _, m := range at {
		if m >= margin {
			n++
		}
	}
	return (1 + n) / (1 + float64(draws))
}

// margins is the largest evidence over its threshold.
func margins(all []Finding) float64 {
	best := math.Inf(-1)
	for i := range all {
		best = max(best, all[i].LBF-all[i].Threshold)
	}
	return best
}

// draw makes rows as the fit has them: each radio with the level and slope that
// its rows say, shadowing of its covariance of which a share κ is common to the
// bands of a box, and an offset that all radios of a row share.
func (f *fit) draw(rng *rand.Rand) *rows {
	r := f.v.rows.clone()
	r.heard = make([]int, len(r.heard))
	all := make([]int, r.n)
	common := make([]float64, r.n)
	for i := range all {
		all[i], common[i] = i, f.shareDB*rng.NormFloat64()
	}
	t, _ := factor(f.corr, r.n, all)
	field := func() []float64 {
		z := make([]float64, r.n)
		for i := range z {
			z[i] = rng.NormFloat64()
		}
		blas64.Trmv(blas.Trans, t, blas64.Vector{N: r.n, Inc: 1, Data: z})
		return z
	}
	boxes := make([][]float64, len(f.v.spots))
	for ap := range boxes {
		boxes[ap] = field()
	}
	for k := range f.radios {
		rf := &f.radios[k]
		b := &f.bands[rf.band]
		own, z := f.ownOf(k), field()
		sd := math.Sqrt(max(b.s2-f.shareDB*f.shareDB, b.s2/2))
		for i := range r.n {
			c := k*r.n + i
			r.level[c] = math.NaN()
			u := math.Sqrt(f.kappa)*boxes[rf.ap][i] + math.Sqrt(1-f.kappa)*z[i]
			y := f.mean(rf, i) + own.b0 + own.b1*f.x(rf, i) + sd*u + common[i]
			missed := rng.Float64() < math.Pow(f.missScan, float64(max(r.listened[c], 1)))+f.missStay
			if len(rf.rows) > 0 && r.listened[c] > 0 && y > r.floorDBm[c]-.5 && !missed {
				r.level[c] = y
				r.heard[c] = max(1, int(math.Round(float64(r.listened[c])*(1-f.missScan))))
			}
		}
	}
	return r
}
