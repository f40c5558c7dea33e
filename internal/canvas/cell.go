package canvas

// Style is a set of attributes of a cell.
type Style uint8

// The attributes. Faint is written as its own attribute, not as a colour.
const (
	Bold Style = 1 << iota
	Faint
	Underline
	Reverse
)

// Look is how a cell looks apart from its character.
type Look struct {
	Fg, Bg Color
	Style  Style
}

// Tail is the rune of a cell that is covered by the wide character before it.
const Tail rune = -1

// Cell is one place of a canvas. Rune 0 is a blank. Mark is a combining
// character that is written after Rune, 0 for none.
type Cell struct {
	Rune, Mark rune
	Look
}

// Canvas is a grid of cells, x to the right and y down from the upper left.
// The zero value has no cells. Drawing outside is clipped.
type Canvas struct {
	w, h  int
	cells []Cell
}

// New gives a blank canvas of w by h cells; negative sizes count as zero.
func New(w, h int) *Canvas {
	c := &Canvas{}
	c.Resize(w, h)
	return c
}

// Resize makes c a blank canvas of w by h cells and keeps its memory where it can.
func (c *Canvas) Resize(w, h int) {
	c.w, c.h = max(0, w), max(0, h)
	if n := c.w * c.h; cap(c.cells) >= n {
		c.cells = c.cells[:n]
		clear(c.cells)
	} else {
		c.cells = make([]Cell, n)
	}
}

// Size gives the width and height in cells.
func (c *Canvas) Size() (w, h int) { return c.w, c.h }

// At gives the cell at x, y, a blank one outside.
func (c *Canvas) At(x, y int) Cell {
	if !c.in(x, y) {
		return Cell{}
	}
	return c.cells[y*c.w+x]
}

// Blank reports whether nothing stands at x, y; outside nothing does.
func (c *Canvas) Blank(x, y int) bool {
	r := c.At(x, y).Rune
	return r == 0 || r == ' '
}

func (c *Canvas) in(x, y int) bool { return x >= 0 && y >= 0 && x < c.w && y < c.h }

// Set puts a character of one column at x, y. A wide character that loses one
// of its halves thereby loses the other too.
func (c *Canvas) Set(x, y int, r rune, l Look) { c.put(x, y, Cell{Rune: r, Look: l}) }

// Paint changes the look of what stands at x, y.
func (c *Canvas) Paint(x, y int, l Look) {
	if c.in(x, y) {
		c.cells[y*c.w+x].Look = l
	}
}

func (c *Canvas) put(x, y int, cell Cell) {
	if !c.in(x, y) {
		return
	}
	i := y*c.w + x
	if c.cells[i].Rune == Tail && x > 0 && cell.Rune != Tail {
		c.cells[i-1].Rune, c.cells[i-1].Mark = ' ', 0
	}
	if x+1 < c.w && c.cells[i+1].Rune == Tail {
		c.cells[i+1].Rune = ' '
	}
	c.cells[i] = cell
}

// Fill puts r into every cell of a rectangle.
func (c *Canvas) Fill(x, y, w, h int, r rune, l Look) {
	for j := max(0, y); j < min(c.h, y+h); j++ {
		for i := max(0, x); i < min(c.w, x+w); i++ {
			c.put(i, j, Cell{Rune: r, Look: l})
		}
	}
}

// Blit copies src so that its upper left comes to x, y. A wide character that
// the edge of c would cut becomes a blank.
func (c *Canvas) Blit(src *Canvas, x, y int) {
	for j := range src.h {
		if y+j < 0 || y+j >= c.h {
			continue
		}
		from, to := max(0, -x), min(src.w, c.w-x)
		if from >= to {
			continue
		}
		row := c.cells[(y+j)*c.w : (y+j+1)*c.w]
		if k := x + from; row[k].Rune == Tail && k > 0 {
			row[k-1].Rune, row[k-1].Mark = ' ', 0
		}
		if k := x + to; k < c.w && row[k].Rune == Tail {
			row[k].Rune = ' '
		}
		copy(row[x+from:], src.cells[j*src.w+from:j*src.w+to])
		if row[x+from].Rune == Tail {
			row[x+from].Rune = ' '
		}
		if k := x + to - 1; to < src.w && src.cells[j*src.w+to].Rune == Tail {
			row[k].Rune, row[k].Mark = ' ', 0
		}
	}
}
