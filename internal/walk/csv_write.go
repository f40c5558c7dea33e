package walk

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"footrule/internal/radio"
)

// WriteCSV writes the standing visits of walks as one walk.csv, in which visits
// and scans keep their order. Reading it back gives equal visits, except for
// what the format does not have: Seq, DroppedStale, −0, and the own time of a
// scan finer than a nanosecond.
//
// Names that the format needs and a live walk does not have are made: a scan
// without an ID is called by its place in its visit, and where several walks
// are written a visit is called walk/visit. What cannot be written (a name
// with control characters, a level that is none) is an error, and nothing of
// that row is written.
func WriteCSV(w io.Writer, walks ...Walk) error {
	b := bufio.NewWriterSize(w, 64<<10)
	columns := csvColumns[:usualColumns]
	if special(walks) {
		columns = csvColumns[:]
	}
	b.WriteString(strings.Join(columns, ","))
	b.WriteByte('\n')
	for i := range walks {
		for _, v := range walks[i].Standing() {
			id := v.ID
			if len(walks) > 1 {
				id = walks[i].ID + "/" + v.ID
			}
			if err := writeVisit(b, id, v, len(columns) > usualColumns); err != nil {
				return fmt.Errorf("walk %q: %w", walks[i].ID, err)
			}
		}
	}
	return b.Flush()
}

// special reports whether some scan or reading needs the last two columns.
func special(walks []Walk) bool {
	for i := range walks {
		for _, v := range walks[i].Standing() {
			for j := range v.Scans {
				sc := &v.Scans[j]
				if len(sc.FreqsMHz) > 0 || slices.ContainsFunc(sc.Readings, func(r radio.Reading) bool { return r.MaxBSSIDIndicator != 0 }) {
					return true
				}
			}
		}
	}
	return false
}

func writeVisit(b *bufio.Writer, id string, v *Visit, special bool) error {
	for _, n := range []string{id, v.Point, v.Floor} {
		if err := nameOK(n); err != nil {
			return fmt.Errorf("visit %q: %w", v.ID, err)
		}
	}
	if v.Floor == "" || id == "" {
		return fmt.Errorf("visit %q on floor %q: a visit needs a name and a floor", v.ID, v.Floor)
	}
	if !(math.Abs(v.At[0]) <= maxCoordinateM && math.Abs(v.At[1]) <= maxCoordinateM) {
		return fmt.Errorf("visit %q at (%g, %g): no place on a plan", v.ID, v.At[0], v.At[1])
	}
	// A name that was made must not meet one that was given.
	taken := map[string]bool{}
	for _, sc := range v.Scans {
		taken[sc.ID] = true
	}
	for i := range v.Scans {
		sc := &v.Scans[i]
		name := sc.ID
		if name == "" {
			for name = strconv.Itoa(i + 1); taken[name]; {
				name += "'"
			}
			taken[name] = true
		} else if err := nameOK(name); err != nil {
			return fmt.Errorf("visit %q: scan %q: %w", v.ID, sc.ID, err)
		}
		if sc.FacingDeg != NoFacing && !(sc.FacingDeg >= 0 && sc.FacingDeg < 360) {
			return fmt.Errorf("visit %q: scan %q: a facing of %g degrees", v.ID, sc.ID, sc.FacingDeg)
		}
		if y := sc.Time.UTC().Year(); y < 0 || y > 9999 {
			return fmt.Errorf("visit %q: scan %q: a time in the year %d", v.ID, sc.ID, y)
		}
		var head []byte
		head = sc.Time.UTC().AppendFormat(head, time.RFC3339Nano)
		head = append(head, ',')
		for _, n := range []string{id, v.Point, v.Floor} {
			head = appendText(head, n)
			head = append(head, ',')
		}
		head = strconv.AppendFloat(head, v.At[0], 'g', -1, 64)
		head = append(head, ',')
		head = strconv.AppendFloat(head, v.At[1], 'g', -1, 64)
		head = append(head, ',')
		if sc.FacingDeg != NoFacing {
			head = strconv.AppendFloat(head, sc.FacingDeg, 'g', -1, 64)
		}
		head = append(head, ',')
		head = appendText(head, name)
		head = append(head, ',')
		tail := "\n"
		if special {
			tail = "," + strings.Trim(fmt.Sprint(sc.FreqsMHz), "[]") + "\n"
		}
		if len(sc.Readings) == 0 {
			b.Write(head)
			b.WriteString(",,,")
			if special {
				b.WriteByte(',')
			}
			b.WriteString(tail)
		}
		for _, r := range sc.Readings {
			if !radio.LevelOK(r.RSSIDBm) {
				return fmt.Errorf("visit %q: scan %q: a level of %g dBm", v.ID, sc.ID, r.RSSIDBm)
			}
			r.SSID = SSIDText(r.SSID)
			row := append(head[:len(head):len(head)], r.BSSID.String()...)
			row = append(row, ',')
			row = appendText(row, r.SSID)
			row = append(row, ',')
			if r.FreqMHz != 0 {
				row = strconv.AppendInt(row, int64(r.FreqMHz), 10)
			}
			row = append(row, ',')
			row = strconv.AppendFloat(row, r.RSSIDBm, 'g', -1, 64)
			if special {
				row = append(row, ',')
				if r.MaxBSSIDIndicator != 0 {
					row = strconv.AppendInt(row, int64(r.MaxBSSIDIndicator), 10)
				}
			}
			row = append(row, tail...)
			b.Write(row)
		}
	}
	return nil
}

// SSIDText gives a name as walk.csv has it: as it is, and where it is no UTF-8 text
// or has a NUL with its octets as \xhh where they are not printable ASCII, and a
// backslash as two.
func SSIDText(s string) string {
	if !utf8.ValidString(s) || strings.IndexByte(s, 0) >= 0 {
		return escapeSSID(s)
	}
	return s
}

// escapeSSID writes the octets of a name that is no UTF-8 text, or has a NUL,
// as \xhh where they are not printable ASCII, and a backslash as two.
func escapeSSID(s string) string {
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		switch c := s[i]; {
		case c == '\\':
			b.WriteString(`\\`)
		case c < ' ' || c > '~':
			fmt.Fprintf(&b, `\x%02x`, c)
		default:
			b.WriteByte(c)
		}
	}
	return b.String()
}

func nameOK(s string) error {
	if len(s) > maxName {
		return fmt.Errorf("a name of %d bytes, more than %d", len(s), maxName)
	}
	if !utf8.ValidString(s) || strings.IndexFunc(s, func(r rune) bool { return r < ' ' || 0x7f <= r && r < 0xa0 }) >= 0 {
		return fmt.Errorf("%q cannot be a name: it has control characters or is no UTF-8", s)
	}
	return nil
}

// appendText quotes a field where RFC 4180 wants it.
func appendText(b []byte, s string) []byte {
	if !strings.ContainsAny(s, ",\"\r\n") {
		return append(b, s...)
	}
	b = append(b, '"')
	for i := 0; i < len(s); i++ {
		if s[i] == '"' {
			b = append(b, '"')
		}
		b = append(b, s[i])
	}
	return append(b, '"')
}
