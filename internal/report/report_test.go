package report_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"footrule/internal/report"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write the golden files anew")

// outline gives the structure of a report: headings, captions, heads of tables and
// how many rows they have.
func outline(d *report.Document) string {
	var b strings.Builder
	for _, x := range d.Blocks {
		switch x := x.(type) {
		case report.Heading:
			fmt.Fprintf(&b, "%s %s\n", strings.Repeat("#", x.Level), x.Text)
		case report.Text:
			fmt.Fprintf(&b, "%s%s\n", []string{"", "note: ", "met: ", "missed: "}[x.Tone], x.Say)
		case report.List:
			for _, it := range x.Items {
				fmt.Fprintf(&b, "- %s\n", it)
			}
		case report.Table:
			var heads []string
			for _, c := range x.Columns {
				heads = append(heads, c.Head)
			}
			fmt.Fprintf(&b, "[table] %s\n        %s\n        %d rows\n", x.Caption, strings.Join(heads, " | "), len(x.Rows))
		case report.Picture:
			fmt.Fprintf(&b, "[figure] %s\n        %s\n", x.Caption, x.Figure.Desc)
		}
	}
	return b.String()
}

// The structure of the report, without its numbers, which other tests hold;
// refreshed by -update.
func TestOutline(t *testing.T) {
	got := regexp.MustCompile(`−?\d+(\.\d+)?`).ReplaceAllString(outline(report.New(hall(t, plain))), "#")
	file := filepath.Join("testdata", "outline.txt")
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(file, []byte(got), 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.Equal(t, string(want), got)
}

// Equal input gives equal bytes.
func TestSameBytes(t *testing.T) {
	a, b := report.New(hall(t, plain)), report.New(hall(t, plain))
	assert.Equal(t, a.HTML(report.A4), b.HTML(report.A4))
	assert.NotEqual(t, a.HTML(report.A4), a.HTML(report.Letter))
}

// strict reads HTML as XML, which the report is but for its void elements, and
// calls f for each element with what it is in.
func strict(t *testing.T, page []byte, f func(path []string, e xml.StartElement), text func(path []string, s string)) {
	t.Helper()
	page = regexp.MustCompile(`<(meta[^>]*|wbr)>`).ReplaceAll(page, []byte("<$1/>"))
	d := xml.NewDecoder(bytes.NewReader(page))
	var path []string
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		switch e := tok.(type) {
		case xml.StartElement:
			path = append(path, e.Name.Local)
			f(path, e)
		case xml.EndElement:
			path = path[:len(path)-1]
		case xml.CharData:
			text(path, string(e))
		}
	}
	require.Empty(t, path)
}

func attr(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// Whatever names come in, the page has the elements that it has with plain ones, and
// no attribute that does anything.
func TestHostileNames(t *testing.T) {
	elements := func(n names) (map[string]int, string) {
		count := map[string]int{}
		var all strings.Builder
		strict(t, report.New(hall(t, n)).HTML(report.A4), func(path []string, e xml.StartElement) {
			name := e.Name.Local
			for _, a := range e.Attr {
				assert.False(t, strings.HasPrefix(strings.ToLower(a.Name.Local), "on"), "%s %s", name, a.Name.Local)
				assert.NotEqual(t, "style", a.Name.Local, "a style attribute is against the policy")
			}
			if name != "bdi" && name != "wbr" {
				count[name]++
			}
		}, func(_ []string, s string) { all.WriteString(s) })
		return count, all.String()
	}
	want, _ := elements(plain)
	got, text := elements(hostile)
	assert.Equal(t, want, got)
	assert.Contains(t, text, "<script>alert(1)</script>")
	for _, r := range text {
		if r < ' ' && r != '\n' || r == 0x7f || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069 {
			t.Fatalf("%U in the text", r)
		}
	}
	page := report.New(hall(t, hostile)).HTML(report.A4)
	assert.Contains(t, string(page), "<bdi>אולם</bdi> &lt;b&gt;<bdi>בדיקה</bdi>&lt;/b&gt; 12", "what is written from right to left stays by itself")
}

// Nothing in the page comes from elsewhere or could go there.
func TestNothingFromElsewhere(t *testing.T) {
	page := string(report.New(hall(t, plain)).HTML(report.A4))
	assert.Contains(t, page, `<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'sha256-`)
	rest := strings.ReplaceAll(page, `xmlns="http://www.w3.org/2000/svg"`, "")
	for _, word := range []string{"http:", "https:", "//", "url(", "@import", "<script", "<link", "<img", "<iframe", "<object", "<form", "javascript:", "data:"} {
		assert.NotContains(t, rest, word)
	}
	strict(t, []byte(page), func(_ []string, e xml.StartElement) {
		assert.Empty(t, attr(e, "src"))
		if h := attr(e, "href"); h != "" {
			assert.True(t, strings.HasPrefix(h, "#"), h)
		}
	}, func([]string, string) {})
}

// Addresses: never those of others, those of the site's own as asked for.
func TestAddresses(t *testing.T) {
	in := hall(t, plain)
	own, other := "02:00:5e:30:00:01", "02:aa:bb:cc:dd:ee"
	for _, a := range []report.Addresses{report.Drop, report.Hash, report.Keep} {
		in.Addresses = a
		page := string(report.New(in).HTML(report.A4))
		assert.NotContains(t, page, other)
		assert.NotContains(t, page, "neighbour-net")
		assert.Equal(t, a == report.Keep, strings.Contains(page, own), a)
	}
	in.Addresses = report.Hash
	hashed := func() string {
		return regexp.MustCompile(`>[0-9a-f]{16}<`).FindString(string(report.New(in).HTML(report.A4)))
	}
	first := hashed()
	require.NotEmpty(t, first)
	assert.Equal(t, first, hashed())
	in.Walks[0].ID = "another"
	assert.NotEqual(t, first, hashed(), "the key is in the site file")
}

// Headings come in order, every table has a caption and heads, every figure a title,
// a description and a unit, and every label an element.
func TestAccessible(t *testing.T) {
	level, lang := 0, ""
	tables, captions, figures := 0, 0, 0
	ids := map[string]bool{}
	var refs []string
	strict(t, report.New(hall(t, plain)).HTML(report.A4), func(path []string, e xml.StartElement) {
		switch name := e.Name.Local; name {
		case "html":
			lang = attr(e, "lang")
		case "h1", "h2", "h3":
			n := int(name[1] - '0')
			assert.LessOrEqual(t, n, level+1, "a heading is jumped")
			level = n
		case "table":
			tables++
		case "caption":
			captions++
			assert.Equal(t, "table", path[len(path)-2])
		case "th":
			assert.NotEmpty(t, attr(e, "scope"))
		case "svg":
			figures++
			assert.Equal(t, "img", attr(e, "role"))
		}
		if id := attr(e, "id"); id != "" {
			assert.False(t, ids[id], id)
			ids[id] = true
		}
		if r := attr(e, "aria-labelledby"); r != "" {
			refs = append(refs, r)
		}
	}, func([]string, string) {})
	assert.Equal(t, "en", lang)
	assert.Equal(t, tables, captions)
	assert.Positive(t, tables)
	for _, r := range refs {
		assert.True(t, ids[r], r)
	}
	for _, b := range report.New(hall(t, plain)).Blocks {
		p, ok := b.(report.Picture)
		if !ok {
			continue
		}
		figures--
		svg := string(p.Figure.SVG())
		assert.Contains(t, svg, "<title>")
		assert.Contains(t, svg, "<desc>")
		assert.NotEmpty(t, p.Figure.Desc)
		assert.Regexp(t, `\bm\b|metres|dBm|%`, p.Caption+svg, "a unit")
	}
	assert.Zero(t, figures)
}

// What the surveyor took out stands in the report with the reason, what was taken
// back does not.
func TestLeftOut(t *testing.T) {
	var voided, skipped [][]string
	for _, b := range report.New(hall(t, plain)).Blocks {
		if x, ok := b.(report.Table); ok {
			switch {
			case strings.HasPrefix(x.Caption, "Visits that the surveyor took out"):
				voided = x.Rows
			case strings.HasPrefix(x.Caption, "Points that were skipped"):
				skipped = x.Rows
			}
		}
	}
	assert.Equal(t, [][]string{{"visit at P23", "monday", "blocked by a stack"}}, voided)
	assert.Equal(t, [][]string{{"P24", "monday", "blocked by a stack"}}, skipped)
}

// The receiver is named with its interface and driver.
func TestReceiverIsNamed(t *testing.T) {
	in := hall(t, plain)
	assert.Contains(t, string(report.New(in).HTML(report.A4)), ">adapter A (wlan0, driver mac80211_hwsim)<")
	in.Walks[0].Receiver = "wlan0"
	assert.Contains(t, string(report.New(in).HTML(report.A4)), ">wlan0, driver mac80211_hwsim<")
	in.Walks[0].Adapter = ""
	assert.Contains(t, string(report.New(in).HTML(report.A4)), ">wlan0<")
}

// Before any walk the report is one on the plan, and says so.
func TestBeforeAnyWalk(t *testing.T) {
	in := hall(t, plain)
	in.Walks, in.Fit, in.Errors, in.Verdicts, in.Doubts, in.DoubtTitles, in.Next = nil, nil, nil, nil, nil, nil, nil
	d := report.New(in)
	got := outline(d)
	assert.Contains(t, d.Subtitle, "before any walk")
	assert.Contains(t, got, "note: Nobody has walked the site yet")
	assert.Contains(t, got, "- Walk the site: ")
	assert.Contains(t, got, "nobody has walked there yet.")
	assert.NotContains(t, got, "were visited")
	assert.Contains(t, got, "- 50 % of the places within 8 m, ", "what was asked is not forgotten where nothing could be judged")
	assert.Contains(t, got, "note: So the targets that were asked for are neither passed nor failed: nothing was judged.")
	assert.NotContains(t, got, "CE50")
}
