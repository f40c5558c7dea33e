package site_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"footrule/internal/radio"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// wired is the depot with all that its access point hangs on.
const wired = depot + `standard = "802.11n"
width_mhz = 20
spatial_streams = 2
chains = 3

[access_point.power]
source = "port"
class = 4
max_w = 22.4
typical_w = 14

[[access_point.power.mode]]
needs_w = 12.9
chains = [2, 1]

[access_point.drop]
closet = "C1"
switch = "SW-1"
port = 9
link_m = 62
patch_m = 6.5
cable = "cat6a"

[[closet]]
id = "C1"
floor = "G"
at = [40, 2]
rack_units_free = 3

[[switch]]
id = "SW-1"
closet = "C1"
mounted = true
rack_units = 1
power_budget_w = 124
power_used_w = 7.5
uplinks = 2
uplink_mbps = 10000
taken = [1, 10]

[[switch.ports]]
count = 8
speed_mbps = 1000
power = "802.3af"

[[switch.ports]]
count = 4
speed_mbps = 2500
power = "802.3bt"
class = 6

[control]
management = "central"
max_access_points = 50
licences = 25

[location]
expected_devices = 300
max_devices = 2000

[[answer]]
question = "ceiling-height"
text = "4.2 m, \"tiles\" of 600 mm"
by = "R. Alder"
answered = 2026-03-02T10:30:00Z
`

func p[T any](v T) *T { return &v }

func wiredSite() *site.Site {
	s := depotSite()
	ap := &s.AccessPoints[0]
	ap.Radios[1].PHY = &site.PHY{Standard: "802.11n", WidthMHz: p(20), Streams: p(2), Chains: p(3)}
	ap.Power = &site.APPower{Source: site.FromPort, Class: p(4), MaxW: p(22.4), TypicalW: p(14.0), Modes: []site.PowerMode{{NeedsW: 12.9, Chains: []int{2, 1}}}}
	ap.Drop = &site.Drop{Closet: "C1", Switch: "SW-1", Port: p(9), LinkM: p(62.0), PatchM: p(6.5), Cable: "cat6a"}
	s.Infra = &site.Infra{
		Closets: []site.Closet{{ID: "C1", Floor: "G", At: &orb.Point{40, 2}, RackUnitsFree: p(3)}},
		Switches: []site.Switch{{ID: "SW-1", Closet: "C1", Mounted: true, RackUnits: p(1), PowerBudgetW: p(124.0), PowerUsedW: p(7.5), Uplinks: p(2), UplinkMbps: p(10000.0),
			Ports: []site.PortGroup{{Count: 8, SpeedMbps: p(1000.0), Power: site.Power8023af}, {Count: 4, SpeedMbps: p(2500.0), Power: site.Power8023bt, Class: p(6)}},
			Taken: []int{1, 10}}},
		Control:  &site.Control{Kind: site.Central, AccessPoints: p(50), Licences: p(25)},
		Location: &site.Location{Expected: p(300), Capacity: p(2000)},
	}
	s.Answers = []site.Answer{{Question: "ceiling-height", Text: `4.2 m, "tiles" of 600 mm`, By: "R. Alder", At: time.Date(2026, 3, 2, 10, 30, 0, 0, time.UTC)}}
	return s
}

func TestReadInfra(t *testing.T) {
	got, err := site.Read("site.toml", strings.NewReader(wired))
	require.NoError(t, err)
	assert.Equal(t, wiredSite(), got)
	require.NoError(t, got.Validate())

	var out bytes.Buffer
	require.NoError(t, site.Write(&out, got))
	want := strings.NewReplacer("0.0\n", "0\n", "[3.0, ", "[3, ", "[5.0, 4.0]", "[5, 4]").Replace(wired)
	assert.Equal(t, want, out.String(), "written as it was read")
}

func TestReadInfraInOtherWays(t *testing.T) {
	for _, c := range []struct {
		name, old, now string
		change         func(*site.Site)
	}{
		{"another offset", "2026-03-02T10:30:00Z", "2026-03-02 12:30:00+02:00", func(*site.Site) {}},
		{"small letters", "2026-03-02T10:30:00Z", "2026-03-02t10:30:00z", func(*site.Site) {}},
		{"fractions of a second", "10:30:00Z", "10:30:00.250Z", func(s *site.Site) { s.Answers[0].At = s.Answers[0].At.Add(250 * time.Millisecond) }},
		{"a whole number with a point", "count = 8", "count = 8.0", func(*site.Site) {}},
		{"inline", "[control]\nmanagement = \"central\"\nmax_access_points = 50\nlicences = 25\n", "[control]\nmanagement = \"stand-alone\"\n",
			func(s *site.Site) { s.Infra.Control = &site.Control{Kind: site.StandAlone} }},
		{"not mounted", "mounted = true\n", "mounted = false\n", func(s *site.Site) { s.Infra.Switches[0].Mounted = false }},
		{"power from a port goes without saying", "source = \"port\"\n", "", func(*site.Site) {}},
		{"an empty table", "expected_devices = 300\nmax_devices = 2000\n", "", func(s *site.Site) { s.Infra.Location = &site.Location{} }},
	} {
		t.Run(c.name, func(t *testing.T) {
			require.Contains(t, wired, c.old)
			got, err := site.Read("site.toml", strings.NewReader(strings.Replace(wired, c.old, c.now, 1)))
			require.NoError(t, err)
			want := wiredSite()
			c.change(want)
			assert.Equal(t, want, got)
			var out bytes.Buffer
			require.NoError(t, site.Write(&out, got))
			again, err := site.Read("site.toml", &out)
			require.NoError(t, err)
			assert.Equal(t, want, again)
		})
	}
}

// brokenInfra are changes to the wired depot with the line that each ends in.
var brokenInfra = []struct{ name, old, now, want string }{
	{"a closet on no floor", "id = \"C1\"\nfloor = \"G\"", "id = \"C1\"\nfloor = \"H\"",
		`site.toml:67:9: closet "C1" is on floor "H", which is not there; write one of the floors: "G"`},
	{"a closet twice", "[[switch]]", "[[closet]]\nid = \"C1\"\nfloor = \"G\"\n\n[[switch]]",
		`site.toml:72:6: closets 1 and 2 have the ID "C1"; give each its own`},
	{"a closet at one number", "at = [40, 2]", "at = [40]",
		`site.toml:68:6: a place in at has 1 values; write x and y in metres, such as at = [3.0, 3.0]`},
	{"half a rack unit", "rack_units_free = 3", "rack_units_free = 2.5",
		`site.toml:69:19: rack_units_free holds 2.5; write a whole number below 10^9, such as rack_units_free = 3`},
	{"rack units in millimetres", "rack_units_free = 3", "rack_units_free = 1866",
		`site.toml:69:19: rack_units_free of closet "C1" is 1866; write rack units from 0 to 100`},
	{"a switch in no closet", "id = \"SW-1\"\ncloset = \"C1\"", "id = \"SW-1\"\ncloset = \"C9\"",
		`site.toml:73:10: switch "SW-1" is in closet "C9", which is not there; add it as a [[closet]], or correct its ID`},
	{"mounted is a word", "mounted = true", "mounted = \"yes\"",
		`site.toml:74:11: mounted is a string; write a boolean, such as mounted = true`},
	{"a budget in milliwatts", "power_budget_w = 124", "power_budget_w = 124000",
		`site.toml:76:18: power_budget_w of switch "SW-1" is 124000; write watts from 0 to 50000`},
	{"an uplink in Gbit/s", "uplink_mbps = 10000", "uplink_mbps = 1",
		`site.toml:79:15: uplink_mbps of switch "SW-1" is 1; write Mbit/s from 10 to 400000`},
	{"a switch without ports", wired[strings.Index(wired, "[[switch.ports]]"):strings.Index(wired, "[control]")], "",
		`site.toml:71:3: [[switch]] has no ports; add [[switch.ports]] with count`},
	{"a switch with one list of no ports", wired[strings.Index(wired, "[[switch.ports]]"):strings.Index(wired, "[control]")], "ports = []\n",
		`site.toml:82:9: switch "SW-1" has no ports; add [[switch.ports]] with count`},
	{"a misspelled table", "[[switch.ports]]\ncount = 8\nspeed_mbps = 1000\npower = \"802.3af\"\n\n[[switch.ports]]", "[[switch.port]]",
		`site.toml:82:10: unknown key "port" in [[switch]]; did you mean "ports"?`},
	{"ports without a count", "count = 8\n", "",
		`site.toml:82:10: [[switch.ports]] has no count; add count = 24`},
	{"no ports at all", "count = 8\n", "count = 0\n",
		`site.toml:83:9: count of ports 1 of switch "SW-1" is 0; write ports from 1 to 1000`},
	{"a power standard that is none", `power = "802.3af"`, `power = "802.3ab"`,
		`site.toml:85:9: power of ports 1 of switch "SW-1" is "802.3ab"; write "none", "802.3af", "802.3at" or "802.3bt"`},
	{"a class beyond its standard", `power = "802.3af"`, "power = \"802.3af\"\nclass = 4",
		`site.toml:86:9: ports 1 of switch "SW-1" give class 4, and by 802.3af at most 3; correct one of them`},
	{"a class without power", `power = "802.3af"`, "power = \"none\"\nclass = 3",
		`site.toml:86:9: ports 1 of switch "SW-1" give no power, and class 3; leave one of them out`},
	{"class 9", "class = 6", "class = 9",
		`site.toml:91:9: class of ports 2 of switch "SW-1" is 9; write a class of IEEE 802.3 from 0 to 8`},
	{"a taken port that is not there", "taken = [1, 10]", "taken = [1, 13]",
		`site.toml:80:13: port 13 of switch "SW-1" is taken, which has ports 1 to 12; correct the number`},
	{"a port taken twice", "taken = [1, 10]", "taken = [10, 10]",
		`site.toml:80:14: port 10 of switch "SW-1" is taken twice; list it once`},
	{"a taken port by name", "taken = [1, 10]", "taken = [1, \"ten\"]",
		`site.toml:80:13: taken holds a string; write whole numbers, such as taken = [1, 2, 24]`},
	{"control twice", "[location]", "[[control]]\n[location]",
		`site.toml:98:3: [[control]] comes after a table of that name; put [[control]] before its own tables, in double brackets everywhere`},
	{"control in double brackets", "[control]", "[[control]]",
		`site.toml:93:3: control is an array; write it once, as a table under [control], in single brackets`},
	{"control by nobody", "management = \"central\"\n", "",
		`site.toml:93:2: [control] has no management; add management = "central"`},
	{"control of a kind that is none", `"central"`, `"cloud"`,
		`site.toml:94:14: management is "cloud"; write "central" or "stand-alone"`},
	{"fewer than no licences", "licences = 25", "licences = -1",
		`site.toml:96:12: licences is -1; write access points from 0 to 100000000`},
	{"a misspelled key", "expected_devices", "expected_device",
		`site.toml:99:1: unknown key "expected_device" in [location]; did you mean "expected_devices"?`},
	{"a key from elsewhere", "max_devices = 2000", "licences = 2000",
		`site.toml:100:1: unknown key "licences" in [location]; remove it; known are expected_devices, max_devices`},
	{"an answer without a name", "by = \"R. Alder\"\n", "",
		`site.toml:102:3: [[answer]] has no by; add by = "R. Alder"`},
	{"an answer of no words", `text = "4.2 m, \"tiles\" of 600 mm"`, `text = ""`,
		`site.toml:104:8: the answer to "ceiling-height", "", is empty; write 1 to 1000 characters that can be printed`},
	{"an answer without a time", "2026-03-02T10:30:00Z", "2026-03-02",
		`site.toml:106:12: answered has no time with its offset from UTC; write both, such as answered = 2026-03-02T10:30:00Z`},
	{"an answer at a time in quotes", "2026-03-02T10:30:00Z", `"2026-03-02T10:30:00Z"`,
		`site.toml:106:12: answered is a string; write a date or time, such as answered = 2026-03-02T10:30:00Z`},
	{"an answer before there was any", "2026-03-02T10:30:00Z", "0026-03-02T10:30:00Z",
		`site.toml:106:12: the answer to "ceiling-height" was given at 0026-03-02T10:30:00Z; write when, such as answered = 2026-03-02T10:30:00Z`},
	{"two answers", "[[answer]]", "[[answer]]\nquestion = \"ceiling-height\"\ntext = \"4 m\"\nby = \"X\"\nanswered = 2026-03-01T10:30:00Z\n[[answer]]",
		`site.toml:108:12: answers 1 and 2 are both to "ceiling-height"; keep the one that holds`},
	{"a port beyond the switch", "port = 9", "port = 13",
		`site.toml:60:8: access point "AP-01" is on port 13 of switch "SW-1", which has ports 1 to 12; correct the number`},
	{"a port that is taken", "port = 9", "port = 10",
		`site.toml:60:8: access point "AP-01" is on port 10 of switch "SW-1", which is taken; correct the number, or free the port`},
	{"a port of no switch", "switch = \"SW-1\"\n", "",
		`site.toml:59:8: access point "AP-01" is on a port of no switch; add switch = "SW-1"`},
	{"a switch that is not there", `switch = "SW-1"`, `switch = "SW-2"`,
		`site.toml:59:10: access point "AP-01" is patched to switch "SW-2", which is not there; add it as a [[switch]], or correct its ID`},
	{"a closet that is not there", "[access_point.drop]\ncloset = \"C1\"", "[access_point.drop]\ncloset = \"C2\"",
		`site.toml:58:10: the cable of access point "AP-01" ends in closet "C2", which is not there; add it as a [[closet]], or correct its ID`},
	{"one port for two", "[[closet]]\n", "[[access_point]]\nid = \"AP-02\"\nfloor = \"G\"\nat = [9, 9]\nheight_m = 3\n[[access_point.radio]]\nband = \"5\"\n[access_point.drop]\nswitch = \"SW-1\"\nport = 9\n[[closet]]\n",
		`site.toml:74:8: access points "AP-01" and "AP-02" are both on port 9 of switch "SW-1"; give each its own`},
	{"a cable in kilometres of millimetres", "link_m = 62", "link_m = 62000",
		`site.toml:61:10: link_m of access point "AP-01" is 62000; write metres from 0 to 5000`},
	{"a cable that is none", `cable = "cat6a"`, `cable = "6A"`,
		`site.toml:63:9: the cable of access point "AP-01" is "6A"; write one of "cat3", "cat5", "cat5e", "cat6", "cat6a", "cat7", "cat7a" or "cat8"`},
	{"drop is a number", "[access_point.drop]\ncloset = \"C1\"\nswitch = \"SW-1\"\nport = 9\nlink_m = 62\npatch_m = 6.5\ncable = \"cat6a\"\n", "[[access_point.drop]]\n",
		`site.toml:57:16: drop is an array; write it once, as a table under [access_point.drop], in single brackets`},
	{"power from nowhere", `source = "port"`, `source = "wall"`,
		`site.toml:48:10: the power source of access point "AP-01" is "wall"; write "port", "injector" or "local"`},
	{"an injector's class without one", `source = "port"`, "source = \"port\"\ninjector_class = 4",
		`site.toml:49:18: access point "AP-01" has a class of an injector, and no injector; write source = "injector", or leave the class out`},
	{"more than the most", "typical_w = 14", "typical_w = 24",
		`site.toml:51:13: access point "AP-01" typically draws 24 W and at most 22.4 W; correct one of them`},
	{"a mode of one radio", "chains = [2, 1]", "chains = [2]",
		`site.toml:55:10: power mode 1 of access point "AP-01" has the chains of 1 radio, and the access point has 2 radios; write one number for each of its radios, 0 for one that is off`},
	{"a mode with more chains than the radio has", "chains = [2, 1]", "chains = [2, 4]",
		`site.toml:55:14: power mode 1 of access point "AP-01" has 4 chains on radio 2; write 0 to 3`},
	{"a mode without chains", "chains = [2, 1]\n", "",
		`site.toml:53:22: [[access_point.power.mode]] has no chains; add chains = [2, 2]`},
	{"a mode with a number of chains", "chains = [2, 1]\n", "chains = 2\n",
		`site.toml:55:10: chains is a number; write an array, such as chains = [2, 2]`},
	{"a mode with half a chain", "chains = [2, 1]\n", "chains = [2, 0.5]\n",
		`site.toml:55:14: chains holds 0.5; write a whole number below 10^9, such as chains = [2, 2]`},
	{"a standard of no band", `standard = "802.11n"`, `standard = "802.11ac"`,
		`site.toml:42:12: radio 2 of access point "AP-01" is in band "2.4", and 802.11ac is not; correct one of them; its bands are "5"`},
	{"a standard that is none", `standard = "802.11n"`, `standard = "n"`,
		`site.toml:42:12: the standard of radio 2 of access point "AP-01" is "n"; write "802.11a", "802.11g", "802.11n", "802.11ac", "802.11ax" or "802.11be"`},
	{"a width that is none", "width_mhz = 20", "width_mhz = 60",
		`site.toml:43:13: width_mhz of radio 2 of access point "AP-01" is 60; write 20, 40, 80, 160 or 320`},
	{"a width beyond the standard", "width_mhz = 20", "width_mhz = 80",
		`site.toml:43:13: radio 2 of access point "AP-01" is 80 MHz wide, and 802.11n is not; correct one of them; its widths are 20 or 40`},
	{"more streams than chains", "spatial_streams = 2", "spatial_streams = 4",
		`site.toml:44:19: radio 2 of access point "AP-01" has 4 spatial streams on 3 chains; write no more streams than chains`},
	{"more streams than the standard", "spatial_streams = 2\nchains = 3", "spatial_streams = 6\nchains = 6",
		`site.toml:44:19: radio 2 of access point "AP-01" has 6 spatial streams, and 802.11n at most 4; correct one of them`},
}

func TestReadInfraSaysWhatIsWrong(t *testing.T) {
	for _, c := range brokenInfra {
		t.Run(c.name, func(t *testing.T) {
			require.Contains(t, wired, c.old)
			_, err := site.Read("site.toml", strings.NewReader(strings.Replace(wired, c.old, c.now, 1)))
			require.Error(t, err)
			assert.Equal(t, c.want, err.Error())
		})
	}
}

func TestCloneInfra(t *testing.T) {
	s := wiredSite()
	c := s.Clone()
	require.Equal(t, s, c)
	n, ap := c.Infra, &c.AccessPoints[0]
	*ap.Radios[1].PHY.Streams, *ap.Power.MaxW, ap.Power.Modes[0].Chains[0], *ap.Drop.Port, *ap.Drop.LinkM = 1, 1, 1, 1, 1
	n.Closets[0].At[0], *n.Closets[0].RackUnitsFree, n.Closets[0].ID = 1, 1, "X"
	*n.Switches[0].PowerBudgetW, *n.Switches[0].Ports[1].Class, n.Switches[0].Ports[0].Count, n.Switches[0].Taken[0] = 1, 1, 1, 5
	*n.Control.Licences, n.Control.Kind, *n.Location.Expected = 1, site.StandAlone, 1
	c.Answers[0].Text = "X"
	assert.Equal(t, wiredSite(), s)
}

func TestPortsAreNumberedThrough(t *testing.T) {
	s := &wiredSite().Infra.Switches[0]
	assert.Equal(t, 12, s.PortCount())
	assert.Nil(t, s.Port(0))
	assert.Same(t, &s.Ports[0], s.Port(1))
	assert.Same(t, &s.Ports[0], s.Port(8))
	assert.Same(t, &s.Ports[1], s.Port(9))
	assert.Same(t, &s.Ports[1], s.Port(12))
	assert.Nil(t, s.Port(13))

	for _, c := range []struct {
		group site.PortGroup
		class int
		known bool
	}{
		{site.PortGroup{Power: site.PowerNone}, -1, true},
		{site.PortGroup{Power: site.Power8023af}, 3, true},
		{site.PortGroup{Power: site.Power8023at}, 4, true},
		{site.PortGroup{Power: site.Power8023at, Class: p(2)}, 2, true},
		{site.PortGroup{Power: site.Power8023bt}, 0, false},
		{site.PortGroup{Class: p(5)}, 5, true},
		{site.PortGroup{}, 0, false},
	} {
		class, known := c.group.HighestClass()
		assert.Equal(t, c.class, class, c.group)
		assert.Equal(t, c.known, known, c.group)
	}
}

// What a standard may be is asked of each radio.
func TestStandardsKnowTheirBands(t *testing.T) {
	for _, x := range site.Standards {
		for _, b := range x.Bands {
			assert.True(t, b.Valid())
			for _, w := range x.Widths {
				s := wiredSite()
				s.AccessPoints[0].Radios[0] = site.Radio{Band: b, PHY: &site.PHY{Standard: x.Name, WidthMHz: p(w), Streams: p(x.Streams)}}
				assert.NoError(t, s.Validate(), "%s in %s", x.Name, b)
			}
		}
	}
	s := wiredSite()
	s.AccessPoints[0].Radios[0] = site.Radio{Band: radio.Band6, PHY: &site.PHY{Standard: "802.11n"}}
	assert.EqualError(t, s.Validate(), `input: radio 1 of access point "AP-01" is in band "6", and 802.11n is not; correct one of them; its bands are "2.4" or "5"`)
}
