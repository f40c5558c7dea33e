package canvas_test

import (
	"math"
	"testing"

	"footrule/internal/canvas"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// linear undoes the sRGB transfer curve (IEC 61966-2-1).
func linear(c canvas.Color) [3]float64 {
	r, g, b := c.RGB()
	var out [3]float64
	for i, v := range [3]uint8{r, g, b} {
		x := float64(v) / 255
		if x <= 0.04045 {
			out[i] = x / 12.92
		} else {
			out[i] = math.Pow((x+0.055)/1.055, 2.4)
		}
	}
	return out
}

// lab gives CIELAB under D65 (CIE 15:2004) from linear sRGB (IEC 61966-2-1 matrix).
func lab(l [3]float64) [3]float64 {
	m := [3][3]float64{{0.4124564, 0.3575761, 0.1804375}, {0.2126729, 0.7151522, 0.0721750}, {0.0193339, 0.1191920, 0.9503041}}
	white := [3]float64{0.95047, 1, 1.08883}
	var f [3]float64
	for i := range m {
		t := (m[i][0]*l[0] + m[i][1]*l[1] + m[i][2]*l[2]) / white[i]
		if t > 216.0/24389 {
			f[i] = math.Cbrt(t)
		} else {
			f[i] = (24389.0/27*t + 16) / 116
		}
	}
	return [3]float64{116*f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])}
}

func deltaE(a, b [3]float64) float64 {
	return math.Sqrt((a[0]-b[0])*(a[0]-b[0]) + (a[1]-b[1])*(a[1]-b[1]) + (a[2]-b[2])*(a[2]-b[2]))
}

// Simulation matrices of severity 1.0 on linear sRGB: Machado, Oliveira and
// Fernandes 2009, IEEE TVCG 15(6), supplementary table.
var machado = map[string][3][3]float64{
	"protan": {{0.152286, 1.052583, -0.204868}, {0.114503, 0.786281, 0.099216}, {-0.003882, -0.048116, 1.051998}},
	"deutan": {{0.367322, 0.860646, -0.227968}, {0.280085, 0.672501, 0.047413}, {-0.011820, 0.042940, 0.968881}},
}

func seen(c canvas.Color, m [3][3]float64) [3]float64 {
	l := linear(c)
	var out [3]float64
	for i := range m {
		out[i] = min(1, max(0, m[i][0]*l[0]+m[i][1]*l[1]+m[i][2]*l[2]))
	}
	return lab(out)
}

// TestLab holds the conversion used here against sRGB red, L*a*b* 53.24 80.09
// 67.20 (D65; Lindbloom's colour calculator, from memory) and white.
func TestLab(t *testing.T) {
	red := lab(linear(canvas.RGB(255, 0, 0)))
	assert.InDelta(t, 53.24, red[0], 0.02)
	assert.InDelta(t, 80.09, red[1], 0.05)
	assert.InDelta(t, 67.20, red[2], 0.05)
	assert.InDelta(t, 100, lab(linear(canvas.RGB(255, 255, 255)))[0], 0.01)
}

func falls(t *testing.T, steps [canvas.Steps][3]float64) (least, most float64) {
	t.Helper()
	least = math.Inf(1)
	for i := 1; i < canvas.Steps; i++ {
		require.Less(t, steps[i][0], steps[i-1][0], "L* from step %d to %d", i-1, i)
		d := deltaE(steps[i], steps[i-1])
		least, most = min(least, d), max(most, d)
	}
	return least, most
}

func TestRampLaws(t *testing.T) {
	var plain [canvas.Steps][3]float64
	for i := range plain {
		plain[i] = lab(linear(canvas.Ramp(i)))
	}
	least, most := falls(t, plain) // law 2
	t.Run("1 even", func(t *testing.T) {
		assert.InDelta(t, 11, least, 0.55)
		assert.InDelta(t, 11, most, 0.55)
	})
	for name, m := range machado {
		t.Run("3 "+name, func(t *testing.T) {
			var s [canvas.Steps][3]float64
			for i := range s {
				s[i] = seen(canvas.Ramp(i), m)
			}
			least, most := falls(t, s)
			assert.GreaterOrEqual(t, least, 0.75*most, "from %.1f to %.1f", least, most)
		})
	}
	t.Run("4 in 256 colours", func(t *testing.T) {
		last := math.Inf(1)
		for i := range canvas.Steps {
			l := lab(linear(palette256(canvas.Ramp(i).Index256())))[0]
			assert.Less(t, l, last, "step %d", i)
			last = l
		}
	})
	t.Run("text on it", func(t *testing.T) {
		for i := range canvas.Steps {
			assert.GreaterOrEqual(t, contrast(canvas.Ramp(i), canvas.On(i)), 4.5, "step %d (WCAG 2.2, 1.4.3)", i)
		}
	})
	assert.Equal(t, canvas.Ramp(0), canvas.Ramp(-5))
	assert.Equal(t, canvas.Ramp(8), canvas.Ramp(99))
}

// contrast is the ratio of WCAG 2.2.
func contrast(a, b canvas.Color) float64 {
	y := func(c canvas.Color) float64 {
		l := linear(c)
		return 0.2126*l[0] + 0.7152*l[1] + 0.0722*l[2]
	}
	hi, lo := max(y(a), y(b)), min(y(a), y(b))
	return (hi + 0.05) / (lo + 0.05)
}

// palette256 gives the colour of an entry of the xterm palette from 16 on.
func palette256(i uint8) canvas.Color {
	if i >= 232 {
		v := 8 + 10*(i-232)
		return canvas.RGB(v, v, v)
	}
	axis := [6]uint8{0, 95, 135, 175, 215, 255}
	i -= 16
	return canvas.RGB(axis[i/36], axis[i/6%6], axis[i%6])
}

// TestIndex256 compares with a search of the whole palette.
func TestIndex256(t *testing.T) {
	d := func(a, b canvas.Color) int {
		ar, ag, ab := a.RGB()
		br, bg, bb := b.RGB()
		x, y, z := int(ar)-int(br), int(ag)-int(bg), int(ab)-int(bb)
		return x*x + y*y + z*z
	}
	for r := 0; r < 256; r += 15 {
		for g := 0; g < 256; g += 15 {
			for b := 0; b < 256; b += 15 {
				c := canvas.RGB(uint8(r), uint8(g), uint8(b))
				best := 1 << 30
				for i := 16; i < 256; i++ {
					best = min(best, d(c, palette256(uint8(i))))
				}
				require.Equal(t, best, d(c, palette256(c.Index256())), "%d %d %d", r, g, b)
			}
		}
	}
}

func TestIndex16(t *testing.T) {
	assert.Equal(t, uint8(11), canvas.RGB(200, 100, 20).As16(11).Index16())
	assert.Equal(t, uint8(9), canvas.RGB(250, 10, 10).Index16())
	assert.Equal(t, uint8(0), canvas.RGB(5, 5, 5).Index16())
}

func TestScale(t *testing.T) {
	s := canvas.Scale{Edges: [8]float64{1, 2, 3, 4, 5, 7, 10, 15}}
	for v, want := range map[float64]int{-3: 0, 0.99: 0, 1: 1, 2.5: 2, 10: 7, 14.9: 7, 15: 8, 1e9: 8} {
		assert.Equal(t, want, s.Step(v), "%g", v)
	}
	assert.Equal(t, -1, s.Step(math.NaN()))
	assert.Equal(t, 8, s.Step(math.Inf(1)))
}
