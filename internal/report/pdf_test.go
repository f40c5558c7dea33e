package report_test

import (
	"bytes"
	"compress/zlib"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"footrule/internal/canvas"
	"footrule/internal/figure"
	"footrule/internal/report"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// written is a text on a page of a PDF, in points from the lower left.
type written struct {
	page       int
	x, y, size float64
	text       string
}

// readPDF gives the texts of a PDF in the order in which they were set.
func readPDF(t *testing.T, data []byte) (out []written, pages int) {
	t.Helper()
	for _, m := range regexp.MustCompile(`(?s)stream\n(.*?)\nendstream`).FindAllSubmatch(data, -1) {
		z, err := zlib.NewReader(bytes.NewReader(m[1]))
		if err != nil {
			continue
		}
		content, err := io.ReadAll(z)
		if err != nil || !bytes.Contains(content, []byte("Td")) {
			continue
		}
		pages++
		size := 0.0
		op := regexp.MustCompile(`(?s)BT /F[0-9a-f]+ ([0-9.]+) Tf ET|BT (-?[0-9.]+) (-?[0-9.]+) Td \(((?:\\.|[^\\)])*)\) ?Tj`)
		for _, o := range op.FindAllSubmatch(content, -1) {
			if len(o[1]) > 0 {
				size, err = strconv.ParseFloat(string(o[1]), 64)
				require.NoError(t, err)
				continue
			}
			w := written{page: pages, size: size, text: strings.TrimSuffix(unescape(o[4]), " ")}
			w.x, _ = strconv.ParseFloat(string(o[2]), 64)
			w.y, _ = strconv.ParseFloat(string(o[3]), 64)
			out = append(out, w)
		}
	}
	return out, pages
}

// unescape reads a string of a PDF (ISO 32000-1, 7.3.4.2) as UTF-16.
func unescape(b []byte) string {
	var raw []byte
	for i := 0; i < len(b); i++ {
		if b[i] == '\\' && i+1 < len(b) {
			i++
			raw = append(raw, map[byte]byte{'n': '\n', 'r': '\r', 't': '\t', 'b': '\b', 'f': '\f'}[b[i]])
			if raw[len(raw)-1] == 0 {
				raw[len(raw)-1] = b[i]
			}
			continue
		}
		raw = append(raw, b[i])
	}
	var u []uint16
	for i := 0; i+1 < len(raw); i += 2 {
		u = append(u, uint16(raw[i])<<8|uint16(raw[i+1]))
	}
	return string(utf16.Decode(u))
}

// words counts the words of texts, without the blanks between.
func words(count map[string]int, by int, texts ...string) {
	for _, s := range texts {
		for _, w := range strings.Fields(canvas.Clean(s)) {
			count[w] += by
		}
	}
}

// texts is a pen that keeps what is written.
type texts struct{ words map[string]int }

func (texts) Rect(orb.Bound, figure.Style)                     {}
func (texts) Polygon(figure.Style, ...orb.Ring)                {}
func (texts) Line(figure.Style, ...orb.Point)                  {}
func (texts) Circle(orb.Point, float64, figure.Style)          {}
func (t texts) Text(_ orb.Point, s string, _ figure.TextStyle) { words(t.words, 1, s) }

// Every word of the document is set, in its text, tables and figures.
func TestPDFSaysTheSame(t *testing.T) {
	d := report.New(hall(t, plain))
	data, err := d.PDF(report.A4)
	require.NoError(t, err)
	set, pages := readPDF(t, data)
	assert.Greater(t, pages, 5)
	missing := map[string]int{}
	words(missing, 1, d.Title, d.Subtitle)
	for _, f := range d.Facts {
		words(missing, 1, f.Name, f.Value)
	}
	for _, b := range d.Blocks {
		switch b := b.(type) {
		case report.Heading:
			words(missing, 1, b.Text)
		case report.Text:
			words(missing, 1, b.Say)
		case report.List:
			words(missing, 1, b.Items...)
		case report.Table:
			words(missing, 1, b.Caption)
			for _, c := range b.Columns {
				words(missing, 1, c.Head)
			}
			for _, r := range b.Rows {
				words(missing, 1, r...)
			}
		case report.Picture:
			words(missing, 1, b.Caption)
			b.Figure.Draw(texts{missing})
		}
	}
	for _, w := range set {
		words(missing, -1, w.text)
	}
	for w, n := range missing {
		if n > 0 {
			t.Errorf("%q is not set %d times", w, n)
		}
	}
	for page := 1; page <= pages; page++ {
		assert.Contains(t, set, pick(set, page, fmt.Sprintf("%d / %d", page, pages)), "the number of page %d", page)
	}
}

func pick(set []written, page int, text string) written {
	for _, w := range set {
		if w.page == page && w.text == text {
			return w
		}
	}
	return written{page: page, text: text}
}

// Nothing is set outside the margins, on either paper, whatever the names.
func TestPDFKeepsToItsPages(t *testing.T) {
	long := plain
	long.site, long.answer = strings.Repeat("W", 80), strings.Repeat("unbreakable", 40)
	for _, n := range []names{plain, hostile, long} {
		d := report.New(hall(t, n))
		for paper, size := range map[report.Paper][2]float64{report.A4: {595.28, 841.89}, report.Letter: {612, 792}} {
			data, err := d.PDF(paper)
			require.NoError(t, err)
			set, _ := readPDF(t, data)
			require.NotEmpty(t, set)
			for _, w := range set {
				right := w.x + figure.TextWidth(w.text, w.size, false)*0.97 // some are bold, and set by that
				assert.GreaterOrEqual(t, w.x, 40.0, w)
				assert.LessOrEqual(t, right, size[0]-40, w)
				assert.GreaterOrEqual(t, w.y, 25.0, w)
				assert.LessOrEqual(t, w.y, size[1]-40, w)
				assert.GreaterOrEqual(t, w.size, 5.0, w)
			}
		}
	}
}

// Equal input gives equal bytes; what the font lacks is said; nothing in the file
// does anything.
func TestPDFBytes(t *testing.T) {
	a, err := report.New(hall(t, hostile)).PDF(report.A4)
	require.NoError(t, err)
	b, err := report.New(hall(t, hostile)).PDF(report.A4)
	require.NoError(t, err)
	assert.True(t, bytes.Equal(a, b))
	plainly := regexp.MustCompile(`(?s)stream\n.*?\nendstream`).ReplaceAllString(string(a), "")
	for _, word := range []string{"/JavaScript", "/JS", "/URI", "/Launch", "/Filespec", "/AA"} {
		assert.False(t, strings.Contains(plainly, word), word)
	}
	assert.Empty(t, report.New(hall(t, plain)).Lacking())
	for _, r := range report.New(hall(t, hostile)).Lacking() {
		assert.True(t, r >= 0x590 && r <= 0x5ff, "%c", r)
	}
	assert.NotEmpty(t, report.New(hall(t, hostile)).Lacking())
}

// A report without a date has none of the clock either.
func TestPDFWithoutADate(t *testing.T) {
	in := hall(t, plain)
	in.Date = time.Time{}
	a, err := report.New(in).PDF(report.A4)
	require.NoError(t, err)
	assert.True(t, bytes.Contains(a, []byte("(D:19700101000000")))
}
