package drawing

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"footrule/internal/input"
	"footrule/internal/site"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
)

// dxf reads an ASCII DXF of R12 to 2018 as a stream: HEADER for the unit, TABLES
// for layers, BLOCKS, ENTITIES. Blocks come before what refers to them.
type dxf struct {
	pairs
	d      *Drawing
	o      Options
	blocks map[string]*block
	utf8   bool
	page   encoding.Encoding
	names  map[string]string // texts and layer names as they came
	tol    float64           // of curves, in drawing units
	said   bool              // the unit is settled
	found  bool              // there was an ENTITIES section
	kept   int               // parts of blocks
}

func readDXF(name string, r io.Reader, o Options) (*Drawing, error) {
	x := &dxf{pairs: pairs{r: bufio.NewReaderSize(r, 64<<10)}, d: newDrawing(site.DrawingDXF), o: o,
		blocks: map[string]*block{}, page: charmap.Windows1252, names: map[string]string{}}
	x.d.MetresPerUnit = o.MetresPerUnit
	err := x.read()
	if err == nil && !x.found {
		err = &input.Error{What: "the file has no ENTITIES section, so nothing is drawn in it", Want: "save the drawing as ASCII DXF"}
	}
	if err != nil {
		var e *input.Error
		if errors.As(err, &e) {
			e.File = name
			return nil, e
		}
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return x.d, nil
}

func (x *dxf) read() error {
	for {
		if err := x.next(); errors.Is(err, io.EOF) {
			if x.line == 0 {
				return &input.Error{What: "the file is empty", Want: "save the drawing again"}
			}
			return x.cut()
		} else if err != nil {
			return err
		}
		switch {
		case x.is(0, "EOF"):
			return nil
		case x.is(0, "SECTION"):
			if err := x.next(); err != nil {
				return x.early(err)
			}
			if x.code != 2 {
				return x.fail("a SECTION has no name", "save the drawing again")
			}
			if err := x.section(string(bytes.TrimSpace(x.value))); err != nil {
				return x.early(err)
			}
		case x.code == 0:
			return x.fail(fmt.Sprintf("%q stands outside of every section", clip(string(x.value))), "this is no whole DXF; save the drawing again")
		}
	}
}

// early turns the end of the file inside of something into an error.
func (x *dxf) early(err error) error {
	if errors.Is(err, io.EOF) {
		return x.cut()
	}
	return err
}

func (x *dxf) section(name string) error {
	switch name {
	case "HEADER":
		return x.header()
	case "TABLES":
		return x.tables()
	case "BLOCKS":
		x.settle()
		return x.readBlocks()
	case "ENTITIES":
		x.settle()
		x.found = true
		return x.entities(nil, "ENDSEC")
	}
	for {
		if err := x.next(); err != nil || x.is(0, "ENDSEC") {
			return err
		}
	}
}

func (x *dxf) header() error {
	variable := ""
	for {
		if err := x.next(); err != nil || x.is(0, "ENDSEC") {
			return err
		}
		switch {
		case x.code == 9:
			variable = string(bytes.TrimSpace(x.value))
		case variable == "$ACADVER" && x.code == 1:
			x.utf8 = string(bytes.TrimSpace(x.value)) >= "AC1021" // 2007 and later
		case variable == "$DWGCODEPAGE" && x.code == 3:
			if e := codePages[strings.ToLower(string(bytes.TrimSpace(x.value)))]; e != nil {
				x.page = e
			}
		case variable == "$INSUNITS" && x.code == 70:
			n, err := x.integer()
			if err != nil {
				return err
			}
			u, ok := insertUnits[n]
			if !ok {
				continue
			}
			x.d.Unit = u.name
			switch {
			case x.o.MetresPerUnit == 0:
				x.d.MetresPerUnit = u.metres
			case !alike(x.o.MetresPerUnit, u.metres):
				x.d.Notes = append(x.d.Notes, fmt.Sprintf("the drawing says its unit is %s; taken instead: %g m, as asked for", u.name, x.o.MetresPerUnit))
			}
		}
	}
}

func alike(a, b float64) bool { return a > 0.999999*b && a < 1.000001*b }

// settle fixes the tolerance once the unit is known.
func (x *dxf) settle() {
	if !x.said && x.d.MetresPerUnit > 0 && x.o.Keep != nil {
		x.tol = x.o.ToleranceM / x.d.MetresPerUnit
	}
	x.said = true
}

var codePages = map[string]encoding.Encoding{
	"ansi_874": charmap.Windows874, "ansi_1250": charmap.Windows1250, "ansi_1251": charmap.Windows1251, "ansi_1252": charmap.Windows1252,
	"ansi_1253": charmap.Windows1253, "ansi_1254": charmap.Windows1254, "ansi_1255": charmap.Windows1255, "ansi_1256": charmap.Windows1256,
	"ansi_1257": charmap.Windows1257, "ansi_1258": charmap.Windows1258,
	"dos437": charmap.CodePage437, "dos850": charmap.CodePage850, "dos852": charmap.CodePage852, "dos866": charmap.CodePage866,
}

// tables reads the layers that are off (a negative colour) or frozen.
func (x *dxf) tables() error {
	inLayer, name, hidden := false, "", false
	done := func() error {
		if !inLayer || name == "" {
			return nil
		}
		l, err := x.d.layer(name)
		if err == nil {
			l.Hidden = hidden
		}
		return err
	}
	for {
		if err := x.next(); err != nil {
			return err
		}
		switch {
		case x.code == 0:
			if err := done(); err != nil {
				return err
			}
			if x.is(0, "ENDSEC") {
				return nil
			}
			inLayer, name, hidden = x.is(0, "LAYER"), "", false
		case inLayer && x.code == 2:
			name = x.word()
		case inLayer && (x.code == 70 || x.code == 62):
			n, err := x.integer()
			if err != nil {
				return err
			}
			hidden = hidden || x.code == 70 && n&1 != 0 || x.code == 62 && n < 0
		}
	}
}

// word decodes the value: UTF-8 since 2007, before that the code page, and
// \U+XXXX everywhere. Words that come again are shared.
func (x *dxf) word() string {
	if s, ok := x.names[string(x.value)]; ok {
		return s
	}
	raw := string(x.value)
	s := raw
	if !x.utf8 && slices.ContainsFunc(x.value, func(c byte) bool { return c >= 0x80 }) {
		if dec, err := x.page.NewDecoder().String(raw); err == nil {
			s = dec
		}
	}
	s = strings.TrimSpace(strings.ToValidUTF8(unescape(s), "\uFFFD"))
	if len(x.names) < MaxLayers {
		x.names[raw] = s
	}
	return s
}

// unescape replaces \U+XXXX.
func unescape(s string) string {
	if !strings.Contains(s, `\U+`) {
		return s
	}
	var b strings.Builder
	for {
		i := strings.Index(s, `\U+`)
		if i < 0 || len(s) < i+7 {
			b.WriteString(s)
			return b.String()
		}
		var r rune
		if _, err := fmt.Sscanf(s[i+3:i+7], "%04x", &r); err != nil {
			r = '\uFFFD'
		}
		b.WriteString(s[:i])
		b.WriteRune(r)
		s = s[i+7:]
	}
}
