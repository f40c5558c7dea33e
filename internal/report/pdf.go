package report

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"time"

	"footrule/internal/canvas"
	"footrule/internal/say"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
)

// Measures of a page, in mm, and sizes of letters, in points.
const (
	marginX, marginTop, marginBottom = 18.0, 17.0, 20.0

	bodySize, smallSize, tableSize, leastSize = 9.5, 8.0, 8.0, 6.0
	leading                                   = 1.42
	mmOfPoint                                 = 25.4 / 72
)

// PDF sets the document as PDF: the same text, tables and figures as the HTML, with
// pages that break between rows, and letters that can be selected. A letter that the
// font lacks is set as a box; see [Document.Lacking].
func (d *Document) PDF(p Paper) ([]byte, error) {
	// Contents and footers name pages that are known only when all is set.
	first := d.set(p, nil, 0)
	second := d.set(p, first.pages, first.PageCount())
	var b bytes.Buffer
	if err := second.Output(&b); err != nil {
		return nil, fmt.Errorf("the PDF can't be set: %w", err)
	}
	pdf, err := second.tagged(b.Bytes())
	if err != nil {
		return nil, fmt.Errorf("the PDF can't be set: %w", err)
	}
	return pdf, nil
}

// page is a PDF that is being set, from y down.
type page struct {
	*fpdf.Fpdf
	numbers
	tags
	left, width, bottom, y float64
	sections               []int // links to them
	pages                  []int // per section, where it begins
}

// set sets the document where sections begin on pages, of so many.
func (d *Document) set(p Paper, pages []int, of int) *page {
	w := &page{Fpdf: fpdf.New("P", "mm", map[Paper]string{A4: "A4", Letter: "Letter"}[p], "")}
	w.SetCatalogSort(true)
	w.SetLang("en")
	w.SetTitle(canvas.Clean(d.Title), true)
	if d.Author != "" {
		w.SetAuthor(canvas.Clean(d.Author), true)
	}
	w.SetSubject(canvas.Clean(d.Subtitle), true)
	w.SetCreator(settable("footrule "+d.Program), true)
	w.SetProducer("footrule", true)
	made := d.Date
	if made.IsZero() {
		made = time.Unix(0, 0).UTC() // else the clock is asked
	}
	w.SetCreationDate(made)
	w.SetModificationDate(made)
	w.AddUTF8FontFromBytes("go", "", goregular.TTF)
	w.AddUTF8FontFromBytes("go", "B", gobold.TTF)
	w.SetAutoPageBreak(false, 0)
	w.SetLineCapStyle("round")
	w.SetLineJoinStyle("round")
	pw, ph := w.GetPageSize()
	w.left, w.width, w.bottom = marginX, pw-2*marginX, ph-marginBottom
	w.SetFooterFunc(func() {
		w.mute(func() {
			w.letters("", smallSize, quietColour)
			w.Text(w.left, ph-11, w.cut(settable(d.Title), w.width-30))
			n := fmt.Sprintf("%d / %d", w.PageNo(), of)
			w.Text(w.left+w.width-w.GetStringWidth(n), ph-11, n)
		})
	})
	w.in("Document", "", func() {
		w.next()
		d.front(w, pages)
		for i, b := range d.Blocks {
			w.block(b, w.begin(d.Blocks[i+1:]))
		}
		w.space(6)
		w.say("P", d.imprint(), smallSize, "", quietColour, 0)
		if lacks := d.Lacking(); lacks != "" {
			w.say("P", fmt.Sprintf("A box (%c) stands for each of %s that the font of this file lacks. The HTML file has them.", lackingBox, say.Count(len([]rune(lacks)), "different letter")), smallSize, "", quietColour, 0)
		}
	})
	return w
}

// front sets title, facts and contents.
func (d *Document) front(w *page, pages []int) {
	w.y += 2
	w.say("H1", d.Title, 20, "B", inkColour, 0)
	w.say("P", d.Subtitle, bodySize, "", quietColour, 0)
	w.space(3)
	w.in("L", "", func() {
		for _, f := range d.Facts {
			w.need(6)
			w.in("LI", "", func() {
				w.in("Lbl", actual(f.Name), func() {
					w.letters("", bodySize, quietColour)
					w.Text(w.left, w.y+base(bodySize), settable(f.Name))
				})
				w.say("LBody", f.Value, bodySize, "", inkColour, 42)
			})
			w.y -= 1.2
		}
	})
	w.space(4)
	w.in("TOC", "", func() {
		n := 0
		for _, b := range d.Blocks {
			if h, ok := b.(Heading); ok && h.Level == 2 {
				n++
				w.entry(n, h.Text, pages)
			}
		}
	})
}

// entry sets a line of the contents.
func (w *page) entry(n int, text string, pages []int) {
	link := w.AddLink()
	w.sections = append(w.sections, link)
	at := ""
	if n <= len(pages) {
		at = whole(pages[n-1])
	}
	w.in("TOCI", "", func() {
		w.in("Reference", "", func() {
			w.in("Link", "", func() {
				w.letters("", bodySize, linkColour)
				w.Text(w.left, w.y+base(bodySize), whole(n)+" ")
				w.Text(w.left+7, w.y+base(bodySize), w.cut(settable(text), w.width-20)+" ")
				w.Text(w.left+w.width-w.GetStringWidth(at), w.y+base(bodySize), at)
				w.linked(w.left, w.y, w.width, line(bodySize), link)
			})
		})
	})
	w.y += line(bodySize)
}

// begin is how much room what follows a heading wants at least, so that no heading
// is left behind.
func (w *page) begin(rest []Block) float64 {
	if len(rest) == 0 {
		return 0
	}
	switch b := rest[0].(type) {
	case Heading:
		return 12 + w.begin(rest[1:])
	case Table:
		_, h := w.measure(b)
		return h
	case Picture:
		_, above, scale := w.measurePicture(b)
		return above + b.Figure.H*scale
	case Text:
		if b.leads() {
			return w.begin(rest[1:]) + 2*line(bodySize)
		}
	}
	return 4 * line(bodySize)
}

// block sets a block; a heading goes to the next page where what follows it, of which
// it wants so much, would.
func (w *page) block(b Block, follows float64) {
	switch b := b.(type) {
	case Heading:
		text := w.heading(b)
		if b.Level == 3 {
			w.space(3)
			w.need(min(10+follows, w.bottom-marginTop))
			w.Bookmark(settable(text), 1, w.y)
			w.say("H3", text, 11, "B", inkColour, 0)
			return
		}
		w.space(6)
		w.need(min(14+follows, w.bottom-marginTop))
		w.pages = append(w.pages, w.PageNo())
		w.SetLink(w.sections[len(w.pages)-1], w.y, -1)
		w.Bookmark(settable(text), 0, w.y)
		w.rule(0.5, inkColour)
		w.y += 2
		w.say("H2", text, 14, "B", inkColour, 0)
	case Text:
		if b.Tone == Plain {
			w.need(min(follows, w.bottom-marginTop))
			w.say("P", b.Say, bodySize, "", inkColour, 0)
			return
		}
		w.box(b)
	case List:
		w.in("L", "", func() {
			for _, it := range b.Items {
				w.letters("", bodySize, inkColour)
				w.need(float64(min(3, len(w.lines(it, w.width-5)))) * line(bodySize))
				w.in("LI", "", func() {
					w.in("Lbl", "", func() {
						w.letters("", bodySize, inkColour)
						w.Text(w.left+1.5, w.y+base(bodySize), "•")
					})
					w.say("LBody", it, bodySize, "", inkColour, 5)
				})
				w.y -= 1
			}
		})
		w.y += 1
	case Table:
		w.tableOf(b)
	case Picture:
		w.pictureOf(b)
	}
}

// rule draws a line over the width.
func (w *page) rule(thick float64, colour string) {
	w.mute(func() {
		w.SetDrawColor(rgb(colour))
		w.SetLineWidth(thick)
		w.Line(w.left, w.y, w.left+w.width, w.y)
	})
}

// next begins a page.
func (w *page) next() {
	w.pause()
	w.AddPage()
	w.y = marginTop
}

// need begins a page where less than so many mm are left.
func (w *page) need(h float64) {
	if w.y+h > w.bottom {
		w.next()
	}
}

// space leaves room, but not at the head of a page.
func (w *page) space(h float64) {
	if w.y > marginTop {
		w.y += h
	}
}

// line is how high a line of letters is, base how far down its letters stand.
func line(size float64) float64 { return size * mmOfPoint * leading }
func base(size float64) float64 { return size * mmOfPoint * (leading/2 + 0.36) }

func (w *page) letters(style string, size float64, colour string) {
	w.SetFont("go", style, size)
	w.SetTextColor(rgb(colour))
}

func (w *page) colours(draw, fill string) {
	w.SetDrawColor(rgb(draw))
	w.SetFillColor(rgb(fill))
}

func rgb(hex string) (r, g, b int) {
	_, _ = fmt.Sscanf(hex, "#%02x%02x%02x", &r, &g, &b)
	return
}

// say sets a text as an element of its own, over the width less an indent.
func (w *page) say(kind, text string, size float64, style, colour string, indent float64) {
	w.in(kind, actual(text), func() { w.paragraph(text, size, style, colour, indent) })
}

// paragraph sets a text over the width less an indent.
func (w *page) paragraph(text string, size float64, style, colour string, indent float64) {
	w.letters(style, size, colour)
	ls := w.lines(text, w.width-indent)
	for i, l := range ls {
		switch left := len(ls) - i; { // no line of a text is left alone on a page
		case i == 0 && len(ls) <= 3:
			w.need(float64(len(ls)) * line(size))
		case i == 0, left == 2:
			w.need(2 * line(size))
		default:
			w.need(line(size))
		}
		w.letters(style, size, colour)
		w.Text(w.left+indent, w.y+base(size), l)
		w.y += line(size)
	}
	w.y += 1.6
}

// box sets a text on its colour, with a bar before it: doubled where a demand is
// missed.
func (w *page) box(t Text) {
	const pad, indent = 2.2, 4.5
	w.letters("", bodySize, inkColour)
	ls := w.lines(t.Say, w.width-2*indent)
	h := float64(len(ls))*line(bodySize) + 2*pad
	w.need(min(h, w.bottom-marginTop))
	w.mute(func() {
		w.colours(lineColour, map[Tone]string{Note: noteColour, Met: metColour, Missed: missedColour}[t.Tone])
		w.Rect(w.left, w.y, w.width, h, "F")
		w.SetLineCapStyle("butt")
		w.SetLineWidth(1.2)
		w.Line(w.left+0.6, w.y, w.left+0.6, w.y+h)
		if t.Tone == Missed {
			w.Line(w.left+2.6, w.y, w.left+2.6, w.y+h)
		}
		w.SetLineCapStyle("round")
	})
	w.in("P", actual(t.Say), func() {
		for i, l := range ls {
			w.Text(w.left+indent, w.y+pad+float64(i)*line(bodySize)+base(bodySize), l)
		}
	})
	w.y += h + 2.5
}

// lines breaks a text at blanks, and within words that are longer than a line, there
// after a hyphen if one is near, to fit a width in the letters that are set. A line
// that was broken at a blank ends in it, for who has the text read or copied.
func (w *page) lines(text string, width float64) []string {
	var out []string
	now := ""
	for _, word := range strings.Fields(settable(text)) {
		if now != "" && w.GetStringWidth(now+" "+word) <= width {
			now += " " + word
			continue
		}
		if now != "" {
			out = append(out, now+" ")
		}
		for w.GetStringWidth(word) > width {
			r := []rune(word)
			n := len(r) - 1
			for n > 1 && w.GetStringWidth(string(r[:n])) > width {
				n--
			}
			if n < 1 {
				break
			}
			if k := slices.Index(r[n/2:n], '-'); k >= 0 {
				n = n/2 + k + 1
			}
			out, word = append(out, string(r[:n])), string(r[n:])
		}
		now = word
	}
	if now != "" {
		out = append(out, now)
	}
	return out
}

// cut keeps of a text what fits a width.
func (w *page) cut(s string, width float64) string {
	if w.GetStringWidth(s) <= width {
		return s
	}
	r := []rune(s)
	for len(r) > 0 && w.GetStringWidth(string(r)+"…") > width {
		r = r[:len(r)-1]
	}
	return string(r) + "…"
}
