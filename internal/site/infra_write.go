package site

import (
	"bytes"
	"slices"
	"strconv"
	"strings"
	"time"
)

// keys writes the keys of one table, leaving out what is not known.
type keys struct{ b *bytes.Buffer }

func (k keys) table(header string) { k.b.WriteString("\n" + header + "\n") }

func (k keys) raw(name, value string) { k.b.WriteString(name + " = " + value + "\n") }

func (k keys) text(name, value string) {
	if value != "" {
		k.raw(name, quote(value))
	}
}

func (k keys) whole(name string, v *int) {
	if v != nil {
		k.raw(name, strconv.Itoa(*v))
	}
}

func (k keys) real(name string, v *float64) {
	if v != nil {
		k.raw(name, number(*v))
	}
}

func (k keys) wholes(name string, v []int) {
	if len(v) == 0 {
		return
	}
	text := make([]string, len(v))
	for i, n := range v {
		text[i] = strconv.Itoa(n)
	}
	k.raw(name, "["+strings.Join(text, ", ")+"]")
}

func writePHY(b *bytes.Buffer, p *PHY) {
	if p == nil {
		return
	}
	k := keys{b}
	k.text("standard", string(p.Standard))
	k.whole("width_mhz", p.WidthMHz)
	k.whole("spatial_streams", p.Streams)
	k.whole("chains", p.Chains)
}

func writePower(b *bytes.Buffer, p *APPower) {
	if p == nil {
		return
	}
	k := keys{b}
	k.table("[access_point.power]")
	k.raw("source", quote(string(p.Source)))
	k.whole("injector_class", p.InjectorClass)
	k.whole("class", p.Class)
	k.real("max_w", p.MaxW)
	k.real("typical_w", p.TypicalW)
	for _, m := range p.Modes {
		k.table("[[access_point.power.mode]]")
		k.raw("needs_w", number(m.NeedsW))
		k.wholes("chains", m.Chains)
	}
}

func writeDrop(b *bytes.Buffer, d *Drop) {
	if d == nil {
		return
	}
	k := keys{b}
	k.table("[access_point.drop]")
	k.text("closet", d.Closet)
	k.text("switch", d.Switch)
	k.whole("port", d.Port)
	k.real("link_m", d.LinkM)
	k.real("patch_m", d.PatchM)
	k.text("cable", string(d.Cable))
}

func writeInfra(b *bytes.Buffer, n *Infra) {
	k := keys{b}
	n = n.list()
	for _, c := range n.Closets {
		k.table("[[closet]]")
		k.text("id", c.ID)
		k.text("floor", c.Floor)
		if c.At != nil {
			k.raw("at", place(*c.At))
		}
		k.whole("rack_units_free", c.RackUnitsFree)
	}
	for _, s := range n.Switches {
		k.table("[[switch]]")
		k.text("id", s.ID)
		k.text("closet", s.Closet)
		if s.Mounted {
			k.raw("mounted", "true")
		}
		k.whole("rack_units", s.RackUnits)
		k.real("power_budget_w", s.PowerBudgetW)
		k.real("power_used_w", s.PowerUsedW)
		k.whole("uplinks", s.Uplinks)
		k.real("uplink_mbps", s.UplinkMbps)
		k.wholes("taken", s.Taken)
		for _, g := range s.Ports {
			k.table("[[switch.ports]]")
			k.whole("count", &g.Count)
			k.real("speed_mbps", g.SpeedMbps)
			k.text("power", string(g.Power))
			k.whole("class", g.Class)
		}
	}
	if c := n.Control; c != nil {
		k.table("[control]")
		k.text("management", string(c.Kind))
		k.whole("max_access_points", c.AccessPoints)
		k.whole("licences", c.Licences)
	}
	if l := n.Location; l != nil {
		k.table("[location]")
		k.whole("expected_devices", l.Expected)
		k.whole("max_devices", l.Capacity)
	}
}

func writeAnswers(b *bytes.Buffer, answers []Answer) {
	k := keys{b}
	for _, a := range answers {
		k.table("[[answer]]")
		k.text("question", a.Question)
		k.text("text", a.Text)
		k.text("by", a.By)
		k.raw("answered", a.At.UTC().Format(time.RFC3339Nano))
	}
}

func (p *PHY) clone() *PHY {
	if p == nil {
		return nil
	}
	return &PHY{p.Standard, copied(p.WidthMHz), copied(p.Streams), copied(p.Chains)}
}

func (p *APPower) clone() *APPower {
	if p == nil {
		return nil
	}
	out := *p
	out.InjectorClass, out.Class, out.MaxW, out.TypicalW = copied(p.InjectorClass), copied(p.Class), copied(p.MaxW), copied(p.TypicalW)
	out.Modes = slices.Clone(p.Modes)
	for i := range out.Modes {
		out.Modes[i].Chains = slices.Clone(out.Modes[i].Chains)
	}
	return &out
}

func (d *Drop) clone() *Drop {
	if d == nil {
		return nil
	}
	out := *d
	out.Port, out.LinkM, out.PatchM = copied(d.Port), copied(d.LinkM), copied(d.PatchM)
	return &out
}

func (n *Infra) clone() *Infra {
	if n == nil {
		return nil
	}
	out := &Infra{Closets: slices.Clone(n.Closets), Switches: slices.Clone(n.Switches), Control: copied(n.Control), Location: copied(n.Location)}
	for i := range out.Closets {
		c := &out.Closets[i]
		c.At, c.RackUnitsFree = copied(c.At), copied(c.RackUnitsFree)
	}
	for i := range out.Switches {
		s := &out.Switches[i]
		s.RackUnits, s.PowerBudgetW, s.PowerUsedW, s.Uplinks, s.UplinkMbps = copied(s.RackUnits), copied(s.PowerBudgetW), copied(s.PowerUsedW), copied(s.Uplinks), copied(s.UplinkMbps)
		s.Ports, s.Taken = slices.Clone(s.Ports), slices.Clone(s.Taken)
		for k := range s.Ports {
			g := &s.Ports[k]
			g.SpeedMbps, g.Class = copied(g.SpeedMbps), copied(g.Class)
		}
	}
	if c := out.Control; c != nil {
		c.AccessPoints, c.Licences = copied(c.AccessPoints), copied(c.Licences)
	}
	if l := out.Location; l != nil {
		l.Expected, l.Capacity = copied(l.Expected), copied(l.Capacity)
	}
	return out
}

// copied is a pointer to a copy; nil of nil.
func copied[T any](v *T) *T {
	if v == nil {
		return nil
	}
	c := *v
	return &c
}
