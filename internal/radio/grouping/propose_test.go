package grouping_test

import (
	"fmt"
	"strings"
	"testing"

	"footrule/internal/radio"
	"footrule/internal/radio/grouping"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// sender is an invented BSS: its level falls by 3 dB a metre along the x axis
// from at, plus a wobble of its radio's own.
type sender struct {
	id      string
	ssid    string
	freq    int
	at      float64
	plus    float64
	wobble  int // seed of the radio's scatter
	from    int // first place where it is heard
	to      int // last place
	jumping float64
}

// corridor walks twelve places, three scans at each.
func corridor(t testing.TB, senders ...sender) walk.Walk {
	t.Helper()
	w := walk.Walk{Header: walk.Header{ID: "w", Name: "walk 1"}}
	n := 0
	for p := range 12 {
		v := walk.Visit{ID: fmt.Sprintf("v%02d", p), Point: fmt.Sprintf("P%02d", p), Floor: "G", At: orb.Point{float64(p), 1}}
		for k := range 3 {
			n++
			sc := walk.Scan{FacingDeg: walk.NoFacing}
			for _, s := range senders {
				if p < s.from || s.to > 0 && p > s.to {
					continue
				}
				level := -40 - 3*abs(float64(p)-s.at) + s.plus + float64((n*(s.wobble*2+3)+s.wobble*s.wobble)%7-3) + s.jumping*float64(k-1)
				sc.Readings = append(sc.Readings, radio.Reading{BSSID: id(t, s.id), SSID: s.ssid, FreqMHz: s.freq, RSSIDBm: level})
			}
			v.Scans = append(v.Scans, sc)
		}
		w.Visits = append(w.Visits, v)
	}
	return w
}

func abs(v float64) float64 { return max(v, -v) }

// plan has two access points at the ends of the corridor; the second has a
// radio that was never heard.
func plan(t testing.TB) *site.Site {
	t.Helper()
	s, err := site.Read("hall.toml", strings.NewReader(`
format = "footrule-site/1"
name = "Hall"
[[floor]]
id = "G"
outline = [[0, 0], [12, 0], [12, 4], [0, 4]]
[[access_point]]
id = "AP-01"
floor = "G"
at = [0, 2]
height_m = 2.8
[[access_point.radio]]
band = "2.4"
bssids = ["02:00:5e:10:01:20", "02:00:5e:10:02:51"]
[[access_point.radio]]
band = "5"
bssids = ["02:00:5e:10:01:50"]
[[access_point]]
id = "AP-02"
floor = "G"
at = [11, 2]
height_m = 2.8
[[access_point.radio]]
band = "2.4"
bssids = ["02:00:5e:99:00:00"]
[[access_point.radio]]
band = "5"
bssids = ["02:00:5e:10:02:50"]
`))
	require.NoError(t, err)
	return s
}

// TestKinds holds one case of each kind of proposal.
func TestKinds(t *testing.T) {
	w := corridor(t,
		sender{id: "02:00:5e:10:01:20", ssid: "works", freq: 2412, at: 0, wobble: 1},
		sender{id: "02:00:5e:10:01:21", ssid: "guests", freq: 2412, at: 0, plus: -1, wobble: 1},               // add
		sender{id: "02:00:5e:10:02:51", ssid: "guests", freq: 5260, at: 11, wobble: 3},                        // move: on the plan under AP-01/2.4
		sender{id: "02:00:5e:10:01:50", ssid: "works", freq: 5180, at: 0, wobble: 2},                          // as planned
		sender{id: "02:00:5e:10:01:80", ssid: "works", freq: 5955, at: 0, wobble: 4},                          // new radio, own SSID
		sender{id: "02:00:5e:10:02:50", ssid: "works", freq: 5260, at: 11, plus: 2, wobble: 3},                // as planned
		sender{id: "02:00:5e:10:02:20", ssid: "works", freq: 2437, at: 11, wobble: 5},                         // the vacant radio
		sender{id: "02:00:5e:77:00:01", ssid: "works", freq: 5500, at: 5, wobble: 6, plus: -5},                // own SSID, elsewhere
		sender{id: "06:11:11:11:11:11", ssid: "Robin's phone", freq: 2437, at: 5, wobble: 7, from: 5, to: 6},  // hotspot, few places
		sender{id: "06:22:22:22:22:22", ssid: "pocket", freq: 2437, at: 5, wobble: 1, jumping: 14, plus: -20}, // hotspot, moving
		sender{id: "00:00:5e:33:33:33", ssid: "bakery_nomap", freq: 2437, at: 5, wobble: 2},                   // nomap
		sender{id: "03:00:5e:44:44:44", ssid: "odd", freq: 2437, at: 5, wobble: 2},                            // group address
		sender{id: "00:00:5e:55:55:55", ssid: "", freq: 2462, at: 3, wobble: 4, plus: -10},                    // stranger
	)
	s := plan(t)
	rep := grouping.Propose(s, grouping.Listen(s, []walk.Walk{w}), grouping.Options{})
	var got []string
	for _, p := range rep.Proposals {
		line := fmt.Sprintf("%s|%s|%s|%s", p.Kind, p.ID, p.Confidence, p.Why)
		if p.OwnSSID {
			line += "|own"
		}
		got = append(got, line)
	}
	assert.Equal(t, []string{
		"add|02005e100121@AP-01/2.4|strong|one radio with 02:00:5e:10:01:20, which the plan has under AP-01/2.4|own",
		"add|02005e100220@AP-02/2.4|strong|a radio of the access point that sends AP-02/5, and the plan's radio of that band was not heard otherwise|own",
		"move|02005e100251@AP-02/5|strong|one radio with 02:00:5e:10:02:50, which the plan has under AP-02/5; this one stands under AP-01/2.4",
		"new radio|02005e100180@AP-01/6 new|strong|a radio of the access point that sends AP-01/2.4|own",
		"no place|02005e770001@none||it fits no radio of the plan; it carries an SSID of this site: an access point that the plan lacks, or somebody else's|own",
		"no place|00005e555555@none||it fits no radio of the plan",
		"kept out|00005e333333@none||its SSID ends in _nomap: its owner asks not to be used for locating",
		"kept out|03005e444444@none||a group address or all zeros, which no BSS has",
		"kept out|061111111111@none||looks like a phone's hotspot: locally administered, alone with its SSID, heard at 2 of 12 places",
		"kept out|062222222222@none||looks like a phone's hotspot: locally administered, alone with its SSID, its level at one place varies by an sd of 16 dB",
	}, got)
	assert.Equal(t, 3, rep.AsPlanned)
	assert.Equal(t, []radio.BSSID{id(t, "02:00:5e:99:00:00")}, rep.Unheard)
	assert.Equal(t, []string{"guests", "works"}, rep.OwnSSIDs)
	add := rep.Find("02005e100121@AP-01/2.4")
	require.NotNil(t, add)
	assert.Equal(t, []grouping.Evidence{
		{Kind: grouping.Address, Weight: 3, N: 1, Value: 1, Text: "addresses equal but for the low 1 bit"},
		{Kind: grouping.Channel, Weight: 1.5, N: 36, Value: 1, Text: "on one channel (channel 1 of 2.4 GHz) in 36 of 36 scans heard together"},
		{Kind: grouping.Levels, Weight: 6, N: 36, Value: 0, Text: "levels 1.0 dB apart, median absolute difference from that 0.0 dB over 36 scans at 12 places, correlation 1.00"},
		{Kind: grouping.Together, Weight: 1, N: 29, Value: 1, Text: "heard together in 29 of 29 scans that heard one of them well"},
	}, add.Evidence)
	again := grouping.Propose(s, grouping.Listen(s, []walk.Walk{w}), grouping.Options{})
	assert.Equal(t, flat(rep), flat(again), "equal input, equal output")
}

// flat prints a report with what its pointers point to; NaN then equals NaN.
func flat(r grouping.Report) string {
	out := ""
	for i := range r.Proposals {
		p := &r.Proposals[i]
		if p.To != nil {
			out += fmt.Sprintln(*p.To)
		}
		if p.With != nil {
			out += fmt.Sprintln(*p.With)
		}
		p.To, p.With = nil, nil
	}
	return out + fmt.Sprintf("%+v", r)
}

// A BSSID that the plan has under a radio whose levels it does not follow, with
// nowhere else to go, is a doubt.
func TestDoubt(t *testing.T) {
	s := plan(t)
	next, err := grouping.Apply(s, grouping.Change{BSSID: id(t, "02:00:5e:10:01:51"), To: &grouping.Target{AP: "AP-01", Radio: 1}})
	require.NoError(t, err)
	w := corridor(t,
		sender{id: "02:00:5e:10:01:50", ssid: "works", freq: 5180, at: 0, wobble: 2},
		sender{id: "02:00:5e:10:01:51", ssid: "guests", freq: 5180, at: 8, wobble: 3})
	rep := grouping.Propose(next, grouping.Listen(next, []walk.Walk{w}), grouping.Options{})
	require.Len(t, rep.Proposals, 1)
	p := rep.Proposals[0]
	assert.Equal(t, grouping.Doubt, p.Kind)
	assert.Equal(t, "the plan has it under AP-01/5, but it does not go with the others there", p.Why)
	assert.Less(t, p.Score, 0.5)
	_, ok := p.Change()
	assert.False(t, ok)
	assert.Equal(t, 1, rep.AsPlanned)
}

// Where walks say too little, the plan is believed.
func TestPlanIsBelieved(t *testing.T) {
	s := plan(t)
	next, err := grouping.Apply(s, grouping.Change{BSSID: id(t, "02:00:5e:ab:cd:ef"), To: &grouping.Target{AP: "AP-01", Radio: 1}})
	require.NoError(t, err)
	w := corridor(t,
		sender{id: "02:00:5e:10:01:50", ssid: "works", freq: 5180, at: 0, wobble: 2, to: 1},
		sender{id: "02:00:5e:ab:cd:ef", ssid: "guests", freq: 5180, at: 8, wobble: 3, from: 8})
	rep := grouping.Propose(next, grouping.Listen(next, []walk.Walk{w}), grouping.Options{})
	assert.Empty(t, rep.Proposals)
	assert.Equal(t, 2, rep.AsPlanned)
}

// Membership of an announced set outweighs one SSID twice and few scans.
func TestSetIsEvidence(t *testing.T) {
	s := plan(t)
	w := corridor(t,
		sender{id: "02:00:5e:10:01:50", ssid: "works", freq: 5180, at: 0, wobble: 2, to: 1},
		sender{id: "02:00:5e:10:01:6f", ssid: "works", freq: 5180, at: 0, wobble: 2, from: 2, to: 3})
	h := grouping.Listen(s, []walk.Walk{w})
	kinds := func(o grouping.Options) (out []string) {
		for _, p := range grouping.Propose(s, h, o).Proposals {
			out = append(out, string(p.Kind)+" "+p.ID)
		}
		return out
	}
	assert.Equal(t, []string{"no place 02005e10016f@none"}, kinds(grouping.Options{}))
	assert.Equal(t, []string{"add 02005e10016f@AP-01/5"}, kinds(grouping.Options{Sets: []grouping.MultipleBSSID{{Transmitted: id(t, "02:00:5e:10:01:50"), MaxIndicator: 6}}}))
	// The walk kept it from the beacons.
	for _, v := range w.Visits {
		for i := range v.Scans {
			for j := range v.Scans[i].Readings {
				if r := &v.Scans[i].Readings[j]; r.BSSID == id(t, "02:00:5e:10:01:50") {
					r.MaxBSSIDIndicator = 6
				}
			}
		}
	}
	h = grouping.Listen(s, []walk.Walk{w})
	assert.Equal(t, []grouping.MultipleBSSID{{Transmitted: id(t, "02:00:5e:10:01:50"), MaxIndicator: 6}}, h.Sets)
	assert.Equal(t, []string{"add 02005e10016f@AP-01/5"}, kinds(grouping.Options{}))
}

func TestApply(t *testing.T) {
	b := id(t, "02:00:5e:10:01:21")
	names := func(s *site.Site) map[string][]radio.BSSID {
		out := map[string][]radio.BSSID{}
		for _, r := range s.Radios() {
			out[s.RadioName(r)] = s.AccessPoints[r.AP].Radios[r.Radio].BSSIDs
		}
		return out
	}
	base := names(plan(t))
	with := func(name string, ids ...string) map[string][]radio.BSSID {
		out := names(plan(t))
		var list []radio.BSSID
		for _, s := range ids {
			list = append(list, id(t, s))
		}
		out[name] = list
		return out
	}
	for name, tc := range map[string]struct {
		change grouping.Change
		want   map[string][]radio.BSSID
		err    string
	}{
		"onto a radio":   {grouping.Change{BSSID: b, Heard: "5", To: &grouping.Target{AP: "AP-01", Radio: 1}}, with("AP-01/5", "02:00:5e:10:01:50", "02:00:5e:10:01:21"), ""},
		"onto a new one": {grouping.Change{BSSID: b, Heard: "6", To: &grouping.Target{AP: "AP-01", Radio: grouping.NewRadio, Band: "6"}}, with("AP-01/6", "02:00:5e:10:01:21"), ""},
		"with its mate": {grouping.Change{BSSID: b, Heard: "5", To: &grouping.Target{AP: "AP-01", Radio: grouping.NewRadio, Band: "5"}, Mates: []radio.BSSID{id(t, "02:00:5e:10:01:50")}},
			with("AP-01/5", "02:00:5e:10:01:50", "02:00:5e:10:01:21"), ""},
		"off the plan":     {grouping.Change{BSSID: id(t, "02:00:5e:10:02:51")}, with("AP-01/2.4", "02:00:5e:10:01:20"), ""},
		"not on it":        {grouping.Change{BSSID: b}, base, ""},
		"another band":     {grouping.Change{BSSID: b, Heard: "5", To: &grouping.Target{AP: "AP-01", Radio: 0}}, nil, "02:00:5e:10:01:21 was heard in 5 GHz, and AP-01/2.4 is a radio of 2.4 GHz; choose one of its band"},
		"no access point":  {grouping.Change{BSSID: b, To: &grouping.Target{AP: "AP-09"}}, nil, `no access point "AP-09" on the plan; choose one that it has`},
		"no such radio":    {grouping.Change{BSSID: b, To: &grouping.Target{AP: "AP-01", Radio: 2}}, nil, "AP-01 has 2 radios, not 3; choose one that it has"},
		"no BSS's address": {grouping.Change{BSSID: radio.BSSID{3}, To: &grouping.Target{AP: "AP-01"}}, nil, "group address"},
	} {
		t.Run(name, func(t *testing.T) {
			s := plan(t)
			next, err := grouping.Apply(s, tc.change)
			assert.Equal(t, plan(t), s, "the plan stays as it is")
			if tc.err != "" {
				require.ErrorContains(t, err, tc.err)
				return
			}
			require.NoError(t, err)
			assert.Equal(t, tc.want, names(next))
		})
	}
}

func TestChoices(t *testing.T) {
	s := plan(t)
	names := func(ts []grouping.Target) (out []string) {
		for _, x := range ts {
			out = append(out, x.Name(s))
		}
		return out
	}
	assert.Equal(t, []string{"AP-01/5", "AP-02/5", "AP-01/5 new", "AP-02/5 new"}, names(grouping.Choices(s, "5")))
	assert.Equal(t, []string{"AP-01/6 new", "AP-02/6 new"}, names(grouping.Choices(s, "6")))
	assert.Equal(t, []string{"AP-01/2.4", "AP-01/5", "AP-02/2.4", "AP-02/5"}, names(grouping.Choices(s, "")))
}
