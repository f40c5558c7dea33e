package infra_test

import (
	"bytes"
	"os"
	"reflect"
	"strings"
	"testing"
	"time"

	"footrule/internal/infra"
	"footrule/internal/site"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// mill is an invented site in which everything holds.
func mill(t *testing.T) *site.Site {
	t.Helper()
	data, err := os.ReadFile("testdata/mill.toml")
	require.NoError(t, err)
	s, err := site.Read("mill.toml", bytes.NewReader(data))
	require.NoError(t, err)
	for _, q := range infra.Questions {
		s = infra.Answered(s, site.Answer{Question: q.ID, Text: "seen", By: "R. Alder", At: time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)})
	}
	require.NoError(t, s.Validate())
	return s
}

func p[T any](v T) *T { return &v }

// said is a finding as a line: its check, status, subjects and text.
func said(f infra.Finding) string {
	line := f.Check + " " + string(f.Status)
	if len(f.Subjects) > 0 {
		line += " " + strings.Join(f.Subjects, " ")
	}
	return line + ": " + f.Text
}

func of(r infra.Report, check string) []string {
	var out []string
	for _, f := range r.Findings {
		if f.Check == check {
			out = append(out, said(f))
		}
	}
	return out
}

func TestEverythingHolds(t *testing.T) {
	r := infra.Examine(mill(t))
	for _, f := range r.Findings {
		assert.Equal(t, infra.Holds, f.Status, said(f))
	}
	assert.Equal(t, infra.Holds, r.Verdict())
	assert.Equal(t, []infra.Patch{{AP: "AP-1", Switch: "SW-1", Port: 2, LengthM: p(70.0), Measured: true}, {AP: "AP-2", Switch: "SW-1", Port: 5, LengthM: p(20.0), Measured: true}}, r.Patching)
	for _, c := range infra.Checks {
		assert.NotEmpty(t, of(r, c.ID), c.ID)
		assert.NotEmpty(t, c.Against, c.ID)
		assert.Equal(t, c.ID, infra.CheckOf(c.ID).ID)
	}
	assert.Nil(t, infra.CheckOf("none"))
}

// Each row spoils one thing and says what the check comes to, word by word.
func TestChecks(t *testing.T) {
	ap := func(s *site.Site, i int) *site.AccessPoint { return &s.AccessPoints[i] }
	sw := func(s *site.Site) *site.Switch { return &s.Infra.Switches[0] }
	for _, c := range []struct {
		name, check string
		change      func(*site.Site)
		want        []string
	}{
		{"power on paper", "power.device", func(*site.Site) {}, []string{
			// P_PD = 30 − (30/50)² · 12.5 · 0.78 and 45 − (45/50)² · 6.25 · 0.24
			"power.device holds AP-1: draws at most 21 W, and class 4 leaves it 25.5 W (30 W at its port, 26.49 W behind 78 m)",
			"power.device holds AP-2: may draw, as class 5, 40 W, and class 5 leaves it 40 W (45 W at its port, 43.79 W behind 24 m)"}},
		{"a weaker port", "power.device", func(s *site.Site) { sw(s).Ports[0].Power = site.Power8023af }, []string{
			"power.device fails AP-1: asks for class 4 and gets class 3: draws at most 21 W, and class 3 leaves it 12.95 W (15.4 W at its port, 13.49 W behind 78 m): it sheds radio chains and keeps 1 of 2 on 2.4 GHz, 1 of 3 on 5 GHz (12.5 W)",
			"power.device holds AP-2: may draw, as class 5, 40 W, and class 5 leaves it 40 W (45 W at its port, 43.79 W behind 24 m)"}},
		{"no mode that runs", "power.device", func(s *site.Site) {
			sw(s).Ports[0].Power = site.Power8023af
			ap(s, 0).Power.Modes = ap(s, 0).Power.Modes[:1]
		}, []string{
			"power.device fails AP-1: asks for class 4 and gets class 3: draws at most 21 W, and class 3 leaves it 12.95 W (15.4 W at its port, 13.49 W behind 78 m): none of its power modes runs on that: it reboots or stays off",
			"power.device holds AP-2: may draw, as class 5, 40 W, and class 5 leaves it 40 W (45 W at its port, 43.79 W behind 24 m)"}},
		{"no power, no modes", "power.device", func(s *site.Site) {
			sw(s).Ports[0].Power = site.PowerNone
			sw(s).Ports[1].Class = p(4)
		}, []string{
			"power.device fails AP-1: it asks for class 4, and its port gives no power: it stays off; it draws at most 21 W",
			"power.device fails AP-2: asks for class 5 and gets class 4: may draw, as class 5, 40 W, and class 4 leaves it 25.5 W (30 W at its port, 28.92 W behind 24 m): it sheds radio chains or reboots under load; which, its power modes would say"}},
		{"too long for its power", "power.device", func(s *site.Site) { ap(s, 1).Drop.LinkM = p(146.0) }, []string{
			"power.device holds AP-1: draws at most 21 W, and class 4 leaves it 25.5 W (30 W at its port, 26.49 W behind 78 m)",
			"power.device fails AP-2: may draw, as class 5, 40 W, and class 5 leaves it 37.41 W (45 W at its port, 37.41 W behind 150 m): it sheds radio chains or reboots under load; which, its power modes would say"}},
		{"injector and own supply", "power.device", func(s *site.Site) {
			ap(s, 0).Power.Source, ap(s, 0).Power.InjectorClass = site.FromInjector, p(3)
			ap(s, 1).Power.Source = site.FromLocal
		}, []string{
			"power.device fails AP-1: asks for class 4 and gets class 3: draws at most 21 W, and class 3 leaves it 12.95 W (15.4 W at its injector, 13.49 W behind 78 m): it sheds radio chains and keeps 1 of 2 on 2.4 GHz, 1 of 3 on 5 GHz (12.5 W)",
			"power.device holds AP-2: has a supply of its own, and needs no power from the port"}},
		{"a class that is inferred", "power.device", func(s *site.Site) { ap(s, 0).Power.Class, ap(s, 1).Power = nil, nil }, []string{
			"power.device holds AP-1: draws at most 21 W, and class 4 leaves it 25.5 W (30 W at its port, 26.49 W behind 78 m); that it asks for class 4 is inferred",
			"power.device not known AP-2: add class or max_w to [access_point.power]"}},
		{"802.3bt of either type", "power.device", func(s *site.Site) { sw(s).Ports[1].Class = nil }, []string{
			"power.device holds AP-1: draws at most 21 W, and class 4 leaves it 25.5 W (30 W at its port, 26.49 W behind 78 m)",
			"power.device not known AP-2: add power and class to the [[switch.ports]] that feed it"}},

		{"the budget", "power.worst", func(*site.Site) {}, []string{
			"power.worst holds SW-1: 2 access points take 64.09 W at their most at the switch, with what else it feeds 74.09 W, of a budget of 120 W, 96 W with headroom"}},
		{"a tight budget", "power.worst", func(s *site.Site) { sw(s).PowerBudgetW = p(90.0) }, []string{
			"power.worst doubtful SW-1: 2 access points take 64.09 W at their most at the switch, with what else it feeds 74.09 W, of a budget of 90 W, 72 W with headroom: 82 % of it, and 80 % is usual"}},
		{"too small a budget", "power.worst", func(s *site.Site) { sw(s).PowerBudgetW = p(70.0) }, []string{
			"power.worst fails SW-1: 2 access points take 64.09 W at their most at the switch, with what else it feeds 74.09 W, of a budget of 70 W, 56 W with headroom: short of 4.09 W"}},
		{"too small for what is known", "power.worst", func(s *site.Site) { sw(s).PowerBudgetW, ap(s, 1).Power = p(30.0), nil }, []string{
			"power.worst fails SW-1: 1 access point takes 23.08 W at their most at the switch, with what else it feeds 33.08 W, of a budget of 30 W, 24 W with headroom: short of 3.08 W"}},
		{"what the taken ports draw", "power.worst", func(s *site.Site) { sw(s).PowerUsedW = nil }, []string{
			"power.worst not known SW-1: 2 access points take 64.09 W at their most at the switch, of a budget of 120 W, 96 W with headroom; not known: power_used_w by 1 taken port"}},
		{"no budget", "power.typical", func(s *site.Site) { sw(s).PowerBudgetW = nil }, []string{
			"power.typical not known SW-1: add power_budget_w to [[switch]]; 2 access points take 33.98 W typically at the switch, with what else it feeds 43.98 W"}},
		{"no typical draw", "power.typical", func(s *site.Site) { ap(s, 0).Power.TypicalW = nil }, []string{
			"power.typical not known SW-1: 1 access point takes 20.25 W typically at the switch, with what else it feeds 30.25 W, of a budget of 120 W, 96 W with headroom; not known: typical_w of AP-1"}},

		{"too few ports", "port.count", func(s *site.Site) {
			sw(s).Taken = []int{1, 3, 4, 5, 6}
			ap(s, 1).Drop.Switch, ap(s, 1).Drop.Port = "", nil
		}, []string{"port.count fails: 2 access points need a port each, and 1 port is free: short of 1 port"}},
		{"free ports in the wrong closet", "port.count", func(s *site.Site) {
			s.Infra.Closets = append(s.Infra.Closets, site.Closet{ID: "west", Floor: "G"})
			ap(s, 1).Drop = &site.Drop{Closet: "west"}
		}, []string{"port.count fails AP-2: 2 access points need a port each, and 5 ports are free, and none of them where the cable of these ends"}},

		{"ports that are fast enough", "port.speed", func(*site.Site) {}, []string{
			"port.speed holds AP-1: its radios bring 354 Mbit/s (0.65 of 802.11n 20 MHz 2 streams MCS 7 144, 802.11ac 40 MHz 2 streams MCS 9 400) onto a port of 1000 Mbit/s",
			"port.speed holds AP-2: its radios bring 1561 Mbit/s (0.65 of 802.11ax 80 MHz 4 streams MCS 11 2402) onto a port of 2500 Mbit/s"}},
		{"a slow port", "port.speed", func(s *site.Site) { sw(s).Ports[1].SpeedMbps = p(1000.0) }, []string{
			"port.speed holds AP-1: its radios bring 354 Mbit/s (0.65 of 802.11n 20 MHz 2 streams MCS 7 144, 802.11ac 40 MHz 2 streams MCS 9 400) onto a port of 1000 Mbit/s",
			"port.speed fails AP-2: its radios bring 1561 Mbit/s (0.65 of 802.11ax 80 MHz 4 streams MCS 11 2402) onto a port of 1000 Mbit/s: the port is slower by 561 Mbit/s"}},
		{"a radio of which little is known", "port.speed", func(s *site.Site) {
			ap(s, 0).Radios[1].PHY = nil
			ap(s, 1).Radios[0].PHY.WidthMHz = nil
		}, []string{
			"port.speed not known AP-1: add standard, width_mhz and spatial_streams to its radios",
			"port.speed not known AP-2: add width_mhz to its radios"}},

		{"a slow uplink", "port.uplink", func(s *site.Site) { sw(s).Uplinks, sw(s).UplinkMbps = p(1), p(1000.0) }, []string{
			"port.uplink fails SW-1: 2 access points bring up to 1915 Mbit/s together and the busiest 1561, over 1 uplink of 1000 Mbit/s: the uplink is slower than one access point"}},
		{"no uplink", "port.uplink", func(s *site.Site) { sw(s).Uplinks = nil }, []string{
			"port.uplink not known SW-1: add uplinks and uplink_mbps to [[switch]]"}},
		{"an uplink for nobody knows what", "port.uplink", func(s *site.Site) { ap(s, 1).Radios[0].PHY = nil }, []string{
			"port.uplink not known SW-1: 2 access points bring up to 354 Mbit/s together and the busiest 354, over 2 uplinks of 10000 Mbit/s; not known: demand of AP-2"}},

		{"a link of 90 m and one beyond", "cable.link", func(s *site.Site) { ap(s, 0).Drop.LinkM, ap(s, 1).Drop.LinkM = p(90.0), p(90.5) }, []string{
			"cable.link holds AP-1: the link is 90 m long",
			"cable.link fails AP-2: the link is 90.5 m long: too long by 0.5 m"}},
		{"links by the plan", "cable.link", func(s *site.Site) { ap(s, 0).Drop.LinkM, ap(s, 1).Drop.LinkM = nil, nil }, []string{
			// 48 + 10 + 4 + 3 and 8 + 10 + 4 + 3
			"cable.link holds AP-1: the link is about 65 m long by the plan, not measured",
			"cable.link holds AP-2: the link is about 25 m long by the plan, not measured"}},
		{"links by the plan that are long", "cable.link", func(s *site.Site) {
			ap(s, 0).Drop.LinkM, ap(s, 1).Drop.LinkM = nil, nil
			s.Infra.Closets[0].At[1] = -80
		}, []string{
			"cable.link fails AP-1: the closet is 104 m away in a straight line",
			"cable.link fails AP-2: the closet is 92 m away in a straight line"}},
		{"a link by the plan that is nearly too long", "cable.link", func(s *site.Site) {
			ap(s, 0).Drop.LinkM = nil
			s.Infra.Closets[0].At[1] = -8
		}, []string{
			"cable.link doubtful AP-1: the link is about 75 m long by the plan, not measured: measure its way before it is counted on",
			"cable.link holds AP-2: the link is 20 m long"}},
		{"a switch in another closet than the cable", "cable.link", func(s *site.Site) {
			s.Infra.Closets = append(s.Infra.Closets, site.Closet{ID: "west", Floor: "G"})
			ap(s, 0).Drop.Closet = "west"
		}, []string{
			"cable.link holds AP-1: the link is 70 m long",
			"cable.link doubtful AP-1: its cable ends in closet west and its switch is in closet east: the way between them is not counted",
			"cable.link holds AP-2: the link is 20 m long"}},
		{"a link to nowhere", "cable.link", func(s *site.Site) { ap(s, 0).Drop.LinkM, s.Infra.Closets[0].At = nil, nil }, []string{
			"cable.link holds AP-2: the link is 20 m long",
			"cable.link not known AP-1: add link_m to [access_point.drop], or at to its [[closet]] for an estimate"}},

		{"a channel beyond 100 m", "cable.channel", func(s *site.Site) { ap(s, 0).Drop.LinkM, ap(s, 0).Drop.PatchM = p(89.0), p(12.0) }, []string{
			"cable.channel fails AP-1: the channel is 101 m long, with 12 m of cords: too long by 1 m",
			"cable.channel holds AP-2: the channel is 24 m long, with 4 m of cords"}},
		{"cords of no known length", "cable.channel", func(s *site.Site) {
			ap(s, 0).Drop.PatchM, ap(s, 1).Drop.PatchM, ap(s, 1).Drop.LinkM = nil, nil, p(101.0)
		}, []string{
			"cable.channel fails AP-2: the link alone is 101 m long",
			"cable.channel not known AP-1: add patch_m to [access_point.drop]; 10 m of cords are usual at most"}},

		{"a category that is too low", "cable.kind", func(s *site.Site) { ap(s, 0).Drop.Cable, ap(s, 1).Drop.Cable = "cat3", "cat5" }, []string{
			"cable.kind fails AP-1: cat3 carries class 3 at most, and class 4 is asked for",
			"cable.kind fails AP-2: cat5 carries 1000 Mbit/s, and the radios bring 1561"}},
		{"a category that nobody knows", "cable.kind", func(s *site.Site) { ap(s, 0).Drop.Cable = "" }, []string{
			"cable.kind holds AP-2: cat6a carries 10000 Mbit/s, and the radios bring 1561",
			"cable.kind not known AP-1: add cable to [access_point.drop]"}},

		{"a full rack", "closet.rack", func(s *site.Site) { sw(s).RackUnits = p(3) }, []string{
			"closet.rack fails east: what is still to be mounted takes 3 units, and 2 units are free: short of 1 unit"}},
		{"a switch of no known height", "closet.rack", func(s *site.Site) { sw(s).RackUnits = nil }, []string{
			"closet.rack not known east: what is still to be mounted takes 0 units, and 2 units are free; not known: rack_units of SW-1"}},
		{"a rack of no known room", "closet.rack", func(s *site.Site) { s.Infra.Closets[0].RackUnitsFree = nil }, []string{
			"closet.rack not known east: add rack_units_free to [[closet]]; still to be mounted: 1"}},
		{"a mounted switch", "closet.rack", func(s *site.Site) { sw(s).Mounted = true }, []string{
			"closet.rack holds east: nothing is still to be mounted"}},
		{"a switch in no closet", "closet.rack", func(s *site.Site) { sw(s).Closet = "" }, []string{
			"closet.rack holds east: nothing is still to be mounted",
			"closet.rack not known SW-1: add closet to [[switch]], or mounted = true"}},

		{"stand-alone", "control.kind", func(s *site.Site) { s.Infra.Control.Kind = site.StandAlone }, []string{
			"control.kind holds: 2 access points under stand-alone control"}},
		{"six stand alone", "control.kind", func(s *site.Site) { standAlone(s, 6) }, []string{
			"control.kind doubtful: 6 access points under stand-alone control, which is usual up to 5"}},
		{"eleven stand alone", "control.kind", func(s *site.Site) { standAlone(s, 11) }, []string{
			"control.kind fails: 11 access points under stand-alone control, which is usual up to 5, at most 10"}},
		{"too many for control", "control.capacity", func(s *site.Site) { s.Infra.Control.AccessPoints = p(1) }, []string{
			"control.capacity fails: 2 access points, and control for 1: short of 1"}},
		{"too few licences", "control.licences", func(s *site.Site) { s.Infra.Control.Licences = p(0) }, []string{
			"control.licences fails: 2 access points, and licences for 0: short of 2"}},
		{"licences unknown", "control.licences", func(s *site.Site) { s.Infra.Control.Licences = nil }, []string{
			"control.licences not known: add licences to [control]; 0 would mean none"}},
		{"more tags than the service carries", "location.devices", func(s *site.Site) { s.Infra.Location.Expected = p(251) }, []string{
			"location.devices fails: 251 tracked devices, and a service for 250: short of 1"}},

		{"an open question", "questions.open", func(s *site.Site) { s.Answers = append(s.Answers[:5], s.Answers[7:]...) }, []string{
			"questions.open holds building: 4 of 4 answered",
			"questions.open not known ceilings: 2 of 4 answered; open: ceiling-mount and ceiling-void",
			"questions.open holds locating: 4 of 4 answered",
			"questions.open holds devices: 3 of 3 answered",
			"questions.open holds cable: 4 of 4 answered",
			"questions.open holds closets: 4 of 4 answered",
			"questions.open holds hazards: 5 of 5 answered",
			"questions.open holds permission: 4 of 4 answered"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := mill(t)
			c.change(s)
			require.NoError(t, s.Validate())
			assert.Equal(t, c.want, of(infra.Examine(s), c.check))
		})
	}
}

// standAlone gives the mill n access points under control of their own.
func standAlone(s *site.Site, n int) {
	s.Infra.Control.Kind = site.StandAlone
	for len(s.AccessPoints) < n {
		s.AccessPoints = append(s.AccessPoints, site.AccessPoint{ID: "X" + string(rune('a'+len(s.AccessPoints))), Floor: "G", Radios: []site.Radio{{Band: "5"}}})
	}
}

// The rule of thumb for a port: 450 Mbit/s of radios are fine on 1 Gbit/s, 1300
// borderline, 2402 need 2.5 Gbit/s (common practice).
func TestPortRuleOfThumb(t *testing.T) {
	for _, c := range []struct {
		phy   site.PHY
		speed float64
		want  infra.Status
	}{
		{site.PHY{Standard: "802.11n", WidthMHz: p(40), Streams: p(3)}, 1000, infra.Holds},
		{site.PHY{Standard: "802.11ac", WidthMHz: p(80), Streams: p(3)}, 1000, infra.Doubtful},
		{site.PHY{Standard: "802.11ax", WidthMHz: p(80), Streams: p(4)}, 1000, infra.Fails},
		{site.PHY{Standard: "802.11ax", WidthMHz: p(80), Streams: p(4)}, 2500, infra.Holds},
	} {
		s := mill(t)
		s.AccessPoints[1].Radios[0].PHY = &c.phy
		s.Infra.Switches[0].Ports[1].SpeedMbps = &c.speed
		r := infra.Examine(s)
		for _, f := range r.Findings {
			if f.Check == "port.speed" && f.Subjects[0] == "AP-2" {
				assert.Equal(t, c.want, f.Status, said(f))
			}
		}
	}
}

// What the file does not say never passes: with any one of what the mill's file
// says taken out, the verdict is no longer that all of it holds.
func TestNothingUnknownPasses(t *testing.T) {
	optional := map[string]string{
		"AccessPoints[0].Power.Modes":           "only of use where power is short",
		"AccessPoints[0].Power.Class":           "follows from MaxW",
		"AccessPoints[0].Power.MaxW":            "follows from Class",
		"AccessPoints[0].Drop.Closet":           "follows from the switch, or from there being one closet",
		"AccessPoints[0].Drop.LinkM":            "estimated from the plan, and said so",
		"AccessPoints[1].Drop.LinkM":            "estimated from the plan, and said so",
		"AccessPoints[0].Drop.Switch":           "a patching is proposed, and said so",
		"AccessPoints[1].Drop.Switch":           "a patching is proposed, and said so",
		"AccessPoints[0].Drop.Port":             "a patching is proposed, and said so",
		"AccessPoints[1].Drop.Port":             "a patching is proposed, and said so",
		"AccessPoints[0].Radios[0].PHY.Chains":  "only of use where power is short",
		"AccessPoints[0].Radios[1].PHY.Chains":  "only of use where power is short",
		"Infra.Closets[0].At":                   "the lengths were measured",
		"Infra.Switches[0].Taken":               "a list: empty is that none is taken",
		"Infra.Switches[0].Ports[0].Power":      "see the class",
		"Infra.Switches[0].Ports[1].Power":      "follows from the class",
		"Infra.Switches[0].Ports":               "the format wants it",
		"Infra.Control.Kind":                    "the format wants it",
		"AccessPoints[0].Power.Source":          "the format wants it",
		"AccessPoints[1].Power.Source":          "the format wants it",
		"AccessPoints[0].Power.Modes[0].Chains": "the format wants it",
		"AccessPoints[0].Power.Modes[1].Chains": "the format wants it",
	}
	tried := 0
	whole := mill(t)
	require.Equal(t, infra.Holds, verdict(whole))
	for _, path := range []string{"AccessPoints", "Infra"} {
		walkFields(reflect.ValueOf(whole).Elem().FieldByName(path), path, func(name string, v reflect.Value) {
			old := reflect.ValueOf(v.Interface())
			v.SetZero()
			got := verdict(whole)
			v.Set(old)
			tried++
			if why, ok := optional[name]; ok {
				t.Logf("%s may be missing: %s", name, why)
				return
			}
			assert.NotEqual(t, infra.Holds, got, "without %s", name)
		})
	}
	assert.Greater(t, tried, 50)
	require.Equal(t, infra.Holds, verdict(whole), "all is put back")
}

func verdict(s *site.Site) infra.Status {
	if s.Validate() != nil {
		return infra.Fails
	}
	r := infra.Examine(s)
	return r.Verdict()
}

// walkFields visits every pointer, list and text below a value.
func walkFields(v reflect.Value, name string, visit func(string, reflect.Value)) {
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() {
			return
		}
		visit(name, v)
		walkFields(v.Elem(), name, visit)
	case reflect.Slice:
		if v.Len() == 0 {
			return
		}
		if name != "AccessPoints" && !strings.HasSuffix(name, "Radios") && !strings.HasSuffix(name, "BSSIDs") {
			visit(name, v)
		}
		for i := range v.Len() {
			walkFields(v.Index(i), name+"["+string(rune('0'+i))+"]", visit)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			walkFields(v.Field(i), name+"."+v.Type().Field(i).Name, visit)
		}
	case reflect.String:
		if v.Len() > 0 && !strings.HasSuffix(name, ".ID") && !strings.HasSuffix(name, ".Floor") && !strings.HasSuffix(name, ".Band") {
			visit(name, v)
		}
	}
}

func TestASiteThatSaysNothing(t *testing.T) {
	s := mill(t)
	s.Infra, s.Answers = nil, nil
	for i := range s.AccessPoints {
		s.AccessPoints[i].Power, s.AccessPoints[i].Drop = nil, nil
		for k := range s.AccessPoints[i].Radios {
			s.AccessPoints[i].Radios[k].PHY = nil
		}
	}
	r := infra.Examine(s)
	assert.Equal(t, infra.Unknown, r.Verdict())
	assert.Empty(t, r.Patching)
	for _, c := range infra.Checks {
		got := of(r, c.ID)
		require.NotEmpty(t, got, c.ID)
		for _, line := range got {
			assert.Contains(t, line, c.ID+" not known")
		}
	}
}

func TestAnswered(t *testing.T) {
	s := mill(t)
	at := time.Date(2026, 4, 1, 8, 0, 0, 0, time.UTC)
	next := infra.Answered(s, site.Answer{Question: "ceiling-height", Text: "5 m", By: "N. Teal", At: at})
	assert.Len(t, next.Answers, len(s.Answers), "one answer to a question")
	assert.Equal(t, &site.Answer{Question: "ceiling-height", Text: "5 m", By: "N. Teal", At: at}, next.Answer("ceiling-height"))
	assert.Equal(t, "seen", s.Answer("ceiling-height").Text, "the plan before is left alone")

	next = infra.Answered(next, site.Answer{Question: "roof-garden", Text: "none", By: "N. Teal", At: at})
	r := infra.Examine(next)
	assert.Contains(t, of(r, "questions.open"), "questions.open doubtful roof-garden: an answer to a question that is not on the list")
}

func TestQuestionsAreWellFormed(t *testing.T) {
	seen := map[string]bool{}
	group := map[string]bool{}
	last := ""
	for _, q := range infra.Questions {
		assert.False(t, seen[q.ID], q.ID)
		seen[q.ID] = true
		assert.True(t, strings.HasSuffix(q.Text, "?"), q.Text)
		if q.Group != last {
			assert.False(t, group[q.Group], "%s stands together", q.Group)
			group[q.Group], last = true, q.Group
		}
		assert.Equal(t, q.Text, infra.QuestionOf(q.ID).Text)
	}
	assert.Nil(t, infra.QuestionOf("none"))
}
