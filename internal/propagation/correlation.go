package propagation

import (
	"math"

	"footrule/internal/parallel"

	"github.com/paulmach/orb"
	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/floats"
	lapack "gonum.org/v1/gonum/lapack/gonum"
)

// correlation says how the residuals of a group hang together. Shadowing is
// correlated in space (Gudmundson, Electron. Lett. 27, 1991: exponentially), so
// that near points of one radio tell less than their number.
type correlation struct {
	table  []float64 // between stays of one radio at different places, by distance in lagM
	repeat float64   // between stays of one radio at one place
	across float64   // between radios of one stay
}

const lagM = 0.1

// The grid over which range ℓ (m) and share κ of the correlated part are
// averaged, each combination weighted by its restricted likelihood.
var (
	rangesM = [...]float64{1, 2, 3.5, 6, 10, 17, 30}
	shares  = [...]float64{0, 0.15, 0.3, 0.45, 0.6, 0.75, 0.9, 0.97}
)

// Rows of one radio, and radios, that the restricted likelihood looks at.
const (
	corrRows   = 90
	corrRadios = 12
	corrLeast  = 8
)

// at gives the correlation of two stays of one radio d metres apart.
func (c *correlation) at(d float64) float64 {
	if i := d / lagM; i < float64(len(c.table)) { // on another floor it is +Inf
		return c.table[int(i)]
	}
	return 0
}

type sample struct {
	t    []float64 // standardised scores
	x    [][2]float64
	dist [][]float64
}

// correlogram estimates the correlation of the standardised scores t of the
// rows that heard, the mean over the stays at a place: for radio k
//
//	t_k ~ N(X_k b_k, τ² C),  C = (1 − κ) I + κ exp(−D/ℓ),  X_k = a (1, x)
//
// with b_k and τ² integrated out (restricted likelihood, pooled over radios).
// Where silence counts, rows whose level is predicted less than a spread above
// the floor stay aside: those heard there are the lucky ones, alike for that.
func (f *groupFit) correlogram(t, a []float64) correlation {
	d := f.data
	var out correlation
	if !f.model.IgnoresSilence() {
		t = f.lucky(t)
	}
	out.repeat, out.across = f.together(t, a)
	var stays, places float64
	var samples []sample
	stride := max(1, f.blocks/corrRadios)
	for k := 0; k < f.blocks && len(samples) < corrRadios; k += stride {
		var rows []int
		sum, count := map[int]float64{}, map[int]float64{}
		for i := f.design.start[k]; i < f.design.start[k+1]; i++ {
			if f.level[i].Heard == 0 || a[i] == 0 || math.IsNaN(t[i]) {
				continue
			}
			p := d.PlaceOf[f.stay[i]]
			if count[p] == 0 {
				rows = append(rows, i)
			}
			sum[p] += t[i]
			count[p]++
			stays++
		}
		places += float64(len(rows))
		if len(rows) < corrLeast {
			continue
		}
		// Two runs of neighbours keep short distances in a thinned set.
		if n := len(rows); n > corrRows {
			h := corrRows / 2
			rows = append(append([]int(nil), rows[n/4-h/2:n/4-h/2+h]...), rows[3*n/4-h/2:3*n/4-h/2+h]...)
		}
		s := sample{}
		for _, i := range rows {
			p := d.PlaceOf[f.stay[i]]
			s.t = append(s.t, sum[p]/count[p])
			s.x = append(s.x, [2]float64{a[i], a[i] * f.x[i]})
			dr := make([]float64, len(rows))
			for j, o := range rows {
				dr[j] = f.apart(i, o)
			}
			s.dist = append(s.dist, dr)
		}
		samples = append(samples, s)
	}
	if len(samples) > 0 {
		n := len(rangesM) * len(shares)
		logs := make([]float64, n)
		alone := restricted(samples, rangesM[0], shares[:1])[0] // nothing is shared over any range
		parallel.Do(len(rangesM), func(r int) {
			logs[r*len(shares)] = alone
			copy(logs[r*len(shares)+1:], restricted(samples, rangesM[r], shares[1:]))
		})
		best := math.Inf(-1)
		for _, l := range logs {
			best = max(best, l)
		}
		// Beforehand, none and some correlation are equally likely.
		spike := float64(len(shares) - 1)
		var sum float64
		out.table = make([]float64, int(6*rangesM[len(rangesM)-1]/lagM))
		for g, l := range logs {
			w := math.Exp(l - best)
			ell, kappa := rangesM[g/len(shares)], shares[g%len(shares)]
			if kappa == 0 {
				w *= spike
			}
			sum += w
			if kappa == 0 || w < 1e-6 {
				continue
			}
			for j := range out.table {
				out.table[j] += w * kappa * math.Exp(-(float64(j)+0.5)*lagM/ell)
			}
		}
		// From means over the stays at a place back to single stays.
		single := 1.0
		if places > 0 {
			single = out.repeat + (1-out.repeat)*places/stays
		}
		for j := range out.table {
			out.table[j] *= single / sum
		}
	}
	if len(out.table) > 0 {
		out.repeat = max(out.repeat, out.table[0])
	}
	return out
}

// lucky puts NaN for the scores of rows predicted less than σ above the floor.
func (f *groupFit) lucky(t []float64) []float64 {
	out := append([]float64(nil), t...)
	for k := range f.blocks {
		at := f.locals(k)
		x := make([]float64, len(at))
		for i := f.design.start[k]; i < f.design.start[k+1]; i++ {
			if f.regressors(i, at, f.theta, x) < f.floorAt(i)+f.sigma {
				out[i] = math.NaN()
			}
		}
	}
	return out
}

// apart is the plan distance between the places of two rows, +Inf between floors.
func (f *groupFit) apart(i, j int) float64 {
	d := f.data
	p, q := f.stay[i], f.stay[j]
	if d.Floor[p] != d.Floor[q] {
		return math.Inf(1)
	}
	return dist(d.At[p], d.At[q])
}

func dist(a, b orb.Point) float64 {
	dx, dy := a[0]-b[0], a[1]-b[1]
	return math.Sqrt(dx*dx + dy*dy)
}

// restricted is the restricted log likelihood of the samples for one range and
// some shares.
func restricted(samples []sample, ell float64, shares []float64) []float64 {
	l, q, df := make([]float64, len(shares)), make([]float64, len(shares)), make([]float64, len(shares))
	for i := range samples {
		s := &samples[i]
		n := len(s.t)
		near, c := make([]float64, n*n), make([]float64, n*n)
		for i := range n {
			for j := range i {
				near[i*n+j] = math.Exp(-s.dist[i][j] / ell)
			}
		}
		for k, kappa := range shares {
			for i := range n {
				floats.ScaleTo(c[i*n:i*n+i], kappa, near[i*n:i*n+i])
				c[i*n+i] = 1
			}
			square, logs, ok := s.restricted(c)
			if ok {
				df[k] += float64(n - 2)
			}
			q[k] += square
			l[k] += logs
		}
	}
	for k := range l {
		if !math.IsInf(l[k], -1) {
			l[k] -= df[k] / 2 * math.Log(q[k])
		}
	}
	return l
}

// restricted gives the sum of squares about the regression and the logarithms of
// a sample whose correlation is c, lower and written over; −Inf where c is none,
// and not ok where the regression can't be told.
func (s *sample) restricted(c []float64) (square, logs float64, ok bool) {
	n := len(s.t)
	if !(lapack.Implementation{}).Dpotf2(blas.Lower, n, c, n) {
		return 0, math.Inf(-1), false
	}
	var b [3][]float64 // x and t, whitened: L⁻¹
	for r := range b {
		b[r] = make([]float64, n)
	}
	logDet := 0.0
	for i := range n {
		row, own := c[i*n:i*n+i], c[i*n+i]
		b[0][i] = (s.x[i][0] - floats.Dot(row, b[0][:i])) / own
		b[1][i] = (s.x[i][1] - floats.Dot(row, b[1][:i])) / own
		b[2][i] = (s.t[i] - floats.Dot(row, b[2][:i])) / own
		logDet += 2 * math.Log(own)
	}
	var g [3][3]float64
	for r := range b {
		for k := range b {
			g[r][k] = floats.Dot(b[r], b[k])
		}
	}
	det := g[0][0]*g[1][1] - g[0][1]*g[0][1]
	if det <= 1e-12*g[0][0]*g[1][1] {
		return 0, 0, false
	}
	b0 := (g[1][1]*g[0][2] - g[0][1]*g[1][2]) / det
	b1 := (g[0][0]*g[1][2] - g[0][1]*g[0][2]) / det
	return g[2][2] - b0*g[0][2] - b1*g[1][2], -logDet/2 - math.Log(det)/2, true
}

// together gives the mean product of scores of one radio in several stays at
// one place, and of several radios in one stay, over rows that heard.
func (f *groupFit) together(t, a []float64) (repeat, across float64) {
	d := f.data
	byStay := make(map[int][]int)
	var rp, rn float64
	for k := range f.blocks {
		byPlace := map[int][2]float64{} // Σ t, Σ t²
		count := map[int]float64{}
		var order []int
		for i := f.design.start[k]; i < f.design.start[k+1]; i++ {
			if f.level[i].Heard == 0 || a[i] == 0 || math.IsNaN(t[i]) {
				continue
			}
			p := d.PlaceOf[f.stay[i]]
			if count[p] == 0 {
				order = append(order, p)
			}
			v := byPlace[p]
			byPlace[p] = [2]float64{v[0] + t[i], v[1] + t[i]*t[i]}
			count[p]++
			byStay[f.stay[i]] = append(byStay[f.stay[i]], i)
		}
		for _, p := range order {
			v := byPlace[p]
			rp += v[0]*v[0] - v[1]
			rn += count[p] * (count[p] - 1)
		}
	}
	var ap, an float64
	for st := range d.Scans {
		var s, ss float64
		for _, i := range byStay[st] {
			s += t[i]
			ss += t[i] * t[i]
		}
		n := float64(len(byStay[st]))
		ap += s*s - ss
		an += n * (n - 1)
	}
	if rn > 0 {
		repeat = min(max(rp/rn, 0), 1)
	}
	if an > 0 {
		across = min(max(ap/an, 0), 1)
	}
	return repeat, across
}
