package propagation

import "math"

// curve tabulates what missed scans say. With h scans heard and q missed, ℓ is
// a closed form in ȳ − μ plus a function T of
//
//	a = c − ½ − μ − E[S | heard] = c − ½ − μ − w (ȳ − μ),  w = h σ_s²/(σ_e² + h σ_s²)
//
// alone, so that one table of T serves all levels of a radio with that h and q.
type curve struct {
	lo, step float64
	v, d     []float64 // T and T' at lo + j step
	weight   float64   // w
}

type curveKey struct{ radio, heard, missed int }

// The table's reach about a = 0 in dB, and its step: cubic Hermite interpolation
// of a function that varies over 2 dB or more is exact to some 1e-6 there.
const (
	curveReach = 45.0
	curveStep  = 0.5
)

func (f *Fit) curve(radio int, p *pair, g *Group) *curve {
	key := curveKey{radio, p.heard, p.missed}
	if c, ok := f.curves.Load(key); ok {
		return c.(*curve)
	}
	s, e := g.ShadowDB, g.ScatterDB
	h := float64(p.heard)
	n := int(2*curveReach/curveStep) + 1
	c := &curve{lo: -curveReach, step: curveStep, v: make([]float64, n), d: make([]float64, n), weight: h * s * s / (e*e + h*s*s)}
	q := *p
	q.mean, q.sumSq, q.stay = 0, 0, 0
	var o, base deriv
	for j := range n {
		// With ȳ = μ the mean of S is 0 and a = c − ½ − μ.
		mu := q.floor - (c.lo + float64(j)*c.step)
		q.mean = mu
		q.integrate(mu, s, e, &o)
		base.l, base.m = 0, 0
		if q.heard > 0 {
			q.gaussian(mu, s, e, &base)
		}
		c.v[j] = o.l - base.l
		// dℓ/dμ = closed form − T' (1 − w)
		c.d[j] = -(o.m - base.m) / (1 - c.weight)
	}
	f.curves.Store(key, c)
	return c
}

// at gives ℓ and its derivative by μ.
func (c *curve) at(p *pair, mu float64, g *Group) (l, slope float64) {
	a := p.floor - mu
	if p.heard > 0 {
		a -= c.weight * (p.mean - mu)
	}
	t := (a - c.lo) / c.step
	j := int(t)
	var o deriv
	if !(t >= 0) || j+1 >= len(c.v) {
		p.logLik(mu, g.ShadowDB, g.ScatterDB, &o)
		return o.l, o.m
	}
	t -= float64(j)
	v0, v1, d0, d1 := c.v[j], c.v[j+1], c.d[j]*c.step, c.d[j+1]*c.step
	b2, b3 := 3*(v1-v0)-2*d0-d1, 2*(v0-v1)+d0+d1
	v := v0 + t*(d0+t*(b2+t*b3))
	d := (d0 + t*(2*b2+3*t*b3)) / c.step
	if p.heard > 0 {
		p.gaussian(mu, g.ShadowDB, g.ScatterDB, &o)
	}
	o.l += v
	o.m -= d * (1 - c.weight)
	switch {
	case p.heard == 0 && p.stay > 0:
		e := (1 - p.stay) * math.Exp(o.l)
		o.l, o.m = math.Log(p.stay+e), o.m*e/(p.stay+e)
	case p.heard > 0:
		o.l += float64(p.heard)*math.Log1p(-p.scan) + math.Log1p(-p.stay)
	}
	return o.l, o.m
}
