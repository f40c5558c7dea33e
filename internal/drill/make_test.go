package drill_test

import (
	"bytes"
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"footrule/internal/drill"
	"footrule/internal/radio"
	"footrule/internal/radio/synthetic"
	"footrule/internal/walk"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func made(t *testing.T, level drill.Level, seed uint64, faults ...string) *drill.Case {
	t.Helper()
	s := drill.Spec{Level: level, Seed: seed}
	for _, text := range faults {
		f, err := drill.ParseFault(text)
		require.NoError(t, err)
		s.Faults = append(s.Faults, f)
	}
	c, err := drill.Make(s)
	require.NoError(t, err)
	return c
}

// A round of each deck has every family once, each case has a building of its own,
// and another seed another one of the same kind.
func TestLookup(t *testing.T) {
	deck := map[drill.Level]int{drill.Plain: 7, drill.Middle: 11, drill.Hard: 10}
	for level, n := range deck {
		kinds, digests := map[string]int{}, map[string]bool{}
		for i := 1; i <= n; i++ {
			id := fmt.Sprintf("%s-%d", level, i)
			s, err := drill.Lookup(id, 1)
			require.NoError(t, err)
			c, err := drill.Make(s)
			require.NoError(t, err, id)
			name := ""
			for _, f := range c.Faults {
				name += string(f.Kind) + " "
			}
			kinds[name]++
			require.False(t, digests[c.Digest], id)
			digests[c.Digest] = true
			require.NotContains(t, id+c.Title, "labels")
		}
		require.Len(t, kinds, n)
		for name, times := range kinds {
			require.Equal(t, 1, times, name)
		}
	}
	for _, id := range []string{"", "plain", "plain-0", "plain-", "plain-01", "easy-1", "plain-10000", "hard-1x", "Plain-1"} {
		_, err := drill.Lookup(id, 1)
		require.ErrorContains(t, err, "cases are plain, middle or hard", id)
	}
}

// Equal specs give equal cases, walks and sheets to the byte; another seed does not.
func TestSameAgain(t *testing.T) {
	var sheets, digests []string
	var walks [][]walk.Walk
	for _, seed := range []uint64{5, 5, 6} {
		s, err := drill.Lookup("middle-3", seed)
		require.NoError(t, err)
		c, err := drill.Make(s)
		require.NoError(t, err)
		w, err := drill.Hand(context.Background(), c)
		require.NoError(t, err)
		sheets = append(sheets, drill.Sheet(c, false)+drill.Sheet(c, true))
		walks, digests = append(walks, w), append(digests, c.Digest)
	}
	require.Equal(t, sheets[0], sheets[1])
	require.Equal(t, walks[0], walks[1])
	require.Equal(t, digests[0], digests[1])
	require.NotEqual(t, sheets[0], sheets[2])
	require.NotEqual(t, digests[0], digests[2])
}

// The answer that a sheet gives has full marks, for every family.
func TestSheetHasFullMarks(t *testing.T) {
	for _, k := range drill.Kinds()[1:] {
		c := made(t, drill.Middle, 3, string(k))
		text := drill.Sheet(c, false)
		require.Contains(t, text, "Full marks: footrule drill answer FILE "+string(k), k)
		for _, line := range strings.Split(text, "\n") {
			require.LessOrEqual(t, len([]rune(line)), 80, line)
		}
		md := drill.Sheet(c, true)
		require.Contains(t, md, "# "+c.Title+": solution\n")
		require.Contains(t, md, "| access point | on the plan m | really m |\n| --- | --- | --- |\n")
		require.Contains(t, md, "Full marks: footrule drill answer FILE "+string(k))
	}
	require.Contains(t, drill.Sheet(made(t, drill.Middle, 3), false), "Full marks: footrule drill answer FILE nothing")
}

func TestMakeRefuses(t *testing.T) {
	for text, faults := range map[string][]string{
		`there is no "AP-77"`:           {"moved:ap=AP-77"},
		`AP-02 has another fault`:       {"dead:ap=AP-02", "moved:ap=AP-02"},
		"it takes 2 access points":      {"labels:ap=AP-02"},
		"line can't be planted twice":   {"line", "line"},
		"a wrong scale stands alone":    {"scale", "moved"},
		"5 faults; at most 4":           {"moved", "dead", "dies", "power", "moved"},
		"a size of 500; from 1 to 100":  {"moved:size=500"},
		"a size of -0.7; from 0.5 to 2": {"plan:size=-0.7"},
		"after 900 visits":              {"power:after=900"},
		`there is no point "P99"`:       {"point:point=P99"},
		"nowhere on this plan is 100 m": {"moved:size=100"},
		"a size of 0.5; from 1 to 40":   {"power:size=0.5"},
	} {
		s := drill.Spec{Level: drill.Middle, Seed: 2}
		for _, f := range faults {
			p, err := drill.ParseFault(f)
			require.NoError(t, err)
			s.Faults = append(s.Faults, p)
		}
		_, err := drill.Make(s)
		require.ErrorContains(t, err, text, text)
	}
	_, err := drill.Make(drill.Spec{Level: "easy"})
	require.ErrorContains(t, err, "plain, middle or hard")
	_, err = drill.Make(drill.Spec{Level: drill.Plain, Faults: []drill.Fault{{Kind: "gremlins"}}})
	require.ErrorContains(t, err, `no fault "gremlins" to plant`)
	for text, want := range map[string]string{
		"gremlins":        `no fault "gremlins"`,
		"nothing":         `no fault "nothing"`,
		"moved:by=3":      "write ap=, point=, size= or after=",
		"moved:size=x":    `"x" is no number`,
		"moved:size=":     "with a value",
		"moved:after=3":   "moved has no moment",
		"power:after=-3":  "1 or more",
		"power:after=2.5": "no whole number",
		"dead:size=3":     "dead has no size",
		"line:ap=AP-01":   "line takes no access point",
		"stale:point=P01": "stale takes no point",
		"moved:size=NaN":  "no number",
	} {
		_, err := drill.ParseFault(text)
		require.ErrorContains(t, err, want, text)
	}
}

// What a trainer says is so, and the rest is drawn.
func TestMakeAsAsked(t *testing.T) {
	c := made(t, drill.Plain, 9, "moved:ap=AP-03,size=12", "power:ap=AP-01,size=-20,after=10")
	require.Equal(t, []string{"AP-03"}, c.Faults[0].APs)
	require.InDelta(t, 12, c.Faults[0].Size, .1)
	require.Equal(t, -20.0, c.Faults[1].Size)
	require.Equal(t, 10, c.Faults[1].After)

	// The tape tells a wrong scale of the plan.
	c = made(t, drill.Plain, 9, "plan:size=1.25")
	b := c.Plan.Floors[0].BoundingBox()
	require.InDelta(t, 1.25, c.TapedM()/(b.Max[0]-b.Min[0]), 1e-9)
	require.Contains(t, c.Story, fmt.Sprintf("was taped: %.1f m", c.TapedM()))
}

// The power changes with the first visit after it was to, whatever the time, and a
// scanner that begins anew with so many visits behind it agrees.
func TestScannerByVisits(t *testing.T) {
	c := made(t, drill.Plain, 4, "power:ap=AP-01,size=-30,after=5")
	bssid := c.Plan.AccessPoints[0].Radios[0].BSSIDs[0]
	at := c.Building.AccessPoints[0].At
	level := func(sc *drill.Scanner) float64 {
		sc.Place("G", at, walk.NoFacing)
		sum, n := 0.0, 0.0
		for range 20 {
			sweep, err := sc.Scan(context.Background(), radio.Request{})
			require.NoError(t, err)
			for _, h := range sweep.Heard {
				if h.BSSID == bssid {
					sum, n = sum+h.RSSIDBm, n+1
				}
			}
		}
		require.Positive(t, n)
		return sum / n
	}
	clock := synthetic.NewSimulatedClock(time.Unix(0, 0))
	sc, err := drill.NewScanner(c, 0, clock)
	require.NoError(t, err)
	first := level(sc)
	require.NoError(t, clock.Sleep(context.Background(), 50*time.Hour))
	for range 4 {
		sc.Visited()
	}
	require.InDelta(t, first, level(sc), 3)
	sc.Visited()
	require.InDelta(t, first-30, level(sc), 3)
	again, err := drill.NewScanner(c, 5, clock)
	require.NoError(t, err)
	require.InDelta(t, first-30, level(again), 3)
}

// A stuck receiver gives its latest sweep again, fresh as it seems.
func TestScannerStuck(t *testing.T) {
	c := made(t, drill.Plain, 4, "stale")
	handed, err := drill.Hand(context.Background(), c)
	require.NoError(t, err)
	require.Len(t, handed, 1)
	w := handed[0]
	stuck := map[int]bool{}
	for _, v := range c.Faults[0].Visits {
		stuck[v] = true
	}
	require.Len(t, stuck, 9)
	for i, v := range w.Visits {
		same := true
		for _, s := range v.Scans {
			same = same && assert.ObjectsAreEqual(v.Scans[0].Readings, s.Readings)
		}
		require.Equal(t, stuck[i], same, "visit %d", i)
		if stuck[i] {
			require.Equal(t, w.Visits[i-1].Scans[len(w.Visits[i-1].Scans)-1].Readings, v.Scans[0].Readings)
			require.Contains(t, c.Faults[0].Points, v.Point)
		}
	}
}

func TestCaseFile(t *testing.T) {
	for _, s := range []drill.Spec{
		{Level: drill.Middle, Seed: 40, Title: "Osier Hall", Story: "The ceiling was renewed.\nNobody knows more.", Faults: []drill.Fault{
			{Kind: drill.Labels, APs: []string{"AP-01", "AP-02"}}, {Kind: drill.Power, Size: -9.5, After: 12}, {Kind: drill.Point, Points: []string{"P03"}}}},
		{Level: drill.Plain},
	} {
		var b bytes.Buffer
		require.NoError(t, drill.WriteCase(&b, s))
		got, err := drill.ReadCase("x.toml", &b)
		require.NoError(t, err, b.String())
		require.Equal(t, s, got)
	}
	head := "format = \"footrule-drill/1\"\nlevel = \"plain\"\nseed = 1\n"
	for text, want := range map[string]string{
		"":                    `x.toml: format is ""; begin with format = "footrule-drill/1"`,
		"format = 1":          "x.toml:1:10: not a case file: ",
		"format = \"a\nb\"":   "x.toml:1:",
		head + "colour = 3\n": `x.toml:4:1: "colour" is unknown; a case has format, title, story, level, seed, floors and [[fault]] with kind, ap, point, size, after`,
		head + "[[fault]]\nkind = \"gremlins\"\n":              `x.toml: no fault "gremlins"`,
		head + "[[fault]]\nkind = \"dead\"\nsize = 3.0\n":      "x.toml: dead has no size; correct the [[fault]]",
		strings.Replace(head, "plain", "easy", 1):              `x.toml: level is "easy"; write plain, middle or hard`,
		head + "title = \"" + strings.Repeat("x", 61) + "\"\n": "x.toml: the title is too long",
		strings.Replace(head, "1\n", "-1\n", 2):                "x.toml:",
	} {
		_, err := drill.ReadCase("x.toml", strings.NewReader(text))
		require.ErrorContains(t, err, want, text)
	}
}

// A record comes back as it was, does not show what it holds to who looks at its
// bytes, and is refused where another case comes out of it.
func TestRecord(t *testing.T) {
	spec, err := drill.Lookup("plain-7", 2)
	require.NoError(t, err)
	c, err := drill.Make(spec)
	require.NoError(t, err)
	r := drill.Record{Spec: spec, Digest: c.Digest, Answers: []drill.Answer{{Kind: drill.Labels, APs: []string{"AP-01", "AP-02"}}}}
	data, err := r.Pack()
	require.NoError(t, err)
	for _, secret := range []string{"labels", "AP-01", "plain-7", "fault"} {
		require.NotContains(t, string(data), secret)
	}
	got, err := drill.Unpack(data)
	require.NoError(t, err)
	require.Equal(t, &r, got)
	again, err := got.Case()
	require.NoError(t, err)
	require.Equal(t, c, again)
	got.Digest = "another"
	_, err = got.Case()
	require.ErrorContains(t, err, "made by another version")
	_, err = drill.Unpack(append([]byte("drill/2 "), data...))
	require.ErrorContains(t, err, "newer")
	_, err = drill.Unpack(data[:len(data)/2])
	require.ErrorContains(t, err, "can't be unpacked")
}
