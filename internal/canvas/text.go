package canvas

import (
	"strings"
	"unicode"

	"github.com/clipperhouse/displaywidth"
	"golang.org/x/text/unicode/norm"
)

// Clean makes foreign text fit to be shown: one line, nothing that a terminal
// obeys. By case:
//
//  1. control characters (C0, DEL, C1) and bytes that are not UTF-8 become a
//     middle dot, so that their presence shows; white space becomes a blank;
//  2. format characters (directional overrides and isolates, joiners, soft
//     hyphens, tags), variation selectors, skin tones, enclosing marks, surrogates and
//     private use vanish;
//  3. flags become their two letters;
//  4. letters and marks are composed (NFC); of the marks that remain the first
//     after each letter stays, a mark without a letter vanishes.
//
// Clean(Clean(s)) equals Clean(s).
func Clean(s string) string {
	if plain(s) {
		return s
	}
	var b strings.Builder
	b.Grow(len(s))
	for _, r := range s {
		switch {
		case unicode.IsSpace(r):
			b.WriteByte(' ')
		case r < 0x20 || r >= 0x7f && r < 0xa0 || r == unicode.ReplacementChar:
			b.WriteRune('·')
		case 0x1f1e6 <= r && r <= 0x1f1ff:
			b.WriteRune('A' + r - 0x1f1e6)
		case 0x1f3fb <= r && r <= 0x1f3ff, r >= 0xfe00 && r <= 0xfe0f, r >= 0xe0100 && r <= 0xe01ef,
			unicode.In(r, unicode.Cf, unicode.Me, unicode.Cs, unicode.Co, unicode.Zl, unicode.Zp):
		default:
			b.WriteRune(r)
		}
	}
	s = norm.NFC.String(b.String())
	b.Reset()
	letter, marked := false, false
	for _, r := range s {
		k := columns(r)
		if k == 0 || unicode.In(r, unicode.Mn, unicode.Mc) {
			if k != 0 || !letter || marked {
				continue
			}
			marked = true
		} else {
			letter, marked = r != ' ', false
		}
		b.WriteRune(r)
	}
	return b.String()
}

// plain reports whether s is printable ASCII.
func plain(s string) bool {
	for i := 0; i < len(s); i++ {
		if s[i] < 0x20 || s[i] >= 0x7f {
			return false
		}
	}
	return true
}

// columns gives the display width of one rune: 0, 1 or 2.
func columns(r rune) int {
	if r >= 0x20 && r < 0x7f {
		return 1
	}
	return displaywidth.Rune(r)
}

// Width gives the columns that s takes once it is cleaned.
func Width(s string) int {
	n := 0
	for _, r := range Clean(s) {
		n += columns(r)
	}
	return n
}

// Cut cleans s and cuts it to at most w columns; where something is cut off
// the last column is mark (one column), if w allows.
func Cut(s string, w int, mark rune) string {
	s = Clean(s)
	if w <= 0 {
		return ""
	}
	n, last := 0, 0 // columns so far; byte after the last rune that leaves room for mark
	for i, r := range s {
		c := columns(r)
		if n+c > w {
			return s[:last] + string(mark)
		}
		if n+c <= w-1 {
			last = i + len(string(r))
		}
		n += c
	}
	return s
}

// Wrap cleans s and breaks it at blanks into lines of at most w columns; a
// word that is longer is broken where it has to be. It gives no line for a
// blank s or w below 1.
func Wrap(s string, w int) []string {
	if w < 1 {
		return nil
	}
	var out []string
	line, n := "", 0
	flush := func() {
		if line != "" {
			out = append(out, line)
		}
		line, n = "", 0
	}
	for _, word := range strings.Fields(Clean(s)) {
		k := Width(word)
		if n > 0 && n+1+k > w {
			flush()
		}
		if n > 0 {
			line, n = line+" ", n+1
		}
		for _, r := range word {
			c := columns(r)
			if n+c > w {
				flush()
			}
			if c <= w {
				line, n = line+string(r), n+c
			}
		}
	}
	flush()
	return out
}

// Text draws s from x, y to the right and gives the columns it took. It is
// cleaned, and clipped at the edges of the canvas; a wide character that does
// not fit is left out.
func (c *Canvas) Text(x, y int, s string, l Look) int {
	start, last := x, -1
	for _, r := range Clean(s) {
		k := columns(r)
		switch {
		case k == 0:
			if last >= 0 && c.in(last, y) && c.cells[y*c.w+last].Rune != Tail {
				c.cells[y*c.w+last].Mark = r
			}
			continue
		case k == 2 && c.in(x, y) && c.in(x+1, y):
			c.put(x, y, Cell{Rune: r, Look: l})
			c.put(x+1, y, Cell{Rune: Tail, Look: l})
		case k == 2:
			c.put(x, y, Cell{Rune: ' ', Look: l})
			c.put(x+1, y, Cell{Rune: ' ', Look: l})
		default:
			c.put(x, y, Cell{Rune: r, Look: l})
		}
		last = x
		x += k
	}
	return x - start
}

// Right draws s so that it ends before column x, cut to at most w columns from
// its end on, and gives the columns it took.
func (c *Canvas) Right(x, y, w int, s string, l Look) int {
	s = Cut(s, w, '~')
	return c.Text(x-Width(s), y, s, l)
}
