package position_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/radio"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// deafTo gives a walk in which one radio was never heard.
func deafTo(w walk.Walk, id radio.BSSID) walk.Walk {
	w.Visits = slices.Clone(w.Visits)
	for i := range w.Visits {
		w.Visits[i].Scans = slices.Clone(w.Visits[i].Scans)
		for j := range w.Visits[i].Scans {
			sc := &w.Visits[i].Scans[j]
			sc.Readings = slices.DeleteFunc(slices.Clone(sc.Readings), func(r radio.Reading) bool { return r.BSSID == id })
		}
	}
	return w
}

// To remove an access point is to judge a walk that never heard it, by every
// protocol: errors agree to a centimetre, which refits leave.
func TestRemovalIsAWalkWithoutIt(t *testing.T) {
	s, w := zoned(1)
	test := walk.Walk{Header: walk.Header{ID: "W2"}, Visits: w.Visits[20:]}
	train := w
	train.Visits = w.Visits[:20]
	for _, c := range []struct {
		walks []walk.Walk
		o     position.Options
	}{
		{[]walk.Walk{w}, position.Options{Fix: position.PerVisit}},
		{[]walk.Walk{w}, position.Options{Fix: position.PerVisit, Propagation: propagation.Options{Model: propagation.OLS}}},
		{[]walk.Walk{w}, position.Options{Fix: position.PerVisit, Protocol: position.LeaveAreaOut}},
		{[]walk.Walk{w}, position.Options{Fix: position.PerVisit, Method: position.Posterior}},
		{[]walk.Walk{train, test}, position.Options{Train: []string{"W1"}, Test: []string{"W2"}}},
	} {
		o := c.o
		o.Resamples, o.EachAP = 200, true
		with, err := position.Judge(context.Background(), s, c.walks, o)
		require.NoError(t, err)
		require.Len(t, with.Removals, 8)
		o.EachAP = false
		for i, r := range with.Removals {
			if i > 2 { // the most needed, and that is enough of it
				break
			}
			var number int
			_, err := fmt.Sscanf(r.AP, "AP-%d", &number)
			require.NoError(t, err)
			var walks []walk.Walk
			for _, w := range c.walks {
				walks = append(walks, deafTo(w, radio.BSSID{2, 0, 0, 0, 2, byte(number)}))
			}
			alone, err := position.Judge(context.Background(), s, walks, o)
			require.NoError(t, err)
			assert.InDelta(t, alone.Statistics.MeanM, r.Statistics.MeanM, .01, r.AP)
			assert.InDelta(t, alone.Statistics.CE90M, r.Statistics.CE90M, .02, r.AP)
			assert.Equal(t, alone.Statistics.Located, r.Statistics.Located)

			sum, n, lost := 0.0, 0.0, 0
			for k := range with.Judged {
				switch a, b := with.Judged[k], alone.Judged[k]; {
				case a.Fix.Located && b.Fix.Located:
					sum += b.ErrorM - a.ErrorM
					n++
				case a.Fix.Located:
					lost++
				}
			}
			assert.InDelta(t, sum/n, r.ChangeM, .01)
			assert.Equal(t, lost, r.Lost)
			assert.Less(t, r.ChangeCI.Lo, r.ChangeM)
			assert.Greater(t, r.ChangeCI.Hi, r.ChangeM)
		}
		for i := 1; i < len(with.Removals); i++ {
			a, b := with.Removals[i-1], with.Removals[i]
			assert.True(t, a.Lost > b.Lost || a.Lost == b.Lost && a.ChangeM >= b.ChangeM)
		}
	}
}

// A radio whose level says nothing of the place (invented: between −30 and
// −99 dBm, anew in each visit) spoils the fixes: without it they are better,
// beyond chance.
func TestRemovalOfOneThatSpoils(t *testing.T) {
	v := small()
	v.facings, v.points, v.floor, v.miss = 1, 60, -120, 0
	s, w := v.walk(3)
	rng := rand.New(rand.NewPCG(1, 1))
	for i := range w.Visits {
		l := -30 - float64(rng.IntN(70))
		for j := range w.Visits[i].Scans {
			for k := range w.Visits[i].Scans[j].Readings {
				if r := &w.Visits[i].Scans[j].Readings[k]; r.BSSID == (radio.BSSID{2, 0, 0, 0, 2, 5}) {
					r.RSSIDBm = l
				}
			}
		}
	}
	e, err := position.Judge(context.Background(), s, []walk.Walk{w}, position.Options{EachAP: true, Resamples: 500})
	require.NoError(t, err)
	last := e.Removals[len(e.Removals)-1]
	t.Logf("without %s: %.2f m (%.2f to %.2f)", last.AP, last.ChangeM, last.ChangeCI.Lo, last.ChangeCI.Hi)
	assert.Equal(t, "AP-05", last.AP)
	assert.Less(t, last.ChangeCI.Hi, 0.0)
}

// With three access points every one is needed, and it is said how many fixes
// hang on it.
func TestRemovalOfOneOfThree(t *testing.T) {
	v := small()
	v.aps, v.facings, v.floor, v.miss = 3, 1, -120, 0
	s, w := v.walk(3)
	e, err := position.Judge(context.Background(), s, []walk.Walk{w}, position.Options{EachAP: true, Resamples: 200})
	require.NoError(t, err)
	require.Len(t, e.Removals, 3)
	for _, r := range e.Removals {
		assert.Equal(t, e.Statistics.Located, r.Lost)
		assert.Equal(t, 0, r.Statistics.Located)
		assert.True(t, math.IsNaN(r.ChangeM) && math.IsNaN(r.ChangeCI.Lo))
	}
}

func TestWorst(t *testing.T) {
	at := func(id string, located bool, errorM float64, r position.Judged) position.Judged {
		r.Point, r.Place, r.Floor, r.FixFloor = id, walk.Place{Point: id}, "G", "G"
		r.Fix.Located = located
		r.ErrorM, r.VectorM = errorM, orb.Point{errorM, 0}
		if !located {
			r.ErrorM = math.NaN()
		}
		if r.Fix.Heard == 0 {
			r.Fix.Heard = 6
		}
		if r.BoundM == 0 {
			r.BoundM = 3
		}
		return r
	}
	doubts := []propagation.Doubt{{Name: "AP-03 5 GHz", ResidualDB: -17, LevelDBm: -80, PredictDBm: -63},
		{Name: "AP-01 5 GHz", Unheard: true, PredictDBm: -61.2, ResidualDB: -24}, {Name: "AP-02 5 GHz", ResidualDB: 11}}
	e := &position.Errors{Summary: position.Summary{BoundRMSM: 3}, Judged: []position.Judged{
		at("fine", true, 1, position.Judged{Ellipse: position.Ellipse{MajorM: 3, MinorM: 3}, Area: "hall"}),
		at("silent", false, 0, position.Judged{Fix: position.Fix{Heard: 1, Reason: "1 of the 3 access points needed were heard"}}),
		at("doubted", true, 12, position.Judged{Doubts: doubts}),
		at("beside", true, 9, position.Judged{OneSide: true, BoundM: 6.24, Fix: position.Fix{Heard: 3}}),
		at("edge", true, 8, position.Judged{Fix: position.Fix{OnOutline: true}}),
		at("oneway", true, 7, position.Judged{}), at("oneway", true, 6, position.Judged{}), at("oneway", true, 7, position.Judged{}),
		at("plain", true, 5, position.Judged{}),
	}}
	var got []string
	for _, w := range e.Worst(9) {
		got = append(got, w.Point+": "+w.Why)
	}
	assert.Equal(t, []string{
		"silent: 1 of the 3 access points needed were heard",
		"doubted: AP-03 5 GHz is 17 dB weaker than the fit expects; AP-01 5 GHz was not heard, and the fit expects −61 dBm there",
		"beside: only 3 access points were heard, and a fix wants more than 3; all access points heard are to one side of it; its bound of 6.2 m is larger than the 3.0 m of the site",
		"edge: the levels draw the fix out of the outline",
		"oneway: all of its fixes are off the same way: a wall that the plan does not have, or a point recorded at the wrong place",
		"plain: no single level stands out: many are a little off, as behind a wall that the plan does not have",
		"fine: nothing stands out, and its ellipse holds the place: chance",
	}, got)
	w := e.Worst(4)[3]
	assert.Equal(t, position.WorstPlace{Place: walk.Place{Point: "edge"}, Point: "edge", Floor: "G", Area: position.Elsewhere, Fixes: 1, Located: 1, MeanErrorM: 8, Why: w.Why}, w)
}

// Places left of all access points are to one side of them, those amid them not.
func TestOneSide(t *testing.T) {
	v := small()
	v.miss, v.floor, v.facings = 0, -120, 1
	s, w := v.walk(1)
	for i := range s.AccessPoints {
		s.AccessPoints[i].At[0] = 20 + s.AccessPoints[i].At[0]/2 // all within x from 20 to 45
	}
	e, err := position.Judge(context.Background(), s, []walk.Walk{w}, position.Options{Resamples: 100, Propagation: propagation.Options{Model: propagation.OLS}})
	require.NoError(t, err)
	beside, amid := 0, 0
	for _, r := range e.Judged {
		switch {
		case r.At[0] < 20:
			assert.True(t, r.OneSide, r.Point)
			beside++
		case r.At[0] > 28 && r.At[0] < 38 && r.At[1] > 12 && r.At[1] < 18:
			assert.False(t, r.OneSide, r.Point)
			amid++
		}
	}
	assert.NotZero(t, beside)
	assert.NotZero(t, amid)
}

func BenchmarkEachAP(b *testing.B) {
	v := invented{width: 80, depth: 50, aps: 20, points: 80, facings: 4, scans: 3, floor: -88, miss: .1}
	s, w := v.walk(1)
	for _, each := range []bool{false, true} {
		b.Run(fmt.Sprintf("80 points 20 radios/each=%v", each), func(b *testing.B) {
			for range b.N {
				_, err := position.Judge(context.Background(), s, []walk.Walk{w}, position.Options{EachAP: each})
				require.NoError(b, err)
			}
		})
	}
}
