package propagation

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Tobit is a fit by [CensoredNormal].
type Tobit struct {
	Coef   []float64
	Sigma  float64
	SE     []float64 // of Coef, then of log σ, from the observed information
	LogLik float64
}

// CensoredNormal maximises the likelihood of y_i ~ N(x_i b, σ²) where a row
// with y_i ≤ left is only known to be at most left, and one with y_i ≥ right
// at least right (Tobin 1958):
//
//	ℓ = Σ log φ((y_i − x_i b)/σ)/σ + Σ log Φ((left − x_i b)/σ) + Σ log Φ((x_i b − right)/σ)
//
// in the parameters b/σ and 1/σ, in which it is concave (Olsen 1978). Infinite
// limits censor nothing. Columns are as in [LeastSquares]; dependent columns
// are a [*RankError].
func CensoredNormal(columns [][]float64, names []string, y []float64, left, right float64) (*Tobit, error) {
	ls, err := LeastSquares(columns, names, y)
	if err != nil {
		return nil, err
	}
	d := &design{rows: len(y), shared: columns, psi: 1}
	lik := &tobit{y: append([]float64(nil), y...), side: make([]int8, len(y))}
	for i, v := range y {
		switch {
		case v <= left:
			lik.y[i], lik.side[i] = left, -1
		case v >= right:
			lik.y[i], lik.side[i] = right, 1
		}
	}
	p := len(columns)
	start := make([]float64, p+1)
	start[p] = 1 / math.Sqrt(max(ls.RSS, 1e-12)/float64(len(y)))
	for j := range p {
		start[j] = ls.Coef[j] * start[p]
	}
	theta, err := maximiseOlsen(d, lik, start, nil, nil)
	if err != nil {
		return nil, err
	}
	natural := &tobit{y: lik.y, side: lik.side, natural: true}
	l, _, info := d.evaluate(d.chunks(), natural, theta)
	out := &Tobit{Coef: theta[:p], Sigma: math.Exp(theta[p]), LogLik: l}
	var chol mat.Cholesky
	if !chol.Factorize(info) {
		return nil, &RankError{Columns: names, Rows: len(y)}
	}
	var inv mat.SymDense
	if err := chol.InverseTo(&inv); err != nil {
		if _, ok := err.(mat.Condition); !ok {
			return nil, err
		}
	}
	for j := range p + 1 {
		out.SE = append(out.SE, math.Sqrt(inv.At(j, j)))
	}
	return out, nil
}

// maximiseOlsen maximises a tobit from δ = b/σ and γ = 1/σ, and returns b and
// log σ. Bounds are those of δ; the last, of γ, is set here.
func maximiseOlsen(d *design, lik likelihood, start []float64, fixed []bool, lower []float64) ([]float64, error) {
	p := len(start) - 1
	if lower == nil {
		lower = make([]float64, p+1)
		for j := range lower {
			lower[j] = math.Inf(-1)
		}
	}
	lower[p] = start[p] * 1e-6
	o, err := (&problem{design: d, lik: lik, fixed: fixed, lower: lower}).maximise(start)
	if err != nil {
		return nil, err
	}
	theta := o.theta
	for j := range p {
		theta[j] /= theta[p]
	}
	theta[p] = -math.Log(theta[p])
	return theta, nil
}

// tobit is the censored normal likelihood, a row being exact (side 0), at most
// y (−1) or at least y (+1). An unheard radio may be unheard for a reason other
// than its level: with miss_i = π a row of side −1 has π + (1 − π) Φ, and every
// other 1 − π.
//
// The spread parameter is γ = 1/σ with η = x δ, or, natural, log σ with η = x b.
type tobit struct {
	y       []float64
	side    []int8
	miss    []float64 // nil for none
	natural bool
}

func (t *tobit) row(i int, eta float64, psi []float64, o *deriv) {
	*o = deriv{}
	y := t.y[i]
	pi := 0.0
	if t.miss != nil {
		pi = t.miss[i]
	}
	var gamma, z float64
	if t.natural {
		gamma = math.Exp(-psi[0])
		z = (y - eta) * gamma
	} else {
		gamma = psi[0]
		z = gamma*y - eta
	}
	// f is the log likelihood by z, apart from log γ.
	var f, f1, f2 float64
	switch t.side[i] {
	case 0:
		f, f1, f2 = -z*z/2-halfLog2Pi+ln(gamma), -z, -1
	case 1:
		var h float64
		f, h = logPhi(-z)
		f1, f2 = -h, -h*(h-z)
	default:
		f, f1, f2 = logMissed(z, pi)
	}
	if t.side[i] != -1 && pi > 0 {
		f += math.Log1p(-pi)
	}
	o.l = f
	if t.natural { // z_η = −γ, z_ψ = −z
		o.m, o.mm = -gamma*f1, gamma*gamma*f2
		o.p[0], o.mp[0], o.p00 = -z*f1, gamma*(f1+z*f2), z*(f1+z*f2)
		if t.side[i] == 0 {
			o.p[0]--
		}
		return
	}
	// z_η = −1, z_γ = y
	o.m, o.mm = -f1, f2
	o.p[0], o.mp[0], o.p00 = y*f1, -y*f2, y*y*f2
	if t.side[i] == 0 {
		o.p[0] += 1 / gamma
		o.p00 -= 1 / (gamma * gamma)
	}
}

// logMissed is log(π + (1 − π) Φ(z)) and its first two derivatives.
func logMissed(z, pi float64) (f, f1, f2 float64) {
	if pi == 0 {
		l, h := logPhi(z)
		return l, h, -h * (h + z)
	}
	g := pi + (1-pi)*bigPhi(z)
	r := (1 - pi) * phi(z) / g
	return math.Log(g), r, -r * (z + r)
}
