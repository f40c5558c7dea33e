package report_test

import (
	"bytes"
	"compress/zlib"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode/utf16"

	"footrule/internal/report"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// tagged is an element of a PDF's structure.
type tagged struct {
	kind, attr, kids string
	parent           int
}

var elementLine = regexp.MustCompile(`(?m)^(\d+) 0 obj\n<</S/(\w+)/P (\d+) 0 R(?:/Pg \d+ 0 R)?(.*)/K\[(.*)\]>>$`)

func structure(t *testing.T, pdf []byte) map[int]tagged {
	t.Helper()
	out := map[int]tagged{}
	for _, m := range elementLine.FindAllSubmatch(pdf, -1) {
		n, err := strconv.Atoi(string(m[1]))
		require.NoError(t, err)
		parent, err := strconv.Atoi(string(m[3]))
		require.NoError(t, err)
		out[n] = tagged{string(m[2]), string(m[4]), string(m[5]), parent}
	}
	return out
}

// said reads the text string that follows a key.
func said(t *testing.T, attr, key string) string {
	t.Helper()
	_, after, found := strings.Cut(attr, key+" <FEFF")
	if !found {
		return ""
	}
	digits, _, _ := strings.Cut(after, ">")
	raw, err := hex.DecodeString(digits)
	require.NoError(t, err)
	var u []uint16
	for i := 0; i+1 < len(raw); i += 2 {
		u = append(u, uint16(raw[i])<<8|uint16(raw[i+1]))
	}
	return string(utf16.Decode(u))
}

// The PDF is tagged (ISO 32000-1, 14.8): headings, lists, tables with the heads of
// columns and rows, figures with what they show in words.
func TestPDFIsTagged(t *testing.T) {
	for _, n := range []names{plain, hostile} {
		d := report.New(hall(t, n))
		pdf, err := d.PDF(report.A4)
		require.NoError(t, err)
		require.True(t, bytes.HasPrefix(pdf, []byte("%PDF-1.7\n")))
		for _, want := range []string{"/MarkInfo <</Marked true>>", "/DisplayDocTitle true", "/Lang (en)", "/StructTreeRoot "} {
			assert.True(t, bytes.Contains(pdf, []byte(want)), want)
		}
		want, shows := map[string]int{"Document": 1, "H1": 1, "TOC": 1, "L": 1, "P": 2 /* subtitle, imprint */}, []string{}
		if d.Lacking() != "" {
			want["P"]++
		}
		items := len(d.Facts)
		for _, b := range d.Blocks {
			switch b := b.(type) {
			case report.Heading:
				want[fmt.Sprintf("H%d", b.Level)]++
				if b.Level == 2 {
					want["TOCI"]++
				}
			case report.Text:
				want["P"]++
			case report.List:
				want["L"]++
				items += len(b.Items)
			case report.Table:
				want["Table"]++
				want["TR"] += 1 + len(b.Rows)
				want["TH"] += len(b.Columns) + len(b.Rows)
				want["TD"] += len(b.Rows) * (len(b.Columns) - 1)
			case report.Picture:
				want["P"]++ // its caption
				want["Figure"]++
				shows = append(shows, b.Figure.Desc)
			}
		}
		want["LI"], want["Lbl"], want["LBody"] = items, items, items
		want["Caption"], want["THead"], want["TBody"] = want["Table"], want["Table"], want["Table"]
		want["Reference"], want["Link"] = want["TOCI"], want["TOCI"]
		got, alts := map[string]int{}, map[string]bool{}
		of := structure(t, pdf)
		for n, e := range of {
			got[e.kind]++
			switch e.kind {
			case "Document":
				continue
			case "Figure":
				alts[said(t, e.attr, "/Alt")] = true
			case "TH":
				assert.Contains(t, e.attr, "/Scope /"+map[bool]string{true: "Column", false: "Row"}[of[of[e.parent].parent].kind == "THead"])
			case "Link":
				assert.Contains(t, e.kids, "/OBJR")
			}
			assert.Contains(t, of[e.parent].kids, fmt.Sprintf("%d 0 R", n), "the parent of %v knows it", e)
		}
		assert.Equal(t, want, got)
		for _, s := range shows {
			assert.NotEmpty(t, s)
			assert.True(t, alts[strings.ReplaceAll(s, "\x1b", "")] || n == hostile, s)
		}
		assert.NotContains(t, alts, "")
	}
}

// Who has the PDF read hears the letters that its font lacks.
func TestPDFSaysWhatItCannotShow(t *testing.T) {
	d := report.New(hall(t, hostile))
	pdf, err := d.PDF(report.A4)
	require.NoError(t, err)
	var all []string
	for _, e := range structure(t, pdf) {
		if s := said(t, e.attr, "/ActualText"); s != "" {
			all = append(all, s)
		}
	}
	assert.Contains(t, all, hostile.customer)
}

// All that is drawn is content of one element or an artifact, and every content of a
// page is known to the tree.
func TestPDFMarksAllThatIsDrawn(t *testing.T) {
	pdf, err := report.New(hall(t, plain)).PDF(report.Letter)
	require.NoError(t, err)
	token := regexp.MustCompile(`(?s)\((?:\\.|[^\\)])*\)|/(\w+) <</MCID (\d+)>> BDC|/Artifact BMC|\bEMC\b|(?:^|[\s)])(Tj|S|s|f\*?|B\*?|b\*?)(?:\s|$)`)
	page := 0
	for _, m := range regexp.MustCompile(`(?s)stream\n(.*?)\nendstream`).FindAllSubmatch(pdf, -1) {
		z, err := zlib.NewReader(bytes.NewReader(m[1]))
		if err != nil {
			continue
		}
		content, err := io.ReadAll(z)
		if err != nil || !bytes.Contains(content, []byte("BT")) {
			continue
		}
		page++
		open, next := false, 0
		for _, op := range token.FindAllSubmatch(content, -1) {
			switch text := string(op[0]); {
			case strings.HasPrefix(text, "("):
			case strings.HasSuffix(text, "BDC"), strings.HasSuffix(text, "BMC"):
				require.False(t, open, "page %d: %s within another", page, text)
				open = true
				if len(op[2]) > 0 {
					require.Equal(t, strconv.Itoa(next), string(op[2]), "page %d", page)
					next++
				}
			case text == "EMC":
				require.True(t, open, "page %d", page)
				open = false
			default:
				require.True(t, open, "page %d: %q is drawn outside of all", page, text)
			}
		}
		require.False(t, open, "page %d", page)
		known := regexp.MustCompile(fmt.Sprintf(`/Nums (?:\[|\[.*? )%d \[([^\]]*)\]`, page-1)).FindSubmatch(pdf)
		require.NotNil(t, known, "page %d", page)
		assert.Equal(t, next, strings.Count(string(known[1]), " 0 R"), "page %d", page)
	}
	assert.Greater(t, page, 5)
}

// Other programs find no fault with the file, and its structure.
func TestPDFIsReadByOthers(t *testing.T) {
	tool, err := exec.LookPath("pdfinfo")
	if err != nil {
		t.Skip("there is no pdfinfo; apt-get install poppler-utils")
	}
	pdf, err := report.New(hall(t, plain)).PDF(report.A4)
	require.NoError(t, err)
	name := filepath.Join(t.TempDir(), "hall.pdf")
	require.NoError(t, os.WriteFile(name, pdf, 0o600))
	info, err := exec.Command(tool, name).CombinedOutput()
	require.NoError(t, err, "%s", info)
	assert.Regexp(t, `Tagged: +yes`, string(info))
	tree, err := exec.Command(tool, "-struct-text", name).CombinedOutput()
	require.NoError(t, err, "%s", tree)
	assert.Regexp(t, `(?m)^  H1 \(block\)\n    "WLAN positioning at Hall of the <Mill> & Weir"$`, string(tree))
	assert.Regexp(t, `(?m)^        TH:\n +/Scope /Row\n +"mean error"`, string(tree))
	assert.NotContains(t, string(tree), "Syntax")
	if tool, err := exec.LookPath("qpdf"); err == nil {
		out, err := exec.Command(tool, "--check", name).CombinedOutput()
		require.NoError(t, err, "%s", out)
	}
}
