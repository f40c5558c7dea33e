package walk

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"footrule/internal/input"
	"footrule/internal/radio"
	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// csvColumns are the columns of walk.csv in the order in which [WriteCSV]
// writes them, the last two only where they say something. A file may have
// them in any order.
var csvColumns = [...]string{"time", "visit", "point", "floor", "x_m", "y_m", "facing_deg", "scan", "bssid", "ssid", "freq_mhz", "rssi_dbm", "max_bssid_indicator", "listened_mhz"}

// usualColumns are those that every walk.csv is written with.
const usualColumns = colRSSI + 1

// The columns by place in csvColumns.
const (
	colTime = iota
	colVisit
	colPoint
	colFloor
	colX
	colY
	colFacing
	colScan
	colBSSID
	colSSID
	colFreq
	colRSSI
	colMaxIndicator
	colListened
	csvColumnCount
)

// Row is one checked line of walk.csv: a reading, or a scan that heard nothing.
type Row struct {
	Line      int       // physical line on which it begins, from 1
	Time      time.Time // UTC
	Visit     string
	Point     string // may be empty
	Floor     string
	At        orb.Point // where the surveyor stood: the coordinates, else those of the point
	FacingDeg float64   // in [0, 360), or NoFacing
	FreqsMHz  []int     // channels that the scan listened on, ascending; nil for all
	Scan      string
	Heard     bool // false for a scan that heard nothing
	Reading   radio.Reading
}

// CSVReader reads walk.csv row by row in bounded memory.
//
//  1. The header is required; columns may stand in any order. time, visit,
//     floor, scan, bssid, rssi_dbm and either point or both x_m and y_m must be
//     there; without facing_deg, ssid, freq_mhz or max_bssid_indicator these are
//     unknown, and without listened_mhz a scan listened on all channels. Any
//     other column is left out with one warning.
//  2. Text is UTF-8 with or without a byte order mark, quoted by RFC 4180;
//     lines end in LF or CRLF; empty lines are passed over; a record has at
//     most [MaxCSVRecord] bytes.
//  3. time is RFC 3339 with a UTC offset and becomes UTC. Numbers are decimal
//     and finite. facing_deg is in [0, 360]; 360 is 0.
//  4. rssi_dbm is at least −120 and below 0. Receivers write 0 for "none", and
//     that is no reading: such a row is refused, not dropped.
//  5. freq_mhz is in a band of [radio.BandOf] and whole ("5180.0" will do, since
//     tables with gaps are saved so); empty is unknown and becomes 0.
//     listened_mhz is such numbers with blanks between them.
//  6. bssid is neither zero nor a group address. BSSIDs that the site does not
//     have are kept: they are facts.
//  7. A row whose bssid and rssi_dbm are both empty is a scan that heard
//     nothing; its ssid and freq_mhz say nothing.
//  8. floor must be on the site. A point that the site does not have needs
//     coordinates. A place outside the outline or in a void is kept, because a
//     surveyor did stand there; [Gatherer] counts such visits.
//
// What rows say of each other (visits, scans, repeated readings) is checked by
// [Gatherer]. Errors are *input.Error, or whatever the stream answered.
type CSVReader struct {
	split *splitter
	site  *site.Site
	place [csvColumnCount]int // column of the file, −1 where absent
	width int
	extra []string

	last  [csvColumnCount][]byte // text of the previous row, to save parsing it again
	row   Row
	have  bool
	ssids map[string]string
}

// maxSSIDs bounds the cache of names.
const maxSSIDs = 4096

// NewCSVReader reads and checks the header. file is how the user named the
// file; s gives floors and points.
func NewCSVReader(r io.Reader, file string, s *site.Site) (*CSVReader, error) {
	c := &CSVReader{split: newSplitter(r, file), site: s, ssids: map[string]string{}}
	if err := c.header(); err != nil {
		return nil, err
	}
	return c, nil
}

func (c *CSVReader) header() error {
	sp := c.split
	if err := sp.fill(); err != nil {
		return err
	}
	for sp.end < 3 && !sp.eof {
		if err := sp.fill(); err != nil {
			return err
		}
	}
	if bytes.HasPrefix(sp.buf[:sp.end], []byte("\xef\xbb\xbf")) {
		sp.at = 3
	}
	want := "begin with a line of column names: " + strings.Join(csvColumns[:usualColumns], ",")
	err := sp.read()
	if err == io.EOF {
		return &input.Error{File: sp.file, Line: 1, What: "the file is empty", Want: want}
	}
	if err != nil {
		return err
	}
	for _, sep := range []struct{ char, name string }{{";", "semicolons"}, {"\t", "tabs"}} {
		if len(sp.fields) == 1 && bytes.Count(sp.fields[0], []byte(sep.char)) >= 4 {
			return sp.errorAt(bytes.IndexByte(sp.record, sep.char[0]), "columns are separated by "+sep.name, "separate them by commas, and write decimal points")
		}
	}
	for i := range c.place {
		c.place[i] = -1
	}
	seen := map[string]int{}
	for i, f := range sp.fields {
		name := strings.TrimSpace(string(f))
		k := slices.Index(csvColumns[:], name)
		if first, twice := seen[name]; twice && k >= 0 {
			return sp.errorAt(sp.offsets[i], fmt.Sprintf("column %s stands twice, as column %d and %d", name, first+1, i+1), "keep one of them")
		}
		seen[name] = i
		if k < 0 {
			c.extra = append(c.extra, name)
			continue
		}
		c.place[k] = i
	}
	c.width = len(sp.fields)
	var missing []string
	for _, k := range []int{colTime, colVisit, colFloor, colScan, colBSSID, colRSSI} {
		if c.place[k] < 0 {
			missing = append(missing, csvColumns[k])
		}
	}
	switch {
	case (c.place[colX] < 0) != (c.place[colY] < 0):
		k := colX
		if c.place[colX] >= 0 {
			k = colY
		}
		missing = append(missing, csvColumns[k])
	case c.place[colPoint] < 0 && c.place[colX] < 0:
		missing = append(missing, "point (or x_m and y_m)")
	}
	if len(missing) == 0 {
		return nil
	}
	if len(missing) >= 6 {
		return sp.errorAt(0, "the first line is no header of a walk", want)
	}
	word := "column"
	if len(missing) > 1 {
		word = "columns"
	}
	return sp.errorAt(0, fmt.Sprintf("%s %s missing", word, strings.Join(missing, ", ")), "name every column in the first line")
}

// ExtraColumns names the columns that are left out, in their order.
func (c *CSVReader) ExtraColumns() []string { return c.extra }

// Next gives the next row, valid until the next call; io.EOF after the last.
func (c *CSVReader) Next() (*Row, error) {
	sp := c.split
	if err := sp.read(); err != nil {
		if err == io.EOF && !c.have {
			return nil, &input.Error{File: sp.file, Line: sp.line, What: "no rows after the header",
				Want: "write one row for each reading, and one for each scan that heard nothing"}
		}
		return nil, err
	}
	if len(sp.fields) != c.width {
		what := fmt.Sprintf("%d fields where the header has %d", len(sp.fields), c.width)
		want := "an empty value still needs its comma"
		if len(sp.fields) > c.width {
			want = "put a value with commas in quotes"
		}
		return nil, sp.errorAt(0, what, want)
	}
	return c.parse()
}

// field gives the text of a column, nil where the file does not have it.
func (c *CSVReader) field(k int) []byte {
	if c.place[k] < 0 {
		return nil
	}
	return c.split.fields[c.place[k]]
}

// bad makes the error for a column's value.
func (c *CSVReader) bad(k int, what, want string) error {
	offset := 0
	if c.place[k] >= 0 {
		offset = c.split.offsets[c.place[k]]
	}
	return c.split.errorAt(offset, csvColumns[k]+" "+what, want)
}

// again reports whether a column says the same as in the previous row; if not,
// it remembers the new text.
func (c *CSVReader) again(k int) bool {
	f := c.field(k)
	if c.have && bytes.Equal(f, c.last[k]) {
		return true
	}
	c.last[k] = append(c.last[k][:0], f...)
	return false
}
