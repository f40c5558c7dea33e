package canvas

import (
	"strconv"
	"unicode/utf8"
)

// AppendTo writes all rows, joined by line feeds, without blanks at their ends
// where those show nothing. Every row starts and ends in the terminal's own look.
func (c *Canvas) AppendTo(dst []byte, p Profile) []byte {
	for y := range c.h {
		if y > 0 {
			dst = append(dst, '\n')
		}
		dst = c.AppendRow(dst, y, p)
	}
	return dst
}

// String writes all rows as AppendTo does.
func (c *Canvas) String(p Profile) string { return string(c.AppendTo(nil, p)) }

// AppendRow writes row y.
func (c *Canvas) AppendRow(dst []byte, y int, p Profile) []byte {
	if y < 0 || y >= c.h {
		return dst
	}
	row := c.cells[y*c.w : (y+1)*c.w]
	end := len(row)
	for end > 0 && invisible(row[end-1], p) {
		end--
	}
	var now Look
	for _, cell := range row[:end] {
		if cell.Rune == Tail {
			continue
		}
		if p != None && cell.Look != now {
			dst = appendSGR(dst, cell.Look, p)
			now = cell.Look
		}
		switch r := cell.Rune; {
		case r == 0:
			dst = append(dst, ' ')
		case r < utf8.RuneSelf:
			dst = append(dst, byte(r))
		default:
			dst = utf8.AppendRune(dst, r)
		}
		if cell.Mark != 0 {
			dst = utf8.AppendRune(dst, cell.Mark)
		}
	}
	if now != (Look{}) {
		dst = append(dst, "\x1b[0m"...)
	}
	return dst
}

func invisible(c Cell, p Profile) bool {
	if c.Rune != 0 && c.Rune != ' ' {
		return false
	}
	return p == None || c.Bg.IsDefault() && c.Style&(Reverse|Underline) == 0
}

// appendSGR writes the sequence that leads from any look to l (ECMA-48 8.3.117;
// 38;5 and 38;2 as xterm reads them).
func appendSGR(dst []byte, l Look, p Profile) []byte {
	dst = append(dst, "\x1b[0"...)
	for i, code := range [...]string{";1", ";2", ";4", ";7"} {
		if l.Style&(1<<i) != 0 {
			dst = append(dst, code...)
		}
	}
	dst = appendColor(dst, l.Fg, p, 30)
	dst = appendColor(dst, l.Bg, p, 40)
	return append(dst, 'm')
}

func appendColor(dst []byte, c Color, p Profile, base int64) []byte {
	if c.IsDefault() {
		return dst
	}
	num := func(n int64) { dst = strconv.AppendInt(append(dst, ';'), n, 10) }
	switch p {
	case ANSI16:
		if i := int64(c.Index16()); i < 8 {
			num(base + i)
		} else {
			num(base + 60 + i - 8)
		}
	case ANSI256:
		num(base + 8)
		num(5)
		num(int64(c.Index256()))
	case TrueColor:
		r, g, b := c.RGB()
		num(base + 8)
		num(2)
		num(int64(r))
		num(int64(g))
		num(int64(b))
	}
	return dst
}
