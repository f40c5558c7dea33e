package export

import (
	"io"
	"math"
	"path"
	"time"

	"footrule/internal/position"
	"footrule/internal/radio"
	"footrule/internal/walk"

	"github.com/parquet-go/parquet-go"
)

// readingRow is a row of readings/site=…/walk=…/part-0.parquet: a reading, or with
// no bssid a scan that heard nothing. The columns site and walk are in the path.
type readingRow struct {
	Visit     string    `parquet:"visit,dict"`
	Counts    bool      `parquet:"counts"` // false in a visit that was voided
	Point     *string   `parquet:"point,optional,dict"`
	Floor     string    `parquet:"floor,dict"`
	X         float64   `parquet:"x_m"`
	Y         float64   `parquet:"y_m"`
	Facing    *float64  `parquet:"facing_deg,optional"`
	Scan      int32     `parquet:"scan"`
	Time      time.Time `parquet:"time,timestamp(microsecond)"` // UTC
	BSSID     *string   `parquet:"bssid,optional,dict"`
	SSID      *string   `parquet:"ssid,optional,dict"`
	FreqMHz   *int32    `parquet:"freq_mhz,optional"`
	RSSI      *float64  `parquet:"rssi_dbm,optional"`
	AP        *string   `parquet:"access_point,optional,dict"` // by the newest plan
	Band      *string   `parquet:"band,optional,dict"`
	Receiver  string    `parquet:"receiver,dict"`
	Surveyor  string    `parquet:"surveyor,dict"`
	PlanRev   int64     `parquet:"plan_revision"`
	Completed bool      `parquet:"completed"`
}

// fixRow is a row of fixes/site=…/walk=…/part-0.parquet.
type fixRow struct {
	Visit    string   `parquet:"visit,dict"`
	Point    *string  `parquet:"point,optional,dict"`
	Floor    string   `parquet:"floor,dict"`
	X        float64  `parquet:"x_m"`
	Y        float64  `parquet:"y_m"`
	Facing   *float64 `parquet:"facing_deg,optional"`
	Scans    int32    `parquet:"scans"`
	FixFloor *string  `parquet:"fix_floor,optional,dict"`
	FixX     *float64 `parquet:"fix_x_m,optional"` // null where not located
	FixY     *float64 `parquet:"fix_y_m,optional"`
	Error    *float64 `parquet:"error_m,optional"`
	Bound    *float64 `parquet:"bound_m,optional"`
	Area     *string  `parquet:"area,optional,dict"`
	Method   string   `parquet:"method,dict"`
	Protocol string   `parquet:"protocol,dict"`
}

// parquetFiles are the readings and the fixes of every walk, in the folders that
// engines take for columns.
func parquetFiles(d *Data) []File {
	key := d.Key
	if key == "" {
		key = d.Site.Name
	}
	var out []File
	for i := range d.Walks {
		w := &d.Walks[i]
		part := path.Join(partition("site", key), partition("walk", w.ID), "part-0.parquet")
		out = append(out, File{path.Join("readings", part), func(to io.Writer) error { return writeTable(to, d.readingRows(w)) }})
		if d.Errors != nil {
			if rows := fixRows(d.Errors, w.ID); len(rows) > 0 {
				out = append(out, File{path.Join("fixes", part), func(to io.Writer) error {
					return writeTable(to, func(put func(fixRow) error) error {
						for _, r := range rows {
							if err := put(r); err != nil {
								return err
							}
						}
						return nil
					})
				}})
			}
		}
	}
	return out
}

// writeTable writes rows as they come, in equal row groups.
func writeTable[T any](to io.Writer, rows func(put func(T) error) error) error {
	const batch, group = 4096, 1 << 20
	w := parquet.NewGenericWriter[T](to, parquet.Compression(&parquet.Snappy), parquet.MaxRowsPerRowGroup(group), parquet.CreatedBy("footrule", "1", ""))
	held := make([]T, 0, batch)
	flush := func() error {
		_, err := w.Write(held)
		held = held[:0]
		return err
	}
	err := rows(func(r T) error {
		if held = append(held, r); len(held) == batch {
			return flush()
		}
		return nil
	})
	if err == nil {
		err = flush()
	}
	if err != nil {
		return err
	}
	return w.Close()
}

func (d *Data) readingRows(w *walk.Walk) func(put func(readingRow) error) error {
	refs, radios := d.Site.Radios(), d.Site.RadioOf()
	return func(put func(readingRow) error) error {
		counts := map[*walk.Visit]bool{}
		for _, v := range w.Standing() {
			counts[v] = true
		}
		for i := range w.Visits {
			v := &w.Visits[i]
			for j := range v.Scans {
				sc := &v.Scans[j]
				row := readingRow{Visit: v.ID, Counts: counts[v], Point: text(v.Point), Floor: v.Floor, X: v.At[0], Y: v.At[1], Facing: facing(sc.FacingDeg),
					Scan: int32(j + 1), Time: sc.Time, Receiver: w.Receiver, Surveyor: w.Surveyor, PlanRev: int64(w.PlanRev), Completed: w.Completed}
				if len(sc.Readings) == 0 {
					if err := put(row); err != nil {
						return err
					}
				}
				for _, r := range sc.Readings {
					one := row
					one.BSSID, one.SSID, one.RSSI = text(r.BSSID.String()), text(walk.SSIDText(r.SSID)), &r.RSSIDBm
					if r.FreqMHz != 0 {
						f := int32(r.FreqMHz)
						one.FreqMHz = &f
					}
					if band, ok := radio.BandOf(r.FreqMHz); ok {
						one.Band = text(string(band))
					}
					if k, ours := radios[r.BSSID]; ours {
						ap := &d.Site.AccessPoints[refs[k].AP]
						one.AP, one.Band = &ap.ID, text(string(ap.Radios[refs[k].Radio].Band))
					}
					if err := put(one); err != nil {
						return err
					}
				}
			}
		}
		return nil
	}
}

func fixRows(e *position.Errors, walkID string) []fixRow {
	var out []fixRow
	for i := range e.Judged {
		j := &e.Judged[i]
		if j.Walk != walkID {
			continue
		}
		r := fixRow{Visit: j.Visit, Point: text(j.Point), Floor: j.Floor, X: j.At[0], Y: j.At[1], Facing: facing(j.FacingDeg), Scans: int32(j.Scans),
			Bound: real(j.BoundM), Area: text(j.Area), Method: string(e.Method), Protocol: string(e.Protocol)}
		if j.Fix.Located {
			r.FixFloor, r.FixX, r.FixY, r.Error = text(j.FixFloor), &j.Fix.At[0], &j.Fix.At[1], real(j.ErrorM)
		}
		out = append(out, r)
	}
	return out
}

func text(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

func real(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
