package site

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"github.com/paulmach/orb"
)

// infraExamples show what to write for a key of the infrastructure.
var infraExamples = map[string]string{
	"rack_units_free":   `rack_units_free = 3`,
	"closet":            `closet = "C1"`,
	"mounted":           `mounted = true`,
	"rack_units":        `rack_units = 1`,
	"power_budget_w":    `power_budget_w = 370`,
	"power_used_w":      `power_used_w = 45`,
	"uplinks":           `uplinks = 2`,
	"uplink_mbps":       `uplink_mbps = 10000`,
	"taken":             `taken = [1, 2, 24]`,
	"ports":             `[[switch.ports]] with count`,
	"count":             `count = 24`,
	"speed_mbps":        `speed_mbps = 2500`,
	"power":             `power = "802.3at"`,
	"class":             `class = 4`,
	"management":        `management = "central"`,
	"max_access_points": `max_access_points = 50`,
	"licences":          `licences = 25`,
	"expected_devices":  `expected_devices = 300`,
	"max_devices":       `max_devices = 2000`,
	"source":            `source = "port"`,
	"injector_class":    `injector_class = 4`,
	"max_w":             `max_w = 22.4`,
	"typical_w":         `typical_w = 14`,
	"needs_w":           `needs_w = 12.9`,
	"chains":            `chains = 4`,
	"switch":            `switch = "SW-1"`,
	"port":              `port = 7`,
	"link_m":            `link_m = 62`,
	"patch_m":           `patch_m = 6`,
	"cable":             `cable = "cat6a"`,
	"standard":          `standard = "802.11ax"`,
	"width_mhz":         `width_mhz = 80`,
	"spatial_streams":   `spatial_streams = 4`,
	"question":          `question = "ceiling-height"`,
	"text":              `text = "4.2 m, tiles of 600 mm"`,
	"by":                `by = "R. Alder"`,
	"answered":          `answered = 2026-03-02T10:30:00Z`,
}

// InfraKeys lists the keys of the infrastructure, in the order of the alphabet.
func InfraKeys() []string { return slices.Sorted(maps.Keys(infraExamples)) }

// example shows what to write for a key.
func example(key string) string {
	if e, ok := infraExamples[key]; ok {
		return e
	}
	return examples[key]
}

// infra reads the tables of the infrastructure; nil where there is none.
func (d *decoder) infra(t *table) *Infra {
	n := &Infra{}
	for i, v := range t.tables("closet", "[[closet]]") {
		t := d.table(v, ref{table: "closet", item: i, elem: -1}, "[[closet]]")
		c := Closet{ID: t.text("id", true), Floor: t.text("floor", true), At: t.maybePlace("at"), RackUnitsFree: t.whole("rack_units_free")}
		t.done()
		n.Closets = append(n.Closets, c)
	}
	for i, v := range t.tables("switch", "[[switch]]") {
		n.Switches = append(n.Switches, d.networkSwitch(v, i))
	}
	if v := t.single("control"); v != nil {
		t := d.table(v, ref{table: "control", elem: -1}, "[control]")
		n.Control = &Control{Kind: ControlKind(t.text("management", true)), AccessPoints: t.whole("max_access_points"), Licences: t.whole("licences")}
		t.done()
	}
	if v := t.single("location"); v != nil {
		t := d.table(v, ref{table: "location", elem: -1}, "[location]")
		n.Location = &Location{Expected: t.whole("expected_devices"), Capacity: t.whole("max_devices")}
		t.done()
	}
	if n.Closets == nil && n.Switches == nil && n.Control == nil && n.Location == nil {
		return nil
	}
	return n
}

func (d *decoder) networkSwitch(v *node, i int) Switch {
	t := d.table(v, ref{table: "switch", item: i, elem: -1}, "[[switch]]")
	s := Switch{ID: t.text("id", true), Closet: t.text("closet", false), Mounted: t.flag("mounted"), RackUnits: t.whole("rack_units"),
		PowerBudgetW: t.real("power_budget_w"), PowerUsedW: t.real("power_used_w"), Uplinks: t.whole("uplinks"), UplinkMbps: t.real("uplink_mbps")}
	s.Taken = t.wholes("taken")
	if t.n.get("ports") == nil {
		t.lacks = append(t.lacks, "ports")
	}
	for k, v := range t.tables("ports", "[[switch.ports]]") {
		t := d.table(v, ref{table: "ports", item: i, radio: k, elem: -1}, "[[switch.ports]]")
		g := PortGroup{SpeedMbps: t.real("speed_mbps"), Power: PowerStandard(t.text("power", false)), Class: t.whole("class")}
		if n := t.mustWhole("count"); n != nil {
			g.Count = *n
		}
		t.done()
		s.Ports = append(s.Ports, g)
	}
	t.done()
	return s
}

// power reads [access_point.power].
func (d *decoder) power(t *table, i int) *APPower {
	v := t.single("power")
	if v == nil {
		return nil
	}
	t = d.table(v, ref{table: "power", item: i, elem: -1}, "[access_point.power]")
	p := &APPower{Source: FromPort, InjectorClass: t.whole("injector_class"), Class: t.whole("class"), MaxW: t.real("max_w"), TypicalW: t.real("typical_w")}
	if s := t.text("source", false); s != "" {
		p.Source = PowerSource(s)
	}
	for k, v := range t.tables("mode", "[[access_point.power.mode]]") {
		t := d.table(v, ref{table: "mode", item: i, radio: k, elem: -1}, "[[access_point.power.mode]]")
		m := PowerMode{Chains: t.mustWholes("chains", "chains = [2, 2]")}
		m.NeedsW, _ = t.number("needs_w", true)
		t.done()
		p.Modes = append(p.Modes, m)
	}
	t.done()
	return p
}

// drop reads [access_point.drop].
func (d *decoder) drop(t *table, i int) *Drop {
	v := t.single("drop")
	if v == nil {
		return nil
	}
	t = d.table(v, ref{table: "drop", item: i, elem: -1}, "[access_point.drop]")
	p := &Drop{Closet: t.text("closet", false), Switch: t.text("switch", false), Port: t.whole("port"), LinkM: t.real("link_m"), PatchM: t.real("patch_m"), Cable: Cable(t.text("cable", false))}
	t.done()
	return p
}

// phy reads the keys of a radio that say how fast it is; nil without any.
func (d *decoder) phy(t *table) *PHY {
	p := PHY{Standard: Standard(t.text("standard", false)), WidthMHz: t.whole("width_mhz"), Streams: t.whole("spatial_streams"), Chains: t.whole("chains")}
	if p == (PHY{}) {
		return nil
	}
	return &p
}

func (d *decoder) answers(t *table) []Answer {
	var out []Answer
	for i, v := range t.tables("answer", "[[answer]]") {
		t := d.table(v, ref{table: "answer", item: i, elem: -1}, "[[answer]]")
		out = append(out, Answer{Question: t.text("question", true), Text: t.text("text", true), By: t.text("by", true), At: t.moment("answered")})
		t.done()
	}
	return out
}

// single takes a key whose value is one table; nil where it is not there.
func (t *table) single(key string) *node {
	n := t.take(key)
	if n == nil {
		return nil
	}
	if n.kind != aTable {
		name := key
		if t.r.table != "" {
			name = t.r.table + "." + key
		}
		t.d.slip(t.r.with(key), n.at, fmt.Sprintf("%s is %s", key, n.kind), fmt.Sprintf("write it once, as a table under [%s], in single brackets", name))
		return nil
	}
	return n
}

// real takes a number that may be left out.
func (t *table) real(key string) *float64 {
	if v, ok := t.number(key, false); ok {
		return &v
	}
	return nil
}

// whole takes a whole number that may be left out.
func (t *table) whole(key string) *int {
	return t.integer(key, t.of(key, aNumber, false), example(key))
}

func (t *table) mustWhole(key string) *int {
	return t.integer(key, t.of(key, aNumber, true), example(key))
}

func (t *table) integer(key string, n *node, such string) *int {
	if n == nil {
		return nil
	}
	if n.number != math.Trunc(n.number) || math.Abs(n.number) > 1e9 {
		t.d.slip(t.r.with(key), n.at, fmt.Sprintf("%s holds %v", key, n.number), "write a whole number below 10^9, such as "+such)
		return nil
	}
	v := int(n.number)
	return &v
}

func (t *table) wholes(key string) []int {
	return t.integers(key, t.of(key, anArray, false), example(key))
}

// mustWholes takes a list of whole numbers of a key that is a single number
// elsewhere, with an example of its own.
func (t *table) mustWholes(key, such string) []int {
	n := t.take(key)
	switch {
	case n == nil:
		t.d.slip(t.r.with(key), t.n.at, fmt.Sprintf("%s has no %s", t.name, key), "add "+such)
		return nil
	case n.kind != anArray:
		t.d.slip(t.r.with(key), n.at, fmt.Sprintf("%s is %s", key, n.kind), "write an array, such as "+such)
		return nil
	}
	return t.integers(key, n, such)
}

func (t *table) integers(key string, n *node, such string) []int {
	if n == nil {
		return nil
	}
	var out []int
	for i, v := range n.list {
		t.d.pos[t.r.with(key).element(i)] = v.at
		if v.kind != aNumber {
			t.d.slip(t.r.with(key), v.at, fmt.Sprintf("%s holds %s", key, v.kind), "write whole numbers, such as "+such)
			return nil
		}
		k := t.integer(key, v, such)
		if k == nil {
			return nil
		}
		out = append(out, *k)
	}
	return out
}

// flag takes a boolean that is false where it is left out.
func (t *table) flag(key string) bool {
	n := t.of(key, aBoolean, false)
	return n != nil && n.text == "true"
}

func (t *table) maybePlace(key string) *orb.Point {
	n := t.of(key, anArray, false)
	if n == nil {
		return nil
	}
	if p, ok := t.pair(n, key); ok {
		return &p
	}
	return nil
}

// moment takes a date with a time and its offset from UTC.
func (t *table) moment(key string) time.Time {
	n := t.of(key, aTime, true)
	if n == nil {
		return time.Time{}
	}
	at, err := time.Parse(time.RFC3339Nano, momentText(n.text))
	if err != nil {
		t.d.slip(t.r.with(key), n.at, fmt.Sprintf("%s has no time with its offset from UTC", key), "write both, such as "+example(key))
		return time.Time{}
	}
	return at.UTC()
}

// momentText spells a TOML date and time as RFC 3339 does: TOML also allows a
// blank or a small t before the time.
func momentText(s string) string {
	b := []byte(s)
	for i, c := range b {
		switch c {
		case ' ', 't':
			b[i] = 'T'
		case 'z':
			b[i] = 'Z'
		}
	}
	return string(b)
}
