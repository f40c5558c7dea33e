package propagation

import (
	"math"
	"sync/atomic"
)

// curve tabulates what missed scans say. With h scans heard and q missed, ℓ is
// a closed form in ȳ − μ plus a function T of
//
//	a = c − ½ − μ − E[S | heard] = c − ½ − μ − w (ȳ − μ),  w = h σ_s²/(σ_e² + h σ_s²)
//
// alone, so that one table of T serves all levels of a radio with that h and q.
// Its nodes are worked out when they are first asked for.
type curve struct {
	p      pair // with ȳ to be set, and without π
	s, e   float64
	weight float64 // w
	nodes  [curveNodes]curveNode
}

// curveNode is T and T' at a node, as bits: 0 for T is not yet known. Goroutines
// that work one out at a time get the same.
type curveNode struct{ v, d atomic.Uint64 }

type curveKey struct{ radio, heard, missed int }

// The table's reach about a = 0 in dB, and its step: cubic Hermite interpolation
// of a function that varies over 2 dB or more is exact to some 1e-6 there.
const (
	curveReach = 45.0
	curveStep  = 0.5
	curveNodes = int(2*curveReach/curveStep) + 1
)

func (f *Fit) curve(radio int, p *pair, g *Group) *curve {
	key := curveKey{radio, p.heard, p.missed}
	if c, ok := f.curves.Load(key); ok {
		return c.(*curve)
	}
	s, e := g.ShadowDB, g.ScatterDB
	h := float64(p.heard)
	c := &curve{p: *p, s: s, e: e, weight: h * s * s / (e*e + h*s*s)}
	c.p.sumSq, c.p.stay = 0, 0
	kept, _ := f.curves.LoadOrStore(key, c)
	return kept.(*curve)
}

// node gives T and T' at node j.
func (c *curve) node(j int) (v, d float64) {
	if bits := c.nodes[j].v.Load(); bits != 0 {
		return math.Float64frombits(bits), math.Float64frombits(c.nodes[j].d.Load())
	}
	// With ȳ = μ the mean of S is 0 and a = c − ½ − μ.
	mu := c.p.floor - (float64(j)*curveStep - curveReach)
	p := c.p
	p.mean = mu
	var o, base deriv
	p.integrate(mu, c.s, c.e, &o)
	if p.heard > 0 {
		p.gaussian(mu, c.s, c.e, &base)
	}
	// dℓ/dμ = closed form − T' (1 − w)
	v, d = o.l-base.l, -(o.m-base.m)/(1-c.weight)
	c.nodes[j].d.Store(math.Float64bits(d))
	c.nodes[j].v.Store(math.Float64bits(v))
	return v, d
}

// at gives T and T'; ok is false beyond the table.
func (c *curve) at(a float64) (v, d float64, ok bool) {
	t := (a + curveReach) / curveStep
	j := int(t)
	if !(t >= 0) || j+1 >= curveNodes {
		return 0, 0, false
	}
	t -= float64(j)
	v0, d0 := c.node(j)
	v1, d1 := c.node(j + 1)
	d0, d1 = d0*curveStep, d1*curveStep
	b2, b3 := 3*(v1-v0)-2*d0-d1, 2*(v0-v1)+d0+d1
	return v0 + t*(d0+t*(b2+t*b3)), (d0 + t*(2*b2+3*t*b3)) / curveStep, true
}
