package canvas_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"footrule/internal/canvas"

	"github.com/paulmach/orb"
)

// BenchmarkMap draws a plan of 40 walls and 400 points over a ramp and writes it.
func BenchmarkMap(b *testing.B) {
	for _, size := range [][2]int{{80, 24}, {200, 60}} {
		for name, p := range map[string]canvas.Profile{"plain": canvas.None, "256": canvas.ANSI256, "true": canvas.TrueColor} {
			b.Run(fmt.Sprintf("%dx%d/%s", size[0], size[1], name), func(b *testing.B) {
				rnd := rand.New(rand.NewPCG(1, 1))
				at := func() orb.Point { return orb.Point{rnd.Float64() * 60, rnd.Float64() * 24} }
				var walls []orb.LineString
				for range 40 {
					walls = append(walls, orb.LineString{at(), at(), at()})
				}
				var points []orb.Point
				for range 400 {
					points = append(points, at())
				}
				v := canvas.Fit(orb.Bound{Max: orb.Point{60, 24}}, size[0], size[1], 1)
				c := canvas.New(size[0], size[1])
				var out []byte
				b.ReportAllocs()
				for b.Loop() {
					c.Resize(size[0], size[1])
					d := canvas.NewDots(size[0], size[1])
					for _, w := range walls {
						v.Polyline(d, w)
					}
					d.Draw(c, 0, 0, canvas.Braille, canvas.Look{})
					for y := range size[1] {
						for x := range size[0] {
							c.Paint(x, y, canvas.Look{Bg: canvas.Ramp((x/3 + y) % canvas.Steps)})
						}
					}
					for _, p := range points {
						if x, y, ok := v.Cell(p); ok {
							c.Set(x, y, '●', canvas.Look{Style: canvas.Bold})
						}
					}
					out = c.AppendTo(out[:0], p)
				}
				b.SetBytes(int64(len(out)))
			})
		}
	}
}
