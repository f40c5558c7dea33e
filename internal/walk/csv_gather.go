package walk

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"footrule/internal/input"
	"footrule/internal/radio"
	"footrule/internal/site"
)

// MaxScanSpan is how far apart the times of the rows of one scan may lie: a
// passive sweep of three bands takes some 10 s (100 ms a channel, common
// practice), so rows further apart than this belong to different scans.
const MaxScanSpan = 30 * time.Second

// MaxVisitReadings is the most that one visit may have: six hours of ten scans
// a minute with 250 readings each. It bounds the memory that joining one visit
// can take.
const MaxVisitReadings = 1 << 20

// maxRepeats is the share of rows that may list a BSSID again in its scan with
// another level. Receivers do that now and then; a scan column that does not
// tell scans apart does it all the time, and must not pass for a warning.
const maxRepeats = 0.1

// fewRepeats is the count below which the share says nothing.
const fewRepeats = 20

// Tally counts what the rows of a walk.csv held and what was done with them.
type Tally struct {
	Rows     int // rows after the header
	Readings int // kept, those of unknown BSSIDs included
	Unknown  int // kept readings whose BSSID is on no radio of the site
	NoFreq   int // kept readings without a frequency
	Same     int // rows left out because they repeat a reading word for word
	Second   int // rows left out because their BSSID stands in the scan already, with another level or frequency

	SameLine, SecondLine int // where the first of them stands (or its scan, if rows were far apart)

	Outside     int    // visits outside the outline or in a void; counted when joined
	OutsideName string // the first of them
}

// ScanRows says where the rows of a scan stand.
type ScanRows struct {
	Line int       // of the first
	Last time.Time // the latest time; Scan.Time is the earliest

	heard map[radio.BSSID]int // place of each reading; made when there are many
}

// Part is a visit as far as a run of rows tells it.
type Part struct {
	Visit Visit
	Line  int        // of the first row
	Rows  []ScanRows // one for each of Visit.Scans

	byName   map[string]int // scan name to place; made when there are many
	readings int
}

// Gatherer joins rows into visits. Rows of a visit or scan need not be
// adjacent. A visit or a scan keeps the place of its first row, a scan the
// earliest time of its rows.
//
//  1. All rows of a visit agree on floor, point and coordinates.
//  2. All rows of a scan agree on the facing and the channels and lie within [MaxScanSpan].
//  3. Of a BSSID that is listed twice in a scan the first row counts: receivers
//     do list one twice. The others are counted, and beyond a tenth of all rows
//     they are an error, because then the scan column is wrong.
//  4. A scan that has readings heard something; a row that calls it empty adds
//     nothing.
//  5. A visit has at most [MaxVisitReadings] readings.
//
// To work in bounded memory, take what was gathered from time to time, keep it
// elsewhere, and join the parts of one visit with [Gatherer.Join] in the order
// in which they were taken.
type Gatherer struct {
	file  string
	site  *site.Site
	known map[radio.BSSID]int
	tally Tally

	parts []*Part
	index map[string]*Part
	cur   *Part
	scan  int // place in cur of the previous row's scan
	lastN int // readings of the previous scan, a guess for the next
	rows  int // since the last Take
}

// NewGatherer starts with no rows; file names the file in errors.
func NewGatherer(file string, s *site.Site) *Gatherer {
	return &Gatherer{file: file, site: s, known: s.RadioOf(), index: map[string]*Part{}, lastN: 8}
}

// Tally gives the counts so far.
func (g *Gatherer) Tally() Tally { return g.tally }

// Held counts the rows gathered since the last Take.
func (g *Gatherer) Held() int { return g.rows }

func (g *Gatherer) fail(line int, what, want string) error {
	return &input.Error{File: g.file, Line: line, What: what, Want: want}
}

// Add takes a row.
func (g *Gatherer) Add(r *Row) error {
	g.tally.Rows++
	g.rows++
	p := g.cur
	if p == nil || p.Visit.ID != r.Visit {
		p = g.index[r.Visit]
		if p == nil {
			p = &Part{Visit: Visit{ID: r.Visit, Point: r.Point, Floor: r.Floor, At: r.At}, Line: r.Line}
			g.parts = append(g.parts, p)
			g.index[r.Visit] = p
		}
		g.cur, g.scan = p, -1
	}
	v := &p.Visit
	if v.Floor != r.Floor || v.Point != r.Point || v.At != r.At {
		return g.moved(v, p.Line, &Visit{ID: r.Visit, Point: r.Point, Floor: r.Floor, At: r.At}, r.Line)
	}
	k := g.scan
	if k < 0 || v.Scans[k].ID != r.Scan {
		k = p.find(r.Scan)
		if k < 0 {
			k = len(v.Scans)
			v.Scans = append(v.Scans, Scan{ID: r.Scan, Time: r.Time, FacingDeg: r.FacingDeg, FreqsMHz: r.FreqsMHz})
			p.Rows = append(p.Rows, ScanRows{Line: r.Line, Last: r.Time})
			if p.byName != nil {
				p.byName[r.Scan] = k
			}
		}
		g.scan = k
	}
	sc, rows := &v.Scans[k], &p.Rows[k]
	if err := g.meet(v.ID, sc, rows, r.FacingDeg, r.FreqsMHz, r.Time, r.Time, r.Line); err != nil {
		return err
	}
	if !r.Heard {
		return nil
	}
	if sc.Readings == nil {
		sc.Readings = make([]radio.Reading, 0, g.lastN)
	}
	if g.take(sc, rows, r.Reading, r.Line) {
		g.lastN = min(max(len(sc.Readings), 4), 256)
		p.readings++
		if p.readings > MaxVisitReadings {
			return g.tooMany(v.ID, r.Line)
		}
	}
	return nil
}

func (g *Gatherer) tooMany(visit string, line int) error {
	return g.fail(line, fmt.Sprintf("visit %q has more than %d readings", visit, MaxVisitReadings), "give every stay at a point a visit of its own")
}

// take adds a reading to its scan unless its BSSID is there already.
func (g *Gatherer) take(sc *Scan, rows *ScanRows, rd radio.Reading, line int) bool {
	const many = 64
	k, found := -1, false
	if rows.heard != nil {
		k, found = rows.heard[rd.BSSID]
	} else {
		k = slices.IndexFunc(sc.Readings, func(old radio.Reading) bool { return old.BSSID == rd.BSSID })
		found = k >= 0
	}
	if found {
		if old := &sc.Readings[k]; old.RSSIDBm == rd.RSSIDBm && old.FreqMHz == rd.FreqMHz {
			if g.tally.Same == 0 {
				g.tally.SameLine = line
			}
			g.tally.Same++
		} else {
			if g.tally.Second == 0 {
				g.tally.SecondLine = line
			}
			g.tally.Second++
		}
		return false
	}
	sc.Readings = append(sc.Readings, rd)
	switch {
	case rows.heard != nil:
		rows.heard[rd.BSSID] = len(sc.Readings) - 1
	case len(sc.Readings) > many:
		rows.heard = make(map[radio.BSSID]int, 2*many)
		for i := range sc.Readings {
			rows.heard[sc.Readings[i].BSSID] = i
		}
	}
	g.tally.Readings++
	if _, ok := g.known[rd.BSSID]; !ok {
		g.tally.Unknown++
	}
	if rd.FreqMHz == 0 {
		g.tally.NoFreq++
	}
	return true
}

// meet checks more rows of a scan against those before, and widens its times.
func (g *Gatherer) meet(visit string, sc *Scan, rows *ScanRows, facing float64, freqsMHz []int, first, last time.Time, line int) error {
	if sc.FacingDeg != facing {
		return g.fail(line, fmt.Sprintf("scan %q of visit %q faces %s here and %s on line %d", sc.ID, visit, facingText(facing), facingText(sc.FacingDeg), rows.Line),
			"number the scans through the whole visit, so that each has one facing")
	}
	if !slices.Equal(sc.FreqsMHz, freqsMHz) {
		return g.fail(line, fmt.Sprintf("scan %q of visit %q listened on %s here and on %s on line %d", sc.ID, visit, channelText(freqsMHz), channelText(sc.FreqsMHz), rows.Line),
			"write the channels of a scan in each of its rows")
	}
	if first.Before(sc.Time) {
		sc.Time = first
	}
	if last.After(rows.Last) {
		rows.Last = last
	}
	if span := rows.Last.Sub(sc.Time); span > MaxScanSpan {
		return g.fail(line, fmt.Sprintf("scan %q of visit %q has rows %s apart, the first on line %d", sc.ID, visit, span.Round(time.Millisecond), rows.Line),
			fmt.Sprintf("give every scan of a visit a name of its own; the rows of one lie within %s", MaxScanSpan))
	}
	return nil
}

func channelText(freqsMHz []int) string {
	if len(freqsMHz) == 0 {
		return "all channels"
	}
	return strings.Trim(fmt.Sprint(freqsMHz), "[]") + " MHz"
}

func facingText(deg float64) string {
	if deg == NoFacing {
		return "nowhere"
	}
	return fmt.Sprintf("%g°", deg)
}

func (g *Gatherer) moved(a *Visit, aLine int, b *Visit, bLine int) error {
	what := fmt.Sprintf("visit %q is at %s here and at %s on line %d", a.ID, standText(b), standText(a), aLine)
	return g.fail(bLine, what, "give every stay at a point a visit of its own")
}

func standText(v *Visit) string {
	name := ""
	if v.Point != "" {
		name = fmt.Sprintf("point %q ", v.Point)
	}
	return fmt.Sprintf("%s(%g, %g) on floor %s", name, v.At[0], v.At[1], v.Floor)
}

// find gives the place of a scan in the part, −1 where it is new.
func (p *Part) find(scan string) int {
	const many = 16
	if p.byName != nil {
		if k, ok := p.byName[scan]; ok {
			return k
		}
		return -1
	}
	if len(p.Visit.Scans) > many {
		p.byName = make(map[string]int, 2*many)
		for i := range p.Visit.Scans {
			p.byName[p.Visit.Scans[i].ID] = i
		}
		return p.find(scan)
	}
	return slices.IndexFunc(p.Visit.Scans, func(s Scan) bool { return s.ID == scan })
}

// Take gives what was gathered, in the order of first rows, and forgets it.
func (g *Gatherer) Take() []*Part {
	out := g.parts
	g.parts, g.cur, g.rows = nil, nil, 0
	clear(g.index)
	return out
}

// Join adds to p a later part of the same visit.
func (g *Gatherer) Join(p, q *Part) error {
	v, w := &p.Visit, &q.Visit
	if v.Floor != w.Floor || v.Point != w.Point || v.At != w.At {
		return g.moved(v, p.Line, w, q.Line)
	}
	p.count()
	for i := range w.Scans {
		from, rows := &w.Scans[i], q.Rows[i]
		k := p.find(from.ID)
		if k < 0 {
			v.Scans = append(v.Scans, *from)
			p.Rows = append(p.Rows, rows)
			if p.byName != nil {
				p.byName[from.ID] = len(v.Scans) - 1
			}
			p.readings += len(from.Readings)
		} else {
			sc, at := &v.Scans[k], &p.Rows[k]
			if err := g.meet(v.ID, sc, at, from.FacingDeg, from.FreqsMHz, from.Time, rows.Last, rows.Line); err != nil {
				return err
			}
			for _, rd := range from.Readings {
				g.tally.Readings--
				if _, ok := g.known[rd.BSSID]; !ok {
					g.tally.Unknown--
				}
				if rd.FreqMHz == 0 {
					g.tally.NoFreq--
				}
				if g.take(sc, at, rd, rows.Line) {
					p.readings++
				}
			}
		}
		if p.readings > MaxVisitReadings {
			return g.tooMany(v.ID, rows.Line)
		}
	}
	return nil
}

// count sets the number of readings of a part that was not gathered here.
func (p *Part) count() {
	if p.readings > 0 {
		return
	}
	for i := range p.Visit.Scans {
		p.readings += len(p.Visit.Scans[i].Readings)
	}
}
