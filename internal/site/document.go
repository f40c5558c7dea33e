package site

import (
	"bytes"
	"errors"
	"fmt"
	"sort"
	"strconv"
	"strings"
	"unicode/utf8"

	"footrule/internal/input"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// kind is the type of a TOML value, named as a message names it.
type kind string

const (
	aString  kind = "a string"
	aNumber  kind = "a number"
	aBoolean kind = "a boolean"
	aTime    kind = "a date or time"
	anArray  kind = "an array"
	aTable   kind = "a table"
)

// node is one TOML value and where it begins, in bytes from the start.
type node struct {
	kind   kind
	at     int
	text   string  // of a string; a boolean or a time as written
	number float64 // of a number
	list   []*node // of an array
	keys   []entry // of a table, in file order
	header bool    // a table by a [header], or an array by [[header]]s
}

type entry struct {
	name  string
	at    int // where the key begins
	value *node
}

func (n *node) get(name string) *entry {
	for i := range n.keys {
		if n.keys[i].name == name {
			return &n.keys[i]
		}
	}
	return nil
}

// document is a TOML file as a tree with positions.
type document struct {
	name  string
	data  []byte
	lines []int // offset at which each line begins
	root  *node
}

const byteOrderMark = "\xef\xbb\xbf"

// newDocument parses TOML. Its errors are [*input.Error].
func newDocument(name string, data []byte) (*document, error) {
	if bytes.HasPrefix(data, []byte("\xff\xfe")) || bytes.HasPrefix(data, []byte("\xfe\xff")) {
		return nil, &input.Error{File: name, What: "the file is in UTF-16", Want: "save it as UTF-8"}
	}
	d := &document{name: name, data: bytes.TrimPrefix(data, []byte(byteOrderMark)), lines: []int{0}}
	if len(bytes.TrimSpace(d.data)) == 0 {
		return nil, &input.Error{File: name, What: "the file is empty", Want: "begin with " + formatLine}
	}
	for i, c := range d.data {
		if c == '\n' {
			d.lines = append(d.lines, i+1)
		}
	}
	for i := 0; i < len(d.data); {
		r, n := utf8.DecodeRune(d.data[i:])
		if r == utf8.RuneError && n == 1 {
			return nil, d.fail(i, fmt.Sprintf("byte 0x%02x is not UTF-8", d.data[i]), "save the file as UTF-8")
		}
		i += n
	}
	if err := d.parse(); err != nil {
		return nil, err
	}
	// The parser above knows the grammar; the decoder also knows what a table
	// may not become and which dates and numbers there are.
	var all map[string]any
	if err := toml.Unmarshal(d.data, &all); err != nil {
		e := &input.Error{File: name, What: "not TOML: " + tomlMessage(err), Want: "correct it"}
		var de *toml.DecodeError
		if errors.As(err, &de) {
			e.Line, e.Col = de.Position()
		}
		return nil, e
	}
	return d, nil
}

func tomlMessage(err error) string {
	msg := strings.TrimPrefix(err.Error(), "toml: ")
	if i := strings.IndexAny(msg, "\r\n"); i >= 0 {
		msg = msg[:i]
	}
	return msg
}

// fail makes the error of what stands at an offset.
func (d *document) fail(at int, what, want string) *input.Error {
	line := sort.SearchInts(d.lines, at+1)
	return &input.Error{File: d.name, Line: line, Col: at - d.lines[line-1] + 1, What: what, Want: want}
}

func (d *document) parse() error {
	d.root = &node{kind: aTable}
	table := d.root
	var p unstable.Parser
	p.Reset(d.data)
	for p.NextExpression() {
		e := p.Expression()
		var err error
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			table, err = d.open(e)
		case unstable.KeyValue:
			_, err = d.assign(table, e)
		}
		if err != nil {
			return err
		}
	}
	if err := p.Error(); err != nil {
		var pe *unstable.ParserError
		if !errors.As(err, &pe) {
			return &input.Error{File: d.name, What: "not TOML: " + tomlMessage(err), Want: "correct it"}
		}
		return d.fail(int(p.Range(pe.Highlight).Offset), "not TOML: "+tomlMessage(err), "correct it")
	}
	return nil
}

// open finds or makes the table that a header names.
func (d *document) open(e *unstable.Node) (*node, error) {
	table := d.root
	for it := e.Key(); it.Next(); {
		k := it.Node()
		name, at := string(k.Data), int(k.Raw.Offset)
		last := it.IsLast()
		old := table.get(name)
		if old == nil {
			n := &node{kind: aTable, at: at, header: last}
			v := n
			if last && e.Kind == unstable.ArrayTable {
				v = &node{kind: anArray, at: at, list: []*node{n}, header: true}
			}
			table.keys = append(table.keys, entry{name, at, v})
			table = n
			continue
		}
		v := old.value
		switch {
		case last && e.Kind == unstable.ArrayTable && v.kind == anArray && v.header:
			n := &node{kind: aTable, at: at, header: true}
			v.list = append(v.list, n)
			table = n
		case last && e.Kind == unstable.Table && v.kind == aTable && !v.header:
			v.header, v.at = true, at
			table = v
		case !last && v.kind == aTable:
			table = v
		case !last && v.kind == anArray && v.header:
			table = v.list[len(v.list)-1]
		case last && e.Kind == unstable.ArrayTable && v.kind == aTable:
			return nil, d.fail(at, fmt.Sprintf("[[%s]] comes after a table of that name", name), fmt.Sprintf("put [[%s]] before its own tables, in double brackets everywhere", name))
		default:
			return nil, d.fail(at, fmt.Sprintf("%q is defined twice", name), "keep one of them")
		}
	}
	return table, nil
}

// assign puts key = value into a table and gives the offset behind it.
func (d *document) assign(table *node, e *unstable.Node) (int, error) {
	var name string
	var at, end int
	for it := e.Key(); it.Next(); {
		k := it.Node()
		if end > 0 { // a dotted key: one table deeper
			old := table.get(name)
			if old == nil {
				table.keys = append(table.keys, entry{name, at, &node{kind: aTable, at: at}})
				old = &table.keys[len(table.keys)-1]
			}
			if old.value.kind != aTable {
				return 0, d.fail(at, fmt.Sprintf("%q is defined twice", name), "keep one of them")
			}
			table = old.value
		}
		name, at, end = string(k.Data), int(k.Raw.Offset), int(k.Raw.Offset+k.Raw.Length)
	}
	if table.get(name) != nil {
		return 0, d.fail(at, fmt.Sprintf("%q is defined twice", name), "keep one of them")
	}
	for d.data[end] != '=' {
		end++
	}
	v, end, err := d.value(e.Value(), d.skip(end+1))
	if err != nil {
		return 0, err
	}
	table.keys = append(table.keys, entry{name, at, v})
	return end, nil
}

// value turns the value that begins at an offset into a node and gives the
// offset behind it. The parser marks where scalars begin, but not arrays.
func (d *document) value(e *unstable.Node, at int) (*node, int, error) {
	n := &node{at: at}
	end := int(e.Raw.Offset + e.Raw.Length)
	switch e.Kind {
	case unstable.String:
		n.kind, n.text = aString, string(e.Data)
	case unstable.Integer:
		n.kind = aNumber
		i, err := strconv.ParseInt(string(e.Data), 0, 64)
		if err != nil { // decimal with a sign and underscores, or too large
			i, err = strconv.ParseInt(strings.ReplaceAll(string(e.Data), "_", ""), 10, 64)
		}
		if err != nil {
			return nil, 0, d.fail(at, fmt.Sprintf("%s is too large a number", clip(string(e.Data))), "correct it")
		}
		n.number = float64(i)
	case unstable.Float:
		n.kind = aNumber
		f, err := strconv.ParseFloat(strings.ReplaceAll(string(e.Data), "_", ""), 64)
		if err != nil {
			return nil, 0, d.fail(at, fmt.Sprintf("%s is too large a number", clip(string(e.Data))), "correct it")
		}
		n.number = f + 0 // no negative zero
	case unstable.Bool:
		n.kind, n.text = aBoolean, string(e.Data)
	case unstable.Array:
		n.kind = anArray
		end = d.skip(at + 1)
		for it := e.Children(); it.Next(); {
			v, after, err := d.value(it.Node(), end)
			if err != nil {
				return nil, 0, err
			}
			n.list = append(n.list, v)
			end = d.skip(after)
		}
		end++ // ]
	case unstable.InlineTable:
		n.kind = aTable
		n.header = true
		end = d.skip(at + 1)
		for it := e.Children(); it.Next(); {
			after, err := d.assign(n, it.Node())
			if err != nil {
				return nil, 0, err
			}
			end = d.skip(after)
		}
		end++ // }
	default:
		n.kind, n.text = aTime, string(e.Data)
	}
	return n, end, nil
}

// skip passes over blanks, line ends, commas and comments.
func (d *document) skip(i int) int {
	for ; i < len(d.data); i++ {
		switch d.data[i] {
		case ' ', '\t', '\r', '\n', ',':
		case '#':
			for i+1 < len(d.data) && d.data[i+1] != '\n' {
				i++
			}
		default:
			return i
		}
	}
	return i
}

// clip shortens what is quoted in a message.
func clip(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}
