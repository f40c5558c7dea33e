package drill_test

import (
	"context"
	"math"
	"testing"

	"footrule/internal/doubt"
	"footrule/internal/drill"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/require"
)

// evidence is a handed walk with what the program finds in it.
func evidence(t *testing.T, c *drill.Case) drill.Evidence {
	t.Helper()
	walks, err := drill.Hand(context.Background(), c)
	require.NoError(t, err)
	rep, err := doubt.Find(context.Background(), c.Plan, walks, doubt.Options{})
	require.NoError(t, err)
	return drill.Evidence{Walks: walks, Report: rep}
}

func TestGradeMoved(t *testing.T) {
	c := made(t, drill.Plain, 9, "moved:ap=AP-03,size=14")
	e := evidence(t, c)
	really := *c.Faults[0].At
	near := orb.Point{really[0] + 1, really[1]}
	wide := orb.Point{really[0] + 30, really[1]}
	moved := func(ap string, at *orb.Point) drill.Answer {
		return drill.Answer{Kind: drill.Moved, APs: []string{ap}, At: at}
	}
	for _, tc := range []struct {
		name    string
		answers []drill.Answer
		points  int
		right   bool
	}{
		{"all of it", []drill.Answer{moved("AP-03", &near)}, 100, true},
		{"not where", []drill.Answer{moved("AP-03", nil)}, 70, true},
		{"wrong place", []drill.Answer{moved("AP-03", &wide)}, 70, true},
		{"wrong access point", []drill.Answer{moved("AP-01", &near)}, 20, false},
		{"one too many", []drill.Answer{moved("AP-03", &near), moved("AP-01", nil)}, 75, false},
		{"near kind", []drill.Answer{{Kind: drill.Labels, APs: []string{"AP-01", "AP-03"}}}, 35, false},
		{"near kind elsewhere", []drill.Answer{{Kind: drill.Labels, APs: []string{"AP-01", "AP-02"}}}, 0, false},
		{"twice", []drill.Answer{moved("AP-03", &near), {Kind: drill.Labels, APs: []string{"AP-01", "AP-03"}}}, 90, false},
		{"another kind", []drill.Answer{{Kind: drill.Dead, APs: []string{"AP-03"}}}, 0, false},
		{"nothing", []drill.Answer{{Kind: drill.Nothing}}, 0, false},
		{"no answer", nil, 0, false},
	} {
		s := drill.Grade(c, tc.answers, e)
		require.Equal(t, tc.points, s.Points, tc.name)
		require.Equal(t, tc.right, s.Right, tc.name)
		require.Len(t, s.Marks, 1, tc.name)
		require.Equal(t, drill.Yes, s.Marks[0].Shown, tc.name)
		got := 0.0
		for _, k := range s.Marks[0].Credits {
			require.LessOrEqual(t, k.Got, k.Of+1e-9)
			require.NotEmpty(t, k.Why)
			got += k.Got
		}
		require.InDelta(t, tc.points, max(0, got-float64(s.Lost)), .5, tc.name)
	}

	// Without a walk it is a guess.
	s := drill.Grade(c, []drill.Answer{moved("AP-03", &near)}, drill.Evidence{})
	require.Equal(t, 50, s.Points)
	require.Equal(t, drill.Guess, s.Marks[0].Shown)
}

// Who accuses a clean site loses all, whatever else they say.
func TestGradeClean(t *testing.T) {
	c := made(t, drill.Plain, 9)
	e := evidence(t, c)
	s := drill.Grade(c, []drill.Answer{{Kind: drill.Nothing}}, e)
	require.True(t, s.Right)
	require.Equal(t, 100, s.Points)
	for _, k := range drill.Kinds()[1:] {
		s := drill.Grade(c, []drill.Answer{{Kind: k, APs: []string{"AP-01"}}}, e)
		require.False(t, s.Right, k)
		require.Zero(t, s.Points, k)
		require.Len(t, s.False, 1, k)
	}
	s = drill.Grade(c, []drill.Answer{{Kind: drill.Nothing}}, drill.Evidence{})
	require.Equal(t, 50, s.Points)
}

// Two faults share the points.
func TestGradeTwo(t *testing.T) {
	c := made(t, drill.Middle, 9, "labels:ap=AP-01,ap=AP-04", "dies:ap=AP-02,after=15")
	e := evidence(t, c)
	labels := drill.Answer{Kind: drill.Labels, APs: []string{"AP-01", "AP-04"}}
	since := e.Walks[0].Visits[15].Point
	dies := drill.Answer{Kind: drill.Dies, APs: []string{"AP-02"}, Since: since}
	s := drill.Grade(c, []drill.Answer{dies, labels}, e)
	require.Equal(t, 100, s.Points)
	require.True(t, s.Right)
	s = drill.Grade(c, []drill.Answer{labels}, e)
	require.Equal(t, 50, s.Points)
	require.False(t, s.Right)
	// Half of what the moment counts: the walk can hardly tell it.
	dies.Since = e.Walks[0].Visits[30].Point
	s = drill.Grade(c, []drill.Answer{dies, labels}, e)
	require.Equal(t, 93, s.Points, "%+v", s.Marks[1])
	// Both of a pair as moved is near.
	s = drill.Grade(c, []drill.Answer{{Kind: drill.Moved, APs: []string{"AP-01"}}, {Kind: drill.Moved, APs: []string{"AP-04"}}}, e)
	require.Equal(t, 40, s.Points)
	require.Empty(t, s.False)
}

// A walk that could not have shown a fault is said so, and gets no other marks.
func TestGradeUnseen(t *testing.T) {
	c := made(t, drill.Middle, 9, "moved:ap=AP-03,size=2")
	e := evidence(t, c)
	s := drill.Grade(c, []drill.Answer{{Kind: drill.Nothing}}, e)
	require.Zero(t, s.Points)
	require.Equal(t, drill.No, s.Marks[0].Shown)
	require.Len(t, s.Marks[0].Credits, 2, "where it is is not asked")
	s = drill.Grade(c, []drill.Answer{{Kind: drill.Moved, APs: []string{"AP-03"}}}, e)
	require.Equal(t, 100, s.Points)
	require.Regexp(t, `the walk shows AP-03 off its place from \d+ m on in nine of ten cases; it was 2 m`, s.Marks[0].Why)
}

func TestAnswers(t *testing.T) {
	plan := made(t, drill.Plain, 9).Plan
	for text, a := range map[string]drill.Answer{
		`no fault "gremlins"`:                 {Kind: "gremlins"},
		"labels wants a name: --ap for both":  {Kind: drill.Labels},
		`no access point "AP-77" on the plan`: {Kind: drill.Dead, APs: []string{"AP-77"}},
		`no point "P99" on the plan`:          {Kind: drill.Dies, APs: []string{"AP-01"}, Since: "P99"},
		"--ap does not belong to facing":      {Kind: drill.Facing, APs: []string{"AP-01"}},
		"--size does not belong to dead":      {Kind: drill.Dead, APs: []string{"AP-01"}, Size: 3},
		"--since does not belong to nothing":  {Kind: drill.Nothing, Since: "P01"},
		"stale wants a name: --point for one": {Kind: drill.Stale},
	} {
		require.ErrorContains(t, a.Check(plan), text)
	}
	moved := drill.Answer{Kind: drill.Moved, APs: []string{"AP-01"}}
	other := drill.Answer{Kind: drill.Moved, APs: []string{"AP-02"}}
	placed := drill.Answer{Kind: drill.Moved, APs: []string{"AP-01"}, At: &orb.Point{1, 2}}
	got := drill.Give(drill.Give(drill.Give(nil, moved), other), placed)
	require.Equal(t, []drill.Answer{other, placed}, got)
	nothing := drill.Answer{Kind: drill.Nothing}
	require.Equal(t, []drill.Answer{nothing}, drill.Give(got, nothing))
	require.Equal(t, []drill.Answer{moved}, drill.Give([]drill.Answer{nothing}, moved))
	left, gone := drill.Withdraw(got, drill.Moved)
	require.Empty(t, left)
	require.Equal(t, 2, gone)
}

// The truth beside the estimate: the exponent of a clean walk is the true one within
// its interval, and fixes where nobody walked are about as good as measured.
func TestReveal(t *testing.T) {
	c := made(t, drill.Plain, 9)
	r, err := drill.Reveal(context.Background(), c, evidence(t, c))
	require.NoError(t, err)
	require.Len(t, r.Bands, 1)
	require.InDelta(t, r.Bands[0].TrueN, r.Bands[0].Exponent, 1.5*r.Bands[0].ExponentHalf)
	require.InDelta(t, 3, r.Bands[0].TrueDB, 1e-9)
	require.InDelta(t, r.WalkedCE50M, r.TrueCE50M, .6*r.WalkedCE50M)
	require.Empty(t, r.APs)

	c = made(t, drill.Plain, 9, "moved:ap=AP-03,size=14")
	r, err = drill.Reveal(context.Background(), c, evidence(t, c))
	require.NoError(t, err)
	require.Len(t, r.APs, 1)
	require.Equal(t, "AP-03", r.APs[0].ID)
	require.Less(t, dist(*r.APs[0].Seems, r.APs[0].Truth), 5.0)
	require.InDelta(t, 14, dist(r.APs[0].Plan, r.APs[0].Truth), .2)

	r, err = drill.Reveal(context.Background(), c, drill.Evidence{})
	require.NoError(t, err)
	require.Equal(t, "nothing was walked", r.Missing)
}

func dist(a, b orb.Point) float64 { return math.Hypot(a[0]-b[0], a[1]-b[1]) }

// The faults of several walks or floors are graded as the others are: whether they
// could be seen is said from the walks.
func TestGradeWalksAndFloors(t *testing.T) {
	c := made(t, drill.Middle, 2, "storey")
	require.Len(t, c.Plan.Floors, 2)
	ap := c.Faults[0].APs[0]
	s := drill.Grade(c, []drill.Answer{{Kind: drill.Storey, APs: []string{ap}}}, evidence(t, c))
	require.Equal(t, 100, s.Points)
	require.Equal(t, drill.Yes, s.Marks[0].Shown)
	require.Contains(t, s.Marks[0].Why, ap+" does not hang where the plan says")
	s = drill.Grade(c, []drill.Answer{{Kind: drill.Moved, APs: []string{ap}}}, evidence(t, c))
	require.Equal(t, 80, s.Points, "half of the kind, and the right one")

	c = made(t, drill.Middle, 2, "receiver:size=-8")
	e := evidence(t, c)
	require.Len(t, e.Walks, 2)
	require.NotEqual(t, e.Walks[0].Receiver, e.Walks[1].Receiver)
	for size, points := range map[float64]int{-8: 100, 8: 100, -13: 85, -20: 70, 0: 70} {
		s = drill.Grade(c, []drill.Answer{{Kind: drill.Receiver, Size: size}}, e)
		require.Equal(t, points, s.Points, "%g dB", size)
		require.True(t, s.Right)
	}

	c = made(t, drill.Middle, 2, "exchange")
	p := c.Faults[0].Points
	require.Len(t, p, 2)
	e = evidence(t, c)
	s = drill.Grade(c, []drill.Answer{{Kind: drill.Exchange, Points: p}}, e)
	require.Equal(t, 100, s.Points)
	s = drill.Grade(c, []drill.Answer{{Kind: drill.Exchange, Points: []string{p[0], other(c, p)}}}, e)
	require.Equal(t, 70, s.Points, "one of the two")
	s = drill.Grade(c, []drill.Answer{{Kind: drill.Point, Points: p[:1]}}, e)
	require.Equal(t, 50, s.Points, "half of the kind, and half of the points")
}

// other is a point that has no fault.
func other(c *drill.Case, not []string) string {
	for _, p := range c.Plan.Floors[0].Points {
		if p.ID != not[0] && p.ID != not[1] {
			return p.ID
		}
	}
	return ""
}

// Any fault can be planted in a building of several floors, and is walked there.
func TestFaultsOnTwoFloors(t *testing.T) {
	for _, k := range drill.Kinds()[1:] {
		f, err := drill.ParseFault(string(k))
		require.NoError(t, err)
		c, err := drill.Make(drill.Spec{Level: drill.Middle, Seed: 4, Floors: 2, Faults: []drill.Fault{f}})
		require.NoError(t, err, k)
		require.Len(t, c.Building.Floors, 2)
		walks, err := drill.Hand(context.Background(), c)
		require.NoError(t, err, k)
		on := map[string]int{}
		for _, w := range walks {
			for _, v := range w.Visits {
				require.NotNil(t, c.Plan.Floor(v.Floor).Point(v.Point), "%s: %s", k, v.Point)
				on[v.Floor]++
			}
		}
		if k != drill.Few {
			require.Len(t, on, 2, k)
		}
	}
	_, err := drill.Make(drill.Spec{Level: drill.Middle, Floors: 4})
	require.ErrorContains(t, err, "4 floors; from 1 to 3")
}
