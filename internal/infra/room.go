package infra

import (
	"fmt"

	"footrule/internal/say"
	"footrule/internal/site"
)

// Above MayStandAlone access points, control of each by itself is doubted, and
// above MustBeCentral it fails (common practice: five to ten).
const (
	MayStandAlone = 5
	MustBeCentral = 10
)

func rackSpace(l *look) []Finding {
	var out []Finding
	var m missing
	if len(l.infra.Closets) == 0 {
		m.add("", "there is no [[closet]]")
	}
	for i := range l.infra.Switches {
		if s := &l.infra.Switches[i]; !s.Mounted && s.Closet == "" {
			m.add(s.ID, "add closet to [[switch]], or mounted = true")
		}
	}
	for i := range l.infra.Closets {
		c := &l.infra.Closets[i]
		sum, n := 0, 0
		var open []string
		for k := range l.infra.Switches {
			s := &l.infra.Switches[k]
			if s.Closet != c.ID || s.Mounted {
				continue
			}
			n++
			if s.RackUnits == nil {
				open = append(open, "rack_units of "+s.ID)
				continue
			}
			sum += *s.RackUnits
		}
		if n == 0 {
			out = append(out, Finding{Subjects: []string{c.ID}, Status: Holds, Text: "nothing is still to be mounted"})
			continue
		}
		if c.RackUnitsFree == nil {
			m.add(c.ID, fmt.Sprintf("add rack_units_free to [[closet]]; still to be mounted: %d", n))
			continue
		}
		f := judged(c.ID, Holds, float64(sum), float64(*c.RackUnitsFree), "rack units", fmt.Sprintf("what is still to be mounted takes %s, and %s free", say.Count(sum, "unit"), verbed(*c.RackUnitsFree, "unit", "is", "are")))
		switch {
		case sum > *c.RackUnitsFree:
			f.Status = Fails
			f.Text += fmt.Sprintf(": short of %s", say.Count(sum-*c.RackUnitsFree, "unit"))
		case len(open) > 0:
			f.Status, f.Have = Unknown, nil
			f.Text += "; not known: " + some(open)
		}
		out = append(out, f)
	}
	return append(out, m.findings()...)
}

func controlKind(l *look) []Finding {
	n := len(l.feeds)
	c := l.infra.Control
	if c == nil {
		return []Finding{{Status: Unknown, Text: "there is no [control]"}}
	}
	f := judged("", Holds, float64(n), MustBeCentral, "access points", fmt.Sprintf("%s under %s control", say.Count(n, "access point"), c.Kind))
	if c.Kind == site.Central {
		f.Limit = nil
		return []Finding{f}
	}
	switch {
	case n > MustBeCentral:
		f.Status = Fails
		f.Text += ", which is usual up to 5, at most 10"
	case n > MayStandAlone:
		f.Status = Doubtful
		f.Text += ", which is usual up to 5"
	}
	return []Finding{f}
}

func controlCapacity(l *look) []Finding {
	c := l.infra.Control
	switch {
	case c == nil:
		return []Finding{{Status: Unknown, Text: "there is no [control]"}}
	case c.AccessPoints == nil && c.Kind == site.Central:
		return []Finding{{Status: Unknown, Text: "add max_access_points to [control]"}}
	case c.AccessPoints == nil:
		return nil // nothing stands above access points that stand alone
	}
	return []Finding{carried(len(l.feeds), *c.AccessPoints, "access point", "control")}
}

func licences(l *look) []Finding {
	c := l.infra.Control
	if c == nil || c.Licences == nil {
		return []Finding{{Status: Unknown, Text: "add licences to [control]; 0 would mean none"}}
	}
	return []Finding{carried(len(l.feeds), *c.Licences, "access point", "licences")}
}

func trackedDevices(l *look) []Finding {
	x := l.infra.Location
	switch {
	case x == nil:
		return []Finding{{Status: Unknown, Text: "there is no [location]"}}
	case x.Expected == nil || x.Capacity == nil:
		return []Finding{{Status: Unknown, Text: "add expected_devices and max_devices to [location]"}}
	}
	return []Finding{carried(*x.Expected, *x.Capacity, "tracked device", "a service")}
}

// carried judges a number of things by how many there is room for.
func carried(n, most int, noun, what string) Finding {
	f := judged("", Holds, float64(n), float64(most), noun+"s", fmt.Sprintf("%s, and %s for %d", say.Count(n, noun), what, most))
	if n > most {
		f.Status = Fails
		f.Text += fmt.Sprintf(": short of %d", n-most)
	}
	return f
}
