package export

import (
	"encoding/json"
	"io"

	"footrule/internal/walk"
)

// csvFiles are a walk.csv for every walk, and beside each what that does not
// carry: the header, the marks, and which visits were voided and so left out.
func csvFiles(d *Data) []File {
	var out []File
	tables, heads := d.walkFiles("walks", ".csv"), d.walkFiles("walks", ".json")
	for i := range d.Walks {
		w := &d.Walks[i]
		out = append(out, File{tables[i], func(to io.Writer) error { return walk.WriteCSV(to, *w) }},
			File{heads[i], func(to io.Writer) error { return writeBeside(to, w) }})
	}
	return out
}

func oneCSV(d *Data, w io.Writer) error { return walk.WriteCSV(w, d.Walks...) }

func writeBeside(to io.Writer, w *walk.Walk) error {
	out := struct {
		Walk   lineWalk   `json:"walk"`
		Voided []string   `json:"voided"` // visits that are not in the table
		Empty  []string   `json:"empty"`  // visits without a scan, which have no row
		Marks  []lineMark `json:"marks"`
	}{headOf(&w.Header), []string{}, []string{}, []lineMark{}}
	counts := map[*walk.Visit]bool{}
	for _, v := range w.Standing() {
		counts[v] = true
	}
	for i := range w.Visits {
		switch v := &w.Visits[i]; {
		case !counts[v]:
			out.Voided = append(out.Voided, v.ID)
		case len(v.Scans) == 0:
			out.Empty = append(out.Empty, v.ID)
		}
	}
	for _, m := range w.Marks {
		out.Marks = append(out.Marks, markOf(w.ID, m))
	}
	e := json.NewEncoder(to)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(out)
}
