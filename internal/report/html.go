package report

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"html"
	"strings"

	"footrule/internal/canvas"
)

// Paper is a size of paper.
type Paper string

// The papers.
const (
	A4     Paper = "a4"
	Letter Paper = "letter"
)

// How high figures are in print, in mm, so that two that are wider than high fit a page.
const (
	mostWide = 106
	mostTall = 215
)

// style is how the report looks, on a screen and printed.
func style(p Paper) string {
	return strings.NewReplacer("\t", "", "INK", inkColour, "QUIET", quietColour, "LINK", linkColour, "PAPER", paperColour, "HEAD", headColour,
		"NOTE", noteColour, "MET", metColour, "MISSED", missedColour, "LINE", lineColour,
		"WIDE", fmt.Sprint(mostWide), "TALL", fmt.Sprint(mostTall), "SIZE", string(p)).Replace(`
@page{size:SIZE;margin:17mm 17mm 19mm;@bottom-right{content:counter(page) " / " counter(pages);font:8pt sans-serif}}
:root{color-scheme:light}
body{margin:0 auto;max-width:50rem;padding:1.5rem 1rem 4rem;background:PAPER;color:INK;font:1rem/1.5 Go,"DejaVu Sans",Verdana,Helvetica,Arial,sans-serif}
h1{font-size:1.9rem;line-height:1.2;margin:0 0 .3rem}
h2{font-size:1.35rem;line-height:1.25;margin:2.6rem 0 .6rem;border-top:2px solid INK;padding-top:.5rem}
h3{font-size:1.08rem;margin:1.6rem 0 .4rem}
h1,h2,h3,caption,figcaption{break-after:avoid}
a{color:LINK}
p,li{max-width:44rem}
h1,h2,h3,p,li,figcaption,caption{overflow-wrap:anywhere}
.sub{color:QUIET;margin:0 0 1.2rem}
dl{display:grid;grid-template-columns:max-content 1fr;gap:.15rem 1.2rem;margin:1rem 0}
dt{color:QUIET}
dd{margin:0;overflow-wrap:break-word;min-width:0}
nav ol{padding-left:2rem;margin:.3rem 0}
.note,.met,.missed{padding:.6rem .9rem;border-left:5px solid LINE;break-inside:avoid}
.note{background:NOTE}
.met{background:MET;border-left-style:solid}
.missed{background:MISSED;border-left-style:double}
.wide{overflow-x:auto;margin:1rem 0}
table{border-collapse:collapse;width:100%;font-size:.88rem;line-height:1.4}
caption{text-align:left;font-weight:bold;padding:0 0 .35rem}
th,td{text-align:left;vertical-align:top;padding:.22rem .5rem;border-bottom:1px solid LINE;overflow-wrap:break-word}
thead th{background:HEAD;border-bottom:1.5px solid INK;vertical-align:bottom}
tbody th{font-weight:normal}
.n{text-align:right;font-variant-numeric:tabular-nums}
tbody .n,.s{white-space:nowrap}
th.n+th:not(.n),td.n+td:not(.n),th.n+td:not(.n){padding-left:1.2rem}
figure{margin:1.4rem 0;break-inside:avoid}
figure svg{display:block;width:100%;height:auto;border:1px solid HEAD}
figcaption{font-size:.92rem;margin:0 0 .4rem}
figcaption b,caption{font-weight:bold}
footer{margin-top:3rem;border-top:1px solid LINE;color:QUIET;font-size:.85rem}
@media print{:root{font-size:9.5pt}body{max-width:none;padding:0}h2{margin-top:1.6rem}.wide{overflow:visible}.short{break-inside:avoid}thead{display:table-header-group}tr{break-inside:avoid}tbody tr:nth-child(-n+2),tbody tr:last-child{break-before:avoid}p.leads{break-after:avoid}p,li{max-width:none;orphans:2;widows:2}figure svg{max-height:WIDEmm}figure.tall svg{max-height:TALLmm}a{color:inherit;text-decoration:none}}
`)
}

// HTML sets the document as one HTML file: style and figures are in it, and its
// policy forbids everything from elsewhere.
func (d *Document) HTML(p Paper) []byte {
	css := style(p)
	sum := sha256.Sum256([]byte(css))
	w := &htmlWriter{}
	w.put(`<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'sha256-%s'; base-uri 'none'; form-action 'none'">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="generator" content="%s">
`, base64.StdEncoding.EncodeToString(sum[:]), attribute("footrule "+d.Program))
	if d.Author != "" {
		w.put("<meta name=\"author\" content=\"%s\">\n", attribute(d.Author))
	}
	w.put("<title>%s</title>\n<style>%s</style>\n</head>\n<body>\n<header>\n<h1>%s</h1>\n", html.EscapeString(canvas.Clean(d.Title)), css, inline(d.Title))
	if d.Subtitle != "" {
		w.put("<p class=\"sub\">%s</p>\n", inline(d.Subtitle))
	}
	w.put("<dl>\n")
	for _, f := range d.Facts {
		w.put("<dt>%s</dt><dd>%s</dd>\n", inline(f.Name), inline(f.Value))
	}
	w.put("</dl>\n</header>\n")
	d.contents(w)
	w.put("<main>\n")
	for _, b := range d.Blocks {
		w.block(b)
	}
	if w.open {
		w.put("</section>\n")
	}
	w.put("</main>\n<footer><p>%s</p></footer>\n</body>\n</html>\n", inline(d.imprint()))
	return w.Bytes()
}

func (d *Document) imprint() string {
	return fmt.Sprintf("%s. Made by footrule %s.", d.Title, d.Program)
}

func (d *Document) contents(w *htmlWriter) {
	w.put("<nav aria-label=\"Contents\">\n<ol>\n")
	n := 0
	for _, b := range d.Blocks {
		if h, ok := b.(Heading); ok && h.Level == 2 {
			n++
			w.put("<li><a href=\"#s%d\">%s</a></li>\n", n, inline(h.Text))
		}
	}
	w.put("</ol>\n</nav>\n")
}

type htmlWriter struct {
	bytes.Buffer
	numbers
	open bool // a section is
}

// numbers counts what is numbered.
type numbers struct{ section, part, table, figure int }

func (n *numbers) heading(h Heading) string {
	if h.Level == 2 {
		n.section, n.part = n.section+1, 0
		return fmt.Sprintf("%d  %s", n.section, h.Text)
	}
	n.part++
	return fmt.Sprintf("%d.%d  %s", n.section, n.part, h.Text)
}

func (w *htmlWriter) put(format string, args ...any) { fmt.Fprintf(w, format, args...) }

// attribute makes text fit for a quoted attribute.
func attribute(s string) string { return html.EscapeString(canvas.Clean(s)) }

// inline makes text fit for the content of an element.
func inline(s string) string {
	var b strings.Builder
	for _, r := range runs(s) {
		r.text = breakable(r.text)
		if r.foreign {
			b.WriteString("<bdi>" + escaped(r.text) + "</bdi>")
		} else {
			b.WriteString(escaped(r.text))
		}
	}
	return b.String()
}

// mayBreak stands where a long word may be broken: a character that no cleaned text
// has.
const mayBreak = '\x00'

// longWord is how many characters of a word stand together at most.
const longWord = 24

// breakable marks where words that are longer than any may be broken.
func breakable(s string) string {
	var b strings.Builder
	n := 0
	for _, r := range s {
		if n++; r == ' ' {
			n = 0
		} else if n > longWord {
			b.WriteRune(mayBreak)
			n = 1
		}
		b.WriteRune(r)
	}
	return b.String()
}

func escaped(s string) string {
	parts := strings.Split(s, string(mayBreak))
	for i, p := range parts {
		parts[i] = html.EscapeString(p)
	}
	return strings.Join(parts, "<wbr>")
}

func (w *htmlWriter) block(b Block) {
	switch b := b.(type) {
	case Heading:
		text := w.heading(b)
		if b.Level == 2 {
			if w.open {
				w.put("</section>\n")
			}
			w.open = true
			w.put("<section aria-labelledby=\"s%d\">\n<h2 id=\"s%[1]d\">%s</h2>\n", w.section, inline(text))
			return
		}
		w.put("<h3>%s</h3>\n", inline(text))
	case Text:
		class := []string{"", ` class="note"`, ` class="met"`, ` class="missed"`}[b.Tone]
		if b.Tone == Plain && b.leads() {
			class = ` class="leads"`
		}
		w.put("<p%s>%s</p>\n", class, inline(b.Say))
	case List:
		w.put("<ul>\n")
		for _, it := range b.Items {
			w.put("<li>%s</li>\n", inline(it))
		}
		w.put("</ul>\n")
	case Table:
		w.tableOf(b)
	case Picture:
		w.figure++
		tall := ""
		if b.tall() {
			tall = ` class="tall"`
		}
		w.put("<figure id=\"f%d\"%s>\n<figcaption><b>Figure %d.</b> %s</figcaption>\n%s</figure>\n", w.figure, tall, w.figure, inline(b.Caption), b.Figure.SVG())
	}
}

// shortTable is how many rows of a table are kept on one page in print.
const shortTable = 12

// shortCell is how many characters of a cell are kept on one line.
const shortCell = 16

func (w *htmlWriter) tableOf(t Table) {
	w.table++
	size := "wide"
	if len(t.Rows) <= shortTable {
		size += " short"
	}
	w.put("<div class=\"%s\" role=\"region\" tabindex=\"0\" aria-labelledby=\"c%d\">\n<table id=\"t%[2]d\">\n<caption id=\"c%[2]d\">Table %[2]d. %[3]s</caption>\n<thead><tr>", size, w.table, inline(t.Caption))
	class := func(i int, cell string) string {
		switch {
		case t.Columns[i].Number:
			return ` class="n"`
		case len([]rune(cell)) <= shortCell:
			return ` class="s"`
		}
		return ""
	}
	for i, c := range t.Columns {
		w.put("<th scope=\"col\"%s>%s</th>", class(i, strings.Repeat(" ", shortCell+1)), inline(c.Head))
	}
	w.put("</tr></thead>\n<tbody>\n")
	for _, r := range t.Rows {
		w.put("<tr>")
		for i, cell := range r {
			if i == 0 {
				w.put("<th scope=\"row\"%s>%s</th>", class(i, cell), inline(cell))
			} else {
				w.put("<td%s>%s</td>", class(i, cell), inline(cell))
			}
		}
		w.put("</tr>\n")
	}
	w.put("</tbody>\n</table>\n</div>\n")
}
