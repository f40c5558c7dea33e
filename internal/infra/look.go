package infra

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"footrule/internal/site"
)

// Rules of the trade, all common practice.
const (
	Headroom       = 0.20 // of a switch's power budget, kept free
	Throughput     = 0.65 // of the PHY rate that reaches the cable
	Oversubscribed = 20.0 // access points' demand to uplink
	NearlyFull     = 0.80 // of a port's speed: from here a port is called borderline
	slackM         = 3.0  // of a cable, for the loops at both ends, where its length is estimated
)

// Limits of a cable (ISO/IEC 11801, TIA-568).
const (
	LinkM  = 90.0 // permanent link
	CordsM = 10.0 // both ends together
)

// look is a site with what the checks share.
type look struct {
	site      *site.Site
	infra     site.Infra
	feeds     []feed
	unpatched []string
	proof     bool
}

// feed is an access point and what it hangs on.
type feed struct {
	ap       *site.AccessPoint
	sw       *site.Switch    // nil where it is on none
	port     int             // 0 where it is on none
	group    *site.PortGroup // nil where it is on none
	proposed bool
	len      length
	demand   *float64 // Mbit/s that reach the cable; nil where unknown
	rates    string   // how demand came about
	lacks    []string // keys that demand needs
}

// length is that of a permanent link in metres.
type length struct {
	known    bool
	measured bool
	m        float64
	least    float64 // no cable between the two can be shorter
}

// survey lines up every access point with its switch, port and cable, and
// proposes a patching where the file leaves it open.
func survey(s *site.Site) *look {
	l := &look{site: s, proof: true}
	if s.Infra != nil {
		l.infra = *s.Infra
	}
	for i := range s.AccessPoints {
		f := feed{ap: &s.AccessPoints[i]}
		if d := f.ap.Drop; d != nil && d.Switch != "" {
			f.sw = l.infra.Switch(d.Switch)
			if d.Port != nil {
				f.port, f.group = *d.Port, f.sw.Port(*d.Port)
			}
		}
		f.demand, f.rates, f.lacks = demandOf(f.ap)
		l.feeds = append(l.feeds, f)
	}
	l.propose()
	for i := range l.feeds {
		f := &l.feeds[i]
		f.len = l.lengthOf(f, f.sw)
	}
	return l
}

// demandOf is what the radios of an access point can bring onto its cable.
func demandOf(ap *site.AccessPoint) (mbps *float64, rates string, lacks []string) {
	sum, each := 0.0, []string{}
	for _, r := range ap.Radios {
		p := r.PHY
		if p == nil {
			p = &site.PHY{}
		}
		lacking := false
		for _, k := range []struct {
			key  string
			none bool
		}{{"standard", p.Standard == ""}, {"width_mhz", p.WidthMHz == nil}, {"spatial_streams", p.Streams == nil}} {
			if k.none {
				lacking = true
				if !slices.Contains(lacks, k.key) {
					lacks = append(lacks, k.key)
				}
			}
		}
		if lacking {
			continue
		}
		rate, mcs, err := TopRate(p.Standard, *p.WidthMHz, *p.Streams)
		if err != nil { // the rules of site allow no such radio
			lacks = append(lacks, err.Error())
			continue
		}
		sum += rate
		each = append(each, fmt.Sprintf("%s %d MHz %d streams MCS %d %.0f", p.Standard, *p.WidthMHz, *p.Streams, mcs, rate))
	}
	if len(lacks) > 0 {
		return nil, "", lacks
	}
	v := Throughput * sum
	return &v, strings.Join(each, ", "), nil
}

// closetOf is where the cable of an access point ends: as its drop says, else
// where its switch is, else the only closet there is; nil where unknown.
func (l *look) closetOf(f *feed, sw *site.Switch) *site.Closet {
	switch d := f.ap.Drop; {
	case d != nil && d.Closet != "":
		return l.infra.Closet(d.Closet)
	case sw != nil && sw.Closet != "":
		return l.infra.Closet(sw.Closet)
	case len(l.infra.Closets) == 1:
		return &l.infra.Closets[0]
	}
	return nil
}

// lengthOf is the length of the permanent link of an access point to a switch:
// as its drop says, else estimated from the plan along both axes, with the rise
// to the access point and a slack of 3 m (common practice).
func (l *look) lengthOf(f *feed, sw *site.Switch) length {
	c := l.closetOf(f, sw)
	least, along := 0.0, math.NaN()
	if c != nil && c.At != nil {
		dx, dy := math.Abs(f.ap.At[0]-c.At[0]), math.Abs(f.ap.At[1]-c.At[1])
		dz := 0.0
		if a, b := l.site.Floor(f.ap.Floor), l.site.Floor(c.Floor); a != nil && b != nil {
			dz = math.Abs(a.ElevationM - b.ElevationM)
		}
		least = math.Sqrt(dx*dx + dy*dy + dz*dz)
		along = dx + dy + dz + math.Max(0, f.ap.HeightM) + slackM
	}
	if d := f.ap.Drop; d != nil && d.LinkM != nil {
		return length{known: true, measured: true, m: *d.LinkM, least: *d.LinkM}
	}
	if math.IsNaN(along) {
		return length{}
	}
	return length{known: true, m: along, least: least}
}

// channelM is the length that power has to go: link and cords, by the standard
// where they are not known.
func (f *feed) channelM() (metres float64, how string) {
	cords, text := CordsM, ""
	if d := f.ap.Drop; d != nil && d.PatchM != nil {
		cords = *d.PatchM
	}
	switch {
	case !f.len.known:
		return ChannelM, "a channel of 100 m, its length is not known"
	case !f.len.measured:
		text = "about "
	}
	return f.len.m + cords, fmt.Sprintf("%s%.0f m", text, f.len.m+cords)
}

// patching lists what is patched to what.
func (l *look) patching() []Patch {
	out := []Patch{}
	for i := range l.feeds {
		f := &l.feeds[i]
		if f.port == 0 {
			continue
		}
		p := Patch{AP: f.ap.ID, Switch: f.sw.ID, Port: f.port, Measured: f.len.measured, Proposed: f.proposed}
		if f.len.known {
			m := f.len.m
			p.LengthM = &m
		}
		out = append(out, p)
	}
	return out
}

// missing gathers what is not known of several things: one finding for each
// thing that has to be said, in the order of first appearance.
type missing struct {
	texts    []string
	subjects map[string][]string
}

func (m *missing) add(subject, text string) {
	if m.subjects == nil {
		m.subjects = map[string][]string{}
	}
	if _, seen := m.subjects[text]; !seen {
		m.texts = append(m.texts, text)
		m.subjects[text] = nil
	}
	if subject != "" {
		m.subjects[text] = append(m.subjects[text], subject)
	}
}

func (m *missing) findings() []Finding {
	var out []Finding
	for _, t := range m.texts {
		out = append(out, Finding{Subjects: m.subjects[t], Status: Unknown, Text: t})
	}
	return out
}

// judged is a finding on one thing from a number and its limit.
func judged(subject string, status Status, have, limit float64, unit, text string) Finding {
	f := Finding{Status: status, Have: &have, Limit: &limit, Unit: unit, Text: text}
	if subject != "" {
		f.Subjects = []string{subject}
	}
	return f
}

// feedByFeed makes a check of what is judged for one access point after the
// other; what is missing comes last, together.
func feedByFeed(judge func(f *feed, m *missing) []Finding) func(*look) []Finding {
	return func(l *look) []Finding {
		var out []Finding
		var m missing
		for i := range l.feeds {
			out = append(out, judge(&l.feeds[i], &m)...)
		}
		return append(out, m.findings()...)
	}
}
