package site

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

// Limits of what is believed of the infrastructure; see those of the plan.
const (
	MaxPorts       = 1000  // of one switch
	MaxSpeedMbps   = 400e3 // of a port or an uplink
	MinSpeedMbps   = 10.0
	MaxBudgetW     = 50e3 // of one switch
	MaxAPPowerW    = 200.0
	MaxCableM      = 5e3  // far beyond every standard: what is too long is a finding, no slip
	MaxRackUnits   = 100  // of one closet or switch
	MaxDevices     = 1e8  // tracked, managed or licensed
	MaxAnswer      = 1000 // characters
	MaxUplinks     = 64
	MaxChains      = 16 // of one radio
	minAnsweredEra = 2000
)

func (c *checker) infra() {
	n := c.site.Infra.list()
	closets := map[string]int{}
	for i := range n.Closets {
		x := &n.Closets[i]
		r := ref{table: "closet", item: i, elem: -1}
		what := fmt.Sprintf("closet %q", clip(x.ID))
		c.id(r.with("id"), fmt.Sprintf("closet %d", i+1), x.ID)
		c.once(r.with("id"), closets, "closets", x.ID, i)
		if c.site.FloorIndex(x.Floor) < 0 {
			c.far(r.with("floor"), fmt.Sprintf("%s is on floor %q, which is not there", what, clip(x.Floor)), c.floors())
		}
		if x.At != nil {
			c.coordinates(r.with("at"), what, *x.At)
		}
		between(c, r.with("rack_units_free"), "rack_units_free of "+what, x.RackUnitsFree, 0, MaxRackUnits, "rack units")
	}
	switches := map[string]int{}
	for i := range n.Switches {
		c.networkSwitch(i, closets, switches)
	}
	if x := n.Control; x != nil {
		r := ref{table: "control", elem: -1}
		if x.Kind != Central && x.Kind != StandAlone {
			c.at(r.with("management"), fmt.Sprintf("management is %q", clip(string(x.Kind))), `write "central" or "stand-alone"`)
		}
		between(c, r.with("max_access_points"), "max_access_points", x.AccessPoints, 0, MaxDevices, "access points")
		between(c, r.with("licences"), "licences", x.Licences, 0, MaxDevices, "access points")
	}
	if x := n.Location; x != nil {
		r := ref{table: "location", elem: -1}
		between(c, r.with("expected_devices"), "expected_devices", x.Expected, 0, MaxDevices, "devices")
		between(c, r.with("max_devices"), "max_devices", x.Capacity, 0, MaxDevices, "devices")
	}
	c.patching()
}

func (c *checker) networkSwitch(i int, closets, switches map[string]int) {
	s := &c.site.Infra.Switches[i]
	r := ref{table: "switch", item: i, elem: -1}
	what := fmt.Sprintf("switch %q", clip(s.ID))
	c.id(r.with("id"), fmt.Sprintf("switch %d", i+1), s.ID)
	c.once(r.with("id"), switches, "switches", s.ID, i)
	if _, there := closets[s.Closet]; s.Closet != "" && !there {
		c.far(r.with("closet"), fmt.Sprintf("%s is in closet %q, which is not there", what, clip(s.Closet)), "add it as a [[closet]], or correct its ID")
	}
	between(c, r.with("rack_units"), "rack_units of "+what, s.RackUnits, 0, MaxRackUnits, "rack units")
	between(c, r.with("power_budget_w"), "power_budget_w of "+what, s.PowerBudgetW, 0, MaxBudgetW, "watts")
	between(c, r.with("power_used_w"), "power_used_w of "+what, s.PowerUsedW, 0, MaxBudgetW, "watts")
	between(c, r.with("uplinks"), "uplinks of "+what, s.Uplinks, 0, MaxUplinks, "uplinks")
	between(c, r.with("uplink_mbps"), "uplink_mbps of "+what, s.UplinkMbps, MinSpeedMbps, MaxSpeedMbps, "Mbit/s")
	if len(s.Ports) == 0 {
		c.at(r.with("ports"), what+" has no ports", "add [[switch.ports]] with count")
		return
	}
	sound := true
	for k := range s.Ports {
		g := &s.Ports[k]
		r := ref{table: "ports", item: i, radio: k, elem: -1}
		what := fmt.Sprintf("ports %d of switch %q", k+1, clip(s.ID))
		sound = between(c, r.with("count"), "count of "+what, &g.Count, 1, MaxPorts, "ports") && sound
		between(c, r.with("speed_mbps"), "speed_mbps of "+what, g.SpeedMbps, MinSpeedMbps, MaxSpeedMbps, "Mbit/s")
		between(c, r.with("class"), "class of "+what, g.Class, 0, MaxPowerClass, "a class of IEEE 802.3")
		most, known := mostClass[g.Power]
		switch {
		case !known && g.Power != PowerUnknown && g.Power != PowerNone:
			c.at(r.with("power"), fmt.Sprintf("power of %s is %q", what, clip(string(g.Power))), `write "none", "802.3af", "802.3at" or "802.3bt"`)
		case g.Power == PowerNone && g.Class != nil:
			c.at(r.with("class"), fmt.Sprintf("%s give no power, and class %d", what, *g.Class), "leave one of them out")
		case known && g.Class != nil && *g.Class > most:
			c.at(r.with("class"), fmt.Sprintf("%s give class %d, and by %s at most %d", what, *g.Class, g.Power, most), "correct one of them")
		}
	}
	if n := s.PortCount(); sound && n > MaxPorts {
		c.at(r, fmt.Sprintf("%s has %d ports", what, n), fmt.Sprintf("write at most %d", MaxPorts))
	} else if sound {
		seen := map[int]bool{}
		for k, p := range s.Taken {
			switch {
			case p < 1 || p > n:
				c.at(r.with("taken").element(k), fmt.Sprintf("port %d of %s is taken, which has ports 1 to %d", p, what, n), "correct the number")
				return
			case seen[p]:
				c.at(r.with("taken").element(k), fmt.Sprintf("port %d of %s is taken twice", p, what), "list it once")
				return
			}
			seen[p] = true
		}
	}
}

// patching checks that every port serves one thing.
func (c *checker) patching() {
	type socket struct {
		sw   string
		port int
	}
	holder := map[socket]string{}
	n := c.site.Infra.list()
	for i := range c.site.AccessPoints {
		ap := &c.site.AccessPoints[i]
		d := ap.Drop
		if d == nil {
			continue
		}
		r := ref{table: "drop", item: i, elem: -1}
		what := fmt.Sprintf("access point %q", clip(ap.ID))
		if d.Closet != "" && n.Closet(d.Closet) == nil {
			c.far(r.with("closet"), fmt.Sprintf("the cable of %s ends in closet %q, which is not there", what, clip(d.Closet)), "add it as a [[closet]], or correct its ID")
		}
		if d.Switch == "" {
			if d.Port != nil {
				c.at(r.with("port"), fmt.Sprintf("%s is on a port of no switch", what), `add switch = "SW-1"`)
			}
			continue
		}
		s := n.Switch(d.Switch)
		if s == nil {
			c.far(r.with("switch"), fmt.Sprintf("%s is patched to switch %q, which is not there", what, clip(d.Switch)), "add it as a [[switch]], or correct its ID")
			continue
		}
		if d.Port == nil {
			continue
		}
		at := socket{d.Switch, *d.Port}
		switch other, dup := holder[at]; {
		case s.Port(*d.Port) == nil && !slices.ContainsFunc(s.Ports, func(g PortGroup) bool { return g.Count < 1 }) && len(s.Ports) > 0:
			c.far(r.with("port"), fmt.Sprintf("%s is on port %d of switch %q, which has ports 1 to %d", what, *d.Port, clip(s.ID), s.PortCount()), "correct the number")
		case slices.Contains(s.Taken, *d.Port):
			c.far(r.with("port"), fmt.Sprintf("%s is on port %d of switch %q, which is taken", what, *d.Port, clip(s.ID)), "correct the number, or free the port")
		case dup:
			c.far(r.with("port"), fmt.Sprintf("access points %q and %q are both on port %d of switch %q", clip(other), clip(ap.ID), *d.Port, clip(s.ID)), "give each its own")
		default:
			holder[at] = ap.ID
		}
	}
}

func (c *checker) power(r ref, what string, ap *AccessPoint) {
	p := ap.Power
	if p == nil {
		return
	}
	switch {
	case p.Source != FromPort && p.Source != FromInjector && p.Source != FromLocal:
		c.at(r.with("source"), fmt.Sprintf("the power source of %s is %q", what, clip(string(p.Source))), `write "port", "injector" or "local"`)
	case p.InjectorClass != nil && p.Source != FromInjector:
		c.at(r.with("injector_class"), fmt.Sprintf("%s has a class of an injector, and no injector", what), `write source = "injector", or leave the class out`)
	}
	between(c, r.with("injector_class"), "injector_class of "+what, p.InjectorClass, 0, MaxPowerClass, "a class of IEEE 802.3")
	between(c, r.with("class"), "class of "+what, p.Class, 0, MaxPowerClass, "a class of IEEE 802.3")
	sound := between(c, r.with("max_w"), "max_w of "+what, p.MaxW, 0, MaxAPPowerW, "watts")
	sound = between(c, r.with("typical_w"), "typical_w of "+what, p.TypicalW, 0, MaxAPPowerW, "watts") && sound
	if sound && p.MaxW != nil && p.TypicalW != nil && *p.TypicalW > *p.MaxW {
		c.at(r.with("typical_w"), fmt.Sprintf("%s typically draws %v W and at most %v W", what, *p.TypicalW, *p.MaxW), "correct one of them")
	}
	for k := range p.Modes {
		m := &p.Modes[k]
		r := ref{table: "mode", item: r.item, radio: k, elem: -1}
		mode := fmt.Sprintf("power mode %d of %s", k+1, what)
		between(c, r.with("needs_w"), "needs_w of "+mode, &m.NeedsW, 0, MaxAPPowerW, "watts")
		if len(m.Chains) != len(ap.Radios) {
			c.at(r.with("chains"), fmt.Sprintf("%s has the chains of %s, and the access point has %s", mode, radioCount(len(m.Chains)), radioCount(len(ap.Radios))), "write one number for each of its radios, 0 for one that is off")
			continue
		}
		for j, n := range m.Chains {
			most := MaxChains
			if phy := ap.Radios[j].PHY; phy != nil && phy.Chains != nil {
				most = *phy.Chains
			}
			if n < 0 || n > most {
				c.at(r.with("chains").element(j), fmt.Sprintf("%s has %d chains on radio %d", mode, n, j+1), fmt.Sprintf("write 0 to %d", most))
			}
		}
	}
}

func (c *checker) drop(r ref, what string, d *Drop) {
	if d == nil {
		return
	}
	between(c, r.with("link_m"), "link_m of "+what, d.LinkM, 0, MaxCableM, "metres")
	between(c, r.with("patch_m"), "patch_m of "+what, d.PatchM, 0, MaxCableM, "metres")
	if d.Cable != "" && !slices.Contains(Cables, d.Cable) {
		c.at(r.with("cable"), fmt.Sprintf("the cable of %s is %q", what, clip(string(d.Cable))), "write one of "+joined(Cables, `"%s"`))
	}
	if d.Port != nil && (*d.Port < 1 || *d.Port > MaxPorts) {
		c.at(r.with("port"), fmt.Sprintf("port of %s is %d", what, *d.Port), fmt.Sprintf("write a number from 1 to %d", MaxPorts))
	}
}

func (c *checker) phy(r ref, k RadioRef) {
	rd := &c.site.AccessPoints[k.AP].Radios[k.Radio]
	p := rd.PHY
	if p == nil {
		return
	}
	what := fmt.Sprintf("radio %d of access point %q", k.Radio+1, clip(c.site.AccessPoints[k.AP].ID))
	between(c, r.with("chains"), "chains of "+what, p.Chains, 1, MaxChains, "chains")
	between(c, r.with("spatial_streams"), "spatial_streams of "+what, p.Streams, 1, 8, "streams")
	if p.Streams != nil && p.Chains != nil && *p.Streams > *p.Chains {
		c.at(r.with("spatial_streams"), fmt.Sprintf("%s has %d spatial streams on %d chains", what, *p.Streams, *p.Chains), "write no more streams than chains")
	}
	if p.WidthMHz != nil && !slices.Contains([]int{20, 40, 80, 160, 320}, *p.WidthMHz) {
		c.at(r.with("width_mhz"), fmt.Sprintf("width_mhz of %s is %d", what, *p.WidthMHz), "write 20, 40, 80, 160 or 320")
		return
	}
	if p.Standard == "" {
		return
	}
	l, ok := p.Standard.Limits()
	switch {
	case !ok:
		c.at(r.with("standard"), fmt.Sprintf("the standard of %s is %q", what, clip(string(p.Standard))), "write "+standardNames())
	case rd.Band.Valid() && !slices.Contains(l.Bands, rd.Band):
		c.at(r.with("standard"), fmt.Sprintf("%s is in band %q, and %s is not", what, rd.Band, p.Standard), "correct one of them; its bands are "+joined(l.Bands, `"%s"`))
	case p.WidthMHz != nil && !slices.Contains(l.Widths, *p.WidthMHz):
		c.at(r.with("width_mhz"), fmt.Sprintf("%s is %d MHz wide, and %s is not", what, *p.WidthMHz, p.Standard), "correct one of them; its widths are "+joined(l.Widths, "%d"))
	case p.Streams != nil && *p.Streams > l.Streams && *p.Streams <= 8:
		c.at(r.with("spatial_streams"), fmt.Sprintf("%s has %d spatial streams, and %s at most %d", what, *p.Streams, p.Standard, l.Streams), "correct one of them")
	}
}

// Limits gives what the amendment allows; ok is false for an unknown one.
func (s Standard) Limits() (l PHYLimits, ok bool) {
	for _, x := range Standards {
		if x.Name == s {
			return x.PHYLimits, true
		}
	}
	return PHYLimits{}, false
}

func standardNames() string {
	var names []Standard
	for _, x := range Standards {
		names = append(names, x.Name)
	}
	return joined(names, `"%s"`)
}

func (c *checker) answers() {
	seen := map[string]int{}
	for i := range c.site.Answers {
		a := &c.site.Answers[i]
		r := ref{table: "answer", item: i, elem: -1}
		what := fmt.Sprintf("the answer to %q", clip(a.Question))
		if bad := printable(a.Question, MaxIDLength, false); bad != "" {
			c.at(r.with("question"), fmt.Sprintf("the question %q of answer %d %s", clip(a.Question), i+1, bad), "write the ID of a question; footrule prep FILE lists them")
		}
		if j, dup := seen[a.Question]; dup {
			c.at(r.with("question"), fmt.Sprintf("answers %d and %d are both to %q", j+1, i+1, clip(a.Question)), "keep the one that holds")
		} else {
			seen[a.Question] = i
		}
		if bad := printable(a.Text, MaxAnswer, true); bad != "" {
			c.at(r.with("text"), fmt.Sprintf("%s, %q, %s", what, clip(a.Text), bad), fmt.Sprintf("write 1 to %d characters that can be printed", MaxAnswer))
		}
		c.name(r.with("by"), "the name behind "+what, a.By)
		if a.At.Year() < minAnsweredEra || a.At.Year() > 9999 {
			c.at(r.with("answered"), fmt.Sprintf("%s was given at %s", what, a.At.UTC().Format(time.RFC3339)), "write when, such as "+example("answered"))
		}
	}
}

// once reports an ID that stands twice in a list.
func (c *checker) once(r ref, seen map[string]int, plural, id string, i int) {
	if j, dup := seen[id]; dup && id != "" {
		c.at(r, fmt.Sprintf("%s %d and %d have the ID %q", plural, j+1, i+1, clip(id)), "give each its own")
		return
	}
	seen[id] = i
}

func radioCount(n int) string {
	if n == 1 {
		return "1 radio"
	}
	return fmt.Sprintf("%d radios", n)
}

// between checks a number that may be left out; it reports whether it holds.
func between[T int | float64](c *checker, r ref, what string, v *T, lo, hi T, unit string) bool {
	if v == nil || (*v >= lo && *v <= hi && !math.IsNaN(float64(*v))) {
		return true
	}
	c.at(r, fmt.Sprintf("%s is %v", what, *v), fmt.Sprintf("write %s from %v to %v", unit, lo, hi))
	return false
}

// joined lists values as a message does: a, b or c.
func joined[T cmp.Ordered](list []T, format string) string {
	text := make([]string, len(list))
	for i, v := range list {
		text[i] = fmt.Sprintf(format, v)
	}
	if n := len(text); n > 1 {
		return strings.Join(text[:n-1], ", ") + " or " + text[n-1]
	}
	return strings.Join(text, "")
}
