package walk

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"footrule/internal/radio"

	"github.com/paulmach/orb"
)

// Longest texts of walk.csv in bytes. Names are shown and become keys on disk;
// an SSID has at most 32 octets (IEEE 802.11-2020, 9.4.2.2), and captures that
// escape each octet as \xhh need four times that.
const (
	maxName = 200
	maxSSID = 4 * 32
)

// maxCoordinateM keeps what was meant as degrees, feet of a national grid or
// a typing error out of a plan: no building is 100 km long.
const maxCoordinateM = 100_000

// parse checks the record that was just cut.
func (c *CSVReader) parse() (*Row, error) {
	r := &c.row
	r.Line = c.split.line
	if !c.again(colTime) {
		t, why := parseTime(string(c.last[colTime]))
		if why != "" {
			return nil, c.bad(colTime, fmt.Sprintf("%s %s", quote(c.last[colTime]), why), "write RFC 3339 with an offset, such as 2026-03-01T09:30:00Z or 2026-03-01T10:30:00.250+01:00")
		}
		r.Time = t
	}
	var err error
	if !c.again(colVisit) {
		if r.Visit, err = c.name(colVisit, true, "give every stay at a point a name of its own"); err != nil {
			return nil, err
		}
	}
	if !c.again(colScan) {
		if r.Scan, err = c.name(colScan, true, "give every scan of a visit a name of its own"); err != nil {
			return nil, err
		}
	}
	// All four together, because what one needs depends on the others.
	samePoint, sameFloor, sameX, sameY := c.again(colPoint), c.again(colFloor), c.again(colX), c.again(colY)
	if !samePoint || !sameFloor || !sameX || !sameY {
		if err := c.stand(); err != nil {
			return nil, err
		}
	}
	if !c.again(colFacing) {
		r.FacingDeg = NoFacing
		if f := c.last[colFacing]; len(f) > 0 {
			v, ok := parseNumber(f)
			if !ok || v < 0 || v > 360 {
				return nil, c.bad(colFacing, fmt.Sprintf("%s is no direction", quote(f)), "write degrees clockwise from the plan's +y, from 0 to 360, or nothing")
			}
			if v == 360 || v == 0 { // −0 too
				v = 0
			}
			r.FacingDeg = v
		}
	}
	if !c.again(colListened) {
		if r.FreqsMHz, err = c.listened(); err != nil {
			return nil, err
		}
	}
	if err := c.reading(); err != nil {
		return nil, err
	}
	c.have = true
	return r, nil
}

// stand reads where the surveyor stood.
func (c *CSVReader) stand() (err error) {
	r := &c.row
	if r.Floor, err = c.name(colFloor, true, "say on which floor the surveyor stood"); err != nil {
		return err
	}
	floor := c.site.Floor(r.Floor)
	if floor == nil {
		ids := make([]string, len(c.site.Floors))
		for i, f := range c.site.Floors {
			ids[i] = f.ID
		}
		return c.bad(colFloor, fmt.Sprintf("%s is not a floor of the site", quote([]byte(r.Floor))), "write one of: "+strings.Join(ids, ", "))
	}
	if r.Point, err = c.name(colPoint, false, ""); err != nil {
		return err
	}
	x, y := c.last[colX], c.last[colY]
	switch {
	case len(x) == 0 && len(y) == 0:
		if r.Point == "" {
			return c.bad(colPoint, "is empty and so are the coordinates", "name the point, or write x_m and y_m")
		}
		p := floor.Point(r.Point)
		if p == nil {
			what := fmt.Sprintf("%s is not a point of floor %s", quote([]byte(r.Point)), r.Floor)
			for i := range c.site.Floors {
				if c.site.Floors[i].Point(r.Point) != nil {
					what += ", but of floor " + c.site.Floors[i].ID
					break
				}
			}
			return c.bad(colPoint, what, "write x_m and y_m too, or name a point of the plan")
		}
		r.At = p.At
		return nil
	case len(x) == 0:
		return c.bad(colX, "is empty and y_m is not", "write both or neither")
	case len(y) == 0:
		return c.bad(colY, "is empty and x_m is not", "write both or neither")
	}
	var at orb.Point
	for i, k := range []int{colX, colY} {
		v, ok := parseNumber(c.last[k])
		if !ok {
			return c.bad(k, fmt.Sprintf("%s is no number", quote(c.last[k])), "write metres on the plan, with a decimal point")
		}
		if math.Abs(v) > maxCoordinateM {
			return c.bad(k, fmt.Sprintf("%s is more than 100 km from the plan's origin", quote(c.last[k])), "write metres on the plan")
		}
		if v != 0 { // −0 is 0
			at[i] = v
		}
	}
	r.At = at
	return nil
}

// reading reads what was heard.
func (c *CSVReader) reading() error {
	r := &c.row
	bssid, rssi := c.field(colBSSID), c.field(colRSSI)
	r.Heard = len(bssid) > 0 || len(rssi) > 0
	if !r.Heard {
		r.Reading = radio.Reading{}
		c.last[colBSSID], c.last[colFreq] = c.last[colBSSID][:0], c.last[colFreq][:0]
		return nil
	}
	if len(bssid) == 0 {
		return c.bad(colBSSID, "is empty and rssi_dbm is not", "write both, or neither for a scan that heard nothing")
	}
	if len(rssi) == 0 {
		return c.bad(colRSSI, "is empty and bssid is not", "write both, or neither for a scan that heard nothing")
	}
	if !c.again(colBSSID) {
		b, err := radio.ParseBSSID(string(bssid))
		if err != nil {
			return c.bad(colBSSID, fmt.Sprintf("%s is not six octets joined by colons", quote(bssid)), "write it like 02:00:5e:10:01:00")
		}
		if b.IsZero() || b.Group() {
			return c.bad(colBSSID, fmt.Sprintf("%s is zero or a group address, which no BSS has", quote(bssid)), "leave the row out")
		}
		r.Reading.BSSID = b
	}
	if v, ok := wholeLevel(rssi); ok {
		r.Reading.RSSIDBm = v
	} else {
		v, ok := parseNumber(rssi)
		if !ok {
			return c.bad(colRSSI, fmt.Sprintf("%s is no number", quote(rssi)), "write dBm, such as -61 or -61.5")
		}
		if v == 0 {
			return c.bad(colRSSI, "is 0, which receivers write for none", "leave the row out: an access point without a row was not heard")
		}
		if !radio.LevelOK(v) {
			return c.bad(colRSSI, fmt.Sprintf("%s is no level", quote(rssi)), fmt.Sprintf("write dBm, at least %g and below %g; leave the row out where nothing was heard", radio.MinDBm, radio.MaxDBm))
		}
		r.Reading.RSSIDBm = v
	}
	ssid := c.field(colSSID)
	if r.Reading.SSID != string(ssid) {
		if len(ssid) > maxSSID {
			return c.bad(colSSID, fmt.Sprintf("has %d bytes", len(ssid)), fmt.Sprintf("a name has at most 32 octets (%d bytes where they are escaped)", maxSSID))
		}
		name, ok := c.ssids[string(ssid)]
		if !ok {
			if len(c.ssids) >= maxSSIDs {
				clear(c.ssids)
			}
			name = string(ssid)
			c.ssids[name] = name
		}
		r.Reading.SSID = name
	}
	if f := c.field(colFreq); len(f) == 0 {
		r.Reading.FreqMHz = 0
	} else if !c.again(colFreq) || r.Reading.FreqMHz == 0 {
		v, err := c.frequency(colFreq, f)
		if err != nil {
			return err
		}
		r.Reading.FreqMHz = v
	}
	r.Reading.MaxBSSIDIndicator = 0
	if f := c.field(colMaxIndicator); len(f) > 0 {
		v, ok := parseNumber(f)
		if !ok || v != math.Trunc(v) || v < 0 || v > maxIndicator {
			return c.bad(colMaxIndicator, fmt.Sprintf("%s is none", quote(f)), fmt.Sprintf("write n from 1 to %d for a radio of up to 2^n BSSIDs, or nothing", maxIndicator))
		}
		r.Reading.MaxBSSIDIndicator = int(v)
	}
	return nil
}

// maxIndicator keeps a multiple-BSSID set within the last octet.
const maxIndicator = 8

// maxListened bounds the channels of one scan: three bands have some 100 of 20 MHz.
const maxListened = 256

// frequency reads a channel's centre in MHz.
func (c *CSVReader) frequency(k int, f []byte) (int, error) {
	v, ok := parseNumber(f)
	if !ok || v != math.Trunc(v) || math.Abs(v) > 1e6 {
		return 0, c.bad(k, fmt.Sprintf("%s is no whole number", quote(f)), "write the channel's centre frequency in MHz, such as 5180, or nothing")
	}
	if _, ok := radio.BandOf(int(v)); !ok {
		return 0, c.bad(k, fmt.Sprintf("%s is in no band", quote(f)), "write MHz: 2401 to 2495, 5150 to 5925 or 5926 to 7125, or nothing")
	}
	return int(v), nil
}

// listened reads the channels that a scan listened on.
func (c *CSVReader) listened() ([]int, error) {
	var out []int
	for _, f := range bytes.Fields(c.last[colListened]) {
		v, err := c.frequency(colListened, f)
		if err != nil {
			return nil, err
		}
		if out = append(out, v); len(out) > maxListened {
			return nil, c.bad(colListened, fmt.Sprintf("has more than %d channels", maxListened), "write each channel once, or nothing for all")
		}
	}
	return channelSet(out), nil
}

// name reads an identifier: short, and without control characters.
func (c *CSVReader) name(k int, needed bool, want string) (string, error) {
	b := c.last[k]
	switch {
	case len(b) == 0 && needed:
		return "", c.bad(k, "is empty", want)
	case len(b) > maxName:
		return "", c.bad(k, fmt.Sprintf("has %d bytes", len(b)), fmt.Sprintf("write at most %d", maxName))
	case bytes.IndexFunc(b, func(r rune) bool { return r < ' ' || 0x7f <= r && r < 0xa0 }) >= 0:
		return "", c.bad(k, fmt.Sprintf("%s has a control character", quote(b)), "write letters, digits and signs on one line")
	}
	return string(b), nil
}

// wholeLevel reads −1 to −120 written without more: what nearly every row has.
func wholeLevel(b []byte) (float64, bool) {
	if len(b) < 2 || len(b) > 4 || b[0] != '-' || b[1] == '0' {
		return 0, false
	}
	n := 0
	for _, d := range b[1:] {
		if d < '0' || d > '9' {
			return 0, false
		}
		n = 10*n + int(d-'0')
	}
	return -float64(n), n <= -radio.MinDBm
}

// parseNumber reads a decimal number, with an exponent or without; no other
// base, no digit groups, no infinity.
func parseNumber(b []byte) (float64, bool) {
	if len(b) == 0 || len(b) > 64 {
		return 0, false
	}
	for _, d := range b {
		if (d < '0' || d > '9') && d != '.' && d != '-' && d != '+' && d != 'e' && d != 'E' {
			return 0, false
		}
	}
	v, err := strconv.ParseFloat(string(b), 64)
	return v, err == nil && !math.IsInf(v, 0)
}

// parseTime reads RFC 3339; a blank or a lower-case t may part date and time
// (section 5.6). why is empty where it is one.
func parseTime(s string) (t time.Time, why string) {
	const date = "dddd-dd-ddTdd:dd:dd"
	if len(s) < len(date) {
		return t, "is no time"
	}
	for i, want := range []byte(date) {
		switch got := s[i]; {
		case want == 'd' && (got < '0' || got > '9'):
			return t, "is no time"
		case want == 'T' && got != 'T' && got != 't' && got != ' ':
			return t, "is no time"
		case want != 'd' && want != 'T' && got != want:
			return t, "is no time"
		}
	}
	rest := s[len(date):]
	if rest != "" && rest[0] == '.' {
		n := 1
		for n < len(rest) && '0' <= rest[n] && rest[n] <= '9' {
			n++
		}
		if n == 1 {
			return t, "is no time"
		}
		if n > 10 {
			return t, "is finer than a nanosecond"
		}
		rest = rest[n:]
	}
	zone := rest
	switch {
	case zone == "":
		return t, "has no UTC offset"
	case zone == "z" || zone == "Z":
		zone = "Z"
	case len(zone) != 6 || (zone[0] != '+' && zone[0] != '-') || zone[3] != ':':
		return t, "has no UTC offset that can be read"
	}
	clean := s[:10] + "T" + s[11:len(s)-len(rest)] + zone
	t, err := time.Parse(time.RFC3339Nano, clean)
	if err != nil {
		return t, "is no time of any day"
	}
	return t.UTC(), ""
}

// quote shows a value in an error, cut short.
func quote(b []byte) string {
	const most = 40
	if len(b) > most {
		return strconv.Quote(strings.ToValidUTF8(string(b[:most]), "") + "…")
	}
	return strconv.Quote(string(b))
}
