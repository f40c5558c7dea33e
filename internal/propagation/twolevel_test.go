package propagation

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
)

// stepJump is the tolerance: where the number of nodes changes within a
// difference, ℓ jumps by 1e-6 or less, and the difference by that over 2h.
const stepJump = 2e-3

// The derivatives that Newton's method relies on, against central differences
// of the likelihood itself, over seeded draws of what stays look like.
func TestTwoLevelDerivatives(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 14))
	for range 300 {
		p := pair{heard: rng.IntN(5), missed: rng.IntN(13), floor: -90.5}
		if p.heard+p.missed == 0 {
			continue
		}
		if p.heard > 0 {
			p.mean, p.sumSq = -88+10*rng.Float64(), float64(p.heard-1)*9*rng.Float64()
		}
		if rng.IntN(2) == 0 {
			p.scan, p.stay = 0.02+0.3*rng.Float64(), 0.02+0.3*rng.Float64()
		}
		mu, s, e := -100+25*rng.Float64(), 2+5*rng.Float64(), 1.5+3*rng.Float64()
		at := func(a, b, c float64) (o deriv) {
			p.logLik(mu+a, s*math.Exp(b), e*math.Exp(c), &o)
			return o
		}
		const h = 1e-3
		o := at(0, 0, 0)
		half := func(f func(o deriv) float64, a, b, c float64) float64 {
			return (f(at(a*h, b*h, c*h)) - f(at(-a*h, -b*h, -c*h))) / (2 * h)
		}
		l := func(o deriv) float64 { return o.l }
		m := func(o deriv) float64 { return o.m }
		p0 := func(o deriv) float64 { return o.p[0] }
		p1 := func(o deriv) float64 { return o.p[1] }
		what := fmt.Sprintf("%+v at μ %.2f, σ_s %.2f, σ_e %.2f", p, mu, s, e)
		for i, c := range []struct{ want, got float64 }{
			{half(l, 1, 0, 0), o.m}, {half(l, 0, 1, 0), o.p[0]}, {half(l, 0, 0, 1), o.p[1]},
			{half(m, 1, 0, 0), o.mm}, {half(p0, 1, 0, 0), o.mp[0]}, {half(p1, 1, 0, 0), o.mp[1]},
			{half(p0, 0, 1, 0), o.p00}, {half(p0, 0, 0, 1), o.p01}, {half(p1, 0, 0, 1), o.p11},
		} {
			assert.InDelta(t, c.want, c.got, stepJump*(1+math.Abs(c.want)), "derivative %d of %s", i, what)
		}
	}
}

// The two tails of log Φ meet, and the far one agrees with its asymptotic
// series (Abramowitz and Stegun 26.2.12).
func TestLogPhi(t *testing.T) {
	a, ha := logPhi(farTail + 1e-9)
	b, hb := logPhi(farTail - 1e-9)
	assert.InDelta(t, a, b, 1e-7)
	assert.InDelta(t, ha, hb, 1e-7)
	const x = 40.0
	want := -x*x/2 - halfLog2Pi - math.Log(x) + math.Log(1-1/(x*x)+3/(x*x*x*x)-15/math.Pow(x, 6))
	got, h := logPhi(-x)
	assert.InDelta(t, want, got, 1e-9)
	assert.InDelta(t, x+1/x-2/(x*x*x), h, 1e-6)
}

// A search that strays to an absurd shadowing must come back, so the likelihood
// there ends, and is small.
func TestAbsurdShadowingEnds(t *testing.T) {
	for _, p := range []pair{
		{heard: 1, missed: 1, mean: -80, floor: -92.5, scan: 0.1, stay: 0.01},
		{missed: 2, floor: -92.5, scan: 0.1, stay: 0.01},
	} {
		var near, far deriv
		p.logLik(-80, 5, 0.3, &near)
		p.logLik(-80, 1e9, 0.3, &far)
		assert.False(t, math.IsNaN(far.l))
		if p.heard > 0 {
			assert.Less(t, far.l, near.l-5)
		}
	}
}
