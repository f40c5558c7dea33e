package main

import (
	"fmt"
	"os"
	"sort"
	"strings"

	"footrule/internal/canvas"
	"footrule/internal/drawing"
	"footrule/internal/site"
)

// list prints what a drawing holds.
func (f *planFlags) list(sh *shell, path string) error {
	if drawing.IsPicture(path) {
		return listPicture(sh, path, f.asJSON)
	}
	r, err := os.Open(path)
	if err != nil {
		return err
	}
	defer r.Close()
	o, _, err := f.parse()
	if err != nil {
		return err
	}
	o.Keep = nil
	d, err := drawing.Read(path, r, o)
	if err != nil {
		return err
	}
	if f.asJSON {
		return printJSON(sh.out, drawingJSON(d))
	}
	b := d.Bound()
	w, h := b.Max[0]-b.Min[0], b.Max[1]-b.Min[1]
	size := fmt.Sprintf("%.6g by %.6g units; say the unit with --unit or a known distance with --scale", w, h)
	if d.Kind == site.DrawingWGS84 {
		to := drawing.ToPlan(&site.Drawing{Kind: d.Kind, Origin: b.Min})(b.Max)
		size = fmt.Sprintf("longitude and latitude: %.4g by %.4g m", to[0], to[1])
	} else if d.MetresPerUnit > 0 {
		size = fmt.Sprintf("%.6g by %.6g units of %g m: %.4g by %.4g m", w, h, d.MetresPerUnit, w*d.MetresPerUnit, h*d.MetresPerUnit)
	}
	if d.Unit != "" {
		size += " (the file says its unit is " + d.Unit + ")"
	}
	fmt.Fprintf(sh.out, "%s: %s, %s\n\n", path, d.Kind, size)
	rows := [][]string{{"layer", "what is on it", "from", "to"}}
	for _, l := range d.Layers {
		what := countsText(l.Count)
		if l.Hidden {
			what += " (off)"
		}
		lo, hi := "–", "–"
		if len(l.Count) > 0 {
			lo, hi = fmt.Sprintf("%.6g,%.6g", l.Bound.Min[0], l.Bound.Min[1]), fmt.Sprintf("%.6g,%.6g", l.Bound.Max[0], l.Bound.Max[1])
		}
		rows = append(rows, []string{canvas.Cut(l.Name, 30, '…'), what, lo, hi})
	}
	table(sh.out, rows)
	for _, why := range keysOf(d.Left) {
		fmt.Fprintf(sh.out, "not used: %d × %s\n", d.Left[why], canvas.Clean(why))
	}
	for _, n := range d.Notes {
		fmt.Fprintln(sh.out, "note: "+canvas.Clean(n))
	}
	fmt.Fprintf(sh.out, "\nnext: footrule new FILE --from %s --layer NAME=outline --layer NAME=plasterboard …\n", path)
	return nil
}

func keysOf(m map[string]int) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}

// countsText is "12 LINE, 3 ARC".
func countsText(m map[string]int) string {
	var out []string
	for _, k := range keysOf(m) {
		out = append(out, fmt.Sprintf("%d %s", m[k], k))
	}
	if len(out) == 0 {
		return "nothing"
	}
	return strings.Join(out, ", ")
}

type jsonLayer struct {
	Name   string         `json:"name"`
	Hidden bool           `json:"hidden"`
	Count  map[string]int `json:"count"`
	Min    *[2]number     `json:"min"`
	Max    *[2]number     `json:"max"`
}

type jsonListing struct {
	Kind          string         `json:"kind"`
	Unit          *string        `json:"unit"` // as the file says
	MetresPerUnit *number        `json:"metres_per_unit"`
	Layers        []jsonLayer    `json:"layers"`
	NotUsed       map[string]int `json:"not_used"`
	Notes         []string       `json:"notes"`
}

func drawingJSON(d *drawing.Drawing) jsonListing {
	out := jsonListing{Kind: string(d.Kind), Unit: known(d.Unit), Layers: []jsonLayer{}, NotUsed: d.Left, Notes: append([]string{}, d.Notes...)}
	if d.MetresPerUnit > 0 {
		u := number(d.MetresPerUnit)
		out.MetresPerUnit = &u
	}
	for _, l := range d.Layers {
		j := jsonLayer{Name: l.Name, Hidden: l.Hidden, Count: l.Count}
		if len(l.Count) > 0 {
			lo, hi := pair(l.Bound.Min[0], l.Bound.Min[1]), pair(l.Bound.Max[0], l.Bound.Max[1])
			j.Min, j.Max = &lo, &hi
		}
		out.Layers = append(out.Layers, j)
	}
	return out
}
