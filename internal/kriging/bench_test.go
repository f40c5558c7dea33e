package kriging_test

import (
	"math/rand/v2"
	"testing"

	"footrule/internal/kriging"

	"github.com/paulmach/orb"
)

// BenchmarkSystem is a walk of 170 places onto 2560 cells.
func BenchmarkSystem(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	var l kriging.Layout
	for range 170 {
		l.At, l.Noise = append(l.At, orb.Point{80 * rng.Float64(), 50 * rng.Float64()}), append(l.Noise, 1)
	}
	var cells []orb.Point
	for i := range 2560 {
		cells = append(cells, orb.Point{1.25 * float64(i%64), 1.25 * float64(i/64)})
	}
	b.Run("factored", func(b *testing.B) {
		for b.Loop() {
			if _, err := kriging.NewSystem(l, length, ratio); err != nil {
				b.Fatal(err)
			}
		}
	})
	s, err := kriging.NewSystem(l, length, ratio)
	if err != nil {
		b.Fatal(err)
	}
	b.Run("onto cells", func(b *testing.B) {
		for b.Loop() {
			s.Onto(cells)
		}
	})
}
