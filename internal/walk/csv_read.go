package walk

import (
	"fmt"
	"io"
	"strings"

	"footrule/internal/say"
	"footrule/internal/site"
)

// Settled counts a visit that will not get more rows: whether it stands where
// nobody can stand.
func (g *Gatherer) Settled(v *Visit) {
	if f := g.site.Floor(v.Floor); f != nil && !f.Walkable(v.At) {
		if g.tally.Outside == 0 {
			g.tally.OutsideName = v.ID
		}
		g.tally.Outside++
	}
}

// Finish judges the whole file: an error where so many BSSIDs are listed twice
// that the scan column must be wrong.
func (g *Gatherer) Finish() error {
	t := g.tally
	if t.Second > fewRepeats && float64(t.Second) > maxRepeats*float64(t.Rows) {
		return g.fail(t.SecondLine, fmt.Sprintf("%d of %d rows list a BSSID again in the same scan with another level, the first here", t.Second, t.Rows),
			"give every scan of a visit a name of its own in the scan column")
	}
	return nil
}

// Warnings says in sentences what was left out or looks odd, each with its
// count and the line of the first case.
func (t Tally) Warnings(extra []string) []string {
	var out []string
	if len(extra) > 0 {
		shown := make([]string, len(extra))
		for i, e := range extra {
			shown[i] = quote([]byte(e))
		}
		more := ""
		if len(shown) > 20 {
			shown, more = shown[:20], fmt.Sprintf(" and %d more", len(shown)-20)
		}
		out = append(out, fmt.Sprintf("%s left out: %s%s", say.Plural(len(extra), "column that a walk does not have was", "columns that a walk does not have were"), strings.Join(shown, ", "), more))
	}
	if t.Same > 0 {
		out = append(out, fmt.Sprintf("%s left out, the first on line %d", say.Plural(t.Same, "row that repeats a reading word for word was", "rows that repeat a reading word for word were"), t.SameLine))
	}
	if t.Second > 0 {
		out = append(out, fmt.Sprintf("%s left out and the first kept, the first case on line %d", say.Plural(t.Second, "second listing of a BSSID in one scan was", "second listings of a BSSID in one scan were"), t.SecondLine))
	}
	if t.NoFreq > 0 {
		out = append(out, fmt.Sprintf("%s no frequency", say.Plural(t.NoFreq, "reading has", "readings have")))
	}
	if t.Outside > 0 {
		out = append(out, fmt.Sprintf("%s outside the outline or in a void, the first is %s; check scale and origin", say.Plural(t.Outside, "visit stands", "visits stand"), quote([]byte(t.OutsideName))))
	}
	return out
}

// Reads is what [ReadCSV] found.
type Reads struct {
	Visits   []Visit // in the order of their first rows, Seq from 1
	Tally    Tally
	Warnings []string
}

// ReadCSV reads a whole walk.csv into memory. Where files may be large, use
// [CSVReader] with a [Gatherer].
func ReadCSV(r io.Reader, file string, s *site.Site) (Reads, error) {
	c, err := NewCSVReader(r, file, s)
	if err != nil {
		return Reads{}, err
	}
	g := NewGatherer(file, s)
	for {
		row, err := c.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return Reads{}, err
		}
		if err := g.Add(row); err != nil {
			return Reads{}, err
		}
	}
	if err := g.Finish(); err != nil {
		return Reads{}, err
	}
	var out Reads
	for i, p := range g.Take() {
		p.Visit.Seq = i + 1
		g.Settled(&p.Visit)
		out.Visits = append(out.Visits, p.Visit)
	}
	out.Tally = g.Tally()
	out.Warnings = out.Tally.Warnings(c.ExtraColumns())
	return out, nil
}
