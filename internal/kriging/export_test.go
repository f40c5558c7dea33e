package kriging

import "gonum.org/v1/gonum/floats"

// Of is a series of values y.
func Of(f *Family, y []float64) Series {
	return Series{Linear: NewLinear(f, y), Coef: []float64{1}}
}

// Evidence is that of y without the rows of a block, from z = K⁻¹y.
func (s *System) Evidence(y, z []float64, without *Block) Evidence {
	e := Evidence{N: len(y), LogDet: s.logDet, Square: floats.Dot(y, z)}
	if without == nil || len(without.rows) == 0 {
		return e
	}
	return without.evidence(e, without.pick(z))
}

// Without sets mean and variance to those of the rows outside of a block, from
// z = K⁻¹y.
func (m *Map) Without(y, z []float64, b *Block, mean, variance []float64) {
	m.Mean(y, mean)
	m.Variance(variance)
	m.drop(b, b.pick(z), mean, variance)
}
