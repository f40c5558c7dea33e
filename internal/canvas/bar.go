package canvas

import "math"

var eighth = [9]rune{' ', '▏', '▎', '▍', '▌', '▋', '▊', '▉', '█'}

// Bar draws a bar of w columns that is full to the share v, clamped to [0, 1]
// (not a number draws it empty): eighths of a column, or # and - in ASCII.
func (c *Canvas) Bar(x, y, w int, v float64, g Glyphs, full, empty Look) {
	if !(v > 0) {
		v = 0
	}
	n := int(math.Round(math.Min(1, v) * float64(w) * 8))
	for i := range w {
		k := min(8, max(0, n-8*i))
		switch {
		case g == ASCII && k >= 4:
			c.Set(x+i, y, '#', full)
		case g == ASCII:
			c.Set(x+i, y, '-', empty)
		case k == 0:
			c.Set(x+i, y, '·', empty)
		default:
			c.Set(x+i, y, eighth[k], full)
		}
	}
}
