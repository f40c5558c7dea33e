package propagation

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Nodes over the spread of levels, of exponents and their correlation, as far as
// the restricted deviance lies less than leastLikely above its least.
const (
	spreadNodes      = 9
	correlationNodes = 7
	leastLikely      = 12.0
)

// alike is the chance, beforehand, that radios do not differ in their exponents.
const alike = 2. / 3

// unsureSpreads gives what the variances of the radios' levels at 1 m and
// exponents have more for Σ being estimated, per radio k as variance of the level,
// covariance, variance of the exponent. Predictions given Σ have the error of
// Henderson (Biometrics 31, 1975), conditional variance and that of what is common;
// one that takes an estimate for Σ says too little (Kackar and Harville, J. Am.
// Stat. Assoc. 79, 1984), by much where the estimate is 0 and radios differ all the
// same. With weights w over Σ, restricted likelihood times a prior, the variance about
// the prediction θ̂ at the estimate is
//
//	Σ w [V + (θ − θ̂)(θ − θ̂)ᵀ]
//
// (Kass and Steffey, J. Am. Stat. Assoc. 84, 1989, but about θ̂), of which V at the
// estimate is taken off again. excess is, per radio over level and exponent, what
// the correlation of its rows adds to their information, in units of 1/σ².
//
// The prior is half Cauchy in either spread (Gelman, Bayesian Anal. 1, 2006), its
// scale half of what a radio's own rows leave open, and flat in their correlation;
// exponents are all the same with the chance alike. Scale and chance are set so that
// intervals cover 95 % both where radios differ and where they do not.
func (f *groupFit) unsureSpreads(excess [][2][2]float64) [][3]float64 {
	s := f.sums
	if s == nil || len(s.groups) < 2 || s.q != 2 {
		return nil
	}
	at := s.drawn(*f.pooling.shape, excess)
	if at == nil {
		return nil
	}
	type node struct {
		*drawn
		deviance float64
	}
	var nodes []node
	least := math.Inf(1)
	for _, t := range s.plausible(*f.pooling.shape) {
		d := s.drawn(t.lambda, excess)
		if d == nil {
			continue
		}
		nodes = append(nodes, node{d, d.deviance - 2*math.Log(t.prior)})
		least = min(least, nodes[len(nodes)-1].deviance)
	}
	out := make([][3]float64, len(s.groups))
	sum := 0.0
	for _, n := range nodes {
		w := math.Exp(-(n.deviance - least) / 2)
		sum += w
		for k := range out {
			u0, u1 := n.mean[k][0]-at.mean[k][0], n.mean[k][1]-at.mean[k][1]
			v, v0 := n.variance[k], at.variance[k]
			out[k][0] += w * (v[0] - v0[0] + u0*u0)
			out[k][1] += w * (v[1] - v0[1] + u0*u1)
			out[k][2] += w * (v[2] - v0[2] + u1*u1)
		}
	}
	if sum == 0 {
		return nil
	}
	m := f.meanX
	for k, v := range out {
		a, b, c := v[0]/sum, v[1]/sum, v[2]/sum
		out[k] = [3]float64{a - 2*m*b + m*m*c, b - m*c, c} // level at 1 m = level at mx − n mx
	}
	return out
}

// drawn are level (at the mean log distance) and exponent of every radio at one Λ.
type drawn struct {
	mean     [][2]float64
	variance [][3]float64
	deviance float64 // restricted
}

func (s *mixedSums) drawn(t [3]float64, excess [][2][2]float64) *drawn {
	o := s.at(t)
	if o == nil || !(o.rss > 0) {
		return nil
	}
	d := &drawn{deviance: s.deviance(o, true)}
	var common mat.SymDense
	if err := o.rx.InverseTo(&common); err != nil {
		if _, ok := err.(mat.Condition); !ok {
			return nil
		}
	}
	s2 := o.rss / (s.n - float64(s.p))
	pull := [2][]float64{make([]float64, s.p), make([]float64, s.p)}
	for gi := range s.groups {
		g := &s.groups[gi]
		r := g.residual(o.coef)
		c := conditional(t, o.inv[gi])
		mean := [2]float64{o.coef[0], o.coef[1]}
		for a := range 2 {
			mean[a] += c[a][0]*r[0] + c[a][1]*r[1]
			// What an error of the common coefficients leaves in a prediction.
			for j := range s.p {
				pull[a][j] = -c[a][0]*g.zx[0][j] - c[a][1]*g.zx[1][j]
			}
			pull[a][a]++
		}
		var v [2][2]float64
		for a := range 2 {
			for b := range 2 {
				v[a][b] = c[a][b]
				for i := range 2 {
					for j := range 2 {
						v[a][b] += c[a][i] * excess[gi][i][j] * c[j][b]
					}
				}
				for i := range s.p {
					for j := range s.p {
						v[a][b] += pull[a][i] * common.At(i, j) * pull[b][j]
					}
				}
				v[a][b] *= s2
			}
		}
		d.mean = append(d.mean, mean)
		d.variance = append(d.variance, [3]float64{v[0][0], v[0][1], v[1][1]})
	}
	return d
}

// conditional is Λ A⁻¹ Λᵀ, the variance over σ² of a group's random coefficients
// given its rows.
func conditional(t [3]float64, inv [2][2]float64) [2][2]float64 {
	l := [2][2]float64{{t[0], 0}, {t[1], t[2]}}
	var out [2][2]float64
	for a := range 2 {
		for b := range 2 {
			for i := range 2 {
				for j := range 2 {
					out[a][b] += l[a][i] * inv[i][j] * l[b][j]
				}
			}
		}
	}
	return out
}

// plausible is a node with its prior weight.
type plausible struct {
	lambda [3]float64
	prior  float64
}

// plausible are nodes over Λ, evenly over both spreads and their correlation,
// about as far as the restricted likelihood reaches.
func (s *mixedSums) plausible(best [3]float64) (out []plausible) {
	lambda := func(sd0, sd1, r float64) [3]float64 {
		return [3]float64{sd0, r * sd1, math.Sqrt(1-r*r) * sd1}
	}
	sd := [2]float64{math.Abs(best[0]), math.Hypot(best[1], best[2])}
	r := 0.0
	if sd[0] > 0 && sd[1] > 0 {
		r = best[0] / sd[0] * best[1] / sd[1]
	}
	deviance := func(sd [2]float64) float64 {
		o := s.at(lambda(sd[0], sd[1], r))
		if o == nil || !(o.rss > 0) {
			return math.Inf(1)
		}
		return s.deviance(o, true)
	}
	least := deviance(sd)
	var from, to [2]float64
	var unit [2]float64
	for a := range sd {
		zz := 0.0
		for _, g := range s.groups {
			zz += g.zz[a][a]
		}
		unit[a] = math.Sqrt(float64(len(s.groups)) / zz) // what a radio's own rows leave open
		likely := func(v float64) bool {
			at := sd
			at[a] = v
			return deviance(at) < least+leastLikely
		}
		width := max(sd[a], unit[a])
		if to[a] = sd[a] + width/4; likely(0) {
			from[a] = 0
		} else {
			from[a] = edge(sd[a], 0, likely)
		}
		for to[a] < sd[a]+10*width && likely(to[a]) {
			to[a] += width / 4
		}
	}
	prior := func(a int, s float64) float64 {
		u := unit[a] / 2
		return 2 / (math.Pi * u * (1 + square(s/u))) * (to[a] - from[a]) / spreadNodes
	}
	mid := func(a, i int) float64 { return from[a] + (to[a]-from[a])*(float64(i)+.5)/spreadNodes }
	for i := range spreadNodes {
		sd0 := mid(0, i)
		if from[1] == 0 {
			out = append(out, plausible{lambda(sd0, 0, 0), prior(0, sd0) * alike / (1 - alike)})
		}
		for j := range spreadNodes {
			sd1 := mid(1, j)
			for k := range correlationNodes {
				out = append(out, plausible{lambda(sd0, sd1, (2*float64(k)+1)/correlationNodes-1), prior(0, sd0) * prior(1, sd1) / correlationNodes})
			}
		}
	}
	return out
}

// edge is about where holds, true at in, stops to hold on the way to out.
func edge(in, out float64, holds func(float64) bool) float64 {
	for range 12 {
		if mid := (in + out) / 2; holds(mid) {
			in = mid
		} else {
			out = mid
		}
	}
	return in
}
