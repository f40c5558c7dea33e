package draft

import (
	"fmt"
	"strconv"
	"strings"

	"footrule/internal/radio"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// Property is one thing that can be said of a Ref in words.
type Property struct {
	Name  string
	Value string
}

// Properties lists what can be said of a thing, nil where there is no such thing.
func (d *Draft) Properties(r Ref) []Property {
	if place(d.plan, r) == nil {
		return nil
	}
	f := &d.plan.Floors[r.Floor]
	number := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
	switch r.Kind {
	case AP:
		ap := &d.plan.AccessPoints[r.Index]
		out := []Property{{"id", ap.ID}, {"height_m", number(ap.HeightM)}}
		var bands []string
		for _, rd := range ap.Radios {
			bands = append(bands, string(rd.Band))
		}
		out = append(out, Property{"bands", strings.Join(bands, " ")})
		for _, rd := range ap.Radios {
			var ids []string
			for _, b := range rd.BSSIDs {
				ids = append(ids, b.String())
			}
			out = append(out, Property{"bssids " + string(rd.Band), strings.Join(ids, " ")})
		}
		return out
	case Point:
		return []Property{{"id", f.Points[r.Index].ID}}
	case Wall:
		return []Property{{"material", f.Walls[r.Index].Material}}
	case Area:
		a := &f.Areas[r.Index]
		return []Property{{"id", a.ID}, {"kind", string(a.Kind)}}
	}
	return []Property{{"id", f.ID}, {"name", f.Name}, {"elevation_m", number(f.ElevationM)}}
}

// Set says something of a thing: the name of one of its properties and a value.
func (d *Draft) Set(r Ref, name, value string) error {
	value = strings.TrimSpace(value)
	return d.step(func(s *site.Site) error {
		if place(s, r) == nil {
			return errGone
		}
		f := &s.Floors[r.Floor]
		number := func(to *float64) error {
			v, err := strconv.ParseFloat(value, 64)
			if err != nil {
				return fmt.Errorf("%q is no number; write metres, such as 2.8", value)
			}
			*to = v
			return nil
		}
		switch {
		case r.Kind == AP && name == "id":
			s.AccessPoints[r.Index].ID = value
		case r.Kind == AP && name == "height_m":
			return number(&s.AccessPoints[r.Index].HeightM)
		case r.Kind == AP && name == "bands":
			return setBands(&s.AccessPoints[r.Index], value)
		case r.Kind == AP && strings.HasPrefix(name, "bssids "):
			return setBSSIDs(&s.AccessPoints[r.Index], radio.Band(strings.TrimPrefix(name, "bssids ")), value)
		case r.Kind == Point && name == "id":
			f.Points[r.Index].ID = value
		case r.Kind == Wall && name == "material":
			f.Walls[r.Index].Material = value
		case r.Kind == Area && name == "id":
			f.Areas[r.Index].ID = value
		case r.Kind == Area && name == "kind":
			f.Areas[r.Index].Kind = site.AreaKind(value)
		case r.Kind == Outline && name == "id":
			for i := range s.AccessPoints {
				if s.AccessPoints[i].Floor == f.ID {
					s.AccessPoints[i].Floor = value
				}
			}
			f.ID = value
		case r.Kind == Outline && name == "name":
			f.Name = value
		case r.Kind == Outline && name == "elevation_m":
			return number(&f.ElevationM)
		default:
			return fmt.Errorf("a %s has no %s", r.Kind, name)
		}
		return nil
	})
}

// setBands gives an access point one radio a band; those it has keep what is
// known of them.
func setBands(ap *site.AccessPoint, value string) error {
	var out []site.Radio
	for _, b := range strings.Fields(value) {
		band := radio.Band(b)
		kept := false
		for _, r := range ap.Radios {
			if r.Band == band {
				out, kept = append(out, r), true
			}
		}
		if !kept {
			out = append(out, site.Radio{Band: band})
		}
	}
	if len(out) == 0 {
		return fmt.Errorf("an access point needs a band; write 2.4, 5 or 6, or several with blanks")
	}
	ap.Radios = out
	return nil
}

func setBSSIDs(ap *site.AccessPoint, band radio.Band, value string) error {
	for i := range ap.Radios {
		if ap.Radios[i].Band != band {
			continue
		}
		var ids []radio.BSSID
		for _, f := range strings.Fields(value) {
			b, err := radio.ParseBSSID(f)
			if err != nil {
				return fmt.Errorf("%q is no BSSID; write it like 02:00:5e:10:01:00, several with blanks", f)
			}
			ids = append(ids, b)
		}
		ap.Radios[i].BSSIDs = ids
		return nil
	}
	return fmt.Errorf("%s has no radio at %s GHz", ap.ID, band)
}

// LengthM is how long a wall is, or the way around an outline or area.
func LengthM(line []orb.Point, closed bool) float64 {
	sum := 0.0
	for i := 1; i < len(line); i++ {
		sum += planar.Distance(line[i-1], line[i])
	}
	if n := len(line); closed && n > 2 {
		sum += planar.Distance(line[n-1], line[0])
	}
	return sum
}
