package propagation

import (
	"math"

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

	var sum float64
	ref := top
	var m1 [3]float64 // Σ w ∂
	var m2 [6]float64 // Σ w (∂² + ∂∂')
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
		lf := -tt*tt/2 + q*lg
		if lf < top-negligible {
			continue
		}
		if lf > ref { // a new peak: rescale what is summed so far
			if sum > 0 {
				f := math.Exp(ref - lf)
				sum *= f
				for j := range m1 {
					m1[j] *= f
				}
				for j := range m2 {
					m2[j] *= f
				}
			}
			ref = lf
		}
		w := math.Exp(lf - ref)
		z := zm + sz*tt
		sc := s * z
		rhoX := -rho * (x + rho) // ρ'
		dev := p.mean - mu - sc
		ee := e * e
		g0 := h*dev/ee - q*rho/e
		g1 := sc * g0
		g2 := -h + p.sumSq/ee + h*dev*dev/ee - q*rho*x
		k := -h/ee + q*rhoX/ee
		t := -2*h*dev/ee + q*(rho+rhoX*x)/e
		u := -2*p.sumSq/ee - 2*h*dev*dev/ee + q*(rhoX*x*x+rho*x)
		sum += w
		m1[0] += w * g0
		m1[1] += w * g1
		m1[2] += w * g2
		m2[0] += w * (k + g0*g0)
		m2[1] += w * (sc*k + g0*g1)
		m2[2] += w * (t + g0*g2)
		m2[3] += w * (sc*g0 + sc*sc*k + g1*g1)
		m2[4] += w * (sc*t + g1*g2)
		m2[5] += w * (u + g2*g2)
	}
	o.l += ref + math.Log(sum*step/sqrt2Pi)
	g0, g1, g2 := m1[0]/sum, m1[1]/sum, m1[2]/sum
	o.m, o.p[0], o.p[1] = g0, g1, g2
	o.mm = m2[0]/sum - g0*g0
	o.mp[0] = m2[1]/sum - g0*g1
	o.mp[1] = m2[2]/sum - g0*g2
	o.p00 = m2[3]/sum - g1*g1
	o.p01 = m2[4]/sum - g1*g2
	o.p11 = m2[5]/sum - g2*g2
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
	return distuv.UnitNormal.Quantile(math.Exp2(-1 / float64(q)))
}
