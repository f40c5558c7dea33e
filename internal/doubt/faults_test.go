package doubt_test

import (
	"math"
	"slices"

	"footrule/internal/doubt"
	"footrule/internal/radio/synthetic"

	"github.com/paulmach/orb"
)

// fault plants one fault in a scene; plant is false where it has no room.
type fault struct {
	name, size string
	kind       doubt.Kind
	plant      func(sc *scene) (planted, bool)
}

// planted is how a fault is known, and how large it is.
type planted struct {
	hit func(f doubt.Finding) (bool, float64) // whether it is named, and how far off its place or size is
	by  func(rep *doubt.Report) float64       // its size in the unit in which hits are counted; nil for none
	se  func(rep *doubt.Report) float64       // its size over the standard error that is reported; nil for none
	of  *scene                                // the scene without it, where by wants a report on that
}

var faults = []fault{
	{"labels swapped", "pair", doubt.Labels, plantCycle(2)},
	{"labels shifted", "three", doubt.Labels, plantCycle(3)},
	{"moved", "3–5 m", doubt.Moved, plantMove(3, 5)},
	{"moved", "5–7 m", doubt.Moved, plantMove(5, 7)},
	{"moved", "7–10 m", doubt.Moved, plantMove(7, 10)},
	{"moved", "10–15 m", doubt.Moved, plantMove(10, 15)},
	{"never heard", "", doubt.Dead, plantDead},
	{"dies", "", doubt.Dies, plantDies},
	{"power, serpentine", "3 dB", doubt.Power, plantStep(3, once)},
	{"power, serpentine", "6 dB", doubt.Power, plantStep(6, once)},
	{"power, serpentine", "9 dB", doubt.Power, plantStep(9, once)},
	{"power, bookends", "3 dB", doubt.Power, plantStep(3, (*scene).bookends)},
	{"power, bookends", "6 dB", doubt.Power, plantStep(6, (*scene).bookends)},
	{"power, bookends", "9 dB", doubt.Power, plantStep(9, (*scene).bookends)},
	{"power, back over half", "3 dB", doubt.Power, plantStep(3, (*scene).back)},
	{"power, back over half", "6 dB", doubt.Power, plantStep(6, (*scene).back)},
	{"power, back over half", "9 dB", doubt.Power, plantStep(9, (*scene).back)},
	{"event", "half by −8 dB", doubt.Event, plantEvent},
	{"scale about the origin", "10 %", doubt.Scale, plantScale(false)},
	{"scale about the centre", "10 %", doubt.Scale, plantScale(true)},
	{"point", "10 m", doubt.Point, plantPoint(10)},
	{"point", "15 m", doubt.Point, plantPoint(15)},
	{"point", "20 m", doubt.Point, plantPoint(20)},
	{"points exchanged", "10 m or more", doubt.Exchange, plantExchange},
	{"receiver, interleaved", "5 dB", doubt.Receiver, plantReceiver(5, func(n, all int) bool { return n%2 == 1 })},
	{"receiver, halves", "5 dB", doubt.Receiver, plantReceiver(5, func(n, all int) bool { return n >= all/2 })},
	{"receiver, halves", "8 dB", doubt.Receiver, plantReceiver(8, func(n, all int) bool { return n >= all/2 })},
}

func plantCycle(c int) func(*scene) (planted, bool) {
	return func(sc *scene) (planted, bool) {
		aps := sc.rng.Perm(len(sc.truth.AccessPoints))[:c]
		for i := 1; i < c; i++ {
			sc.truth.Swap(aps[0], aps[i])
		}
		slices.Sort(aps)
		return planted{hit: func(f doubt.Finding) (bool, float64) {
			got := slices.Clone(f.APs)
			slices.Sort(got)
			return slices.Equal(got, aps), 0
		}}, true
	}
}

func plantMove(from, to float64) func(*scene) (planted, bool) {
	return func(sc *scene) (planted, bool) {
		ap := sc.rng.IntN(len(sc.truth.AccessPoints))
		d := from + (to-from)*sc.rng.Float64()
		q, ok := sc.away(sc.truth.AccessPoints[ap].At, d)
		sc.truth.AccessPoints[ap].At = q
		return planted{
			hit: func(f doubt.Finding) (bool, float64) { return f.APs[0] == ap, gap(f.Seems[0].At, q) },
			by:  func(rep *doubt.Report) float64 { return d / rep.Power.APs[ap].MoveM },
		}, ok
	}
}

func gap(a, b orb.Point) float64 { return math.Hypot(a[0]-b[0], a[1]-b[1]) }

func plantDead(sc *scene) (planted, bool) {
	ap := sc.rng.IntN(len(sc.truth.AccessPoints))
	sc.truth.AccessPoints[ap].Dies = true
	return planted{hit: func(f doubt.Finding) (bool, float64) { return f.APs[0] == ap, 0 }}, true
}

// moment draws a visit in the middle of the walk.
func (sc *scene) moment() int { return int(float64(len(sc.order)) * (.3 + .4*sc.rng.Float64())) }

func plantDies(sc *scene) (planted, bool) {
	ap, n := sc.rng.IntN(len(sc.truth.AccessPoints)), sc.moment()
	sc.truth.AccessPoints[ap].Dies, sc.truth.AccessPoints[ap].DiesAfter = true, at(n)
	expected := sc.hearings(ap, n)
	return planted{
		hit: func(f doubt.Finding) (bool, float64) { return f.APs[0] == ap, 0 },
		by:  func(*doubt.Report) float64 { return expected },
	}, true
}

// hearings is how often an access point ought to be heard from visit n on, at
// places 1.5 lengths of the shadowing apart, by the truth.
func (sc *scene) hearings(ap, n int) float64 {
	sum := 0.0
	var taken []orb.Point
	for _, p := range sc.order[n:] {
		at := sc.site.Floors[0].Points[p].At
		if slices.ContainsFunc(taken, func(q orb.Point) bool { return gap(at, q) < max(1.5*sc.truth.ShadowLengthM, 2) }) {
			continue
		}
		taken = append(taken, at)
		best := 0.0
		for k, r := range sc.site.Radios() {
			if r.AP == ap {
				t := &sc.truth.Radios[k]
				z := (sc.model(k, at) - 2 - sc.truth.FloorDBm[t.Band]) / t.SigmaDB // 2 dB: the body's mean
				best = max(best, .5*math.Erfc(-z/math.Sqrt2))
			}
		}
		sum += best
	}
	return sum
}

func once(*scene) {}

// back comes back over every other point of the walk.
func (sc *scene) back() {
	for i := len(sc.order) - 1; i >= 0; i -= 2 {
		sc.order = append(sc.order, sc.order[i])
	}
}

// bookends opens and closes the walk with the same six points, spread over it.
func (sc *scene) bookends() {
	var ends []int
	n := len(sc.order)
	for i := range 6 {
		ends = append(ends, sc.order[(2*i+1)*n/12])
	}
	sc.order = slices.Concat(ends, sc.order, ends)
}

func plantStep(db float64, walk func(*scene)) func(*scene) (planted, bool) {
	return func(sc *scene) (planted, bool) {
		walk(sc)
		ap, n := sc.rng.IntN(len(sc.truth.AccessPoints)), sc.moment()
		sign := float64(2*sc.rng.IntN(2) - 1)
		sc.step(ap, n, sign*db)
		return planted{
			hit: func(f doubt.Finding) (bool, float64) {
				return f.APs[0] == ap && f.Effect*sign > 0, math.Abs(f.Effect - sign*db)
			},
			by: func(rep *doubt.Report) float64 { return db / rep.Power.APs[ap].StepDB },
			se: func(rep *doubt.Report) float64 { return db / rep.Power.APs[ap].StepSE },
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

func plantEvent(sc *scene) (planted, bool) {
	sc.back()
	n, all := sc.moment(), len(sc.truth.AccessPoints)
	for _, ap := range sc.rng.Perm(all)[:all/2] {
		sc.step(ap, n, -8)
	}
	return planted{hit: func(f doubt.Finding) (bool, float64) { return f.Effect < 0, math.Abs(f.Effect + 8) }}, true
}

// plantScale records points s times as far from a place as they were walked.
func plantScale(middle bool) func(*scene) (planted, bool) {
	return func(sc *scene) (planted, bool) {
		s := []float64{1 / 1.1, 1.1}[sc.rng.IntN(2)]
		f := &sc.site.Floors[0]
		var about orb.Point
		if middle {
			about = f.BoundingBox().Center()
		}
		sc.stood = slices.Clone(f.Points)
		for i, p := range f.Points {
			f.Points[i].At = orb.Point{about[0] + s*(p.At[0]-about[0]), about[1] + s*(p.At[1]-about[1])}
		}
		return planted{hit: func(f doubt.Finding) (bool, float64) {
			return (f.Effect-1)*(1/s-1) > 0, math.Abs(f.Effect - 1/s)
		}}, true
	}
}

func plantPoint(d float64) func(*scene) (planted, bool) {
	return func(sc *scene) (planted, bool) {
		without := *sc
		p := sc.rng.IntN(len(sc.site.Floors[0].Points))
		sc.stood = slices.Clone(sc.site.Floors[0].Points)
		q, ok := sc.away(sc.stood[p].At, d)
		sc.stood[p].At = q
		id := sc.stood[p].ID
		return planted{
			hit: func(f doubt.Finding) (bool, float64) { return f.Visits[0].Point == id, gap(f.Seems[0].At, q) },
			by: func(rep *doubt.Report) float64 {
				for _, v := range rep.Power.Visits {
					if v.Visit.Point == id {
						return d / v.OffM
					}
				}
				return math.NaN()
			},
			of: &without,
		}, ok
	}
}

func plantExchange(sc *scene) (planted, bool) {
	sc.stood = slices.Clone(sc.site.Floors[0].Points)
	for range 50 {
		p := sc.rng.Perm(len(sc.stood))[:2]
		a, b := &sc.stood[p[0]], &sc.stood[p[1]]
		if gap(a.At, b.At) < 10 {
			continue
		}
		a.At, b.At = b.At, a.At
		return planted{hit: func(f doubt.Finding) (bool, float64) {
			got := []string{f.Visits[0].Point, f.Visits[1].Point}
			return slices.Contains(got, a.ID) && slices.Contains(got, b.ID), 0
		}}, true
	}
	return planted{}, false
}

func plantReceiver(db float64, second func(n, all int) bool) func(*scene) (planted, bool) {
	return func(sc *scene) (planted, bool) {
		sc.second, sc.offsetDB = func(n int) bool { return second(n, len(sc.order)) }, db
		return planted{hit: func(f doubt.Finding) (bool, float64) {
			want := db
			if f.Receiver == "one" {
				want = -db
			}
			return f.Effect*want > 0, math.Abs(f.Effect - want)
		}}, true
	}
}
