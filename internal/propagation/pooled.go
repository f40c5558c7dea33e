package propagation

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// pooling is what the radios of a band have in common under [Pooled]: level and
// exponent of radio k are normal about the band's with covariance Σ, so that
// what its own levels do not tell comes from the others.
type pooling struct {
	shape   *[3]float64   // Λ of [RandomEffects], levels taken at the mean log distance
	sigma   [2][2]float64 // Σ of level at 1 m and exponent
	inverse [2][2]float64 // of Σ, kept regular
	logLik  float64
}

// regular is the least spread between radios in residual spreads, of a level
// and of what an exponent makes of the spread of log distances, that the
// inverse of Σ sees. Restricted likelihood often puts one at 0.
const regular = 1e-3

// pool fits the band by restricted likelihood. A wall loss below zero is held
// at zero and the rest fitted again; a radio whose exponent is drawn below zero
// gets zero, and the level that goes with it.
func (f *groupFit) pool() error {
	q := f.psiAt()
	held := make([]bool, len(f.walls))
	y := f.y()
	mx, my := 0.0, 0.0
	for _, i := range f.heard {
		mx += f.x[i] / float64(len(f.heard))
		my += y[i] / float64(len(f.heard))
	}
	for {
		var free []int
		for j := range f.walls {
			if !held[j] {
				free = append(free, j)
			}
		}
		s := newMixedSums(2+len(free), 2)
		x, z := make([]float64, 2+len(free)), make([]float64, 2)
		for _, i := range f.heard {
			z[0], z[1] = 1, f.x[i]-mx
			x[0], x[1] = z[0], z[1]
			for a, j := range free {
				x[2+a] = f.shared[j][i]
			}
			s.add(f.blockOf(i), x, z, y[i]-my, 1)
		}
		var m *Mixed
		var err error
		if f.blocks > 1 {
			m, err = s.fit(true, f.pooling.shape)
		} else { // nothing to tell the spread between radios by
			m, err = s.result([3]float64{}, true)
		}
		if err != nil {
			return fmt.Errorf("%s GHz: %w", f.band, err)
		}
		worst := -1
		for a, j := range free {
			f.theta[f.wallAt(j)] = m.Coef[2+a]
			if m.Coef[2+a] < 0 && (worst < 0 || m.Coef[2+a] < f.theta[f.wallAt(worst)]) {
				worst = j
			}
		}
		if worst >= 0 {
			held[worst] = true
			f.theta[f.wallAt(worst)] = 0
			continue
		}
		f.sigma = m.Sigma
		f.theta[q] = math.Log(max(m.Sigma, leastScaleDB))
		f.pooling.enter(m, mx, f.spreadOf(mx))
		f.sums, f.meanX = s, mx
		for k := range f.blocks {
			n := m.Coef[1] + m.Effects[k][1]
			f.theta[k] = my + m.Coef[0] + m.Effects[k][0] - n*mx
			f.theta[f.blocks+k] = n
			if n < 0 {
				f.flat(k, my+m.Coef[0]-m.Coef[1]*mx, m.Coef[1])
			}
		}
		return nil
	}
}

// spreadOf is the root mean square of −10 log10 d about a value.
func (f *groupFit) spreadOf(about float64) float64 {
	ss := 0.0
	for _, i := range f.heard {
		ss += square(f.x[i] - about)
	}
	return math.Sqrt(ss / float64(len(f.heard)))
}

// enter takes over Σ, which m has for levels at log distance mx.
func (p *pooling) enter(m *Mixed, mx, spread float64) {
	p.shape, p.logLik = &m.shape, m.LogLik
	s2 := m.Sigma * m.Sigma
	c := [2][2]float64{}
	for a := range 2 {
		for b := range 2 {
			c[a][b] = s2 * m.relative[a][b]
		}
	}
	// Level at 1 m = level at mx − n mx.
	p.sigma[0][0] = c[0][0] - 2*mx*c[0][1] + mx*mx*c[1][1]
	p.sigma[0][1] = c[0][1] - mx*c[1][1]
	p.sigma[1][0], p.sigma[1][1] = p.sigma[0][1], c[1][1]
	least := s2 * regular * regular
	c[0][0] += least
	c[1][1] += least / (spread * spread)
	det := c[0][0]*c[1][1] - c[0][1]*c[0][1]
	i := [2][2]float64{{c[1][1] / det, -c[0][1] / det}, {-c[0][1] / det, c[0][0] / det}}
	// With u = (level at mx, n) = T (level at 1 m, n), T = (1 mx; 0 1).
	p.inverse[0][0] = i[0][0]
	p.inverse[0][1] = mx*i[0][0] + i[0][1]
	p.inverse[1][0] = p.inverse[0][1]
	p.inverse[1][1] = mx*mx*i[0][0] + 2*mx*i[0][1] + i[1][1]
}

// flat gives radio k the exponent 0 and its level given that; level and exponent
// are the band's.
func (f *groupFit) flat(k int, level, exponent float64) {
	f.theta[f.blocks+k] = 0
	p, s2 := f.pooling.inverse, f.sigma*f.sigma
	w := s2 * p[0][0]
	sum := s2*p[0][1]*exponent + w*level
	x := make([]float64, len(f.locals(0)))
	f.theta[k] = 0
	for _, i := range f.heard {
		if f.blockOf(i) == k {
			sum += f.level[i].MeanDBm - f.regressors(i, f.locals(k), f.theta, x)
			w++
		}
	}
	f.theta[k] = sum / w
}

// penalty is minus the second derivative of log density of the radios' levels
// and exponents about their mean, Σ⁻¹ ⊗ (I − 1/K).
func (f *groupFit) penalty() *mat.SymDense {
	out := mat.NewSymDense(f.size(), nil)
	n := float64(f.blocks)
	for k := range f.blocks {
		for j := range f.blocks {
			w := -1 / n
			if j == k {
				w++
			}
			for a := range 2 {
				for b := range 2 {
					if r, c := a*f.blocks+k, b*f.blocks+j; r <= c {
						out.SetSym(r, c, w*f.pooling.inverse[a][b])
					}
				}
			}
		}
	}
	return out
}
