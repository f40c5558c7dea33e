package site

import (
	"bytes"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/paulmach/orb"
)

// Write writes the site as a site.toml that [Read] turns back into an equal
// site; equal sites give equal bytes. A site that is not valid is not written.
func Write(w io.Writer, s *Site) error {
	if err := s.Validate(); err != nil {
		return err
	}
	var b bytes.Buffer
	key := func(name, value string) { b.WriteString(name + " = " + value + "\n") }
	table := func(name string) { b.WriteString("\n[[" + name + "]]\n") }
	key("format", quote(Format))
	key("name", quote(s.Name))
	key("receiver_height_m", number(s.ReceiverHeightM))
	for _, f := range s.Floors {
		table("floor")
		key("id", quote(f.ID))
		if f.Name != "" {
			key("name", quote(f.Name))
		}
		key("elevation_m", number(f.ElevationM))
		key("outline", corners(f.Outline))
		for _, w := range f.Walls {
			table("floor.wall")
			key("material", quote(w.Material))
			key("line", corners(w.Line))
		}
		for _, a := range f.Areas {
			table("floor.area")
			key("id", quote(a.ID))
			key("kind", quote(string(a.Kind)))
			key("polygon", corners(a.Polygon))
		}
		for _, p := range f.Points {
			table("floor.point")
			key("id", quote(p.ID))
			key("at", place(p.At))
		}
		if d := f.Drawing; d != nil {
			b.WriteString("\n[floor.drawing]\n")
			key("file", quote(d.File))
			key("kind", quote(string(d.Kind)))
			key("origin", place(d.Origin))
			key("metres_per_unit", number(d.MetresPerUnit))
			if d.TurnDeg != 0 {
				key("turn_deg", number(d.TurnDeg))
			}
			if d.Picture != "" {
				key("sha256", quote(d.Picture))
			}
		}
		for _, t := range f.Taped {
			table("floor.taped")
			key("from", t.From.toml())
			key("to", t.To.toml())
			key("distance_m", number(t.DistanceM))
		}
	}
	for _, ap := range s.AccessPoints {
		table("access_point")
		key("id", quote(ap.ID))
		key("floor", quote(ap.Floor))
		key("at", place(ap.At))
		key("height_m", number(ap.HeightM))
		for _, r := range ap.Radios {
			table("access_point.radio")
			key("band", quote(string(r.Band)))
			if len(r.BSSIDs) > 0 {
				ids := make([]string, len(r.BSSIDs))
				for i, id := range r.BSSIDs {
					ids[i] = quote(id.String())
				}
				key("bssids", "["+strings.Join(ids, ", ")+"]")
			}
			if r.TxPowerDBm != nil {
				key("tx_power_dbm", number(*r.TxPowerDBm))
			}
			if r.Antenna != nil {
				b.WriteString("[access_point.radio.antenna]\n")
				for _, k := range r.Antenna.keys() {
					if *k.value != 0 {
						key(k.name, number(*k.value))
					}
				}
			}
			writePHY(&b, r.PHY)
		}
		writePower(&b, ap.Power)
		writeDrop(&b, ap.Drop)
	}
	writeInfra(&b, s.Infra)
	writeAnswers(&b, s.Answers)
	_, err := w.Write(b.Bytes())
	return err
}

// quote makes a TOML basic string of printable text.
func quote(s string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(s) + `"`
}

// number is the shortest decimal that reads back as v.
func number(v float64) string { return strconv.FormatFloat(v+0, 'f', -1, 64) }

func place(p orb.Point) string { return "[" + number(p[0]) + ", " + number(p[1]) + "]" }

func corners[S ~[]orb.Point](c S) string {
	out := make([]string, len(c))
	for i, p := range c {
		out[i] = place(p)
	}
	return "[" + strings.Join(out, ", ") + "]"
}

// Clone copies a site so deeply that the copy shares nothing with it.
func (s *Site) Clone() *Site {
	out := *s
	out.Floors = slices.Clone(s.Floors)
	for i := range out.Floors {
		f := &out.Floors[i]
		f.Outline = slices.Clone(f.Outline)
		f.Walls = slices.Clone(f.Walls)
		for k := range f.Walls {
			f.Walls[k].Line = slices.Clone(f.Walls[k].Line)
		}
		f.Areas = slices.Clone(f.Areas)
		for k := range f.Areas {
			f.Areas[k].Polygon = slices.Clone(f.Areas[k].Polygon)
		}
		f.Points = slices.Clone(f.Points)
		f.Taped = slices.Clone(f.Taped)
		if f.Drawing != nil {
			d := *f.Drawing
			f.Drawing = &d
		}
	}
	out.AccessPoints = slices.Clone(s.AccessPoints)
	for i := range out.AccessPoints {
		ap := &out.AccessPoints[i]
		ap.Radios = slices.Clone(ap.Radios)
		for k := range ap.Radios {
			r := &ap.Radios[k]
			r.BSSIDs = slices.Clone(r.BSSIDs)
			if r.TxPowerDBm != nil {
				v := *r.TxPowerDBm
				r.TxPowerDBm = &v
			}
			if r.Antenna != nil {
				a := *r.Antenna
				r.Antenna = &a
			}
			r.PHY = r.PHY.clone()
		}
		ap.Power, ap.Drop = ap.Power.clone(), ap.Drop.clone()
	}
	out.Infra, out.Answers = s.Infra.clone(), slices.Clone(s.Answers)
	return &out
}
