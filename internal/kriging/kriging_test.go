package kriging_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"footrule/internal/kriging"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distmv"
)

const length, ratio = 3.5, .3

// some rows at invented places, two of them at one place, with values.
func some(n int, seed uint64) (kriging.Layout, []float64) {
	rng := rand.New(rand.NewPCG(seed, 5))
	var l kriging.Layout
	var y []float64
	for i := range n {
		p := orb.Point{10 * rng.Float64(), 6 * rng.Float64()}
		if i == 1 {
			p = l.At[0]
		}
		l.At = append(l.At, p)
		l.Noise = append(l.Noise, 1/float64(1+i%3))
		y = append(y, 4*rng.NormFloat64())
	}
	return l, y
}

func correlation(p, q orb.Point, length float64) float64 {
	return math.Exp(-math.Hypot(p[0]-q[0], p[1]-q[1]) / length)
}

// plain is kriging as the textbooks write it, by an explicit inverse of the
// covariance of the rows that are kept (Rasmussen and Williams eq. 2.25, 2.26):
// mean and variance over s² of g at a place.
func plain(l kriging.Layout, y []float64, keep func(i int) bool, at orb.Point) (mean, variance float64) {
	var rows []int
	for i := range y {
		if keep(i) {
			rows = append(rows, i)
		}
	}
	n := len(rows)
	k, c, v := mat.NewDense(n, n, nil), mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
	for a, i := range rows {
		for b, j := range rows {
			k.Set(a, b, correlation(l.At[i], l.At[j], length))
		}
		k.Set(a, a, 1+ratio*l.Noise[i])
		c.SetVec(a, correlation(l.At[i], at, length))
		v.SetVec(a, y[i])
	}
	var inv mat.Dense
	if err := inv.Inverse(k); err != nil {
		panic(err)
	}
	var b mat.VecDense
	b.MulVec(&inv, c)
	return mat.Dot(&b, v), 1 - mat.Dot(&b, c)
}

// Two rows a distance ℓ apart, by hand: with e = exp(−1) and ρ = 1, K = [2 e; e 2],
// K⁻¹ = [2 −e; −e 2]/(4 − e²), and at the first place c = (1, e).
func TestTwoRowsByHand(t *testing.T) {
	e := math.Exp(-1)
	s, err := kriging.NewSystem(kriging.Layout{At: []orb.Point{{0, 0}, {0, length}}, Noise: []float64{1, 1}}, length, 1)
	require.NoError(t, err)
	m := s.Onto([]orb.Point{{0, 0}})
	mean, variance := make([]float64, 1), make([]float64, 1)
	m.Mean([]float64{1, 0}, mean)
	m.Variance(variance)
	assert.InDelta(t, (2-e*e)/(4-e*e), mean[0], 1e-12)
	assert.InDelta(t, 1-2/(4-e*e), variance[0], 1e-12)
}

// Four rows by R 4:
//
//	at <- cbind(c(0,3,7,1.5), c(0,4,1,2.5)); y <- c(2,-1,3,0.5); w <- c(1,.5,1,.25)
//	l <- 2.5; r <- .4; K <- exp(-as.matrix(dist(at))/l) + diag(r*w)
//	q <- c(2,2); k <- exp(-sqrt(colSums((t(at)-q)^2))/l); z <- solve(K, y)
//	c(sum(k*z), 1-sum(k*solve(K,k)), determinant(K)$modulus, sum(y*z))
//	z/diag(solve(K)); 1/diag(solve(K))
func TestFourRowsAsInR(t *testing.T) {
	l := kriging.Layout{At: []orb.Point{{0, 0}, {3, 4}, {7, 1}, {1.5, 2.5}}, Noise: []float64{1, .5, 1, .25}}
	y := []float64{2, -1, 3, .5}
	s, err := kriging.NewSystem(l, 2.5, .4)
	require.NoError(t, err)
	m := s.Onto([]orb.Point{{2, 2}})
	mean, variance := make([]float64, 1), make([]float64, 1)
	m.Mean(y, mean)
	m.Variance(variance)
	z, e, v := make([]float64, 4), make([]float64, 4), make([]float64, 4)
	s.Solve(y, z)
	s.LeaveOneOut(z, e, v)
	ev := s.Evidence(y, z, nil)
	assert.InDeltaSlice(t, []float64{0.465526263185, 0.460318007655, 0.722248468911, 10.903736957195}, []float64{mean[0], variance[0], ev.LogDet, ev.Square}, 1e-10)
	assert.InDeltaSlice(t, []float64{1.810724249532, -1.413978727681, 3.022742515871, 0.354518973363}, e, 1e-10)
	assert.InDeltaSlice(t, []float64{1.310965161630, 1.026758614342, 1.381027522273, 0.895753017854}, v, 1e-10)
}

func TestPredictionsAreThoseOfAnExplicitInverse(t *testing.T) {
	l, y := some(14, 1)
	s, err := kriging.NewSystem(l, length, ratio)
	require.NoError(t, err)
	at := []orb.Point{{0, 0}, {5, 3}, l.At[0], {40, 40}}
	m := s.Onto(at)
	z := make([]float64, len(y))
	s.Solve(y, z)
	mean, variance := make([]float64, len(at)), make([]float64, len(at))
	for _, out := range [][]int{nil, {3}, {0, 1}, {13, 2, 7, 5}} {
		m.Without(y, z, s.Block(out), mean, variance)
		for j, p := range at {
			wantMean, wantVar := plain(l, y, without(out), p)
			assert.InDelta(t, wantMean, mean[j], 1e-10, "without %v at %v", out, p)
			assert.InDelta(t, wantVar, variance[j], 1e-10, "without %v at %v", out, p)
		}
	}
	assert.InDelta(t, 0, mean[3], 1e-3)
	assert.InDelta(t, 1, variance[3], 1e-6)
}

func without(rows []int) func(int) bool {
	return func(i int) bool {
		for _, r := range rows {
			if r == i {
				return false
			}
		}
		return true
	}
}

// The closed forms of leaving out are those of a system without the rows.
func TestLeavingOut(t *testing.T) {
	l, y := some(12, 2)
	s, err := kriging.NewSystem(l, length, ratio)
	require.NoError(t, err)
	n := len(y)
	z, residual, variance := make([]float64, n), make([]float64, n), make([]float64, n)
	s.Solve(y, z)
	s.LeaveOneOut(z, residual, variance)
	for i := range y {
		mean, v := plain(l, y, without([]int{i}), l.At[i])
		assert.InDelta(t, y[i]-mean, residual[i], 1e-10)
		assert.InDelta(t, v+ratio*l.Noise[i], variance[i], 1e-10)
	}
	block := []int{0, 1, 6}
	e, c := s.LeaveOut(z, s.Block(block))
	for a, i := range block {
		mean, v := plain(l, y, without(block), l.At[i])
		assert.InDelta(t, y[i]-mean, e[a], 1e-10)
		assert.InDelta(t, v+ratio*l.Noise[i], c.At(a, a), 1e-10)
	}
	// Rows 0 and 1 are at one place: what the others know of them is the same.
	assert.InDelta(t, c.At(0, 0)-ratio*l.Noise[0], c.At(0, 1), 1e-10)
}

// logDensity is that of values by gonum's multivariate normal, noise and all.
func logDensity(l kriging.Layout, y []float64, length, ratio, variance float64) float64 {
	n := len(y)
	k := mat.NewSymDense(n, nil)
	for i := range n {
		for j := range i {
			k.SetSym(j, i, variance*correlation(l.At[i], l.At[j], length))
		}
		k.SetSym(i, i, variance*(1+ratio*l.Noise[i]))
	}
	d, ok := distmv.NewNormal(make([]float64, n), k, nil)
	if !ok {
		panic("not positive")
	}
	return d.LogProb(y)
}

// The marginal likelihood is the density of the values: of all, of those left, and
// where several values of one place are given as their mean and what they differ by.
func TestLikelihoodIsTheDensity(t *testing.T) {
	l, y := some(10, 3)
	f := kriging.NewFamily(l)
	h, err := kriging.Best([]kriging.Series{kriging.Of(f, y)}, kriging.Start)
	require.NoError(t, err)
	assert.InDelta(t, logDensity(l, y, h.LengthM(), h.NoiseRatio(), h.Variance), h.LogLik, 1e-9)

	partly := kriging.Of(f, y)
	partly.Without = []int{2, 8}
	h, err = kriging.Best([]kriging.Series{partly}, kriging.Start)
	require.NoError(t, err)
	var left kriging.Layout
	var yLeft []float64
	for i := range y {
		if i != 2 && i != 8 {
			left.At, left.Noise, yLeft = append(left.At, l.At[i]), append(left.Noise, l.Noise[i]), append(yLeft, y[i])
		}
	}
	assert.InDelta(t, logDensity(left, yLeft, h.LengthM(), h.NoiseRatio(), h.Variance), h.LogLik, 1e-9)
	fresh, err := kriging.Best([]kriging.Series{kriging.Of(kriging.NewFamily(left), yLeft)}, kriging.Start)
	require.NoError(t, err)
	assert.Equal(t, fresh.Node, h.Node)
	assert.InDelta(t, fresh.Variance, h.Variance, 1e-9)

	// Three values at each of eight places.
	var all, means kriging.Layout
	var values, mean []float64
	within := 0.0
	rng := rand.New(rand.NewPCG(4, 4))
	for range 8 {
		p := orb.Point{10 * rng.Float64(), 6 * rng.Float64()}
		at := 3 * rng.NormFloat64()
		sum, square := 0.0, 0.0
		for range 3 {
			v := at + 2*rng.NormFloat64()
			all.At, all.Noise, values = append(all.At, p), append(all.Noise, 1), append(values, v)
			sum, square = sum+v, square+v*v
		}
		means.At, means.Noise, mean = append(means.At, p), append(means.Noise, 1.0/3), append(mean, sum/3)
		within += square - sum*sum/3
	}
	long, err := kriging.Best([]kriging.Series{kriging.Of(kriging.NewFamily(all), values)}, kriging.Start)
	require.NoError(t, err)
	grouped := kriging.Of(kriging.NewFamily(means), mean)
	grouped.WithinSquare, grouped.WithinDF = within, 16
	short, err := kriging.Best([]kriging.Series{grouped}, kriging.Start)
	require.NoError(t, err)
	assert.Equal(t, long.Node, short.Node)
	assert.InDelta(t, long.Variance, short.Variance, 1e-9)
}

// Values that are linear in coefficients are as likely, and map as, the values.
func TestLinearValues(t *testing.T) {
	l, y := some(12, 8)
	_, x := some(12, 9)
	f, n := kriging.NewFamily(l), kriging.Start
	lin := kriging.NewLinear(f, y, x)
	coef := []float64{1, -.7}
	sum := make([]float64, len(y))
	for i := range sum {
		sum[i] = y[i] - .7*x[i]
	}
	sys, err := f.System(n)
	require.NoError(t, err)
	solved, err := lin.Solved(n)
	require.NoError(t, err)
	at := []orb.Point{{0, 0}, {5, 3}, l.At[0]}
	further := [][]float64{{1, 2, 3}, {10, 20, 30}}
	m := sys.Onto(at)
	carried := m.Carry(lin, solved, further)
	for _, out := range [][]int{nil, {3}, {13 % 12, 2, 7, 5}} {
		a, b := kriging.Of(f, sum), kriging.Series{Linear: lin, Coef: coef}
		a.Without, b.Without = out, out
		want, err := kriging.At([]kriging.Series{a}, n)
		require.NoError(t, err)
		got, err := kriging.At([]kriging.Series{b}, n)
		require.NoError(t, err)
		assert.InDelta(t, want.LogLik, got.LogLik, 1e-10)
		z := make([]float64, len(y))
		sys.Solve(sum, z)
		wantMean, wantVar := make([]float64, 3), make([]float64, 3)
		m.Without(sum, z, sys.Block(out), wantMean, wantVar)
		mean, variance := make([]float64, 3), make([]float64, 3)
		carried.Without(coef, out, mean, variance)
		for j := range at {
			assert.InDelta(t, wantMean[j]+further[0][j]-.7*further[1][j], mean[j], 1e-10, "without %v", out)
			assert.InDelta(t, wantVar[j], variance[j], 1e-10)
		}
	}
}

// Best finds no worse a node than a search over all of them does, for two series
// that share their hyperparameters.
func TestBestOfAllNodes(t *testing.T) {
	var series []kriging.Series
	var layouts []kriging.Layout
	for seed := range uint64(2) {
		l, y := field(40, 4, 9, 4, seed+10)
		layouts = append(layouts, l)
		series = append(series, kriging.Of(kriging.NewFamily(l), y))
	}
	h, err := kriging.Best(series, kriging.Start)
	require.NoError(t, err)
	best := math.Inf(-1)
	for i := -6; i <= 18; i++ {
		for j := -8; j <= 8; j++ {
			n := kriging.Node{Length: i, Ratio: j}
			for _, v := range []float64{.8, .9, .95, 1, 1.05, 1.1, 1.2} {
				sum := 0.0
				for k := range series {
					sum += logDensity(layouts[k], series[k].Columns[0], n.LengthM(), n.NoiseRatio(), v*h.Variance)
				}
				best = math.Max(best, sum)
			}
		}
	}
	assert.GreaterOrEqual(t, h.LogLik, best-1e-9)
	assert.InDelta(t, 1, kriging.Scale(series, h, 20), 1e-9, "over all series it is s² itself")
	a, b := kriging.Scale(series[:1], h, 0), kriging.Scale(series[1:], h, 0)
	assert.InDelta(t, 2, a+b, 1e-9)
	assert.Less(t, math.Abs(kriging.Scale(series[:1], h, 40)-1), math.Abs(a-1))
}

// field draws a process of known hyperparameters at random places of 30 m × 20 m.
func field(n int, length, variance, noise float64, seed uint64) (kriging.Layout, []float64) {
	rng := rand.New(rand.NewPCG(seed, 77))
	var l kriging.Layout
	for range n {
		l.At, l.Noise = append(l.At, orb.Point{30 * rng.Float64(), 20 * rng.Float64()}), append(l.Noise, 1)
	}
	k := mat.NewSymDense(n, nil)
	for i := range n {
		for j := range i {
			k.SetSym(j, i, variance*correlation(l.At[i], l.At[j], length))
		}
		k.SetSym(i, i, variance+noise)
	}
	d, ok := distmv.NewNormal(make([]float64, n), k, rng)
	if !ok {
		panic("not positive")
	}
	return l, d.Rand(nil)
}

// On drawn fields the hyperparameters come back, and leaving one out is as far off
// as it says.
func TestDrawnFieldsComeBack(t *testing.T) {
	const length, variance, noise = 4.0, 16.0, 4.0
	var series []kriging.Series
	for seed := range uint64(8) {
		l, y := field(120, length, variance, noise, seed+100)
		series = append(series, kriging.Of(kriging.NewFamily(l), y))
	}
	h, err := kriging.Best(series, kriging.Start)
	require.NoError(t, err)
	t.Logf("ℓ %.2f m, s² %.1f, noise %.1f", h.LengthM(), h.Variance, h.NoiseVariance())
	assert.InEpsilon(t, length, h.LengthM(), .35)
	assert.InEpsilon(t, variance, h.Variance, .25)
	assert.InEpsilon(t, noise, h.NoiseVariance(), .5)
	within, n := 0, 0
	for _, r := range series {
		s, err := r.Family.System(h.Node)
		require.NoError(t, err)
		y := r.Columns[0]
		z, e, v := make([]float64, len(y)), make([]float64, len(y)), make([]float64, len(y))
		s.Solve(y, z)
		s.LeaveOneOut(z, e, v)
		for i := range e {
			if math.Abs(e[i]) < 1.96*math.Sqrt(h.Variance*v[i]) {
				within++
			}
			n++
		}
	}
	assert.InDelta(t, .95, float64(within)/float64(n), .02)
}

// What further rows would leave is what they do leave, and covariances are those
// of the joint system.
func TestAfterFurtherRows(t *testing.T) {
	l, y := some(9, 6)
	s, err := kriging.NewSystem(l, length, ratio)
	require.NoError(t, err)
	at := []orb.Point{{1, 1}, {8, 5}, {20, 20}}
	m := s.Onto(at)
	more := kriging.Layout{At: []orb.Point{{2, 2}, {7, 4}, {2, 2}}, Noise: []float64{.5, 1, 1}}
	got := make([]float64, len(at))
	require.NoError(t, m.After(more, got))
	both := kriging.Layout{At: append(append([]orb.Point{}, l.At...), more.At...), Noise: append(append([]float64{}, l.Noise...), more.Noise...)}
	all, _ := make([]float64, len(both.At)), y
	before := make([]float64, len(at))
	m.Variance(before)
	cov := make([]float64, len(at))
	m.Covariance(at[1], cov)
	for j, p := range at {
		_, want := plain(both, all, func(int) bool { return true }, p)
		assert.InDelta(t, want, got[j], 1e-10)
		assert.LessOrEqual(t, got[j], before[j]+1e-12)
	}
	assert.InDelta(t, before[1], cov[1], 1e-10)
}

func TestNothingKnown(t *testing.T) {
	s, err := kriging.NewSystem(kriging.Layout{}, 2, 1)
	require.NoError(t, err)
	m := s.Onto([]orb.Point{{1, 2}})
	mean, variance := []float64{7}, []float64{7}
	m.Without(nil, nil, s.Block(nil), mean, variance)
	assert.Equal(t, []float64{0}, mean)
	assert.Equal(t, []float64{1}, variance)
	h, err := kriging.Best(nil, kriging.Start)
	require.NoError(t, err)
	assert.Zero(t, h.Variance)
	twice := kriging.Layout{At: []orb.Point{{1, 1}, {1, 1}}, Noise: []float64{0, 0}}
	_, err = kriging.NewSystem(twice, 2, 1)
	assert.ErrorIs(t, err, kriging.ErrSingular)
}
