package export

import (
	"bufio"
	"encoding/hex"
	"encoding/json"
	"io"
	"time"
	"unicode/utf8"

	"footrule/internal/walk"
)

// The records of JSON Lines, each with its kind in "record" and the names of
// what it belongs to. Null is what is not known.
type (
	lineSite struct {
		Record   string `json:"record"`
		Format   string `json:"format"`
		Site     string `json:"site"`
		Revision uint64 `json:"plan_revision"`
		Networks Hiding `json:"networks"`
	}
	lineWalk struct {
		Record    string       `json:"record"`
		ID        string       `json:"walk"`
		Name      string       `json:"name"`
		Surveyor  string       `json:"surveyor"`
		Receiver  string       `json:"receiver"`
		Adapter   string       `json:"adapter"`
		Source    walk.Source  `json:"source"`
		Started   time.Time    `json:"started"`
		PlanRev   uint64       `json:"plan_revision"`
		Settings  lineSettings `json:"settings"`
		Digest    string       `json:"digest"`
		Seed      uint64       `json:"seed"`
		Program   string       `json:"program"`
		Completed bool         `json:"completed"`
	}
	lineSettings struct {
		FacingsDeg     []float64 `json:"facings_deg"`
		ScansPerFacing int       `json:"scans_per_facing"`
		Need           int       `json:"need"`
		ThresholdDBm   float64   `json:"threshold_dbm"`
	}
	lineVisit struct {
		Record string  `json:"record"`
		Walk   string  `json:"walk"`
		ID     string  `json:"visit"`
		Seq    int     `json:"seq"`
		Point  string  `json:"point"`
		Floor  string  `json:"floor"`
		X      float64 `json:"x_m"`
		Y      float64 `json:"y_m"`
		Counts bool    `json:"counts"` // false for one that was voided
	}
	lineScan struct {
		Record   string    `json:"record"`
		Walk     string    `json:"walk"`
		Visit    string    `json:"visit"`
		N        int       `json:"scan"` // place in its visit, from 1
		Name     string    `json:"name"`
		Time     time.Time `json:"time"`
		Facing   *float64  `json:"facing_deg"`
		Listened []int     `json:"listened_mhz"`
		Stale    int       `json:"dropped_stale"`
		Readings int       `json:"readings"`
	}
	lineReading struct {
		Record    string  `json:"record"`
		Walk      string  `json:"walk"`
		Visit     string  `json:"visit"`
		Scan      int     `json:"scan"`
		BSSID     string  `json:"bssid"`
		SSID      string  `json:"ssid"`
		SSIDHex   string  `json:"ssid_hex,omitempty"` // its octets, where it is no UTF-8
		FreqMHz   *int    `json:"freq_mhz"`
		RSSI      float64 `json:"rssi_dbm"`
		Indicator int     `json:"max_bssid_indicator,omitempty"`
	}
	lineMark struct {
		Record string        `json:"record"`
		Walk   string        `json:"walk"`
		Seq    int           `json:"seq"`
		Time   time.Time     `json:"time"`
		Kind   walk.MarkKind `json:"kind"`
		Target string        `json:"target"`
		Reason string        `json:"reason"`
		Undo   bool          `json:"undo"`
	}
)

// LinesFormat is what the first line of JSON Lines calls itself.
const LinesFormat = "footrule-lines/1"

// writeLines writes all walks: a walk, its visits, the scans of each, the readings
// of each, and its marks.
func (d *Data) writeLines(w io.Writer) error {
	b := bufio.NewWriter(w)
	e := json.NewEncoder(b)
	e.SetEscapeHTML(false)
	put := e.Encode
	err := put(lineSite{"site", LinesFormat, d.Site.Name, d.Rev, d.hiding()})
	for i := range d.Walks {
		if err == nil {
			err = putWalk(put, &d.Walks[i])
		}
	}
	if err != nil {
		return err
	}
	return b.Flush()
}

func (d *Data) hiding() Hiding {
	if d.Hidden == "" {
		return Keep
	}
	return d.Hidden
}

func headOf(h *walk.Header) lineWalk {
	s := h.Settings
	return lineWalk{"walk", h.ID, h.Name, h.Surveyor, h.Receiver, h.Adapter, h.Source, h.Started, h.PlanRev,
		lineSettings{s.FacingsDeg, s.ScansPerFacing, s.Need, s.ThresholdDBm}, h.Digest, h.Seed, h.Program, h.Completed}
}

func putWalk(put func(any) error, w *walk.Walk) error {
	if err := put(headOf(&w.Header)); err != nil {
		return err
	}
	counts := map[*walk.Visit]bool{}
	for _, v := range w.Standing() {
		counts[v] = true
	}
	for i := range w.Visits {
		v := &w.Visits[i]
		if err := put(lineVisit{"visit", w.ID, v.ID, v.Seq, v.Point, v.Floor, v.At[0], v.At[1], counts[v]}); err != nil {
			return err
		}
		for j := range v.Scans {
			sc := &v.Scans[j]
			if err := put(lineScan{"scan", w.ID, v.ID, j + 1, sc.ID, sc.Time, facing(sc.FacingDeg), sc.FreqsMHz, sc.DroppedStale, len(sc.Readings)}); err != nil {
				return err
			}
			for _, r := range sc.Readings {
				l := lineReading{Record: "reading", Walk: w.ID, Visit: v.ID, Scan: j + 1, BSSID: r.BSSID.String(), SSID: r.SSID, RSSI: r.RSSIDBm, Indicator: r.MaxBSSIDIndicator}
				if !utf8.ValidString(r.SSID) {
					l.SSID, l.SSIDHex = walk.SSIDText(r.SSID), hex.EncodeToString([]byte(r.SSID))
				}
				if r.FreqMHz != 0 {
					l.FreqMHz = &r.FreqMHz
				}
				if err := put(l); err != nil {
					return err
				}
			}
		}
	}
	for _, m := range w.Marks {
		if err := put(markOf(w.ID, m)); err != nil {
			return err
		}
	}
	return nil
}

func markOf(id string, m walk.Mark) lineMark {
	return lineMark{"mark", id, m.Seq, m.Time, m.Kind, m.Target, m.Reason, m.Undo}
}

func facing(deg float64) *float64 {
	if deg == walk.NoFacing {
		return nil
	}
	return &deg
}
