package drill

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"footrule/internal/radio/synthetic"
	"footrule/internal/say"
	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// wellHeardDBm is a level that is heard in nearly every scan.
const wellHeardDBm = -80

// leastHearings is at how many points an access point has to be well heard before
// something about it could be noticed, and on each side of a change.
const leastHearings = 6

// index gives the place of an access point.
func (m *maker) index(id string) (int, error) {
	i := slices.IndexFunc(m.Building.AccessPoints, func(ap site.AccessPoint) bool { return ap.ID == id })
	if i < 0 {
		return 0, fmt.Errorf("there is no %q; this building has AP-01 to AP-%02d", id, len(m.Building.AccessPoints))
	}
	if slices.Contains(m.taken, id) {
		return 0, fmt.Errorf("%s has another fault already", id)
	}
	return i, nil
}

// hearings counts at how many of some points an access point is well heard in its
// strongest band.
func (m *maker) hearings(ap int, order []int) int {
	n := 0
	for _, p := range order {
		best := math.Inf(-1)
		for k, ref := range m.Building.Radios() {
			if ref.AP == ap {
				at := m.points[p]
				best = max(best, m.scanner.Mean(k, at.floor, at.At))
			}
		}
		if best >= wellHeardDBm {
			n++
		}
	}
	return n
}

// choose gives the access points of a fault, n of them: those it names, or drawn
// ones that are fit for it.
func (m *maker) choose(f *Fault, n int, fit func(ap int) bool) ([]int, error) {
	var out []int
	if len(f.APs) > 0 {
		if len(f.APs) != n || n == 2 && f.APs[0] == f.APs[1] {
			return nil, fmt.Errorf("it takes %s", say.Count(n, "access point"))
		}
		for _, id := range f.APs {
			i, err := m.index(id)
			if err != nil {
				return nil, err
			}
			out = append(out, i)
		}
		return out, nil
	}
	for _, i := range m.rng.Perm(len(m.Building.AccessPoints)) {
		if len(out) < n && !slices.Contains(m.taken, m.Building.AccessPoints[i].ID) && fit(i) {
			out = append(out, i)
			f.APs = append(f.APs, m.Building.AccessPoints[i].ID)
		}
	}
	if len(out) < n {
		return nil, errors.New("no access point of this building is fit for it; take another seed")
	}
	return out, nil
}

// heard is the fitness of access points that are heard at enough points.
func (m *maker) heard(ap int) bool { return m.hearings(ap, m.order) >= leastHearings }

// size gives the size of a fault, drawn where it is not said, held to bounds.
func (m *maker) size(f *Fault, drawn, least, most float64) error {
	if f.Size == 0 {
		f.Size = drawn
	}
	v := f.Size
	if f.Kind == Power || f.Kind == Receiver { // up or down
		v = math.Abs(v)
	}
	if !(v >= least && v <= most) {
		return fmt.Errorf("a size of %g; from %g to %g", f.Size, least, most)
	}
	return nil
}

func plantNone(*maker, *Fault) error { return nil }

func plantLabels(m *maker, f *Fault) error {
	first := -1
	aps, err := m.choose(f, 2, func(ap int) bool {
		if !m.heard(ap) {
			return false
		}
		if first < 0 {
			first = ap
			return true
		}
		return distance(m.Building.AccessPoints[first].At, m.Building.AccessPoints[ap].At) >= 10
	})
	if err != nil {
		return err
	}
	slices.Sort(f.APs)
	a, b := &m.Plan.AccessPoints[aps[0]], &m.Plan.AccessPoints[aps[1]]
	a.At, b.At = b.At, a.At
	return nil
}

func plantMoved(m *maker, f *Fault) error {
	far := map[Level]float64{Plain: 14, Middle: 11, Hard: 9}[m.Level]
	if err := m.size(f, far+3*m.rng.Float64(), 1, 100); err != nil {
		return err
	}
	aps, err := m.choose(f, 1, m.heard)
	if err != nil {
		return err
	}
	ap := &m.Plan.AccessPoints[aps[0]]
	really := m.onPlan(m.Building.AccessPoints[aps[0]].At)
	f.At = &really
	floor := m.Plan.Floor(ap.Floor)
	for range 400 {
		sin, cos := math.Sincos(2 * math.Pi * m.rng.Float64())
		q := orb.Point{round(really[0]+f.Size*cos, 1), round(really[1]+f.Size*sin, 1)}
		if floor.Mountable(q) {
			ap.At, f.Size = q, round(distance(q, really), 1)
			return nil
		}
	}
	return fmt.Errorf("nowhere on this plan is %.0f m from the place of %s", f.Size, ap.ID)
}

// moment gives the number of visits before a change, drawn where it is not said.
func (m *maker) moment(f *Fault) error {
	n := len(m.order)
	if f.After == 0 {
		f.After = int(float64(n) * (.4 + .2*m.rng.Float64()))
	}
	if f.After < 1 || f.After >= n {
		return fmt.Errorf("after %d visits; this building has %d points", f.After, n)
	}
	return nil
}

func plantPower(m *maker, f *Fault) error {
	down := map[Level]float64{Plain: 15, Middle: 12, Hard: 9}[m.Level]
	if err := m.size(f, -round(down+2*m.rng.Float64(), 0), 1, 40); err != nil {
		return err
	}
	if err := m.moment(f); err != nil {
		return err
	}
	ends := m.ends()
	_, err := m.choose(f, 1, func(ap int) bool {
		return m.hearings(ap, m.order[:f.After]) >= leastHearings && m.hearings(ap, m.order[f.After:]) >= leastHearings && m.hearings(ap, ends) >= len(ends)/2
	})
	return err
}

func plantDead(m *maker, f *Fault) error {
	aps, err := m.choose(f, 1, func(ap int) bool { return m.hearings(ap, m.order) >= 2*leastHearings })
	if err == nil {
		m.Truth.AccessPoints[aps[0]].Dies = true
	}
	return err
}

func plantDies(m *maker, f *Fault) error {
	if err := m.moment(f); err != nil {
		return err
	}
	_, err := m.choose(f, 1, func(ap int) bool {
		return m.hearings(ap, m.order[:f.After]) >= leastHearings && m.hearings(ap, m.order[f.After:]) >= leastHearings
	})
	return err
}

func plantPoint(m *maker, f *Fault) error {
	far := map[Level]float64{Plain: 22, Middle: 20, Hard: 17}[m.Level]
	if err := m.size(f, far+3*m.rng.Float64(), 1, 100); err != nil {
		return err
	}
	if len(f.Points) > 1 {
		return errors.New("it takes one point")
	}
	for _, i := range m.rng.Perm(len(m.points)) {
		if len(f.Points) == 1 {
			var err error
			if i, err = m.pointIndex(f.Points[0]); err != nil {
				return err
			}
		}
		p := m.points[i]
		floor := m.Plan.Floor(p.floor)
		for range 40 {
			sin, cos := math.Sincos(2 * math.Pi * m.rng.Float64())
			q := orb.Point{round(p.At[0]+f.Size*cos, 1), round(p.At[1]+f.Size*sin, 1)}
			if floor.Walkable(q) {
				f.Points, f.At, f.Size = []string{p.ID}, &q, round(distance(p.At, q), 1)
				m.Truth.Strays = append(m.Truth.Strays, synthetic.Stray{Floor: floor.ID, At: p.At, Off: orb.Point{q[0] - p.At[0], q[1] - p.At[1]}})
				return nil
			}
		}
	}
	return fmt.Errorf("nowhere on this plan is %.0f m from a point", f.Size)
}

// pointIndex gives the place of a point in points.
func (m *maker) pointIndex(id string) (int, error) {
	i := slices.IndexFunc(m.points, func(p spot) bool { return p.ID == id })
	if i < 0 {
		return 0, fmt.Errorf("there is no point %q; this plan has %s to %s", id, m.points[0].ID, m.points[len(m.points)-1].ID)
	}
	return i, nil
}

// plantExchange has two points of a floor stood at in each other's place.
func plantExchange(m *maker, f *Fault) error {
	far := map[Level]float64{Plain: 22, Middle: 20, Hard: 17}[m.Level]
	if len(f.Points) != 0 && (len(f.Points) != 2 || f.Points[0] == f.Points[1]) {
		return errors.New("it takes two points")
	}
	var pair []spot
	if len(f.Points) == 2 {
		for _, id := range f.Points {
			i, err := m.pointIndex(id)
			if err != nil {
				return err
			}
			pair = append(pair, m.points[i])
		}
		if pair[0].floor != pair[1].floor {
			return fmt.Errorf("%s and %s are on two floors", pair[0].ID, pair[1].ID)
		}
	}
	perm := m.rng.Perm(len(m.points))
	for k := 1; k < len(perm) && pair == nil; k++ {
		for _, j := range perm[:k] {
			a, b := m.points[perm[k]], m.points[j]
			if d := distance(a.At, b.At); pair == nil && a.floor == b.floor && d >= far && d <= far+6 {
				pair = []spot{a, b}
			}
		}
	}
	if pair == nil {
		return fmt.Errorf("no two points of this plan are %.0f m apart", far)
	}
	a, b := pair[0], pair[1]
	f.Points, f.Size = []string{a.ID, b.ID}, round(distance(a.At, b.At), 1)
	slices.Sort(f.Points)
	off := orb.Point{b.At[0] - a.At[0], b.At[1] - a.At[1]}
	m.Truth.Strays = append(m.Truth.Strays, synthetic.Stray{Floor: a.floor, At: a.At, Off: off},
		synthetic.Stray{Floor: b.floor, At: b.At, Off: orb.Point{-off[0], -off[1]}})
	return nil
}

// plantStorey draws an access point on the floor above or below its own.
func plantStorey(m *maker, f *Fault) error {
	aps, err := m.choose(f, 1, m.heard)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(m.Building.Floors, func(fl site.Floor) bool { return fl.ID == m.Building.AccessPoints[aps[0]].Floor })
	to := i + 1
	if to == len(m.Building.Floors) || i > 0 && m.rng.IntN(2) == 0 {
		to = i - 1
	}
	m.Plan.AccessPoints[aps[0]].Floor = m.Plan.Floors[to].ID
	return nil
}

// plantReceiver has a second receiver report more or less than the first.
func plantReceiver(m *maker, f *Fault) error {
	drawn := map[Level]float64{Plain: 9, Middle: 7, Hard: 5}[m.Level] + round(2*m.rng.Float64(), 0)
	if m.rng.IntN(2) == 0 {
		drawn = -drawn
	}
	return m.size(f, drawn, 1, 30)
}

func plantScale(m *maker, f *Fault) error {
	return m.scaled(f, func(by float64) {
		for i := range m.Plan.AccessPoints {
			at := &m.Plan.AccessPoints[i].At
			at[0], at[1] = round(at[0]*by, 2), round(at[1]*by, 2)
		}
	})
}

// plantPlan draws the whole plan by a factor too small.
func plantPlan(m *maker, f *Fault) error {
	return m.scaled(f, func(by float64) {
		m.Truth.PlanScale = by
		shrink := func(p *orb.Point) { *p = orb.Point{p[0] / by, p[1] / by} }
		for k := range m.Plan.Floors {
			floor := &m.Plan.Floors[k]
			for i := range floor.Outline {
				shrink(&floor.Outline[i])
			}
			for i := range floor.Walls {
				for j := range floor.Walls[i].Line {
					shrink(&floor.Walls[i].Line[j])
				}
			}
			for i := range floor.Points {
				shrink(&floor.Points[i].At)
			}
		}
		for i := range m.Plan.AccessPoints {
			shrink(&m.Plan.AccessPoints[i].At)
		}
	})
}

func (m *maker) scaled(f *Fault, do func(by float64)) error {
	if len(m.Faults) > 1 {
		return errors.New("a wrong scale stands alone: it would hide what else is wrong")
	}
	drawn := 1.14 + .08*m.rng.Float64()
	if m.Level == Hard {
		drawn = 1.09 + .05*m.rng.Float64()
	}
	if m.rng.IntN(2) == 0 {
		drawn = 1 / drawn
	}
	if err := m.size(f, round(drawn, 2), .5, 2); err != nil {
		return err
	}
	do(f.Size)
	return nil
}

func plantFacing(m *maker, f *Fault) error {
	if err := m.size(f, 12, 1, 30); err != nil {
		return err
	}
	m.Truth.BodyLossDB = f.Size
	return nil
}

// fewPoints is how many points the walk has that has too few.
const fewPoints = 9

func plantFew(m *maker, _ *Fault) error {
	if len(m.order) < 2*fewPoints {
		return fmt.Errorf("this building has only %d points", len(m.order))
	}
	return nil
}

// plantStale has the receiver stuck three times, for three visits each.
func plantStale(m *maker, f *Fault) error {
	const runs, long = 3, 3
	n := len(m.order)
	for r := range runs {
		from := n*(3*r+1)/(3*runs) + m.rng.IntN(max(1, n/(2*runs)-long))
		for v := range long {
			f.Visits = append(f.Visits, from+v)
			f.Points = append(f.Points, m.points[m.order[from+v]].ID)
		}
	}
	return nil
}
