package propagation

import (
	"fmt"
	"math"

	"footrule/internal/parallel"

	"gonum.org/v1/gonum/mat"
)

// design is the linear predictor of N rows: row i of block k has
//
//	η_i = θ_k + own_i θ_{K+k} + Σ_j shared_j,i θ_{…+j}
//
// and the parameters ψ of the spread stand after the shared ones. The rows of
// one block are adjacent. With blocks = 0 there are only shared columns, with
// own nil no coefficients per block.
type design struct {
	rows   int
	blocks int
	start  []int // first row of every block and the end; nil without blocks
	own    []float64
	shared [][]float64
	psi    int

	place   []int  // per row; nil where nothing is left out
	without []bool // per place, left out
}

// out says whether a row is left out.
func (d *design) out(i int) bool { return d.without != nil && d.without[d.place[i]] }

func (d *design) base() int {
	if d.own != nil {
		return 2 * d.blocks
	}
	return d.blocks
}

func (d *design) size() int { return d.base() + len(d.shared) + d.psi }

// deriv is the log likelihood of one row and its derivatives by η (m) and by
// the two spread parameters (p).
type deriv struct {
	l, m, mm float64
	p, mp    [2]float64
	p00, p01 float64
	p11      float64
}

// likelihood gives the rows of a model. It is called from several goroutines.
type likelihood interface {
	row(i int, eta float64, psi []float64, out *deriv)
}

// chunkRows is how many rows one unit of work has. It is fixed, so that sums
// are formed in the same order whatever the number of processors.
const chunkRows = 512

type chunk struct{ block, lo, hi int }

func (d *design) chunks() []chunk {
	var out []chunk
	cut := func(block, lo, hi int) {
		for ; lo < hi; lo += chunkRows {
			out = append(out, chunk{block, lo, min(lo+chunkRows, hi)})
		}
	}
	if d.blocks == 0 {
		cut(0, 0, d.rows)
		return out
	}
	for k := range d.blocks {
		cut(k, d.start[k], d.start[k+1])
	}
	return out
}

// locals gives the parameter numbers that rows of a block touch.
func (d *design) locals(block int) []int {
	var at []int
	if d.blocks > 0 {
		at = append(at, block)
		if d.own != nil {
			at = append(at, d.blocks+block)
		}
	}
	for j := d.base(); j < d.size(); j++ {
		at = append(at, j)
	}
	return at
}

// regressors writes the row's derivatives of η by its local parameters, zero
// for the spreads, and returns η.
func (d *design) regressors(i int, at []int, theta, x []float64) float64 {
	n := 0
	if d.blocks > 0 {
		x[n] = 1
		n++
		if d.own != nil {
			x[n] = d.own[i]
			n++
		}
	}
	for _, c := range d.shared {
		x[n] = c[i]
		n++
	}
	eta := 0.0
	for a := range n {
		eta += x[a] * theta[at[a]]
	}
	for ; n < len(at); n++ {
		x[n] = 0
	}
	return eta
}

// sums of a chunk, over the local parameters of its block.
type partial struct {
	l    float64
	grad []float64
	info []float64 // minus the Hessian, lower triangle in a full square
}

func (d *design) sum(c chunk, lik likelihood, theta []float64) partial {
	at := d.locals(c.block)
	q := len(at)
	mu := q - d.psi
	out := partial{grad: make([]float64, q), info: make([]float64, q*q)}
	x := make([]float64, q)
	psi := theta[d.size()-d.psi:]
	var r deriv
	for i := c.lo; i < c.hi; i++ {
		if d.out(i) {
			continue
		}
		eta := d.regressors(i, at, theta, x)
		lik.row(i, eta, psi, &r)
		out.add(&r, x, mu, d.psi)
	}
	return out
}

// add enters a row with its regressors, mu of η and psi of the spreads.
func (p *partial) add(r *deriv, x []float64, mu, psi int) {
	q := mu + psi
	p.l += r.l
	for a := range mu {
		p.grad[a] += r.m * x[a]
		w := -r.mm * x[a]
		for b := 0; b <= a; b++ {
			p.info[a*q+b] += w * x[b]
		}
	}
	for s := range psi {
		p.grad[mu+s] += r.p[s]
		for b := range mu {
			p.info[(mu+s)*q+b] -= r.mp[s] * x[b]
		}
	}
	if psi > 0 {
		p.info[mu*q+mu] -= r.p00
	}
	if psi > 1 {
		p.info[(mu+1)*q+mu] -= r.p01
		p.info[(mu+1)*q+mu+1] -= r.p11
	}
}

// evaluate gives the log likelihood, its gradient and the observed information.
func (d *design) evaluate(chunks []chunk, lik likelihood, theta []float64) (float64, []float64, *mat.SymDense) {
	parts := make([]partial, len(chunks))
	if d.without != nil { // one refit of many, which go on side by side
		for i := range chunks {
			parts[i] = d.sum(chunks[i], lik, theta)
		}
	} else {
		parallel.Do(len(chunks), func(i int) { parts[i] = d.sum(chunks[i], lik, theta) })
	}
	p := d.size()
	grad := make([]float64, p)
	info := mat.NewSymDense(p, nil)
	l := 0.0
	for i, c := range chunks {
		at := d.locals(c.block)
		q := len(at)
		l += parts[i].l
		for a := range q {
			grad[at[a]] += parts[i].grad[a]
			for b := 0; b <= a; b++ {
				info.SetSym(at[a], at[b], info.At(at[a], at[b])+parts[i].info[a*q+b])
			}
		}
	}
	return l, grad, info
}

// problem is a log likelihood to be maximised under lower bounds.
type problem struct {
	*design
	lik   likelihood
	fixed []bool    // parameters that stay at their start; nil for none
	lower []float64 // lower bounds, −Inf for none; nil for none
	tol   float64   // the Newton step that promises less gain than this is the last
	noise float64   // what the log likelihood may fall by, rounding and quadrature
	brief bool      // take the last step on trust, without another evaluation
}

type optimum struct {
	theta  []float64
	l      float64
	grad   []float64
	info   *mat.SymDense
	active []bool // fixed, or held at its bound
	evals  int
}

// maxSteps bounds the Newton steps. A concave problem takes fewer than ten.
const maxSteps = 200

// maximise is Newton's method with Levenberg damping where the information is
// not positive definite or a step does not climb, projected onto the bounds
// (Bertsekas, SIAM J. Control Optim. 20, 1982): a parameter at its bound whose
// gradient points outwards is held for the step.
func (p *problem) maximise(start []float64) (*optimum, error) {
	chunks := p.chunks()
	theta := append([]float64(nil), start...)
	p.project(theta)
	o := &optimum{theta: theta, active: make([]bool, len(theta))}
	o.l, o.grad, o.info = p.evaluate(chunks, p.lik, theta)
	o.evals = 1
	if math.IsNaN(o.l) || math.IsInf(o.l, 0) {
		return nil, fmt.Errorf("log likelihood is %g at the start", o.l)
	}
	lambda := 0.0
	for range maxSteps {
		next, gain, err := p.propose(o, &lambda)
		if err != nil {
			return nil, err
		}
		if next == nil {
			return o, nil
		}
		slack := p.noise + 1e-12*math.Abs(o.l)
		if gain < max(p.tol, slack) && lambda < 1e-2 {
			if p.brief {
				o.theta, o.l = next, o.l+gain
				return o, nil
			}
			l, g, h := p.evaluate(chunks, p.lik, next)
			o.evals++
			if l >= o.l-10*slack {
				o.theta, o.l, o.grad, o.info = next, l, g, h
			}
			return o, nil
		}
		l, g, h := p.evaluate(chunks, p.lik, next)
		o.evals++
		if l > o.l-slack && !math.IsInf(l, 0) {
			o.theta, o.l, o.grad, o.info = next, l, g, h
			if lambda *= 0.1; lambda < 1e-6 {
				lambda = 0
			}
		} else {
			lambda = max(8*lambda, 1e-2)
			if gain < 1e3*slack || lambda > 1e9 {
				return o, nil // no direction climbs: a maximum to rounding
			}
		}
	}
	return nil, fmt.Errorf("no convergence in %d steps: log likelihood %.6g", maxSteps, o.l)
}

// propose gives where the step from o leads and the climb that it promises; nil
// where every parameter is held. It raises λ until the step can be told.
func (p *problem) propose(o *optimum, lambda *float64) (next []float64, gain float64, err error) {
	var free []int
	for j := range o.theta {
		o.active[j] = (p.fixed != nil && p.fixed[j]) ||
			(p.lower != nil && o.theta[j] <= p.lower[j] && o.grad[j] <= 0)
		if !o.active[j] {
			free = append(free, j)
		}
	}
	if len(free) == 0 {
		return nil, 0, nil
	}
	step, gain, ok := newtonStep(o, free, *lambda)
	for !ok {
		*lambda = max(4**lambda, 1e-3)
		if *lambda > 1e12 {
			return nil, 0, fmt.Errorf("information matrix of %d parameters is singular", len(free))
		}
		step, gain, ok = newtonStep(o, free, *lambda)
	}
	next = append([]float64(nil), o.theta...)
	short := p.shorten(free, step)
	for a, j := range free {
		next[j] += short * step[a]
	}
	p.project(next)
	return next, gain, nil
}

// longestSpreadStep is how far one step may change the logarithm of a spread: a
// quadratic model of it is of no use over more than a factor of e, and far out
// the likelihood is flat and dear.
const longestSpreadStep = 1.0

// shorten gives the share of a step that keeps within longestSpreadStep.
func (p *problem) shorten(free []int, step []float64) float64 {
	longest := 0.0
	for a, j := range free {
		if j >= p.size()-p.psi {
			longest = max(longest, math.Abs(step[a]))
		}
	}
	if longest > longestSpreadStep {
		return longestSpreadStep / longest
	}
	return 1
}

func (p *problem) project(theta []float64) {
	for j := range p.lower {
		if p.fixed == nil || !p.fixed[j] {
			theta[j] = max(theta[j], p.lower[j])
		}
	}
}

// newtonStep solves (I + λ diag|I|) s = g over the free parameters; gain is the
// climb that the quadratic promises. ok is false where the matrix is not
// positive definite.
func newtonStep(o *optimum, free []int, lambda float64) (step []float64, gain float64, ok bool) {
	n := len(free)
	h := mat.NewSymDense(n, nil)
	g := mat.NewVecDense(n, nil)
	for a, i := range free {
		g.SetVec(a, o.grad[i])
		for b := a; b < n; b++ {
			h.SetSym(a, b, o.info.At(i, free[b]))
		}
		h.SetSym(a, a, h.At(a, a)+lambda*(math.Abs(h.At(a, a))+1e-8))
	}
	var c mat.Cholesky
	if !c.Factorize(h) {
		return nil, 0, false
	}
	if c.Cond() > 1e15 {
		return nil, 0, false
	}
	s := mat.NewVecDense(n, nil)
	if err := c.SolveVecTo(s, g); err != nil {
		if _, cond := err.(mat.Condition); !cond {
			return nil, 0, false
		}
	}
	return s.RawVector().Data, mat.Dot(s, g) / 2, true
}
