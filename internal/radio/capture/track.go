package capture

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"sort"
	"strconv"
	"strings"
	"time"

	"footrule/internal/input"

	"github.com/paulmach/orb"
)

// Track says where a receiver was when: rows in order of time.
type Track struct {
	Rows     []TrackRow
	Warnings []string
}

// TrackRow is one known place. While somebody stands, a row for the arrival
// and one for the departure say so.
type TrackRow struct {
	Time  time.Time
	At    orb.Point // metres on the plan
	Floor string
}

const (
	// MaxReach is how far in time a place holds beyond its row where the track
	// does not go on: before the first row, after the last, and on the way to
	// another floor. At a walking pace of 1 m/s it is a doubt of 2 m.
	MaxReach = 2 * time.Second
	// maxSpeed is above any that a surveyor with a laptop walks (common
	// practice: 1 to 1.5 m/s); faster means a slip in a row.
	maxSpeed = 4.0 // m/s

	maxTrackRows  = 1_000_000
	maxTrackBytes = 128 << 20
	maxMetres     = 1e6
)

// ReadTrack reads a CSV file with the header time,x_m,y_m,floor, in any order
// of columns; others are passed over with one warning. Times are RFC 3339 and
// increase from row to row. name is the file's name for messages; errors are
// *input.Error.
func ReadTrack(name string, r io.Reader) (*Track, error) {
	bad := func(line, col int, what, want string) error {
		return &input.Error{File: name, Line: line, Col: col, What: what, Want: want}
	}
	limit := &io.LimitedReader{R: r, N: maxTrackBytes}
	br := bufio.NewReader(limit)
	if bom, _ := br.Peek(3); string(bom) == "\ufeff" {
		_, _ = br.Discard(3)
	}
	c := csv.NewReader(br)
	c.ReuseRecord = true
	c.TrimLeadingSpace = true
	c.Comment = '#'
	const want = "begin with time,x_m,y_m,floor"
	header, err := c.Read()
	if err != nil {
		if errors.Is(err, io.EOF) {
			return nil, bad(0, 0, "the track is empty", want)
		}
		return nil, trackError(name, err)
	}
	column := map[string]int{"time": -1, "x_m": -1, "y_m": -1, "floor": -1}
	line, _ := c.FieldPos(0)
	t := &Track{}
	var extra []string
	for i, h := range header {
		h = strings.ToLower(strings.TrimSpace(h))
		at, known := column[h]
		switch {
		case !known:
			extra = append(extra, clip(h))
		case at >= 0:
			_, col := c.FieldPos(i)
			return nil, bad(line, col, "the column "+h+" stands there twice", "leave one out")
		default:
			column[h] = i
		}
	}
	for _, h := range []string{"time", "x_m", "y_m", "floor"} {
		if column[h] < 0 {
			return nil, bad(line, 0, "the column "+h+" is missing", want)
		}
	}
	if len(extra) > 0 {
		t.Warnings = append(t.Warnings, fmt.Sprintf("%d columns of the track are passed over, the first %s", len(extra), extra[0]))
	}
	for {
		rec, err := c.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, trackError(name, err)
		}
		cell := func(h string) (s string, line, col int) {
			line, col = c.FieldPos(column[h])
			return strings.TrimSpace(rec[column[h]]), line, col
		}
		var row TrackRow
		s, line, col := cell("time")
		if row.Time, err = time.Parse(time.RFC3339, s); err != nil || row.Time.Year() < 1970 || row.Time.Year() > lastYear {
			return nil, bad(line, col, clip(s)+" is no time", "write it like 2031-05-06T10:00:00Z")
		}
		row.Time = row.Time.UTC()
		for i, h := range []string{"x_m", "y_m"} {
			s, line, col := cell(h)
			v, err := strconv.ParseFloat(s, 64)
			if err != nil || !(math.Abs(v) <= maxMetres) {
				return nil, bad(line, col, clip(s)+" is no coordinate", "write metres on the plan, such as 12.5")
			}
			row.At[i] = v
		}
		if row.Floor, line, col = cell("floor"); row.Floor == "" {
			return nil, bad(line, col, "the floor is empty", "write the floor's id")
		}
		if n := len(t.Rows); n > 0 {
			last := t.Rows[n-1]
			dt := row.Time.Sub(last.Time)
			if dt <= 0 {
				return nil, bad(line, 0, fmt.Sprintf("the time %s is not after that of the row before", row.Time.Format(time.RFC3339Nano)), "sort the rows by time, one place a moment")
			}
			d := math.Hypot(row.At[0]-last.At[0], row.At[1]-last.At[1])
			if row.Floor == last.Floor && d/dt.Seconds() > maxSpeed {
				return nil, bad(line, 0, fmt.Sprintf("%.1f m in %v since the row before is %.1f m/s, faster than anybody walks", d, dt, d/dt.Seconds()), "mend the time or the place")
			}
		}
		if len(t.Rows) == maxTrackRows {
			return nil, bad(line, 0, fmt.Sprintf("the track has more than %d rows", maxTrackRows), "cut it into parts")
		}
		t.Rows = append(t.Rows, row)
	}
	if limit.N <= 0 {
		return nil, bad(0, 0, fmt.Sprintf("the track is longer than %d MiB", maxTrackBytes>>20), "cut it into parts")
	}
	if len(t.Rows) == 0 {
		return nil, bad(0, 0, "the track has no row below its header", "write where the receiver was when")
	}
	return t, nil
}

func trackError(name string, err error) error {
	var pe *csv.ParseError
	if errors.As(err, &pe) {
		return &input.Error{File: name, Line: pe.Line, Col: pe.Column, What: "the row can't be read: " + pe.Err.Error(), Want: "write as many cells as the header has"}
	}
	return &input.Error{File: name, What: "the track can't be read: " + err.Error()}
}

// At gives where the receiver was at a moment.
//
// Laws:
//  1. Between two rows on one floor the place is interpolated linearly in time.
//  2. Before the first row, after the last, and between rows on two floors it
//     is that of the nearer row, for [MaxReach] and no longer; the earlier of
//     two equally near ones.
//  3. Elsewhere it is not known: false.
func (t *Track) At(m time.Time) (at orb.Point, floor string, ok bool) {
	i := sort.Search(len(t.Rows), func(i int) bool { return !t.Rows[i].Time.Before(m) })
	var before, after *TrackRow
	if i > 0 {
		before = &t.Rows[i-1]
	}
	if i < len(t.Rows) {
		after = &t.Rows[i]
		if after.Time.Equal(m) {
			return after.At, after.Floor, true
		}
	}
	if before != nil && after != nil && before.Floor == after.Floor {
		f := float64(m.Sub(before.Time)) / float64(after.Time.Sub(before.Time))
		return orb.Point{
			before.At[0] + f*(after.At[0]-before.At[0]),
			before.At[1] + f*(after.At[1]-before.At[1]),
		}, before.Floor, true
	}
	near := MaxReach + 1
	if before != nil && m.Sub(before.Time) < near {
		near = m.Sub(before.Time)
		at, floor, ok = before.At, before.Floor, true
	}
	if after != nil && after.Time.Sub(m) < near {
		at, floor, ok = after.At, after.Floor, true
	}
	return at, floor, ok
}
