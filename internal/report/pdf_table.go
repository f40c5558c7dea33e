package report

import (
	"fmt"
	"slices"
	"strings"
)

const (
	cellPad = 1.3 // mm beside a cell
	rowPad  = 0.7 // mm above and below it
)

// laid is a table in lines.
type laid struct {
	caption string
	size    float64
	widths  []float64
	head    [][]string
	rows    [][][]string
}

// measure lays a table that is about to be set and gives how high its caption, its
// head and its first row are.
func (w *page) measure(t Table) (laid, float64) {
	l := laid{caption: fmt.Sprintf("Table %d. %s", w.table+1, t.Caption), rows: make([][][]string, len(t.Rows))}
	l.size, l.widths = w.widths(t)
	var heads []string
	for _, c := range t.Columns {
		heads = append(heads, c.Head)
	}
	l.head = w.cells(heads, l.widths, "B", l.size)
	for i, r := range t.Rows {
		l.rows[i] = w.cells(r, l.widths, "", l.size)
	}
	w.letters("B", bodySize, inkColour)
	h := float64(len(w.lines(l.caption, w.width)))*line(bodySize) + 2 + height(l.head, l.size)
	for i := range min(2, len(l.rows)) {
		h += height(l.rows[i], l.size)
	}
	return l, h
}

// tableOf sets a table; its head comes again on every page.
func (w *page) tableOf(t Table) {
	l, first := w.measure(t)
	w.table++
	head, rows, widths, size := l.head, l.rows, l.widths, l.size
	w.space(1.5)
	w.need(min(first, w.bottom-marginTop))
	w.paragraph(l.caption, bodySize, "B", inkColour, 0)
	w.y -= 0.6
	w.head(t, head, widths, size)
	room := w.bottom - marginTop - height(head, size) // for a row, on a page of its own
	most := max(int((room-2*rowPad)/line(size)), 1)
	for _, r := range rows {
		for len(r) > 0 {
			part := make([][]string, len(r))
			left := false
			for i, c := range r {
				n := min(len(c), most)
				part[i], r[i] = c[:n], c[n:]
				left = left || len(r[i]) > 0
			}
			if w.y+height(part, size) > w.bottom {
				w.next()
				w.head(t, head, widths, size)
			}
			w.row(t, part, widths, "", size)
			w.colours(lineColour, lineColour)
			w.SetLineWidth(0.15)
			w.Line(w.left, w.y, w.left+w.width, w.y)
			if !left {
				break
			}
		}
	}
	w.y += 3
}

func (w *page) head(t Table, head [][]string, widths []float64, size float64) {
	h := height(head, size)
	w.colours(inkColour, headColour)
	w.Rect(w.left, w.y, w.width, h, "F")
	w.row(t, head, widths, "B", size)
	w.colours(inkColour, headColour)
	w.SetLineWidth(0.3)
	w.Line(w.left, w.y, w.left+w.width, w.y)
}

// cells breaks the cells of a row into lines.
func (w *page) cells(row []string, widths []float64, style string, size float64) [][]string {
	w.letters(style, size, inkColour)
	out := make([][]string, len(row))
	for i, c := range row {
		out[i] = w.lines(c, widths[i]-2*cellPad+1e-6)
	}
	return out
}

// height is that of a row.
func height(row [][]string, size float64) float64 {
	n := 1
	for _, c := range row {
		n = max(n, len(c))
	}
	return float64(n)*line(size) + 2*rowPad
}

func (w *page) row(t Table, row [][]string, widths []float64, style string, size float64) {
	w.letters(style, size, inkColour)
	h := height(row, size)
	x := w.left
	for i, c := range row {
		top := w.y + rowPad
		if style != "" { // heads stand on their line
			top = w.y + h - rowPad - float64(len(c))*line(size)
		}
		for k, l := range c {
			at := x + cellPad
			if t.Columns[i].Number {
				at = x + widths[i] - cellPad - w.GetStringWidth(l)
			}
			w.Text(at, top+float64(k)*line(size)+base(size), l)
		}
		x += widths[i]
	}
	w.y += h
}

// widths parts the width among columns: each gets what it can't do without, and of
// the rest by what it would fill. Where even that is too much the letters become
// smaller.
func (w *page) widths(t Table) (size float64, out []float64) {
	for size = tableSize; ; size -= 0.5 {
		least, full := make([]float64, len(t.Columns)), make([]float64, len(t.Columns))
		for i, c := range t.Columns {
			w.letters("B", size, inkColour)
			least[i] = w.longest(c.Head)
			full[i] = min(w.GetStringWidth(settable(c.Head)), 30)
			w.letters("", size, inkColour)
			for _, r := range t.Rows {
				all := w.GetStringWidth(settable(r[i]))
				full[i] = max(full[i], all)
				if c.Number || len([]rune(r[i])) <= shortCell {
					least[i] = max(least[i], min(all, 40))
				} else {
					least[i] = max(least[i], min(w.longest(r[i]), 40))
				}
			}
			least[i], full[i] = least[i]+2*cellPad, max(full[i], least[i])+2*cellPad
		}
		a, b := sum(least), sum(full)
		switch {
		case b <= w.width:
			for i := range full {
				full[i] += (w.width - b) * full[i] / b
			}
			return size, full
		case a <= w.width:
			for i := range least {
				least[i] += (w.width - a) * (full[i] - least[i]) / (b - a)
			}
			return size, least
		case size <= leastSize:
			for i := range least {
				least[i] *= w.width / a
			}
			return size, least
		}
	}
}

// longest is the width of the longest word.
func (w *page) longest(s string) float64 {
	words := strings.Fields(settable(s))
	if len(words) == 0 {
		return 0
	}
	var of []float64
	for _, x := range words {
		of = append(of, w.GetStringWidth(x))
	}
	return slices.Max(of)
}

func sum(v []float64) float64 {
	s := 0.0
	for _, x := range v {
		s += x
	}
	return s
}
