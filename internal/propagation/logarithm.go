package propagation

import "math"

// logBits is the number of leading bits of the fraction that a table of logarithms
// goes by.
const logBits = 10

// logTable holds, for the middle c of each of its stretches of [1, 2), 1/c and ln c.
var logTable = func() (t [1 << logBits][2]float64) {
	for j := range t {
		over := 1 / (1 + (float64(j)+.5)/(1<<logBits))
		t[j] = [2]float64{over, -math.Log(over)}
	}
	return t
}()

// ln is the natural logarithm of a normal number above 0, to the rounding of a few
// terms: with x = 2^e m, r = m/c − 1 and |r| < 2⁻¹¹ four terms of the series of
// ln(1 + r) are exact to r⁵/5.
func ln(x float64) float64 {
	b := math.Float64bits(x)
	t := &logTable[b>>(52-logBits)&(1<<logBits-1)]
	r := math.Float64frombits(b&(1<<52-1)|1023<<52)*t[0] - 1
	return float64(int(b>>52)-1023)*math.Ln2 + t[1] + r*(1-r*(1./2-r*(1./3-r*(1./4))))
}
