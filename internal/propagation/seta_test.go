package propagation_test

import (
	"fmt"
	"math"
	"testing"

	"footrule/internal/propagation"
	"footrule/internal/radio"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
)

// Set A: three invented access points and twelve points on a plan, with wall
// counts, and the results of R 4.2.2 (lm; survival 3.5-3 survreg) on it.
var setA = struct {
	aps   []orb.Point
	px    []float64 // four columns of points
	py    []float64 // three rows
	walls [3][12]float64
	level [3][12]float64
}{
	aps: []orb.Point{{0, 0}, {20, 0}, {10, 15}},
	px:  []float64{2, 7, 13, 18},
	py:  []float64{2, 7, 12},
	walls: [3][12]float64{
		{0, 1, 2, 3, 0, 1, 2, 3, 0, 1, 2, 3},
		{3, 2, 1, 0, 3, 2, 1, 0, 3, 2, 1, 0},
		{1, 0, 0, 1, 1, 0, 0, 1, 1, 0, 0, 1},
	},
	level: [3][12]float64{
		{-51.4, -70.5, -74.1, -86, -69.5, -69.2, -81.5, -80.2, -69.8, -79.1, -78.6, -88.7},
		{-91, -74.8, -68.1, -45.8, -84.4, -82.3, -66.8, -63.6, -77.8, -79, -76.6, -64.5},
		{-80.1, -80.4, -72.6, -81.7, -70.3, -68.7, -73.1, -73, -73.6, -69.3, -59.2, -75.3},
	},
}

// columns gives x = −10 log10 d, the walls and the levels, AP by AP.
func setAColumns() (x, walls, level []float64) {
	for k, ap := range setA.aps {
		for i := range 12 {
			p := orb.Point{setA.px[i%4], setA.py[i/4]}
			x = append(x, -10*math.Log10(math.Hypot(p[0]-ap[0], p[1]-ap[1])))
			walls = append(walls, setA.walls[k][i])
			level = append(level, setA.level[k][i])
		}
	}
	return x, walls, level
}

// setAData is set A as stays of one scan at a floor of hearing; −Inf for none.
func setAData(floor float64) *propagation.Data {
	return setAWith(floor, nil)
}

// setAWith has levels added to, by number in setAColumns.
func setAWith(floor float64, add map[int]float64) *propagation.Data {
	s := &site.Site{Floors: []site.Floor{{ID: "F", Walls: []site.Wall{{Material: "brick"}}}}}
	for k, at := range setA.aps {
		s.AccessPoints = append(s.AccessPoints, site.AccessPoint{ID: string(rune('A' + k)), Floor: "F", At: at,
			Radios: []site.Radio{{Band: radio.Band5}}})
	}
	var stays []walk.Stay
	for i := range 12 {
		st := walk.Stay{Visit: fmt.Sprint(i), Point: fmt.Sprintf("P%02d", i+1), At: orb.Point{setA.px[i%4], setA.py[i/4]}, Scans: 1, Levels: make([]walk.Level, 3)}
		for k := range 3 {
			if v := setA.level[k][i] + add[k*12+i]; v >= floor {
				st.Levels[k] = walk.Level{Heard: 1, MeanDBm: v, MinDBm: v}
			}
		}
		stays = append(stays, st)
	}
	d := propagation.Observe(s, stays)
	for i := range 12 {
		for k := range 3 {
			d.Crossings[i*3+k] = setA.walls[k][i]
		}
	}
	return d
}

func TestSetALeastSquares(t *testing.T) {
	x, walls, y := setAColumns()
	a1, err := propagation.LeastSquares([][]float64{ones(36), x}, []string{"P0", "n"}, y)
	require.NoError(t, err)
	assertDigits(t, []float64{-35.9910246498, 3.6290509882}, a1.Coef, six, "A1")
	assertDigits(t, []float64{3.60524622924, 0.339763585193}, a1.SE, six, "A1 SE")
	assertDigits(t, []float64{4.57541253107, 4.78119612065}, []float64{a1.Sigma, rms(leftOut(a1))}, six, "A1 sigma, LOO")
	assert.InEpsilon(t, 215.5960458, -2*a1.LogLik+2*3, six, "A1 AIC")

	a2, err := propagation.LeastSquares([][]float64{ones(36), x, walls}, []string{"P0", "n", "wall"}, y)
	require.NoError(t, err)
	assertDigits(t, []float64{-39.8184394965, 3.07895422934, -1.6093870507}, a2.Coef, six, "A2")
	assertDigits(t, []float64{4.25899977168, 0.477885343387, 1.00504431019}, a2.SE, six, "A2 SE")
	assertDigits(t, []float64{4.47366274624, 4.84655649918}, []float64{a2.Sigma, rms(leftOut(a2))}, six, "A2 sigma, LOO")
	q := distuv.StudentsT{Sigma: 1, Nu: float64(a2.DF)}.Quantile(0.975)
	assertDigits(t, []float64{2.10668918779, 4.05121927088}, []float64{a2.Coef[1] - q*a2.SE[1], a2.Coef[1] + q*a2.SE[1]}, six, "A2 interval of n")
	assert.InEpsilon(t, 2.56419227051, (a1.RSS-a2.RSS)/(a2.RSS/float64(a2.DF)), six, "A2 against A1, F")
}

// TestSetALeftOut is A7, the errors of predicting what a fit of rssi ~ X + walls
// did not see: every point in turn, and every access point.
func TestSetALeftOut(t *testing.T) {
	x, walls, y := setAColumns()
	for _, c := range []struct {
		name  string
		group func(i int) int
		want  float64
	}{
		{"point", func(i int) int { return i % 12 }, 4.85218443451},
		{"access point", func(i int) int { return i / 12 }, 5.23343155829},
	} {
		var errs []float64
		for g := range 12 {
			var cols [3][]float64
			var ys []float64
			for i := range y {
				if c.group(i) != g {
					cols[0], cols[1], cols[2], ys = append(cols[0], 1), append(cols[1], x[i]), append(cols[2], walls[i]), append(ys, y[i])
				}
			}
			if len(ys) == len(y) {
				continue
			}
			f, err := propagation.LeastSquares(cols[:], []string{"P0", "n", "wall"}, ys)
			require.NoError(t, err)
			for i := range y {
				if c.group(i) == g {
					errs = append(errs, y[i]-f.Coef[0]-f.Coef[1]*x[i]-f.Coef[2]*walls[i])
				}
			}
		}
		assert.InEpsilon(t, c.want, rms(errs), six, "leave one %s out", c.name)
	}
}

func rms(v []float64) float64 {
	s := 0.0
	for _, e := range v {
		s += e * e
	}
	return math.Sqrt(s / float64(len(v)))
}

func TestSetACensored(t *testing.T) {
	x, walls, y := setAColumns()
	one := ones(36)

	a, err := propagation.CensoredNormal([][]float64{one, x, walls}, []string{"P0", "n", "wall"}, clamp(y, -80), -80, math.Inf(1))
	require.NoError(t, err)
	assertDigits(t, []float64{-38.7223779097, 3.24396512973, -1.25725903691}, a.Coef, six, "floor -80 with walls")
	assertDigits(t, []float64{4.57619165905, -82.4762228663}, []float64{a.Sigma, a.LogLik}, six, "scale, log likelihood")
	assertDigits(t, []float64{4.41633693007, 0.500224513765, 1.16789492171, 0.142046971186}, a.SE, six, "SE")

	b, err := propagation.CensoredNormal([][]float64{one, x}, []string{"P0", "n"}, clamp(y, -80), -80, math.Inf(1))
	require.NoError(t, err)
	assertDigits(t, []float64{-36.1655655781, 3.62268544252, 4.60437489607, -83.069904352}, append(b.Coef, b.Sigma, b.LogLik), six, "floor -80")

	c, err := propagation.CensoredNormal([][]float64{one, x}, []string{"P0", "n"}, clamp(y, -74), -74, math.Inf(1))
	require.NoError(t, err)
	assertDigits(t, []float64{-36.2020885806, 3.62064363051, 4.63030905718, -58.3969438933}, append(c.Coef, c.Sigma, c.LogLik), six, "floor -74")
	assertDigits(t, []float64{4.41117172129, 0.467153190284, 0.164430817938}, c.SE, six, "floor -74 SE")

	// Leaving out what was not heard biases n low (2.87 against 3.62).
	var xs, ys []float64
	for i := range y {
		if y[i] >= -74 {
			xs, ys = append(xs, x[i]), append(ys, y[i])
		}
	}
	drop, err := propagation.LeastSquares([][]float64{ones(len(xs)), xs}, []string{"P0", "n"}, ys)
	require.NoError(t, err)
	assertDigits(t, []float64{-41.4232035513, 2.87027029797}, drop.Coef, six, "dropped")
}

func clamp(y []float64, floor float64) []float64 {
	out := make([]float64, len(y))
	for i, v := range y {
		out[i] = max(v, floor)
	}
	return out
}

// TestSetAEstimate holds the models themselves, with a level per radio, to R:
// lm(rssi ~ 0 + ap + X + walls), lm(rssi ~ 0 + ap + ap:X) and survreg of the
// same formulas, left-censored.
func TestSetAEstimate(t *testing.T) {
	minus80, minus74 := -80.0, -74.0
	for _, c := range []struct {
		name      string
		floor     float64
		o         propagation.Options
		level, n  []float64
		loss      float64
		sigma, ll float64
	}{
		{"A3", math.Inf(-1), propagation.Options{Model: propagation.OLS},
			[]float64{-40.3480986797343, -38.3564320130677, -44.1006980535919}, []float64{2.8236343513967}, 2.9219095311244, 4.004749072, -98.339529279186},
		{"A3 per AP", math.Inf(-1), propagation.Options{Model: propagation.OLS, PerAP: true},
			[]float64{-34.7808929805198, -26.1621037914177, -47.6387739912517}, []float64{3.7554138137296, 4.3760141374774, 2.6107219211483}, 0, 4.3032866183774, -100.3376453548},
		{"floor -80", -80, propagation.Options{Model: propagation.Censored, FloorDBm: &minus80},
			[]float64{-39.6933712847815, -36.5777954846404, -43.3379431351133}, []float64{2.9759739623328}, 2.5829359640663, 3.6896582954876, -76.181971517746},
		{"floor -74", -74, propagation.Options{Model: propagation.Censored, FloorDBm: &minus74},
			[]float64{-41.3704072992243, -37.8347571265721, -44.0972028178177}, []float64{2.7507220846749}, 4.0786128399214, 3.5040593649858, -51.671276297546},
		{"floor -80 per AP", -80, propagation.Options{Model: propagation.Censored, PerAP: true, FloorDBm: &minus80},
			[]float64{-35.1329641837949, -28.1725200876505, -45.3568580602675}, []float64{3.7222674779341, 4.1154127891625, 2.8953191682345}, 0, 3.7749040761971, -78.095625703316},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := setAData(c.floor)
			if c.loss == 0 {
				clear(d.Crossings)
			}
			f, err := propagation.Estimate(d, c.o)
			require.NoError(t, err)
			var level, n []float64
			for _, r := range f.Radios {
				level, n = append(level, r.Level1m.Est), append(n, r.Exponent.Est)
			}
			assertDigits(t, c.level, level, six, "levels")
			assertDigits(t, c.n, n[:len(c.n)], six, "exponents")
			if c.loss > 0 {
				assert.InEpsilon(t, c.loss, f.Walls[0].LossDB.Est, six)
			}
			assert.InEpsilon(t, c.sigma, f.Groups[0].ResidualDB(), six)
			assert.InEpsilon(t, c.ll, f.LogLikelihood, six)
			if c.name == "A3" {
				// lm in R with each point left out in turn.
				assert.InEpsilon(t, 4.4925966072542, f.LOORMSEDB, six)
				k := 6.0
				assert.InEpsilon(t, -2*f.LogLikelihood+2*k+2*k*(k+1)/(36-k-1), f.AICc, 1e-12)
			}
		})
	}
}

// TestSetARobustEstimate holds the model to MASS rlm(rssi ~ 0 + ap + X + walls)
// and rlm(rssi ~ 0 + ap + ap:X) with rows 5 and 20 spoilt by 25 dB.
func TestSetARobustEstimate(t *testing.T) {
	d := setAWith(math.Inf(-1), map[int]float64{4: 25, 19: 25})
	f, err := propagation.Estimate(d, propagation.Options{Model: propagation.Robust})
	require.NoError(t, err)
	assertDigits(t, []float64{-37.7275930154096, -36.1061434781043, -43.5074422684592},
		[]float64{f.Radios[0].Level1m.Est, f.Radios[1].Level1m.Est, f.Radios[2].Level1m.Est}, six, "levels")
	assertDigits(t, []float64{2.8182089956340, 4.0162888265001, 4.0079654866428},
		[]float64{f.Groups[0].Exponent.Est, f.Walls[0].LossDB.Est, f.Groups[0].ResidualDB()}, six, "exponent, wall, scale")

	clear(d.Crossings)
	f, err = propagation.Estimate(d, propagation.Options{Model: propagation.Robust, PerAP: true})
	require.NoError(t, err)
	assertDigits(t, []float64{4.0733654184254, 4.4977670199433, 2.6107219211483},
		[]float64{f.Radios[0].Exponent.Est, f.Radios[1].Exponent.Est, f.Radios[2].Exponent.Est}, six, "exponents")
	assert.InEpsilon(t, 4.8925125729725, f.Groups[0].ResidualDB(), six)
}

// TestSetAPooled holds the model to lme4 1.1-31, lmer(rssi ~ X + walls + (X | ap)),
// and without the walls: coefficients of every access point, and the intervals'
// midpoint. The reference stops at five digits of a singular fit.
func TestSetAPooled(t *testing.T) {
	d := setAData(math.Inf(-1))
	f, err := propagation.Estimate(d, propagation.Options{Model: propagation.Pooled})
	require.NoError(t, err)
	var level, n []float64
	for _, r := range f.Radios {
		level, n = append(level, r.Level1m.Est), append(n, r.Exponent.Est)
	}
	assertDigits(t, []float64{-40.12713868, -33.53770978, -48.43315611}, level, 2e-5, "levels")
	assertDigits(t, []float64{2.93662108, 3.38795537, 2.36771130}, n, 2e-5, "exponents")
	assertDigits(t, []float64{2.89742925, 2.32831538, 3.87669204, 8.12886525, 0.55677597},
		[]float64{f.Groups[0].Exponent.Est, f.Walls[0].LossDB.Est, f.Groups[0].ResidualDB(), f.Groups[0].Level1mSDDB, f.Groups[0].ExponentSD}, 2e-5, "n, wall, sigma, spreads")
	assert.InEpsilon(t, -101.134939191, f.LogLikelihood, six)
	k := 7.0
	assert.InEpsilon(t, -2*f.LogLikelihood+2*k+2*k*(k+1)/(36-k-1), f.AICc, 1e-12)

	clear(d.Crossings)
	f, err = propagation.Estimate(d, propagation.Options{Model: propagation.Pooled})
	require.NoError(t, err)
	assert.InEpsilon(t, 3.6202794516311, f.Groups[0].Exponent.Est, 2e-5)
	assertDigits(t, []float64{8.9666552639302, 0.7236720359088}, []float64{f.Groups[0].Level1mSDDB, f.Groups[0].ExponentSD}, 2e-5, "spreads")
}
