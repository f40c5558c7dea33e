package propagation_test

import (
	"math"
	"testing"

	"footrule/internal/propagation"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestStackloss is Brownlee's (1960) stack loss data fitted by R 4.2.2:
// rlm(stack.loss ~ ., stackloss) of MASS 7.3-58.2, with Huber's and the bisquare
// weights, to convergence (acc = 1e-14), and lm.
func TestStackloss(t *testing.T) {
	c := numbers(t, "stackloss.csv")
	x := [][]float64{ones(21), c[1], c[2], c[3]}
	names := []string{"1", "flow", "temp", "acid"}

	ls, err := propagation.LeastSquares(x, names, c[0])
	require.NoError(t, err)
	assertDigits(t, []float64{-39.9196744201, 0.715640200485, 1.29528612439, -0.152122519149}, ls.Coef, six, "least squares")
	press := 0.0
	for _, e := range leftOut(ls) {
		press += e * e
	}
	assertDigits(t, []float64{3.24336391819, 291.86893173}, []float64{ls.Sigma, press}, six, "sigma, PRESS")

	h, err := propagation.RobustLinear(x, names, c[0], propagation.Huber(1.345))
	require.NoError(t, err)
	assertDigits(t, []float64{-41.0264853733, 0.829385770254, 0.926059415549, -0.127846317965}, h.Coef, six, "Huber")
	assertDigits(t, []float64{9.80687229435, 0.11117496232, 0.303393403349, 0.128846345687}, h.SE, six, "Huber SE")
	assert.InEpsilon(t, 2.44048904599, h.Scale, six)
	for i, w := range h.Weight {
		want := 1.0
		switch i {
		case 2:
			want = 0.78579661253
		case 3:
			want = 0.504855924898
		case 20:
			want = 0.368083781778
		}
		assert.InEpsilon(t, want, w, six, "weight of row %d", i+1)
	}

	b, err := propagation.RobustLinear(x, names, c[0], propagation.Bisquare(4.685))
	require.NoError(t, err)
	assertDigits(t, []float64{-42.2853215365, 0.927558992802, 0.65071119839, -0.112333123036}, b.Coef, six, "bisquare")
	assertDigits(t, []float64{9.531385661490, 0.108051926238, 0.294870724088, 0.125226899561}, b.SE, six, "bisquare SE")
	assert.InEpsilon(t, 2.28185331457, b.Scale, six)
	assertDigits(t, []float64{0.790444427579, 0.335787977880, 0.00221785531652}, []float64{b.Weight[2], b.Weight[3], b.Weight[20]}, six, "bisquare weights")
}

// TestPhones is the Belgian telephone calls of 1950 to 1973 (Rousseeuw and
// Leroy 1987), six years of which were recorded in other units: rlm and lm of
// calls ~ year, as in MASS.
func TestPhones(t *testing.T) {
	c := numbers(t, "phones.csv")
	x, names := [][]float64{ones(24), c[1]}, []string{"1", "year"}
	ls, err := propagation.LeastSquares(x, names, c[0])
	require.NoError(t, err)
	assertDigits(t, []float64{-260.059246377, 5.04147826087}, ls.Coef, six, "least squares")
	h, err := propagation.RobustLinear(x, names, c[0], propagation.Huber(1.345))
	require.NoError(t, err)
	assertDigits(t, []float64{-102.529638119, 2.03960046574, 9.00902830583}, append(h.Coef, h.Scale), six, "Huber")
	b, err := propagation.RobustLinear(x, names, c[0], propagation.Bisquare(4.685))
	require.NoError(t, err)
	assertDigits(t, []float64{-52.3025106823, 1.09804648483, 1.65545571377}, append(b.Coef, b.Scale), six, "bisquare")
}

// TestCars is lm(dist ~ speed, cars) of R (Ezekiel 1930).
func TestCars(t *testing.T) {
	c := numbers(t, "cars.csv")
	ls, err := propagation.LeastSquares([][]float64{ones(50), c[1]}, []string{"1", "speed"}, c[0])
	require.NoError(t, err)
	assertDigits(t, []float64{-17.5790948905, 3.93240875912, 15.3795867488, 246.405415953},
		append(ls.Coef, ls.Sigma, rms(leftOut(ls))*rms(leftOut(ls))), six, "cars")
}

// TestSetARobust is set A with 25 dB added to its rows 5 and 20: MASS rlm of
// rssi ~ X + walls. Least squares loses a sixth of n and doubles the wall.
func TestSetARobust(t *testing.T) {
	x, walls, y := setAColumns()
	y[4] += 25
	y[19] += 25
	cols, names := [][]float64{ones(36), x, walls}, []string{"P0", "n", "wall"}
	h, err := propagation.RobustLinear(cols, names, y, propagation.Huber(1.345))
	require.NoError(t, err)
	assertDigits(t, []float64{-36.9272521174, 3.27289804826, -1.93809893301, 4.51484727725, 0.294149686335, 0.228768677867},
		append(h.Coef, h.Scale, h.Weight[4], h.Weight[19]), six, "Huber")
	assertDigits(t, []float64{4.93868382884, 0.554149975100, 1.16543703876}, h.SE, six, "Huber SE")
	b, err := propagation.RobustLinear(cols, names, y, propagation.Bisquare(4.685))
	require.NoError(t, err)
	assertDigits(t, []float64{-38.7558718923, 3.1879468688, -1.51952225202, 4.59891660571}, append(b.Coef, b.Scale), six, "bisquare")
	assert.Zero(t, b.Weight[4])
	assert.Zero(t, b.Weight[19])
	ls, err := propagation.LeastSquares(cols, names, y)
	require.NoError(t, err)
	assertDigits(t, []float64{-36.8394536925, 3.070845326, -3.04441052274}, ls.Coef, six, "least squares")
}

func TestRobustLinearRefuses(t *testing.T) {
	y := []float64{1, 1, 1, 1, 1, 7}
	_, err := propagation.RobustLinear([][]float64{{1, 1, 1, 1, 1, 0}, {0, 0, 0, 0, 0, 1}}, []string{"a", "b"}, y, propagation.Huber(1.345))
	assert.EqualError(t, err, "more than half of 6 rows agree exactly, so there is no spread to weigh the others by")
	var rank *propagation.RankError
	_, err = propagation.RobustLinear([][]float64{ones(6), ones(6)}, []string{"a", "b"}, y, propagation.Huber(1.345))
	assert.ErrorAs(t, err, &rank)
	// A tuning that nothing exceeds is least squares: a law of the method.
	x := slopes(10, 20, 50, 100, 300)
	v := []float64{-70, -75, -90, -110, -125}
	ls, err := propagation.LeastSquares([][]float64{ones(5), x}, []string{"K", "gamma"}, v)
	require.NoError(t, err)
	for _, w := range []propagation.Weighing{propagation.Huber(math.Inf(1)), propagation.Bisquare(1e9)} {
		h, err := propagation.RobustLinear([][]float64{ones(5), x}, []string{"K", "gamma"}, v, w)
		require.NoError(t, err)
		assertDigits(t, ls.Coef, h.Coef, 1e-9, "least squares")
	}
}
