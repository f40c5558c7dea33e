package drawing

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"

	"footrule/internal/input"

	"golang.org/x/text/encoding/htmlindex"
)

// Bounds of an SVG: it is held in memory as a tree, for its parts refer to each
// other.
const (
	maxSVG      = 32 << 20
	maxElements = 200_000
	maxNesting  = 100
)

// element is one of the tree.
type element struct {
	name     string
	attr     map[string]string // by local name
	children []*element
	text     string
	line     int
}

// readTree reads XML into a tree. Entities of its own are refused: they can
// grow without bound.
func readTree(r io.Reader) (*element, error) {
	limited := &io.LimitedReader{R: r, N: maxSVG + 1}
	dec := xml.NewDecoder(limited)
	dec.CharsetReader = func(label string, in io.Reader) (io.Reader, error) {
		e, err := htmlindex.Get(label)
		if err != nil {
			return nil, fmt.Errorf("the encoding %s is not known", clip(label))
		}
		return e.NewDecoder().Reader(in), nil
	}
	var root *element
	var stack []*element
	count := 0
	for {
		t, err := dec.Token()
		line, col := dec.InputPos()
		switch {
		case limited.N <= 0:
			return nil, &input.Error{What: fmt.Sprintf("the file is larger than %d MiB", maxSVG>>20), Want: "save only the plan"}
		case errors.Is(err, io.EOF):
			if root == nil {
				return nil, &input.Error{What: "the file holds no drawing", Want: "save it as SVG"}
			}
			return root, nil
		case err != nil:
			var syntax *xml.SyntaxError
			if errors.As(err, &syntax) {
				return nil, &input.Error{Line: syntax.Line, What: "not SVG: " + clip(syntax.Msg), Want: "correct it, or save the drawing again"}
			}
			if _, pass := err.(interface{ Timeout() bool }); pass {
				return nil, err
			}
			return nil, &input.Error{Line: line, What: "not SVG: " + clip(err.Error()), Want: "correct it, or save the drawing again"}
		}
		switch v := t.(type) {
		case xml.Directive:
			if bytes.Contains(bytes.ToUpper(v), []byte("!ENTITY")) || bytes.Contains(bytes.ToUpper(v), []byte("ENTITY")) && bytes.ContainsRune(v, '[') {
				return nil, &input.Error{Line: line, Col: col, What: "the file defines entities of its own", Want: "save it as plain SVG"}
			}
		case xml.StartElement:
			if count++; count > maxElements {
				return nil, &input.Error{Line: line, What: fmt.Sprintf("the drawing has more than %d elements", maxElements), Want: "save only the plan"}
			}
			if len(stack) == maxNesting {
				return nil, &input.Error{Line: line, What: fmt.Sprintf("elements stand more than %d deep in each other", maxNesting), Want: "dissolve groups"}
			}
			e := &element{name: v.Name.Local, line: line}
			for _, a := range v.Attr {
				if e.attr == nil {
					e.attr = map[string]string{}
				}
				if _, twice := e.attr[a.Name.Local]; !twice || a.Name.Space == "" {
					e.attr[a.Name.Local] = a.Value
				}
			}
			if root == nil {
				if e.name != "svg" {
					return nil, &input.Error{Line: line, What: fmt.Sprintf("the file holds <%s>, not <svg>", clip(e.name)), Want: "save the drawing as SVG"}
				}
				root = e
			} else if len(stack) > 0 {
				up := stack[len(stack)-1]
				up.children = append(up.children, e)
			}
			stack = append(stack, e)
		case xml.EndElement:
			stack = stack[:len(stack)-1]
		case xml.CharData:
			if n := len(stack); n > 0 && len(stack[n-1].text) < 1000 {
				switch stack[n-1].name {
				case "text", "tspan", "title", "textPath":
					stack[n-1].text += string(v[:min(len(v), 1000)])
				}
			}
		}
	}
}

// style is a property of an element, by its style attribute or by itself.
func (e *element) style(name string) string {
	for _, part := range strings.Split(e.attr["style"], ";") {
		k, v, ok := strings.Cut(part, ":")
		if ok && strings.TrimSpace(k) == name {
			return strings.TrimSpace(v)
		}
	}
	return strings.TrimSpace(e.attr[name])
}

// words is the text in an element and what is in it.
func (e *element) words(most int) string {
	s := e.text
	for _, c := range e.children {
		if len(s) > most {
			break
		}
		s += " " + c.words(most)
	}
	return strings.Join(strings.Fields(strings.ToValidUTF8(s, "\uFFFD")), " ")
}
