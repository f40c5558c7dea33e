package propagation

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/stat/distuv"
)

// pair is what one stay says of one radio, as [twoLevel] needs it.
type pair struct {
	heard  int     // scans that heard, h
	missed int     // scans that did not, q
	mean   float64 // mean level of those that heard
	sumSq  float64
	floor  float64 // c − ½ dB: a reading of c stands for c − ½ to c + ½
	scan   float64 // p0: share of scans that miss a strong radio, within a stay that hears it
	stay   float64 // π: share of stays that miss a strong radio altogether
}

// twoLevel is the likelihood of a stay's scans. With S ~ N(0, σ_s²) shared by
// the stay, scatter σ_e, and x = (c − ½ − μ − S)/σ_e,
//
//	ℓ = log(1 − π) + h log(1 − p0) + log ∫ φ(S/σ_s)/σ_s Π_heard φ((y − μ − S)/σ_e)/σ_e [p0 + (1 − p0) Φ(x)]^q dS
//
// and for a stay that never heard, log(π + (1 − π) ∫ … dS). The spread
// parameters are log σ_s and log σ_e.
//
// Derivatives are taken under the integral (Louis, J. R. Stat. Soc. B 44, 1982):
// with S = σ_s z and E over z given the scans, ∂ℓ = E[∂ log f] and
// ∂²ℓ = E[∂² log f] + Cov[∂ log f].
type twoLevel struct {
	pairs []pair // apart from the miss rates
	block []int  // per pair
	rates []missRate
}

func (t *twoLevel) row(i int, eta float64, psi []float64, o *deriv) {
	p := t.pairs[i]
	p.scan, p.stay = t.rates[t.block[i]].scan, t.rates[t.block[i]].stay
	p.logLik(eta, math.Exp(psi[0]), math.Exp(psi[1]), o)
}

// logLik gives ℓ and its derivatives by μ, log σ_s and log σ_e.
func (p *pair) logLik(mu, s, e float64, o *deriv) {
	if p.missed == 0 {
		p.gaussian(mu, s, e, o)
	} else {
		p.integrate(mu, s, e, o)
	}
	if p.heard > 0 {
		if p.scan > 0 {
			o.l += float64(p.heard) * math.Log1p(-p.scan)
		}
		if p.stay > 0 {
			o.l += math.Log1p(-p.stay)
		}
		return
	}
	if p.stay > 0 {
		o.mix(p.stay)
	}
}

// mix turns log E into log(π + (1 − π) E).
func (o *deriv) mix(pi float64) {
	e := (1 - pi) * math.Exp(o.l)
	w := e / (pi + e)
	v := w * (1 - w)
	o.l = math.Log(pi + e)
	o.mm = w*o.mm + v*o.m*o.m
	for a := range o.mp {
		o.mp[a] = w*o.mp[a] + v*o.m*o.p[a]
	}
	o.p00 = w*o.p00 + v*o.p[0]*o.p[0]
	o.p01 = w*o.p01 + v*o.p[0]*o.p[1]
	o.p11 = w*o.p11 + v*o.p[1]*o.p[1]
	o.m *= w
	o.p[0] *= w
	o.p[1] *= w
}

// gaussian is the part of the scans that heard, in closed form: the mean is
// N(μ, V) with V = σ_s² + σ_e²/h, and the sum of squares about it σ_e² χ²(h−1).
func (p *pair) gaussian(mu, s, e float64, o *deriv) {
	h := float64(p.heard)
	v := s*s + e*e/h
	u := p.mean - mu
	ss := p.sumSq / (e * e)
	*o = deriv{}
	o.l = -0.5*math.Log(v) - u*u/(2*v) - (h-1)*math.Log(e) - ss/2 - 0.5*math.Log(h) - h*halfLog2Pi
	o.m, o.mm = u/v, -1/v
	v0, v1 := 2*s*s, 2*e*e/h
	b := -1/(2*v) + u*u/(2*v*v)
	bb := 1/(2*v*v) - u*u/(v*v*v)
	o.p[0], o.p[1] = b*v0, b*v1-(h-1)+ss
	o.mp[0], o.mp[1] = -u*v0/(v*v), -u*v1/(v*v)
	o.p00, o.p01, o.p11 = 2*b*v0+bb*v0*v0, bb*v0*v1, 2*b*v1+bb*v1*v1-2*ss
}

// negligible is the log of the part of the integrand that is left out at
// either end, and nodesPerEdge how far apart nodes stand, in widths of the edge
// of Φ^q. The trapezoidal rule on a smooth integrand that dies at both ends
// converges as exp(−2π² (width/step)²): these give eight digits of ℓ.
const (
	negligible   = 20.0
	nodesPerEdge = 1.0
	tail         = -4.0
	widestStep   = 0.6
	// mostNodes on either side are enough for a shadowing 1,000 times the
	// scatter, more than any building has; beyond it the sum is rough but ends.
	mostNodes = 10000
)

// integrate takes S out by the trapezoidal rule over the distribution of S
// that the scans which heard leave, N(zm, vz) in units of σ_s. (Gauss-Hermite
// nodes about the mode do as well with p0 = 0; with p0 > 0 the integrand can
// have two modes, at "strong but missed" and at "weak".)
func (p *pair) integrate(mu, s, e float64, o *deriv) {
	h, q := float64(p.heard), float64(p.missed)
	*o = deriv{}
	zm, vz := 0.0, 1.0
	if p.heard > 0 {
		p.gaussian(mu, s, e, o)
		vz = 1 / (1 + h*s*s/(e*e))
		zm = vz * h * s * (p.mean - mu) / (e * e)
	}
	sz := math.Sqrt(vz)
	x0 := (p.floor - mu - s*zm) / e // x = x0 − r t at z = zm + sz t
	r := s * sz / e

	// How far the window must reach: the integrand is at least top somewhere,
	// and at most exp(−t²/2).
	xq := halfway(p.missed)
	top := q * p.logG(x0)
	if tq := (x0 - xq) / r; tq < 0 {
		top = max(top, -tq*tq/2+q*p.logG(xq))
	}
	reach := math.Sqrt(2 * (negligible - top))
	if x0-r*reach > 6 { // missed for certain
		return
	}
	if p.scan > 0 && x0+r*reach < -8 { // heard for certain, but for p0
		o.l += q * math.Log(p.scan)
		return
	}
	step := min(widestStep, nodesPerEdge/(r*max(1, math.Sqrt(2*math.Log(q)))))
	if top < tail { // there the integrand is a bell as narrow as q edges make it
		step = min(step, 0.8*nodesPerEdge/math.Sqrt(1+q*r*r))
	}
	n := int(min(math.Ceil(reach/step), mostNodes))
	step = reach / float64(n)

	m := moments{s: s, perE: 1 / e, h: h, q: q, mean: p.mean - mu, hee: h / (e * e), ss: p.sumSq / (e * e)}
	ref := top
	if p.scan > 0 && top > lightest {
		p.light(&m, x0, r, zm, sz, step, n, top)
	} else {
		ref = p.careful(&m, x0, r, zm, sz, step, n, top)
	}
	m.enter(o, ref+math.Log(step/sqrt2Pi))
}

// moments are sums of the integrand, weighted by w, and of its derivatives by
// μ, log σ_s and log σ_e: Σ w, Σ w ∂ and Σ w (∂² + ∂∂').
type moments struct {
	s, h, q float64
	mean    float64 // ȳ − μ
	perE    float64 // 1/σ_e
	hee, ss float64 // h/σ_e² and the sum of squares about ȳ over σ_e²
	sum     float64
	m1      [3]float64
	m2      [6]float64
}

// add enters a node at z with x, where the hazard is ρ = ∂ log G/∂x.
func (m *moments) add(w, z, x, rho float64) {
	sc := m.s * z
	rhoX := -rho * (x + rho) // ρ'
	dev := m.mean - sc
	qe := m.q * m.perE
	hd := m.hee * dev
	g0 := hd - qe*rho
	g1 := sc * g0
	g2 := m.ss - m.h + hd*dev - m.q*rho*x
	k := qe*m.perE*rhoX - m.hee
	t := qe*(rho+rhoX*x) - 2*hd
	u := m.q*(rhoX*x+rho)*x - 2*m.ss - 2*hd*dev
	m.sum += w
	m.m1[0] += w * g0
	m.m1[1] += w * g1
	m.m1[2] += w * g2
	m.m2[0] += w * (k + g0*g0)
	m.m2[1] += w * (sc*k + g0*g1)
	m.m2[2] += w * (t + g0*g2)
	m.m2[3] += w * (sc*g0 + sc*sc*k + g1*g1)
	m.m2[4] += w * (sc*t + g1*g2)
	m.m2[5] += w * (u + g2*g2)
}

func (m *moments) scale(f float64) {
	m.sum *= f
	for j := range m.m1 {
		m.m1[j] *= f
	}
	for j := range m.m2 {
		m.m2[j] *= f
	}
}

// enter adds the logarithm of the integral, of which a factor is taken out, to ℓ.
func (m *moments) enter(o *deriv, factor float64) {
	o.l += factor + math.Log(m.sum)
	g0, g1, g2 := m.m1[0]/m.sum, m.m1[1]/m.sum, m.m1[2]/m.sum
	o.m, o.p[0], o.p[1] = g0, g1, g2
	o.mm = m.m2[0]/m.sum - g0*g0
	o.mp[0] = m.m2[1]/m.sum - g0*g1
	o.mp[1] = m.m2[2]/m.sum - g0*g2
	o.p00 = m.m2[3]/m.sum - g1*g1
	o.p01 = m.m2[4]/m.sum - g1*g2
	o.p11 = m.m2[5]/m.sum - g2*g2
}

// lightest is the logarithm of an integrand that may still be divided by its
// greatest value, or nearly so, without leaving the range of numbers.
const lightest = -300.0

// light sums the integrand over exp(top) where p0 > 0: [p0 + (1 − p0) Φ]^q is
// far from underflow then, and neither logarithms nor, from node to node,
// exponentials are called for: exp(−t²/2) goes on by its ratio.
func (p *pair) light(m *moments, x0, r, zm, sz, step float64, n int, top float64) {
	tab := normalTable()
	scale, shrink := math.Exp(-top), math.Exp(-step*step)
	bell, ratio := scale, 0.0
	for a := 0; a <= n; a++ {
		t := float64(a) * step
		switch {
		case a == 0:
		case a%ratioRun == 1:
			bell, ratio = scale*math.Exp(-t*t/2), math.Exp(-step*(t+step/2))
		default:
			bell *= ratio
			ratio *= shrink
		}
		for {
			x := x0 - r*t
			g, rho := 1.0, 0.0
			switch {
			case x < -tableReach:
				g = p.scan
			case x <= tableReach:
				cdf, density := tab.at(x)
				g = p.scan + (1-p.scan)*cdf
				rho = (1 - p.scan) * density / g
			}
			if w := bell * power(g, p.missed); w >= leastWeight {
				m.add(w, zm+sz*t, x, rho)
			}
			if t <= 0 {
				break
			}
			t = -t
		}
	}
}

// ratioRun is after how many ratios rounding is swept out: it has grown to some
// 1e-13 then.
const ratioRun = 32

// leastWeight is exp(−negligible).
const leastWeight = 2.061153622438558e-9

// halfways holds what halfway gives, from q = 1.
var halfways = sync.OnceValue(func() *[32]float64 {
	h := new([32]float64)
	for q := 1; q < len(h); q++ {
		h[q] = distuv.UnitNormal.Quantile(math.Exp2(-1 / float64(q)))
	}
	return h
})

// power is g^q for q ≥ 1.
func power(g float64, q int) float64 {
	out := 1.0
	for ; q > 0; q >>= 1 {
		if q&1 == 1 {
			out *= g
		}
		g *= g
	}
	return out
}

// careful sums the integrand over exp of what it returns, by logarithms.
func (p *pair) careful(m *moments, x0, r, zm, sz, step float64, n int, top float64) (ref float64) {
	ref = top
	for a := -n; a <= n; a++ {
		tt := float64(a) * step
		x := x0 - r*tt
		var lg, rho float64
		switch {
		case p.scan == 0:
			lg, rho = logPhi(x)
		case x > 8:
		default:
			g := p.scan + (1-p.scan)*bigPhi(x)
			lg, rho = math.Log(g), (1-p.scan)*phi(x)/g
		}
		lf := -tt*tt/2 + m.q*lg
		if lf < top-negligible {
			continue
		}
		if lf > ref { // a new peak: rescale what is summed so far
			m.scale(math.Exp(ref - lf))
			ref = lf
		}
		m.add(math.Exp(lf-ref), zm+sz*tt, x, rho)
	}
	return ref
}

// logG is log(p0 + (1 − p0) Φ(x)).
func (p *pair) logG(x float64) float64 {
	if p.scan == 0 {
		l, _ := logPhi(x)
		return l
	}
	return math.Log(p.scan + (1-p.scan)*bigPhi(x))
}

// halfway is where Φ(x)^q = ½.
func halfway(q int) float64 {
	if h := halfways(); q < len(*h) {
		return h[q]
	}
	return distuv.UnitNormal.Quantile(math.Exp2(-1 / float64(q)))
}
