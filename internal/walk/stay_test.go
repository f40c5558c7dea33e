package walk_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"footrule/internal/radio"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
)

func read(b radio.BSSID, dBm float64) radio.Reading {
	return radio.Reading{BSSID: b, FreqMHz: 5180, RSSIDBm: dBm}
}

func scan(facing float64, r ...radio.Reading) walk.Scan {
	return walk.Scan{FacingDeg: facing, Readings: r}
}

func TestStays(t *testing.T) {
	at := orb.Point{3, 4}
	walks := []walk.Walk{{
		Header: walk.Header{ID: "W1"},
		Visits: []walk.Visit{
			{ID: "V1", Seq: 1, Point: "P1", Floor: "G", At: at, Scans: []walk.Scan{
				scan(180, read(bssA5, -50), read(bssA5b, -53), read(bssB5, -70), read(bssX, -40)),
				scan(0, read(bssA5, -60)),
				scan(180),
				scan(0, read(bssA5b, -58), read(bssA2, -44)),
			}},
			{ID: "V2", Seq: 2, Point: "P1", Floor: "G", At: at, Scans: []walk.Scan{scan(0, read(bssA5, -10))}},
			{ID: "V3", Seq: 4, Point: "P2", Floor: "attic", Scans: []walk.Scan{scan(0, read(bssA5, -10))}},
			{ID: "V4", Seq: 5, Point: "P3", Floor: "G", At: at},
		},
		Marks: []walk.Mark{{Seq: 3, Kind: walk.Void, Target: "V2"}},
	}, {
		Header: walk.Header{ID: "W2"},
		Visits: []walk.Visit{{ID: "V1", Seq: 1, Floor: "G", At: at, Scans: []walk.Scan{scan(walk.NoFacing, read(bssB5, -71)), scan(90)}}},
	}}
	lv := func(heard int, mean, sumSq, low float64) walk.Level {
		return walk.Level{Heard: heard, MeanDBm: mean, SumSqDB: sumSq, MinDBm: low}
	}
	stay := func(w, v, p string, facing float64, scans int, l ...walk.Level) walk.Stay {
		return walk.Stay{Walk: w, Visit: v, Point: p, At: at, FacingDeg: facing, Scans: scans, Levels: l}
	}
	none := lv(0, 0, 0, 0)
	// Radio 0 in visit V1: −51.5, −60, −58; the mean is −56.5, Σ of squares 39.5.
	assert.Equal(t, []walk.Stay{
		stay("W1", "V1", "P1", walk.NoFacing, 4, lv(3, -56.5, 39.5, -60), lv(1, -44, 0, -44), lv(1, -70, 0, -70)),
		stay("W2", "V1", "", walk.NoFacing, 2, none, none, lv(1, -71, 0, -71)),
	}, walk.Stays(plan(), walks, walk.ByVisit))
	assert.Equal(t, []walk.Stay{
		stay("W1", "V1", "P1", 0, 2, lv(2, -59, 2, -60), lv(1, -44, 0, -44), none),
		stay("W1", "V1", "P1", 180, 2, lv(1, -51.5, 0, -51.5), none, lv(1, -70, 0, -70)),
		stay("W2", "V1", "", walk.NoFacing, 1, none, none, lv(1, -71, 0, -71)),
		stay("W2", "V1", "", 90, 1, none, none, none),
	}, walk.Stays(plan(), walks, walk.ByFacing))

	walks[0].Marks = append(walks[0].Marks, walk.Mark{Seq: 6, Kind: walk.Unvoid, Target: "V2"})
	require.Len(t, walk.Stays(plan(), walks, walk.ByVisit), 3, "a void taken back")
	assert.Empty(t, walk.Stays(plan(), nil, walk.ByVisit))
}

// A scan of some channels is deaf to the radios on others: where they are is
// told by when they were last or next heard.
func TestStaysDeaf(t *testing.T) {
	at := func(sec int, freqs []int, r ...radio.Reading) walk.Scan {
		return walk.Scan{Time: csvTime("2026-03-01T09:00:00Z").Add(time.Duration(sec) * time.Second), FacingDeg: walk.NoFacing, FreqsMHz: freqs, Readings: r}
	}
	on := func(b radio.BSSID, freqMHz int) radio.Reading {
		return radio.Reading{BSSID: b, FreqMHz: freqMHz, RSSIDBm: -50}
	}
	walks := []walk.Walk{{Visits: []walk.Visit{
		{ID: "V1", Point: "P1", Floor: "G", Scans: []walk.Scan{
			at(0, nil, on(bssA5, 5180), on(bssB5, 5220)), // all channels
			at(10, []int{2437, 5180}),                    // A, and not B
			at(20, []int{5220}),                          // B, and not A
		}},
		{ID: "V2", Point: "P2", Floor: "G", Scans: []walk.Scan{
			at(40, []int{5180}),                    // A was nearer to there
			at(90, []int{5180}),                    // and here to 5260
			at(100, []int{5260}, on(bssA5b, 5260)), // A moved
			at(101, []int{2437}, on(bssB5, 5220)),  // heard although it listened elsewhere
		}},
	}}}
	deaf := func(split walk.Split) (out [][]int) {
		for _, st := range walk.Stays(plan(), walks, split) {
			row := []int{}
			for _, l := range st.Levels {
				row = append(row, l.Listened(st.Scans))
			}
			out = append(out, row)
		}
		return out
	}
	// Radios A at 5 GHz, A at 2.4 GHz (never heard, so only the full scan counts), B.
	assert.Equal(t, [][]int{{2, 1, 2}, {2, 0, 1}}, deaf(walk.ByVisit))
	walks[0].Visits[0].Scans[0].FreqsMHz = []int{5180, 5220}
	assert.Equal(t, [][]int{{2, 0, 2}, {2, 0, 1}}, deaf(walk.ByFacing))
	for i := range walks[0].Visits {
		for j := range walks[0].Visits[i].Scans {
			walks[0].Visits[i].Scans[j].FreqsMHz = nil
		}
	}
	assert.Equal(t, [][]int{{3, 3, 3}, {4, 4, 4}}, deaf(walk.ByVisit), "as before there were such scans")
}

// The running mean and sum of squares against the two-pass ones of gonum/stat,
// with scans that hear one or both BSSIDs, or nothing.
func TestLevelsAgainstGonum(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	v := walk.Visit{ID: "V1", Point: "P1", Floor: "G"}
	var want []float64
	for range 500 {
		a, b := -95+90*rng.Float64(), -95+90*rng.Float64()
		switch rng.IntN(4) {
		case 0:
			v.Scans = append(v.Scans, scan(0, read(bssB5, b)))
		case 1:
			v.Scans, want = append(v.Scans, scan(0, read(bssA5, a))), append(want, a)
		default:
			v.Scans, want = append(v.Scans, scan(0, read(bssA5, a), read(bssB5, b), read(bssA5b, b))), append(want, (a+b)/2)
		}
	}
	l := walk.Stays(plan(), []walk.Walk{{Visits: []walk.Visit{v}}}, walk.ByVisit)[0].Levels[0]
	mean, std := stat.MeanStdDev(want, nil)
	assert.Equal(t, len(want), l.Heard)
	assert.InDelta(t, mean, l.MeanDBm, 1e-10)
	assert.Equal(t, slices.Min(want), l.MinDBm)
	assert.InDelta(t, std, math.Sqrt(l.SumSqDB/float64(l.Heard-1)), 1e-10)
}

func TestPlace(t *testing.T) {
	a := walk.Stay{Point: "P1", Floor: 1, At: orb.Point{1, 2}}
	b := walk.Stay{Point: "P1", Floor: 1, At: orb.Point{1.3, 2}}
	c := walk.Stay{Floor: 1, At: orb.Point{1, 2}}
	d := walk.Stay{Floor: 0, At: orb.Point{1, 2}}
	assert.Equal(t, walk.Place{Floor: 1, Point: "P1"}, a.Place())
	assert.Equal(t, a.Place(), b.Place(), "a nudge stays at its point")
	assert.Equal(t, walk.Place{Floor: 1, At: orb.Point{1, 2}}, c.Place())
	assert.NotEqual(t, c.Place(), d.Place())
}

func TestStanding(t *testing.T) {
	mark := func(k walk.MarkKind, v string) walk.Mark { return walk.Mark{Kind: k, Target: v} }
	tests := []struct {
		marks []walk.Mark
		want  []string
	}{
		{nil, []string{"V1", "V2"}},
		{[]walk.Mark{mark(walk.Void, "V1")}, []string{"V2"}},
		{[]walk.Mark{mark(walk.Void, "V1"), mark(walk.Void, "V1"), mark(walk.Unvoid, "V1")}, []string{"V1", "V2"}},
		{[]walk.Mark{mark(walk.Unvoid, "V2"), mark(walk.Void, "V2")}, []string{"V1"}},
		{[]walk.Mark{mark(walk.Skip, "V1"), mark(walk.Finish, "V1"), mark(walk.Void, "V9")}, []string{"V1", "V2"}},
	}
	for i, tt := range tests {
		w := walk.Walk{Visits: []walk.Visit{{ID: "V1", Scans: []walk.Scan{scan(0, read(bssA5, -50))}}, {ID: "V2"}}, Marks: tt.marks}
		var got []string
		for _, v := range w.Standing() {
			got = append(got, v.ID)
		}
		assert.Equal(t, tt.want, got, "case %d", i)
	}
}
