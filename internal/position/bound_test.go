package position_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"footrule/internal/position"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// terms puts access points of one n and σ around a place, all at its height.
func terms(place orb.Point, n, sigma float64, aps ...orb.Point) []position.Term {
	var out []position.Term
	for _, a := range aps {
		dx, dy := place[0]-a[0], place[1]-a[1]
		out = append(out, position.Term{Offset: orb.Point{dx, dy}, DistanceM: math.Hypot(dx, dy), Exponent: n, SigmaDB: sigma, Weight: 1})
	}
	return out
}

func circle(n int, r float64) []orb.Point {
	var out []orb.Point
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		out = append(out, orb.Point{r * c, r * s})
	}
	return out
}

var (
	square = []orb.Point{{0, 0}, {1, 0}, {1, 1}, {0, 1}}
	hall   = []orb.Point{{0, 0}, {40, 0}, {40, 20}, {0, 20}}
)

// The information matrix is that of Patwari et al., IEEE TSP 51(8), 2003. The
// centre of the square is their Fig. 2a (about 0.27 m, from memory); the digits
// are recomputed from the matrix, those of the circle from the closed form
// rms = (2R/√N)(ln 10/10)(σ/n).
func TestBoundAgainstPatwari(t *testing.T) {
	for _, c := range []struct {
		name  string
		terms []position.Term
		want  float64
	}{
		{"unit square, centre", terms(orb.Point{.5, .5}, 1, 1.7, square...), 0.276789500697575},
		{"unit square, quarter", terms(orb.Point{.25, .25}, 1, 1.7, square...), 0.275560325402703},
		{"unit square, between", terms(orb.Point{.5, .25}, 1, 1.7, square...), 0.278238316470385},
		{"unit square, near a corner", terms(orb.Point{.1, .1}, 1, 1.7, square...), 0.325575868424100},
		{"unit square, near a side", terms(orb.Point{.9, .5}, 1, 1.7, square...), 0.328206672201651},
		{"unit square, on a side", terms(orb.Point{0, .5}, 1, 1.7, square...), 0.371649522051528},
		{"circle of 3, 1.7", terms(orb.Point{}, 1, 1.7, circle(3, 10)...), 4.519953619125248},
		{"circle of 3, 2", terms(orb.Point{}, 3, 6, circle(3, 10)...), 5.317592493088528},
		{"circle of 4, 1.7", terms(orb.Point{}, 1, 1.7, circle(4, 10)...), 3.914394658089878},
		{"circle of 4, 2", terms(orb.Point{}, 3, 6, circle(4, 10)...), 4.605170185988092},
		{"circle of 5, 1.7", terms(orb.Point{}, 1, 1.7, circle(5, 10)...), 3.5011410185004057},
		{"circle of 5, 2", terms(orb.Point{}, 3, 6, circle(5, 10)...), 4.118989433529889},
		{"circle of 6, 1.7", terms(orb.Point{}, 1, 1.7, circle(6, 10)...), 3.196089854732141},
		{"circle of 6, 2", terms(orb.Point{}, 3, 6, circle(6, 10)...), 3.7601057114495773},
		{"circle of 8, 1.7", terms(orb.Point{}, 1, 1.7, circle(8, 10)...), 2.767895006975749},
		{"circle of 8, 2", terms(orb.Point{}, 3, 6, circle(8, 10)...), 3.256347067030293},
		{"hall, centre", terms(orb.Point{20, 10}, 3, 6, hall...), 12.871841979780905},
		{"hall, 5 5", terms(orb.Point{5, 5}, 3, 6, hall...), 8.139652703362183},
		{"hall, 35 10", terms(orb.Point{35, 10}, 3, 6, hall...), 7.910166645669537},
		{"hall, 1 1", terms(orb.Point{1, 1}, 3, 6, hall...), 10.512269840926656},
	} {
		got, ok := position.Bound(c.terms)
		require.True(t, ok, c.name)
		assert.InDelta(t, c.want, got.RMS(), 1e-9, c.name)
	}
	c, _ := position.Bound(terms(orb.Point{20, 10}, 3, 6, hall...))
	major, minor, deg := c.Axes()
	assert.InDelta(t, 11.51292546, major, 1e-8)
	assert.InDelta(t, 5.75646273, minor, 1e-8)
	// The APs lie at ±27° to x, so x is told better than y.
	assert.InDelta(t, 0, math.Mod(deg+90, 180)-90, 1e-9)
}

func TestBoundLaws(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 4))
	in := func() orb.Point { return orb.Point{40 * rng.Float64(), 20 * rng.Float64()} }
	for range 200 {
		place, aps := in(), []orb.Point{in(), in(), in(), in()}
		before, ok := position.Bound(terms(place, 3, 6, aps...))
		if !ok {
			continue
		}
		// 1
		const k = 7.5
		large := make([]orb.Point, len(aps))
		for i, a := range aps {
			large[i] = orb.Point{k * a[0], k * a[1]}
		}
		after, ok := position.Bound(terms(orb.Point{k * place[0], k * place[1]}, 3, 6, large...))
		require.True(t, ok)
		assert.InEpsilon(t, k*before.RMS(), after.RMS(), 1e-9)
		// 2
		more, ok := position.Bound(terms(place, 3, 6, append(aps, in())...))
		require.True(t, ok)
		assert.LessOrEqual(t, more.RMS(), before.RMS()*(1+1e-12))
		// 3
		dir := rng.Float64() * math.Pi
		var line []orb.Point
		for range 4 {
			s := 30 * (rng.Float64() - .5)
			line = append(line, orb.Point{place[0] + s*math.Cos(dir), place[1] + s*math.Sin(dir)})
		}
		c, ok := position.Bound(terms(place, 3, 6, line...))
		assert.False(t, ok)
		assert.Equal(t, position.Covariance{}, c)
	}
	_, ok := position.Bound(nil)
	assert.False(t, ok)
	one := terms(orb.Point{5, 5}, 3, 6, orb.Point{0, 0}, orb.Point{0, 0})
	_, ok = position.Bound(one)
	assert.False(t, ok, "two radios of one access point")
}

// With heights only the part in the plane of p − a counts, over d⁴: for N on a
// circle at height h the variance per axis grows by (1 + h²/R²)².
func TestBoundWithHeights(t *testing.T) {
	const r, h = 10, 4
	flat := terms(orb.Point{}, 3, 6, circle(5, r)...)
	raised := terms(orb.Point{}, 3, 6, circle(5, r)...)
	for i := range raised {
		raised[i].DistanceM = math.Hypot(r, h)
	}
	a, _ := position.Bound(flat)
	b, ok := position.Bound(raised)
	require.True(t, ok)
	assert.InEpsilon(t, a.RMS()*(1+h*h/float64(r*r)), b.RMS(), 1e-12)
}

// HeardWeight against the variance of the score, integrated numerically.
func TestHeardWeightIsTheInformation(t *testing.T) {
	const sigma, c = 5.0, -90.0
	ell := func(y, mu, p0 float64) float64 { // log likelihood of one level, y < c unheard
		if y < c {
			return math.Log(p0 + (1-p0)*math.Erfc(-(c-mu)/sigma/math.Sqrt2)/2)
		}
		z := (y - mu) / sigma
		return math.Log(1-p0) - z*z/2 - math.Log(sigma*math.Sqrt(2*math.Pi))
	}
	score := func(y, mu, p0 float64) float64 {
		return (ell(y, mu+1e-4, p0) - ell(y, mu-1e-4, p0)) / 2e-4
	}
	for _, p0 := range []float64{0, .1, .4} {
		for _, mu := range []float64{-110, -95, -90, -85, -70, -40} {
			s := score(c-1, mu, p0)
			info := math.Exp(ell(c-1, mu, p0)) * s * s
			const step = 0.002
			for y := c + step/2; y < mu+10*sigma; y += step {
				s := score(y, mu, p0)
				info += math.Exp(ell(y, mu, p0)) * s * s * step
			}
			assert.InDelta(t, info*sigma*sigma, position.HeardWeight(mu, c, sigma, p0), 1e-5, "μ %g p0 %g", mu, p0)
		}
	}
	assert.Equal(t, 0.0, position.HeardWeight(-300, c, sigma, 0))
	assert.InDelta(t, 1, position.HeardWeight(0, c, sigma, 0), 1e-12)
}
