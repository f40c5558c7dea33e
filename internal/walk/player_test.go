package walk_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// standing lists the visits that count by the definition, without a session.
func standingAt(w walk.Walk) map[string]string {
	out := map[string]string{}
	for _, v := range w.Standing() {
		out[v.Point] = v.ID
	}
	return out
}

// Laws 1 and 2, over walks with skips, voids and what takes them back.
func TestPlayer(t *testing.T) {
	for seed := range uint64(20) {
		rng := rand.New(rand.NewPCG(seed, 5))
		u := newSurveyor(t, oneScan())
		apply := func(f walk.Fact, err error) {
			if err == nil {
				u.s.Apply(f)
			}
		}
		for op := range 60 {
			switch k := rng.IntN(20); {
			case k < 12:
				if u.s.Begin(u.tick()) == nil {
					u.sweep(hear(bssA5, -50-float64(rng.IntN(30)), 0))
					apply(u.s.Accept())
				}
			case k < 14:
				apply(u.s.SkipStop(fmt.Sprint("reason ", op), u.tick()))
			case k < 16:
				apply(u.s.Choose(rng.IntN(4), u.tick()))
			case k < 18:
				apply(u.s.VoidVisit(fmt.Sprintf("V%04d", 1+rng.IntN(6)), "", u.tick()))
			default:
				apply(u.s.Undo(u.tick()))
			}
		}
		w := *u.s.Walk()
		p, err := walk.NewPlayer(u.s.Site(), w, u.s.Stops())
		require.NoError(t, err)
		require.Equal(t, len(w.Visits)+len(w.Marks), p.Len())
		for range 30 {
			n := rng.IntN(p.Len()+3) - 1
			p.Go(n)
			n = min(max(n, 0), p.Len())
			require.Equal(t, n, p.At())
			known := p.Known(n)
			fresh, err := walk.NewSession(u.s.Site(), known, p.Session().Stops())
			require.NoError(t, err)
			require.Equal(t, viewOf(fresh), viewOf(p.Session()), "seed %d after %d facts", seed, n)
			stands := standingAt(known)
			for i, st := range p.Session().Stops() {
				id := ""
				if v := p.Session().VisitAt(i); v != nil {
					id = v.ID
				}
				require.Equal(t, stands[st.Point], id, "seed %d after %d facts, %s", seed, n, st.Point)
			}
		}
	}
}

func TestPlayerOfAnImport(t *testing.T) {
	w := walk.Walk{Header: walk.Header{ID: "W"}, Visits: []walk.Visit{
		{ID: "V1", Seq: 1, Floor: "G", At: orb.Point{1, 1}, Scans: []walk.Scan{scan(0)}},
		{ID: "V2", Seq: 2, Point: "P2", Floor: "G", At: orb.Point{2, 1}, Scans: []walk.Scan{scan(0)}},
		{ID: "V3", Seq: 3, Floor: "G", At: orb.Point{1, 1}, Scans: []walk.Scan{scan(0)}},
	}}
	p, err := walk.NewPlayer(plan(), w, []walk.Stop{{Point: "P2", Floor: "G"}, {Point: "P9", Floor: "G"}})
	require.NoError(t, err)
	p.Go(2)
	assert.Equal(t, walk.Progress{Done: 2, Todo: 2}, p.Session().Progress())
	assert.Equal(t, []walk.Visit{w.Visits[0], w.Visits[1]}, p.Known(2).Visits, "as stored, without a made-up point")
	for name, want := range map[string]int{"P2": 2, "V3": 3, "1": 1, "3": 3} {
		n, ok := p.Find(name)
		assert.True(t, ok)
		assert.Equal(t, want, n, name)
	}
	_, ok := p.Find("4")
	assert.False(t, ok)
	_, err = walk.NewPlayer(plan(), walk.Walk{}, nil)
	assert.ErrorContains(t, err, "no points to walk")
}

// Ten thousand visits, from end to end and ten steps back.
func BenchmarkPlayer(b *testing.B) {
	var w walk.Walk
	for i := range 10000 {
		w.Visits = append(w.Visits, walk.Visit{ID: fmt.Sprintf("V%05d", i), Seq: i + 1, Point: fmt.Sprintf("P%03d", i%500), Floor: "G", Scans: []walk.Scan{{Time: start.Add(time.Duration(i) * time.Minute)}}})
	}
	p, err := walk.NewPlayer(plan(), w, nil)
	require.NoError(b, err)
	for b.Loop() {
		p.Go(10000)
		p.Go(9990)
		p.Go(0)
	}
}
