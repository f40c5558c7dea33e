package report

import (
	"strings"
	"time"

	"footrule/internal/figure"
)

// Document is a report as text, tables and figures, in order. Headings, tables and
// figures are numbered where it is set.
type Document struct {
	Title    string
	Subtitle string
	Author   string
	Program  string // that made it
	Date     time.Time
	Facts    []Fact // below the title
	Blocks   []Block
}

// Fact is a name with its value.
type Fact struct{ Name, Value string }

// Block is a [Heading], a [Text], a [List], a [Table] or a [Picture].
type Block interface{ block() }

// Heading begins a section (level 2) or a part of one (level 3).
type Heading struct {
	Level int
	Text  string
}

// Tone says how a text is meant; its words say so too.
type Tone uint8

// The tones: plain, something to keep in mind, a demand that is met, one that is
// missed.
const (
	Plain Tone = iota
	Note
	Met
	Missed
)

// Text is a paragraph.
type Text struct {
	Say  string
	Tone Tone
}

// leads says whether a text leads on to what follows it.
func (t Text) leads() bool { return strings.HasSuffix(t.Say, ":") }

// List is points of equal rank.
type List struct{ Items []string }

// Table has a header of columns; the first cell of a row names it.
type Table struct {
	Caption string
	Columns []Column
	Rows    [][]string
}

// Column is a column of a table. Numbers stand to the right.
type Column struct {
	Head   string
	Number bool
}

// Picture is a figure with its caption.
type Picture struct {
	Caption string
	Figure  *figure.Figure
}

// tall says whether a figure is higher than wide.
func (p Picture) tall() bool { return p.Figure.H > p.Figure.W }

func (Heading) block() {}
func (Text) block()    {}
func (List) block()    {}
func (Table) block()   {}
func (Picture) block() {}

func (d *Document) section(text string) { d.Blocks = append(d.Blocks, Heading{2, text}) }
func (d *Document) part(text string)    { d.Blocks = append(d.Blocks, Heading{3, text}) }
func (d *Document) say(text string)     { d.Blocks = append(d.Blocks, Text{Say: text}) }
func (d *Document) note(text string)    { d.Blocks = append(d.Blocks, Text{text, Note}) }

func (d *Document) list(items []string) {
	if len(items) > 0 {
		d.Blocks = append(d.Blocks, List{items})
	}
}

// table adds a table; a head that ends in # is of a column of numbers.
func (d *Document) table(caption string, rows [][]string, heads ...string) {
	t := Table{Caption: caption, Rows: rows}
	for _, h := range heads {
		c := Column{Head: h}
		if h[len(h)-1] == '#' {
			c = Column{h[:len(h)-1], true}
		}
		t.Columns = append(t.Columns, c)
	}
	d.Blocks = append(d.Blocks, t)
}

// picture adds a figure under its title, with what else the caption says.
func (d *Document) picture(f *figure.Figure, more string) {
	caption := f.Title
	if more != "" {
		caption += ". " + more
	}
	d.Blocks = append(d.Blocks, Picture{caption, f})
}
