package canvas_test

import (
	"math"
	"strings"
	"testing"
	"unicode"

	"footrule/internal/canvas"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func plain(c *canvas.Canvas) string { return c.String(canvas.None) }

func TestClean(t *testing.T) {
	for name, tc := range map[string][2]string{
		"plain":         {"Dock 4", "Dock 4"},
		"escape":        {"a\x1b[31mb\x07", "a·[31mb·"},
		"lines":         {"a\r\nb\tc", "a  b c"},
		"c1":            {"a\u009b2Jb", "a·2Jb"},
		"bad bytes":     {"a\xff\xfeb", "a··b"},
		"overrides":     {"a\u202eb\u2066c\u200fd", "abcd"},
		"joined family": {"👨\u200d👩\u200d👧", "👨👩👧"},
		"flag":          {"🇨🇭", "CH"},
		"composed":      {"e\u0301", "é"},
		"stacked":       {"x\u0323\u0332\u0331\u0330", "x\u0323"},
		"loose mark":    {" \u0323a", " a"},
		"variation":     {"☀\ufe0f", "☀"},
		"tone":          {"👍🏽", "👍"},
		"private":       {"a\ue000b", "ab"},
		"wide":          {"東京", "東京"},
	} {
		t.Run(name, func(t *testing.T) {
			assert.Equal(t, tc[1], canvas.Clean(tc[0]))
		})
	}
}

func FuzzClean(f *testing.F) {
	for _, s := range []string{"", "a\x1b[31m", "東\u0301京", "\u202e\xff", "🇨🇭🏽\u200d", "ᄀ\u1161\u11a8", "क्षि"} {
		f.Add(s, 7)
	}
	f.Fuzz(func(t *testing.T, s string, w int) {
		w = (w%60 + 60) % 60
		c := canvas.Clean(s)
		require.Equal(t, c, canvas.Clean(c), "idempotent")
		for _, r := range c {
			require.False(t, unicode.IsControl(r) || unicode.Is(unicode.Cf, r), "%U", r)
		}
		require.LessOrEqual(t, canvas.Width(canvas.Cut(s, w, '~')), w)
		for _, l := range canvas.Wrap(s, w) {
			require.LessOrEqual(t, canvas.Width(l), w)
		}
		cv := canvas.New(20, 1)
		n := cv.Text(0, 0, s, canvas.Look{})
		require.Equal(t, canvas.Width(s), n)
		require.LessOrEqual(t, canvas.Width(plain(cv)), 20)
	})
}

func TestCut(t *testing.T) {
	assert.Equal(t, "abc", canvas.Cut("abc", 3, '~'))
	assert.Equal(t, "ab~", canvas.Cut("abcd", 3, '~'))
	assert.Equal(t, "東~", canvas.Cut("東京", 3, '~'))
	assert.Equal(t, "~", canvas.Cut("東京", 1, '~'))
	assert.Equal(t, "~", canvas.Cut("東京", 2, '~'))
	assert.Equal(t, "", canvas.Cut("abc", 0, '~'))
	assert.Equal(t, []string{"one two", "three", "abcdefgh", "ij"}, canvas.Wrap(" one two  three abcdefghij", 8))
	assert.Empty(t, canvas.Wrap("  ", 8))
}

func TestText(t *testing.T) {
	c := canvas.New(6, 2)
	assert.Equal(t, 4, c.Text(0, 0, "東京", canvas.Look{}))
	c.Set(1, 0, 'x', canvas.Look{}) // cuts the first in half
	c.Text(5, 0, "東", canvas.Look{})
	c.Text(-1, 1, "東q\u0323yz", canvas.Look{}) // left half is off the canvas
	assert.Equal(t, " x京\n q\u0323yz", plain(c))
	c.Right(6, 1, 3, "1234", canvas.Look{})
	assert.Equal(t, " x京\n q\u0323y12~", plain(c))
}

func TestBlitKeepsWidths(t *testing.T) {
	src := canvas.New(5, 1)
	src.Text(0, 0, "a東京", canvas.Look{})
	for x := -6; x <= 8; x++ {
		dst := canvas.New(7, 1)
		dst.Text(0, 0, "東京東x", canvas.Look{})
		dst.Blit(src, x, 0)
		assert.LessOrEqual(t, canvas.Width(plain(dst)), 7, "at %d: %q", x, plain(dst))
		for i := range 7 {
			if dst.At(i, 0).Rune == canvas.Tail {
				require.Positive(t, i)
				require.Equal(t, 2, canvas.Width(string(dst.At(i-1, 0).Rune)), "at %d", x)
			}
		}
	}
}

func TestWriteProfiles(t *testing.T) {
	c := canvas.New(5, 1)
	ink := canvas.Look{Fg: canvas.RGB(215, 135, 0).As16(11), Style: canvas.Bold}
	c.Text(0, 0, "ab", ink)
	c.Text(2, 0, "c", canvas.Look{Bg: canvas.Ramp(2)})
	for p, want := range map[canvas.Profile]string{
		canvas.None:      "abc",
		canvas.ANSI16:    "\x1b[0;1;93mab\x1b[0;106mc\x1b[0m",
		canvas.ANSI256:   "\x1b[0;1;38;5;172mab\x1b[0;48;5;115mc\x1b[0m",
		canvas.TrueColor: "\x1b[0;1;38;2;215;135;0mab\x1b[0;48;2;129;198;184mc\x1b[0m",
	} {
		got := c.String(p)
		if p == canvas.ANSI16 { // the nearest of 16 is a matter of the palette
			assert.Regexp(t, `^\x1b\[0;1;93mab\x1b\[0;\d+mc\x1b\[0m$`, got)
			continue
		}
		assert.Equal(t, want, got, "profile %d", p)
	}
	under := canvas.New(2, 1)
	under.Set(1, 0, ' ', canvas.Look{Style: canvas.Reverse})
	assert.Equal(t, " \x1b[0;7m \x1b[0m", under.String(canvas.ANSI16))
	assert.Equal(t, "", under.String(canvas.None))
}

func TestDots(t *testing.T) {
	draw := func(g canvas.Glyphs) string {
		d := canvas.NewDots(4, 3)
		d.Line(0, 0, 7, 0)
		d.Line(0, 0, 0, 11)
		d.Line(7, 0, 7, 11)
		d.Line(0, 11, 7, 11)
		c := canvas.New(4, 3)
		d.Draw(c, 0, 0, g, canvas.Look{})
		return plain(c)
	}
	assert.Equal(t, "⡏⠉⠉⢹\n⡇  ⢸\n⣇⣀⣀⣸", draw(canvas.Braille))
	assert.Equal(t, "▛▀▀▜\n▌  ▐\n▙▄▄▟", draw(canvas.Blocks))
	assert.Equal(t, "+--+\n|  |\n+--+", draw(canvas.ASCII))
}

// TestLineClipped: a line that only partly lies on the canvas sets the dots that
// it would set on a larger one.
func TestLineClipped(t *testing.T) {
	for _, l := range [][4]float64{{-30, 3, 30, 9}, {5, -100, 5, 100}, {-7, -3, 40, 25}, {3, 3, 3, 3}, {20, 2, -20, 21}} {
		small, big := canvas.NewDots(6, 4), canvas.NewDots(60, 60)
		small.Line(l[0], l[1], l[2], l[3])
		big.Line(l[0]+40, l[1]+120, l[2]+40, l[3]+120)
		a, b := canvas.New(6, 4), canvas.New(60, 60)
		small.Draw(a, 0, 0, canvas.Braille, canvas.Look{})
		big.Draw(b, 0, 0, canvas.Braille, canvas.Look{})
		for y := range 4 {
			for x := range 6 {
				require.Equal(t, b.At(x+20, y+30).Rune, a.At(x, y).Rune, "line %v at %d, %d", l, x, y)
			}
		}
	}
	d := canvas.NewDots(3, 3)
	d.Line(0, 0, math.Inf(1), 3)
	d.Line(math.NaN(), 0, 1, 3)
	d.Line(0, 0, 1e15, 1e15) // ends, and quickly
	c := canvas.New(3, 3)
	d.Draw(c, 0, 0, canvas.Braille, canvas.Look{})
	assert.Equal(t, '⠑', c.At(0, 0).Rune)
}

func TestDashesGoOn(t *testing.T) {
	d := canvas.NewDots(8, 1)
	phase := d.Dashes(0, 0, 7, 0, 2, 2, 0)
	d.Dashes(7, 0, 15, 0, 2, 2, phase)
	c := canvas.New(8, 1)
	d.Draw(c, 0, 0, canvas.Braille, canvas.Look{})
	assert.Equal(t, "⠉ ⠉ ⠉ ⠉", plain(c))
}

func TestBar(t *testing.T) {
	c := canvas.New(4, 5)
	for i, v := range []float64{0, 0.5, 0.53, 1, math.NaN()} {
		c.Bar(0, i, 4, v, canvas.Braille, canvas.Look{}, canvas.Look{})
	}
	assert.Equal(t, "····\n██··\n██▏·\n████\n····", plain(c))
	c.Bar(0, 0, 4, 2, canvas.ASCII, canvas.Look{}, canvas.Look{})
	c.Bar(0, 1, 4, 0.5, canvas.ASCII, canvas.Look{}, canvas.Look{})
	assert.Equal(t, "####\n##--", strings.Join(strings.Split(plain(c), "\n")[:2], "\n"))
}

func TestViewport(t *testing.T) {
	b := orb.Bound{Min: orb.Point{0, 0}, Max: orb.Point{60, 24}}
	v := canvas.Fit(b, 62, 20, 1)
	assert.InDelta(t, 60/59.5, v.PerCol, 1e-12)
	v.PerCol, v.Origin = 1, orb.Point{-1, 32}
	x, y, ok := v.Cell(orb.Point{0.5, 23.5})
	assert.Equal(t, [3]any{1, 4, true}, [3]any{x, y, ok}, "upper left is up and left")
	_, _, ok = v.Cell(orb.Point{-2, 3})
	assert.False(t, ok)
	for _, c := range [][2]int{{0, 0}, {61, 19}, {30, 7}} {
		x, y, ok := v.Cell(v.Metres(c[0], c[1]))
		assert.Equal(t, [3]any{c[0], c[1], true}, [3]any{x, y, ok})
	}
	dx, dy := v.Dot(orb.Point{0, 24})
	ex, ey := v.Dot(orb.Point{1, 23})
	assert.InDelta(t, ex-dx, ey-dy, 1e-9, "a metre is as many dots across as down")
	z := v.Zoom(orb.Point{30, 12}, 2)
	zx, zy, ok := z.Cell(orb.Point{30.1, 11.9})
	assert.Equal(t, [3]any{31, 10, true}, [3]any{zx, zy, ok})
	assert.InDelta(t, 0.5, z.PerCol, 1e-12)

	all := canvas.Fit(b, 23, 9, 0)
	for _, p := range []orb.Point{{0, 0}, {60, 0}, {60, 24}, {0, 24}} {
		_, _, ok := all.Cell(p)
		assert.True(t, ok, "%v", p)
	}
	one := canvas.Fit(orb.Bound{Min: orb.Point{3, 3}, Max: orb.Point{3, 3}}, 10, 5, 0)
	_, _, ok = one.Cell(orb.Point{3, 3})
	assert.True(t, ok)
}

func TestScaleBar(t *testing.T) {
	for _, tc := range []struct {
		per  float64
		cols int
		want float64
		got  int
	}{{1, 12, 10, 10}, {1.2, 12, 10, 8}, {0.03, 12, 0.2, 7}, {7, 10, 50, 7}, {0, 10, 0, 0}} {
		l, n := canvas.ScaleBar(tc.per, tc.cols)
		assert.InDelta(t, tc.want, l, 1e-9)
		assert.Equal(t, tc.got, n)
	}
}

func TestSVG(t *testing.T) {
	c := canvas.New(6, 1)
	c.Text(0, 0, "a<b", canvas.Look{Style: canvas.Bold})
	c.Set(3, 0, '⠁', canvas.Look{Fg: canvas.RGB(1, 2, 3)})
	c.Set(5, 0, '▌', canvas.Look{Bg: canvas.RGB(9, 9, 9)})
	var b strings.Builder
	require.NoError(t, c.SVG(&b, canvas.Paper{Fg: canvas.RGB(255, 255, 255), Bg: canvas.RGB(0, 0, 0)}))
	assert.Equal(t, `<svg xmlns="http://www.w3.org/2000/svg" width="64" height="34" viewBox="0 0 64 34">
<rect width="100%" height="100%" fill="#000000"/>
<g transform="translate(8 8)" font-family="DejaVu Sans Mono,Menlo,Consolas,monospace" font-size="13.29">
<text x="0" y="13" textLength="24" fill="#ffffff" font-weight="bold" xml:space="preserve">a&lt;b</text>
<path fill="#010203" d="M25.05 1.175h1.9v1.9h-1.9z"/>
<rect x="40" y="0" width="8" height="17" fill="#090909"/>
<path fill="#ffffff" d="M40 0h4v17h-4z"/>
</g>
</svg>
`, b.String())
}

func TestNoCells(t *testing.T) {
	for _, c := range []*canvas.Canvas{{}, canvas.New(0, 0), canvas.New(-3, 4)} {
		c.Text(0, 0, "東", canvas.Look{})
		c.Fill(-1, -1, 9, 9, 'x', canvas.Look{})
		c.Blit(canvas.New(3, 3), 0, 0)
		assert.NotContains(t, plain(c), "x")
	}
}
