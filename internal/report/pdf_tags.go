package report

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf16"

	"footrule/internal/canvas"
)

// element is one of the structure of a PDF (ISO 32000-1, 14.7 and 14.8): what is read
// aloud, in that order, in place of what is drawn.
type element struct {
	kind   string // a standard structure type
	attr   string // attributes, as they stand in its dictionary
	parent *element
	kids   []kid
	object int
}

// kid is an element, or marked content of a page, or an annotation.
type kid struct {
	element    *element
	page, mcid int
	link       int // from 1; 0 for none
}

// tags gathers the structure while pages are set. Every mark on a page is either
// content of an element or an artifact, which nobody needs to hear.
type tags struct {
	root, now *element
	open      bool         // content of now is being written
	artifact  bool         // an artifact is
	marked    [][]*element // per page, whose its marked contents are
	links     []*element   // per annotation, in the order of pages
}

// in sets something as an element within the one that is being set; an artifact has
// none.
func (w *page) in(kind, attr string, set func()) {
	if w.artifact {
		set()
		return
	}
	w.pause()
	e := &element{kind: kind, attr: attr, parent: w.now}
	if w.now == nil {
		w.root = e
	} else {
		w.now.kids = append(w.now.kids, kid{element: e})
	}
	w.now = e
	set()
	w.pause()
	w.now = e.parent
}

// ink is called before something of the element is drawn.
func (w *page) ink() {
	if w.open || w.artifact {
		return
	}
	for len(w.marked) < w.PageNo() {
		w.marked = append(w.marked, nil)
	}
	of := &w.marked[w.PageNo()-1]
	w.RawWriteStr(fmt.Sprintf("/%s <</MCID %d>> BDC", w.now.kind, len(*of)))
	w.now.kids = append(w.now.kids, kid{page: w.PageNo(), mcid: len(*of)})
	*of = append(*of, w.now)
	w.open = true
}

// pause ends what [page.ink] began, where a page or an element ends or an artifact is
// drawn.
func (w *page) pause() {
	if w.open {
		w.RawWriteStr("EMC")
		w.open = false
	}
}

// mute draws what is not content: lines, grounds, and what is there for the page.
func (w *page) mute(draw func()) {
	if w.artifact {
		draw()
		return
	}
	w.pause()
	w.RawWriteStr("/Artifact BMC")
	w.artifact = true
	draw()
	w.artifact = false
	w.RawWriteStr("EMC")
}

// Text sets a line as content of the element.
func (w *page) Text(x, y float64, s string) {
	w.ink()
	w.Fpdf.Text(x, y, s)
}

// linked makes a rectangle lead to a section.
func (w *page) linked(x, y, width, height float64, link int) {
	w.Link(x, y, width, height, link)
	w.links = append(w.links, w.now)
	w.now.kids = append(w.now.kids, kid{page: w.PageNo(), link: len(w.links)})
}

// actual says what a text is where boxes stand for some of its letters.
func actual(s string) string {
	if clean := canvas.Clean(s); clean != settable(s) {
		return "/ActualText " + textString(clean)
	}
	return ""
}

// textString is a text string of a PDF (ISO 32000-1, 7.9.2.2).
func textString(s string) string {
	var b strings.Builder
	b.WriteString("<FEFF")
	for _, u := range utf16.Encode([]rune(s)) {
		fmt.Fprintf(&b, "%04X", u)
	}
	return b.String() + ">"
}

// untagged is what the library wrote: where its objects are, and what has to be known
// to add more.
type untagged struct {
	pdf              []byte
	table            int // where the cross-reference table is
	size, root, info int
}

var (
	errUntagged = errors.New("its structure can't be added: the library wrote what was not expected")
	trailerOf   = regexp.MustCompile(`trailer\n<<\n/Size (\d+)\n/Root (\d+) 0 R\n/Info (\d+) 0 R\n>>\nstartxref\n(\d+)\n%%EOF\n$`)
	annotsOf    = regexp.MustCompile(`(?m)^/Annots \[(.*)\]$`)
)

const annotation = "<</Type /Annot "

func untaggedOf(pdf []byte) (*untagged, error) {
	m := trailerOf.FindSubmatch(pdf)
	if m == nil {
		return nil, errUntagged
	}
	var n [4]int
	for i := range n {
		n[i], _ = strconv.Atoi(string(m[i+1]))
	}
	return &untagged{pdf, n[3], n[0], n[1], n[2]}, nil
}

// object gives what stands in an object that has no stream.
func (u *untagged) object(n int) (string, error) {
	head := fmt.Sprintf("xref\n0 %d\n", u.size)
	const entry = 20
	at := u.table + len(head) + n*entry
	if n >= u.size || at+entry > len(u.pdf) || !bytes.HasPrefix(u.pdf[u.table:], []byte(head)) {
		return "", errUntagged
	}
	from, _ := strconv.Atoi(strings.TrimLeft(string(u.pdf[at:at+10]), "0"))
	body, found := bytes.CutPrefix(u.pdf[min(from, len(u.pdf)):], fmt.Appendf(nil, "%d 0 obj\n", n))
	body, _, ended := bytes.Cut(body, []byte("\nendobj\n"))
	if !found || !ended {
		return "", errUntagged
	}
	return string(body), nil
}

// tagged adds the structure to a PDF that was set with it, as an incremental update
// (ISO 32000-1, 7.5.6).
func (t *tags) tagged(pdf []byte) ([]byte, error) {
	u, err := untaggedOf(pdf)
	if err != nil {
		return nil, err
	}
	add := &update{next: u.size, said: map[int]string{}}
	tree := add.number()
	t.root.number(add)
	links := make([]int, len(t.links))
	for i := range links {
		links[i] = add.number()
	}
	if err := t.pages(u, add, links); err != nil {
		return nil, err
	}
	t.root.write(add, tree, links)
	add.said[tree] = fmt.Sprintf("<</Type /StructTreeRoot /K %d 0 R /ParentTree <</Nums [%s]>> /ParentTreeNextKey %d>>", t.root.object, t.parents(), len(t.marked)+len(t.links))
	catalog, err := u.object(u.root)
	if err != nil {
		return nil, err
	}
	add.said[u.root] = strings.TrimSuffix(catalog, ">>") + fmt.Sprintf("/StructTreeRoot %d 0 R\n/MarkInfo <</Marked true>>\n/ViewerPreferences <</DisplayDocTitle true>>\n>>", tree)
	const version = "%PDF-1.7"
	return add.onto(append([]byte(version), pdf[len(version):]...), u), nil
}

// pages ties pages and their annotations to the structure.
func (t *tags) pages(u *untagged, add *update, links []int) error {
	done := 0
	for k := range t.marked {
		n := pageObject(k + 1)
		body, err := u.object(n)
		if err != nil || !strings.HasPrefix(body, "<</Type /Page\n") {
			return errUntagged
		}
		body = strings.Replace(body, "/Type /Page\n", fmt.Sprintf("/Type /Page\n/StructParents %d\n/Tabs /S\n", k), 1)
		if m := annotsOf.FindStringSubmatch(body); m != nil {
			refs := ""
			for _, a := range strings.Split(m[1], annotation)[1:] {
				if done == len(links) {
					return errUntagged
				}
				add.said[links[done]] = fmt.Sprintf("%s/StructParent %d %s", annotation, len(t.marked)+done, a)
				refs += fmt.Sprintf("%d 0 R ", links[done])
				done++
			}
			body = strings.Replace(body, m[0], "/Annots ["+refs+"]", 1)
		}
		add.said[n] = body
	}
	if done != len(links) {
		return errUntagged
	}
	return nil
}

// pageObject is the object of a page, counted from 1; the library's own links go by
// the same rule.
func pageObject(page int) int { return 1 + 2*page }

// parents says whose the marked contents of pages and the annotations are.
func (t *tags) parents() string {
	var b strings.Builder
	for k, of := range t.marked {
		fmt.Fprintf(&b, "%d [", k)
		for _, e := range of {
			fmt.Fprintf(&b, "%d 0 R ", e.object)
		}
		b.WriteString("] ")
	}
	for i, e := range t.links {
		fmt.Fprintf(&b, "%d %d 0 R ", len(t.marked)+i, e.object)
	}
	return b.String()
}

func (e *element) number(add *update) {
	e.object = add.number()
	for _, k := range e.kids {
		if k.element != nil {
			k.element.number(add)
		}
	}
}

func (e *element) write(add *update, parent int, links []int) {
	var b strings.Builder
	page := 0 // of the first content, which is said once
	for _, k := range e.kids {
		switch {
		case k.element != nil:
			fmt.Fprintf(&b, "%d 0 R ", k.element.object)
			k.element.write(add, e.object, links)
			continue
		case page == 0:
			page = k.page
		}
		switch {
		case k.link > 0:
			fmt.Fprintf(&b, "<</Type /OBJR /Pg %d 0 R /Obj %d 0 R>> ", pageObject(k.page), links[k.link-1])
		case k.page == page:
			fmt.Fprintf(&b, "%d ", k.mcid)
		default:
			fmt.Fprintf(&b, "<</Type /MCR /Pg %d 0 R /MCID %d>> ", pageObject(k.page), k.mcid)
		}
	}
	on := ""
	if page > 0 {
		on = fmt.Sprintf("/Pg %d 0 R", pageObject(page))
	}
	add.said[e.object] = fmt.Sprintf("<</S/%s/P %d 0 R%s%s/K[%s]>>", e.kind, parent, on, e.attr, strings.TrimSpace(b.String()))
}

// update is objects that are new or take the place of old ones.
type update struct {
	next int
	said map[int]string
}

func (a *update) number() int {
	a.next++
	return a.next - 1
}

// onto appends the objects, a table that says where they are, and a trailer that
// leads on to the first table.
func (a *update) onto(pdf []byte, u *untagged) []byte {
	out := bytes.NewBuffer(pdf)
	var table []string // a line for each object, below the number of the first and how many follow each other
	numbers := slices.Sorted(maps.Keys(a.said))
	for i, first := 0, 0; i < len(numbers); i++ {
		n := numbers[i]
		if i == 0 || numbers[i-1] != n-1 {
			first = len(table)
			table = append(table, "")
		}
		table[first] = fmt.Sprintf("%d %d\n", n-(len(table)-first-1), len(table)-first)
		table = append(table, fmt.Sprintf("%010d 00000 n \n", out.Len()))
		fmt.Fprintf(out, "%d 0 obj\n%s\nendobj\n", n, a.said[n])
	}
	at := out.Len()
	fmt.Fprintf(out, "xref\n%strailer\n<<\n/Size %d\n/Root %d 0 R\n/Info %d 0 R\n/Prev %d\n>>\nstartxref\n%d\n%%%%EOF\n", strings.Join(table, ""), a.next, u.root, u.info, u.table, at)
	return out.Bytes()
}
