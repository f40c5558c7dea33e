package doubt_test

import (
	"math"
	"slices"

	"footrule/internal/doubt"
	"footrule/internal/radio/synthetic"

	"github.com/paulmach/orb"
)

// fault plants one fault in a scene and says how to know it; ok is false where
// the scene has no room for it.
type fault struct {
	name  string
	kind  doubt.Kind
	size  string
	plant func(sc *scene) (hit func(f doubt.Finding) (bool, float64), ok bool)
}

var faults = []fault{
	{"labels swapped", doubt.Labels, "pair", plantCycle(2)},
	{"labels shifted", doubt.Labels, "three", plantCycle(3)},
	{"moved", doubt.Moved, "3–5 m", plantMove(3, 5)},
	{"moved", doubt.Moved, "5–7 m", plantMove(5, 7)},
	{"moved", doubt.Moved, "7–10 m", plantMove(7, 10)},
	{"moved", doubt.Moved, "10–15 m", plantMove(10, 15)},
	{"never heard", doubt.Dead, "", plantDead},
	{"dies", doubt.Dies, "", plantDies},
	{"power, serpentine", doubt.Power, "3 dB", plantStep(3, false)},
	{"power, serpentine", doubt.Power, "6 dB", plantStep(6, false)},
	{"power, serpentine", doubt.Power, "9 dB", plantStep(9, false)},
	{"power, coming back", doubt.Power, "6 dB", plantStep(6, true)},
	{"power, coming back", doubt.Power, "9 dB", plantStep(9, true)},
	{"event", doubt.Event, "8 dB", plantEvent},
	{"scale", doubt.Scale, "10 % origin", plantScale(false)},
	{"scale", doubt.Scale, "10 % centre", plantScale(true)},
	{"point", doubt.Point, "10 m", plantPoint(10)},
	{"point", doubt.Point, "15 m", plantPoint(15)},
	{"point", doubt.Point, "20 m", plantPoint(20)},
	{"exchange", doubt.Exchange, "10 m or more", plantExchange},
	{"receiver", doubt.Receiver, "5 dB interleaved", plantReceiver(func(n, all int) bool { return n%2 == 1 })},
	{"receiver", doubt.Receiver, "5 dB halves", plantReceiver(func(n, all int) bool { return n >= all/2 })},
}

func plantCycle(c int) func(*scene) (func(doubt.Finding) (bool, float64), bool) {
	return func(sc *scene) (func(doubt.Finding) (bool, float64), bool) {
		aps := sc.rng.Perm(len(sc.truth.AccessPoints))[:c]
		for i := 1; i < c; i++ {
			sc.truth.Swap(aps[0], aps[i])
		}
		slices.Sort(aps)
		return func(f doubt.Finding) (bool, float64) {
			got := slices.Clone(f.APs)
			slices.Sort(got)
			return slices.Equal(got, aps), 0
		}, true
	}
}

func plantMove(from, to float64) func(*scene) (func(doubt.Finding) (bool, float64), bool) {
	return func(sc *scene) (func(doubt.Finding) (bool, float64), bool) {
		ap := sc.rng.IntN(len(sc.truth.AccessPoints))
		q, ok := sc.away(sc.truth.AccessPoints[ap].At, from+(to-from)*sc.rng.Float64())
		sc.truth.AccessPoints[ap].At = q
		return func(f doubt.Finding) (bool, float64) {
			return f.APs[0] == ap, gap(f.Seems[0].At, q)
		}, ok
	}
}

func gap(a, b orb.Point) float64 { return math.Hypot(a[0]-b[0], a[1]-b[1]) }

func plantDead(sc *scene) (func(doubt.Finding) (bool, float64), bool) {
	ap := sc.rng.IntN(len(sc.truth.AccessPoints))
	sc.truth.AccessPoints[ap].Dies = true
	return func(f doubt.Finding) (bool, float64) { return f.APs[0] == ap, 0 }, true
}

// moment draws a visit in the middle of the walk.
func (sc *scene) moment() int {
	n := len(sc.order)
	return int(float64(n) * (.3 + .4*sc.rng.Float64()))
}

func plantDies(sc *scene) (func(doubt.Finding) (bool, float64), bool) {
	ap, n := sc.rng.IntN(len(sc.truth.AccessPoints)), sc.moment()
	sc.truth.AccessPoints[ap].Dies, sc.truth.AccessPoints[ap].DiesAfter = true, at(n)
	return func(f doubt.Finding) (bool, float64) { return f.APs[0] == ap, 0 }, true
}

// back comes back over every other point of the walk.
func (sc *scene) back() {
	for i := len(sc.order) - 1; i >= 0; i -= 2 {
		sc.order = append(sc.order, sc.order[i])
	}
}

func plantStep(db float64, back bool) func(*scene) (func(doubt.Finding) (bool, float64), bool) {
	return func(sc *scene) (func(doubt.Finding) (bool, float64), bool) {
		if back {
			sc.back()
		}
		ap, n := sc.rng.IntN(len(sc.truth.AccessPoints)), sc.moment()
		sign := float64(2*sc.rng.IntN(2) - 1)
		sc.step(ap, n, sign*db)
		return func(f doubt.Finding) (bool, float64) {
			return f.APs[0] == ap && f.Effect*sign > 0, math.Abs(f.Effect - sign*db)
		}, true
	}
}

func (sc *scene) step(ap, n int, db float64) {
	for k, r := range sc.site.Radios() {
		if r.AP == ap {
			sc.truth.Radios[k].Steps = []synthetic.Step{{After: at(n), DB: db}}
		}
	}
}

func plantEvent(sc *scene) (func(doubt.Finding) (bool, float64), bool) {
	sc.back()
	n := sc.moment()
	aps := sc.rng.Perm(len(sc.truth.AccessPoints))[:len(sc.truth.AccessPoints)/2]
	for _, ap := range aps {
		sc.step(ap, n, -8)
	}
	return func(f doubt.Finding) (bool, float64) { return f.Effect < 0, math.Abs(f.Effect + 8) }, true
}

func plantScale(middle bool) func(*scene) (func(doubt.Finding) (bool, float64), bool) {
	return func(sc *scene) (func(doubt.Finding) (bool, float64), bool) {
		s := []float64{1 / 1.1, 1.1}[sc.rng.IntN(2)] // metres of the plan per metre walked
		f := &sc.site.Floors[0]
		var about orb.Point
		if middle {
			about = f.BoundingBox().Center()
		}
		// Where they are recorded; they stood where the building's points are.
		for i, p := range f.Points {
			q := orb.Point{about[0] + s*(p.At[0]-about[0]), about[1] + s*(p.At[1]-about[1])}
			f.Points[i].At = q
		}
		sc.stood = sc.building.Floors[0].Points
		return func(f doubt.Finding) (bool, float64) {
			return (f.Effect-1)*(1/s-1) > 0, math.Abs(f.Effect - 1/s)
		}, true
	}
}

func plantPoint(d float64) func(*scene) (func(doubt.Finding) (bool, float64), bool) {
	return func(sc *scene) (func(doubt.Finding) (bool, float64), bool) {
		p := sc.rng.IntN(len(sc.site.Floors[0].Points))
		sc.stood = slices.Clone(sc.site.Floors[0].Points)
		q, ok := sc.away(sc.stood[p].At, d)
		sc.stood[p].At = q
		id := sc.stood[p].ID
		return func(f doubt.Finding) (bool, float64) { return f.Visits[0].Point == id, gap(f.Seems[0].At, q) }, ok
	}
}

func plantExchange(sc *scene) (func(doubt.Finding) (bool, float64), bool) {
	sc.stood = slices.Clone(sc.site.Floors[0].Points)
	for range 50 {
		p := sc.rng.Perm(len(sc.stood))[:2]
		a, b := &sc.stood[p[0]], &sc.stood[p[1]]
		if gap(a.At, b.At) < 10 {
			continue
		}
		a.At, b.At = b.At, a.At
		return func(f doubt.Finding) (bool, float64) {
			got := []string{f.Visits[0].Point, f.Visits[1].Point}
			return slices.Contains(got, a.ID) && slices.Contains(got, b.ID), 0
		}, true
	}
	return nil, false
}

func plantReceiver(second func(n, all int) bool) func(*scene) (func(doubt.Finding) (bool, float64), bool) {
	return func(sc *scene) (func(doubt.Finding) (bool, float64), bool) {
		sc.second, sc.offsetDB = func(n int) bool { return second(n, len(sc.order)) }, 5
		return func(f doubt.Finding) (bool, float64) {
			want := 5.0
			if f.Receiver == "one" {
				want = -5
			}
			return f.Effect*want > 0, math.Abs(f.Effect - want)
		}, true
	}
}
