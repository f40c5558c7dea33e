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
	l.head = w.cells(t, heads, l.widths, "B", l.size)
	for i, r := range t.Rows {
		l.rows[i] = w.cells(t, r, l.widths, "", l.size)
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
	w.space(1.5)
	w.need(min(first, w.bottom-marginTop))
	w.in("Table", "", func() {
		w.say("Caption", l.caption, bodySize, "B", inkColour, 0)
		w.y -= 0.6
		w.in("THead", "", func() { w.head(t, &l) })
		w.in("TBody", "", func() {
			for i, r := range l.rows {
				if i == len(l.rows)-2 { // the last row is not left alone on a page
					if h := height(r, l.size) + height(l.rows[i+1], l.size); w.y+h > w.bottom && h < w.bottom-marginTop {
						w.onward(t, &l)
					}
				}
				w.body(t, &l, t.Rows[i], r)
			}
		})
	})
	w.y += 3
}

// body sets a row, in parts where a page is too low for it.
func (w *page) body(t Table, l *laid, said []string, r [][]string) {
	room := w.bottom - marginTop - height(l.head, l.size) // for a row, on a page of its own
	most := max(int((room-2*rowPad)/line(l.size)), 1)
	for len(r) > 0 {
		part := make([][]string, len(r))
		left := false
		for i, c := range r {
			n := min(len(c), most)
			part[i], r[i] = c[:n], c[n:]
			left = left || len(r[i]) > 0
		}
		if w.y+height(part, l.size) > w.bottom {
			w.onward(t, l)
		}
		w.row(t, part, said, l.widths, "", l.size)
		w.rule(0.15, lineColour)
		if !left {
			break
		}
		said = make([]string, len(said)) // it was said with the first part
	}
}

// onward goes on with a table on the next page, where its head comes again.
func (w *page) onward(t Table, l *laid) {
	w.next()
	w.mute(func() { w.head(t, l) })
}

func (w *page) head(t Table, l *laid) {
	h := height(l.head, l.size)
	w.mute(func() {
		w.SetFillColor(rgb(headColour))
		w.Rect(w.left, w.y, w.width, h, "F")
	})
	var heads []string
	for _, c := range t.Columns {
		heads = append(heads, c.Head)
	}
	w.row(t, l.head, heads, l.widths, "B", l.size)
	w.rule(0.3, inkColour)
}

// cells breaks the cells of a row into lines.
func (w *page) cells(t Table, row []string, widths []float64, style string, size float64) [][]string {
	w.letters(style, size, inkColour)
	out := make([][]string, len(row))
	for i, c := range row {
		out[i] = w.lines(c, widths[i]-2*cellPad-t.apart(i)+1e-6)
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

// Heads of columns and of rows, to be read with their cells (ISO 32000-1, 14.8.5.7).
const (
	ofColumn = "/A <</O /Table /Scope /Column>> "
	ofRow    = "/A <</O /Table /Scope /Row>> "
)

// row sets the lines of a row; said is what its cells say.
func (w *page) row(t Table, row [][]string, said []string, widths []float64, style string, size float64) {
	w.in("TR", "", func() {
		w.letters(style, size, inkColour)
		h := height(row, size)
		x := w.left
		for i, c := range row {
			top := w.y + rowPad
			kind, attr := "TD", ""
			switch {
			case style != "": // heads stand on their line
				top = w.y + h - rowPad - float64(len(c))*line(size)
				kind, attr = "TH", ofColumn
			case i == 0:
				kind, attr = "TH", ofRow
			}
			w.in(kind, attr+actual(said[i]), func() {
				for k, l := range c {
					at := x + cellPad + t.apart(i)
					if t.Columns[i].Number {
						at = x + widths[i] - cellPad - w.GetStringWidth(strings.TrimSpace(l))
					}
					w.Text(at, top+float64(k)*line(size)+base(size), l)
				}
			})
			x += widths[i]
		}
		w.y += h
	})
}

// apart is the room that a column leaves to the one before it, where otherwise
// numbers that stand to the right would touch a text.
func (t *Table) apart(i int) float64 {
	if i > 0 && t.Columns[i-1].Number && !t.Columns[i].Number {
		return 2
	}
	return 0
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
			pad := 2*cellPad + t.apart(i)
			least[i], full[i] = least[i]+pad, max(full[i], least[i])+pad
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
