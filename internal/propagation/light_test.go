package propagation

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/stat/distuv"
)

// Φ and φ between the nodes of the table, against gonum's.
func TestNormalTable(t *testing.T) {
	tab := normalTable()
	rng := rand.New(rand.NewPCG(1, 2))
	for range 20000 {
		x := tableReach * (2*rng.Float64() - 1)
		tol := 2e-9
		if math.Abs(x) < 4 {
			tol = 1e-10
		}
		cdf, density := tab.at(x)
		assert.InEpsilon(t, distuv.UnitNormal.CDF(x), cdf, tol, "Φ(%g)", x)
		assert.InEpsilon(t, distuv.UnitNormal.Prob(x), density, tol, "φ(%g)", x)
	}
	for _, x := range []float64{-tableReach, 0, tableReach} {
		cdf, _ := tab.at(x)
		assert.Equal(t, bigPhi(x), cdf)
	}
}

// The integral without logarithms is that with them.
func TestLightIsCareful(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for range 2000 {
		p := pair{heard: rng.IntN(4), missed: 1 + rng.IntN(20), mean: -70 - 20*rng.Float64(), floor: -90.5, scan: 0.002 + 0.5*rng.Float64()}
		p.sumSq = 4 * float64(max(p.heard-1, 0))
		mu, s, e := -100+40*rng.Float64(), 1+6*rng.Float64(), 1+4*rng.Float64()
		x0, r, zm, sz := rng.Float64()*20-10, 0.2+2*rng.Float64(), rng.NormFloat64(), 1.0
		top := float64(p.missed) * p.logG(x0)
		if top < lightest {
			continue
		}
		sums := func(light bool) deriv {
			m := moments{s: s, perE: 1 / e, h: float64(p.heard), q: float64(p.missed), mean: p.mean - mu, hee: float64(p.heard) / (e * e), ss: p.sumSq / (e * e)}
			ref := top
			if light {
				p.light(&m, x0, r, zm, sz, 0.3, 30, top)
			} else {
				ref = p.careful(&m, x0, r, zm, sz, 0.3, 30, top)
			}
			var o deriv
			m.enter(&o, ref)
			return o
		}
		a, b := sums(true), sums(false)
		what := fmt.Sprintf("%+v", p)
		for _, c := range [][2]float64{
			{b.l, a.l}, {b.m, a.m}, {b.mm, a.mm}, {b.p[0], a.p[0]}, {b.p[1], a.p[1]}, {b.mp[0], a.mp[0]}, {b.mp[1], a.mp[1]},
			{b.p00, a.p00}, {b.p01, a.p01}, {b.p11, a.p11},
		} {
			assert.InDelta(t, c[0], c[1], 1e-7*(1+math.Abs(c[0])), "%s", what)
		}
	}
}
