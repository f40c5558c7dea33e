package canvas

import (
	"bufio"
	"fmt"
	"html"
	"io"
	"math/bits"
	"strings"
)

// Paper is what a picture is printed on: the colours that stand for the
// terminal's own.
type Paper struct {
	Fg, Bg Color
}

// Size of a cell in an SVG, in user units. The usual monospaced fonts are 0.602
// of their size wide, so 13.29 units make 8.
const (
	cellW = 8
	cellH = 17
)

// SVG writes the canvas as a picture. Braille, blocks and box lines are drawn as
// shapes, so that the picture does not depend on a font for them; every run of
// other characters is held to its columns.
func (c *Canvas) SVG(w io.Writer, p Paper) error {
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, `<svg xmlns="http://www.w3.org/2000/svg" width="%d" height="%d" viewBox="0 0 %[1]d %[2]d">`+"\n", (c.w+2)*cellW, (c.h+1)*cellH)
	fmt.Fprintf(b, `<rect width="100%%" height="100%%" fill="%s"/>`+"\n", hexOf(p.Bg))
	fmt.Fprintf(b, `<g transform="translate(%d %d)" font-family="DejaVu Sans Mono,Menlo,Consolas,monospace" font-size="13.29">`+"\n", cellW, cellH/2)
	for y := range c.h {
		row := c.cells[y*c.w : (y+1)*c.w]
		for x := 0; x < len(row); {
			n := 1
			for x+n < len(row) && row[x+n].Look == row[x].Look {
				n++
			}
			if _, bg := colors(row[x].Look, p); bg != p.Bg {
				fmt.Fprintf(b, `<rect x="%d" y="%d" width="%d" height="%d" fill="%s"/>`+"\n", x*cellW, y*cellH, n*cellW, cellH, hexOf(bg))
			}
			svgRun(b, row[x:x+n], x*cellW, y*cellH, p)
			x += n
		}
	}
	b.WriteString("</g>\n</svg>\n")
	return b.Flush()
}

// colors gives the colours that l shows on p.
func colors(l Look, p Paper) (fg, bg Color) {
	fg, bg = l.Fg, l.Bg
	if fg.IsDefault() {
		fg = p.Fg
	}
	if bg.IsDefault() {
		bg = p.Bg
	}
	if l.Style&Reverse != 0 {
		fg, bg = bg, fg
	}
	return fg, bg
}

func hexOf(c Color) string { return fmt.Sprintf("#%06x", uint32(c)&0xffffff) }

// svgRun writes the characters of cells of one look that begin at x, y.
func svgRun(b *bufio.Writer, cells []Cell, x, y int, p Paper) {
	var path strings.Builder
	var text strings.Builder
	from, cols := 0, 0
	fg, _ := colors(cells[0].Look, p)
	flush := func() {
		s := strings.TrimRight(text.String(), " ")
		if s != "" {
			attr := ""
			if cells[0].Style&Bold != 0 {
				attr += ` font-weight="bold"`
			}
			if cells[0].Style&Faint != 0 {
				attr += ` opacity=".6"`
			}
			if cells[0].Style&Underline != 0 {
				attr += ` text-decoration="underline"`
			}
			cols -= len(text.String()) - len(s)
			fmt.Fprintf(b, `<text x="%d" y="%d" textLength="%d" fill="%s"%s xml:space="preserve">%s</text>`+"\n",
				x+from*cellW, y+13, cols*cellW, hexOf(fg), attr, html.EscapeString(s))
		}
		text.Reset()
		cols = 0
	}
	for i, c := range cells {
		r := c.Rune
		if r == Tail {
			if cols > 0 {
				cols++
				flush()
			}
			continue
		}
		if r == 0 {
			r = ' '
		}
		if shape(&path, r, x+i*cellW, y) {
			flush()
			continue
		}
		if cols == 0 {
			if r == ' ' {
				continue
			}
			from = i
		}
		text.WriteRune(r)
		if c.Mark != 0 {
			text.WriteRune(c.Mark)
		}
		cols++
		if r > 0x7e && !(i+1 < len(cells) && cells[i+1].Rune == Tail) {
			flush()
		}
	}
	flush()
	if path.Len() > 0 {
		fmt.Fprintf(b, `<path fill="%s" d="%s"/>`+"\n", hexOf(fg), path.String())
	}
}

// shape adds the outline of a Braille, block or box character at x, y.
func shape(path *strings.Builder, r rune, x, y int) bool {
	rect := func(x, y, w, h float64) { fmt.Fprintf(path, "M%.5g %.5gh%.5gv%.5gh%.5gz", x, y, w, h, -w) }
	fx, fy := float64(x), float64(y)
	const w, h = float64(cellW), float64(cellH)
	switch {
	case r > 0x2800 && r <= 0x28ff:
		for m := uint8(r - 0x2800); m != 0; m &= m - 1 {
			one := uint8(1) << bits.TrailingZeros8(m)
			for j, pair := range brailleBit {
				for i, bit := range pair {
					if bit == one {
						rect(fx+w*(float64(i)+.5)/2-.95, fy+h*(float64(j)+.5)/4-.95, 1.9, 1.9)
					}
				}
			}
		}
	case r >= 0x2581 && r <= 0x2588: // lower eighths
		k := float64(r-0x2580) / 8
		rect(fx, fy+h*(1-k), w, h*k)
	case r >= 0x2589 && r <= 0x258f: // left eighths
		rect(fx, fy, w*float64(0x2590-r)/8, h)
	case r == '▀':
		rect(fx, fy, w, h/2)
	case r == '▐':
		rect(fx+w/2, fy, w/2, h)
	case r >= 0x2596 && r <= 0x259f:
		for q, c := range quadrant {
			for k := 0; c == r && k < 4; k++ {
				if q&(1<<k) != 0 {
					rect(fx+w/2*float64(k%2), fy+h/2*float64(k/2), w/2, h/2)
				}
			}
		}
	case r == '─':
		rect(fx, fy+h/2-.5, w, 1)
	case r == '│':
		rect(fx+w/2-.5, fy, 1, h)
	default:
		return false
	}
	return true
}
