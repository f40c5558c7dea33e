package propagation_test

import (
	"testing"

	"footrule/internal/propagation"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
)

func groupsOf(c []float64) []int {
	out := make([]int, len(c))
	for i, v := range c {
		out[i] = int(v)
	}
	return out
}

// mixed fits restricted and by maximum likelihood.
func mixed(t *testing.T, columns [][]float64, y []float64, group []int, random [][]float64) (reml, ml *propagation.Mixed) {
	t.Helper()
	names := []string{"1", "x", "walls"}[:len(columns)]
	reml, err := propagation.RandomEffects(columns, names, y, group, random, true)
	require.NoError(t, err)
	ml, err = propagation.RandomEffects(columns, names, y, group, random, false)
	require.NoError(t, err)
	return reml, ml
}

// The optimisers of the reference stop at five to seven digits of a variance.
const stopped = 3e-6

// TestSleepstudy is the reaction times of Belenky et al. (J. Sleep Res. 12,
// 2003), fitted by R 4.2.2 lme4 1.1-31.
func TestSleepstudy(t *testing.T) {
	c := numbers(t, "sleepstudy.csv")
	x, g := [][]float64{ones(180), c[1]}, groupsOf(c[2])

	reml, ml := mixed(t, x, c[0], g, x[:1]) // Reaction ~ Days + (1 | Subject)
	assertDigits(t, []float64{251.405104848485, 10.467285959596}, reml.Coef, six, "coefficients")
	assertDigits(t, []float64{9.746716308076, 0.804221428546}, reml.SE, six, "SE")
	assertDigits(t, []float64{1378.1785389, 960.4565768}, []float64{reml.SD[0] * reml.SD[0], reml.Sigma * reml.Sigma}, six, "variances")
	assert.InEpsilon(t, 1786.46508539, -2*reml.Restricted, six)
	assertDigits(t, []float64{1296.8700482, 954.5278340}, []float64{ml.SD[0] * ml.SD[0], ml.Sigma * ml.Sigma}, six, "ML variances")
	assert.InEpsilon(t, -897.039321503, ml.LogLik, six)

	reml, ml = mixed(t, x, c[0], g, x) // Reaction ~ Days + (Days | Subject)
	assertDigits(t, []float64{251.405104848, 10.4672859596}, reml.Coef, six, "coefficients")
	assertDigits(t, []float64{6.82455577628, 1.54578893243}, reml.SE, six, "SE")
	assertDigits(t, []float64{24.7404476, 5.9221333, 25.5918159}, append(reml.SD, reml.Sigma), six, "sd")
	assert.InEpsilon(t, 0.0655513, reml.Correlation, 1e-5)
	assert.InEpsilon(t, 1743.62827196, -2*reml.Restricted, six)
	assertDigits(t, []float64{2.2585662, 9.1989718, -40.3985793, -8.6197028}, append(reml.Effects[0], reml.Effects[1]...), 2e-6, "effects of the first two")
	assertDigits(t, []float64{23.7805650, 5.7168346, 25.5918158}, append(ml.SD, ml.Sigma), six, "ML sd")
	assertDigits(t, []float64{6.6322775814, 1.5022366073}, ml.SE, six, "ML SE")
	assert.InEpsilon(t, -875.969672232, ml.LogLik, six)
}

// TestDyestuff is Davies and Goldsmith (1972), six batches of five. In a
// balanced design the estimates come in closed form from the mean squares
// between, 11271.5, and within, 2451.25.
func TestDyestuff(t *testing.T) {
	c := numbers(t, "dyestuff.csv")
	x := [][]float64{ones(30)}
	reml, ml := mixed(t, x, c[0], groupsOf(c[1]), x)
	assertDigits(t, []float64{1527.5, (11271.5 - 2451.25) / 5, 2451.25}, []float64{reml.Coef[0], reml.SD[0] * reml.SD[0], reml.Sigma * reml.Sigma}, 1e-8, "restricted")
	assert.InEpsilon(t, 319.654276842, -2*reml.Restricted, six)
	assertDigits(t, []float64{1527.5, (11271.5*5/6 - 2451.25) / 5, 2451.25}, []float64{ml.Coef[0], ml.SD[0] * ml.SD[0], ml.Sigma * ml.Sigma}, 1e-8, "maximum likelihood")
	assert.InEpsilon(t, 327.327059881, -2*ml.LogLik, six)
}

// TestRail and TestOrthodont are of Pinheiro and Bates, Mixed-Effects Models in
// S and S-PLUS, 2000, fitted by R 4.2.2 nlme 3.1-162.
func TestRail(t *testing.T) {
	c := numbers(t, "rail.csv")
	x := [][]float64{ones(18)}
	reml, _ := mixed(t, x, c[0], groupsOf(c[1]), x)
	assertDigits(t, []float64{66.5, 24.805465, 4.020779, -61.0885004043}, []float64{reml.Coef[0], reml.SD[0], reml.Sigma, reml.Restricted}, six, "Rail")
}

func TestOrthodont(t *testing.T) {
	c := numbers(t, "orthodont.csv")
	x := [][]float64{ones(108), c[1]}
	reml, ml := mixed(t, x, c[0], groupsOf(c[2]), x)
	assertDigits(t, []float64{16.7611111111, 0.660185185185}, reml.Coef, six, "coefficients")
	assertDigits(t, []float64{2.32703385, 0.22642779, 1.31003970}, append(reml.SD, reml.Sigma), stopped, "sd")
	assert.InEpsilon(t, -221.318342942, reml.Restricted, six)
	assertDigits(t, []float64{0.775245879, 0.071253231}, reml.SE, stopped, "SE")
	assert.InEpsilon(t, 439.21160126782, -2*ml.LogLik, six)
}

// TestSetAMixed is lme4 1.1-31 lmer(rssi ~ X + walls + (1 | ap)) on set A.
func TestSetAMixed(t *testing.T) {
	x, walls, y := setAColumns()
	group := make([]int, 36)
	for i := range group {
		group[i] = i / 12
	}
	cols := [][]float64{ones(36), x, walls}
	reml, ml := mixed(t, cols, y, group, cols[:1])
	assertDigits(t, []float64{-40.7050608679, 2.87622755045, -2.65154375845}, reml.Coef, six, "coefficients")
	assertDigits(t, []float64{6.67070227838, 16.0571127087}, []float64{reml.SD[0] * reml.SD[0], reml.Sigma * reml.Sigma}, six, "variances")
	assertDigits(t, []float64{4.1098261883, 0.434954697134, 0.983819400159}, reml.SE, six, "SE")
	assert.InEpsilon(t, 200.402456517, -2*reml.Restricted, six)
	assertDigits(t, []float64{0.427316986707, 2.08622015058, -2.51353713729}, []float64{reml.Effects[0][0], reml.Effects[1][0], reml.Effects[2][0]}, six, "effects")
	assertDigits(t, []float64{1.0557116, 1.0557116, 1.0557116}, []float64{reml.EffectSE[0][0], reml.EffectSE[1][0], reml.EffectSE[2][0]}, six, "their SE")
	assertDigits(t, []float64{-40.5957872699, 2.90121304519, -2.52310086636}, ml.Coef, six, "ML coefficients")
	assertDigits(t, []float64{3.7420557933, 15.1545089192}, []float64{ml.SD[0] * ml.SD[0], ml.Sigma * ml.Sigma}, six, "ML variances")
	assert.InEpsilon(t, -102.076701521, ml.LogLik, six)

	// rssi ~ X + walls + (X | ap): three access points tell level and exponent
	// apart in one direction only, and lmer calls the fit singular.
	reml, _ = mixed(t, cols, y, group, cols[:2])
	assertDigits(t, []float64{-40.6993348567, 2.89742925047, -2.32831537686}, reml.Coef, 2e-5, "coefficients")
	assertDigits(t, []float64{8.12886525, 0.55677597, 1, 3.87669204}, append(reml.SD, reml.Correlation, reml.Sigma), 2e-5, "sd")
	assert.InEpsilon(t, 198.554861447, -2*reml.Restricted, six)
	assert.InEpsilon(t, -101.134939191, reml.LogLik, six)
}

// Prediction errors of a group's own coefficients are the blocks of the inverse of
// Henderson's mixed model equations (Biometrics 31, 1975; Searle, Casella and
// McCulloch, Variance Components, 1992, section 7.4c), here solved whole:
//
//	(XᵀX  XᵀZ; ZᵀX  ZᵀZ + G⁻¹)⁻¹ σ²
func TestPredictionErrorsOfGroups(t *testing.T) {
	x, walls, y := setAColumns()
	cols := [][]float64{ones(36), x, walls}
	group := make([]int, 36)
	for i := range group {
		group[i] = i / 12
	}
	lambda := [3]float64{2.1, .1, .14}
	const p, q = 3, 6
	whole := mat.NewSymDense(p+q, nil)
	row := make([]float64, p+q)
	for i, g := range group {
		clear(row)
		for j, c := range cols {
			row[j] = c[i]
		}
		row[p+2*g], row[p+2*g+1] = 1, x[i]
		whole.SymRankOne(whole, 1, mat.NewVecDense(p+q, row))
	}
	g00, g01, g11 := lambda[0]*lambda[0], lambda[0]*lambda[1], lambda[1]*lambda[1]+lambda[2]*lambda[2]
	det := g00*g11 - g01*g01
	for g := range 3 {
		a := p + 2*g
		whole.SetSym(a, a, whole.At(a, a)+g11/det)
		whole.SetSym(a, a+1, whole.At(a, a+1)-g01/det)
		whole.SetSym(a+1, a+1, whole.At(a+1, a+1)+g00/det)
	}
	var chol mat.Cholesky
	require.True(t, chol.Factorize(whole))
	var inv mat.SymDense
	require.NoError(t, chol.InverseTo(&inv))
	// σ² as restricted likelihood has it: yᵀV⁻¹(y − Xb)/(N − p), V⁻¹y by the equations.
	rhs := mat.NewVecDense(p+q, nil)
	yy := 0.0
	for i, g := range group {
		for j, c := range cols {
			rhs.SetVec(j, rhs.AtVec(j)+c[i]*y[i])
		}
		rhs.SetVec(p+2*g, rhs.AtVec(p+2*g)+y[i])
		rhs.SetVec(p+2*g+1, rhs.AtVec(p+2*g+1)+x[i]*y[i])
		yy += y[i] * y[i]
	}
	var sol mat.VecDense
	require.NoError(t, chol.SolveVecTo(&sol, rhs))
	s2 := (yy - mat.Dot(&sol, rhs)) / (36 - p)
	for g, v := range propagation.DrawnVariances(cols, y, group, lambda) {
		var want []float64
		for _, ab := range [][2]int{{0, 0}, {0, 1}, {1, 1}} { // of common plus own
			a, b := ab[0], ab[1]
			u, w := p+2*g+a, p+2*g+b
			want = append(want, s2*(inv.At(a, b)+inv.At(a, w)+inv.At(u, b)+inv.At(u, w)))
		}
		assertDigits(t, want, v[:], 1e-8, "variances")
	}
}

func TestRandomEffectsRefuses(t *testing.T) {
	x, _, y := setAColumns()
	_, err := propagation.RandomEffects([][]float64{ones(36), x}, []string{"P0", "n"}, y, make([]int, 36), nil, true)
	assert.EqualError(t, err, "0 random columns; give one or two")
	var rank *propagation.RankError
	_, err = propagation.RandomEffects([][]float64{x, x}, []string{"n", "twice"}, y, make([]int, 36), [][]float64{x}, true)
	assert.ErrorAs(t, err, &rank)
}
