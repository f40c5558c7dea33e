package tui

import (
	"math"
	"testing"

	"footrule/internal/canvas"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// ratio is the contrast of two colours (WCAG 2.2, relative luminance and contrast ratio).
func ratio(a, b canvas.Color) float64 {
	y := func(c canvas.Color) float64 {
		r, g, bl := c.RGB()
		lin := func(v uint8) float64 {
			x := float64(v) / 255
			if x <= 0.04045 {
				return x / 12.92
			}
			return math.Pow((x+0.055)/1.055, 2.4)
		}
		return 0.2126*lin(r) + 0.7152*lin(g) + 0.0722*lin(bl)
	}
	hi, lo := max(y(a), y(b)), min(y(a), y(b))
	return (hi + 0.05) / (lo + 0.05)
}

func TestThemesCanBeRead(t *testing.T) {
	black, white := canvas.Hex(0x000000), canvas.Hex(0xffffff)
	require.Len(t, Themes(), int(MonoTheme)+1)
	for _, c := range []struct {
		theme Theme
		on    []canvas.Color
		least float64
	}{{AnyTheme, []canvas.Color{black, white}, 3}, {DarkTheme, []canvas.Color{black, canvas.Hex(0x1e1e1e)}, 4.5}, {LightTheme, []canvas.Color{white, canvas.Hex(0xfdf6e3)}, 4.5}} {
		grey, orange, teal := inks(c.theme)
		for _, ink := range []canvas.Color{grey, orange, teal} {
			for _, on := range c.on {
				assert.GreaterOrEqual(t, ratio(ink, on), c.least, "%s: %06x on %06x", Themes()[c.theme], ink&0xffffff, on&0xffffff)
			}
		}
	}
	grey, orange, teal := inks(MonoTheme)
	assert.True(t, grey.IsDefault() && orange.IsDefault() && teal.IsDefault())
	assert.Equal(t, canvas.Look{}, newTheme(MonoTheme).ink(3))
}
