package doubt

import (
	"math"

	"footrule/internal/median"
	"footrule/internal/parallel"
)

// Outlook is what a walk could have found, by the formulas that find it: sizes
// that are seen in nine of ten sites.
type Outlook struct {
	APs       []APOutlook    // in the order of Site.AccessPoints
	Visits    []VisitOutlook // in the order of time
	Receivers []ReceiverOutlook
	Text      []string
}

// APOutlook is what could have been found about one access point. NaN stands for
// nothing of any size.
type APOutlook struct {
	AP      int
	MoveM   float64 // from its place on the plan
	StepDB  float64 // change of power in the middle of the walk; NaN where no places were visited before and after
	StepSE  float64 // standard error of its size, dB, the wandering of power included
	Bookend bool    // StepDB is from points visited at both ends, and hangs on no model
	Dying   *Visit  // the last visit before which falling silent would have been noticed; nil for none
	Hearing float64 // expected hearings in places apart, over the whole walk
}

// VisitOutlook is how far off a visit has to be recorded to be found.
type VisitOutlook struct {
	Visit Visit
	OffM  float64
}

// ReceiverOutlook is how large an offset between two receivers has to be.
type ReceiverOutlook struct {
	Receiver, Against string
	OffsetDB          float64 // NaN where they cannot be compared
}

// Constants of the outlook.
const (
	ninety     = 1.2816 // quantile 0.9 of the standard normal
	mostAwayM  = 30.0   // a move is looked at up to here
	ringM      = 2.0
	leastToDie = 4.0  // expected hearings after which silence is noticed nearly always
	tailShare  = .8   // of the evidence of a normal level that one of t(8) gives
	stepRows   = 4.0  // rows that tell nearly the same moment
	stepHonest = 1.35 // by which a step has to be larger than these formulas say: moments off the middle, drift, a spread that the step itself widens
)

// outlook tells what could have been found.
func (f *fit) outlook() Outlook {
	out := Outlook{APs: make([]APOutlook, len(f.v.spots))}
	steps := f.steps()
	ends := f.bookends()
	parallel.Do(len(out.APs), func(ap int) {
		o := APOutlook{AP: ap, MoveM: f.moveSeen(ap), StepDB: math.NaN(), StepSE: math.NaN()}
		for i := range steps {
			if steps[i].ap == ap {
				o.StepDB, o.StepSE = steps[i].seen(f)
			}
		}
		if e := ends[ap]; e != nil {
			if db := e.critical + ninety*math.Hypot(e.se, driftSD); !(o.StepDB < db) {
				o.StepDB, o.StepSE, o.Bookend = db, math.Hypot(e.se, driftSD), true
			}
		}
		o.Dying, o.Hearing = f.dyingSeen(ap)
		out.APs[ap] = o
	})
	out.Visits = f.pointsSeen()
	out.Receivers = f.receiversSeen()
	return out
}

// seen is the smallest change that is named in nine of ten walks, at the median
// of the moments at which it can be told. A walk that does not come back cannot
// tell time from place, so that nothing is promised.
func (s *step) seen(f *fit) (db, se float64) {
	var dens []float64
	for i, ok := range s.ok {
		if ok {
			dens = append(dens, s.den[i])
		}
	}
	if len(dens) == 0 {
		return math.NaN(), math.NaN()
	}
	v := 1 / (median.Of(dens) * s.share)
	small, large := v+driftSD*driftSD, v+stepSD*stepSD
	if !f.repeated(f.v.rows.n/2, s.ap) {
		return math.NaN(), f.unsure(s.ap, f.v.rows.n/2, v)
	}
	need := thresholds[Power]/s.share + math.Log(max(float64(len(dens))/stepRows, 1)) + .5*math.Log(large/small)
	return stepHonest * (math.Sqrt(need/(.5*(1/small-1/large))) + ninety*math.Sqrt(small)), f.unsure(s.ap, f.v.rows.n/2, v)
}

// moveSeen is the least distance at which a move is named in nine of ten sites,
// over all directions: with D²(a) = dᵀS⁻¹d/s² of the change d that hanging at a
// makes, the evidence is ½ D² ± D less what the search over places costs.
func (f *fit) moveSeen(ap int) float64 {
	s := f.v.spots[ap]
	w := f.v.from(field{s.floor, s.height})
	d2 := make([]float64, w.spots)
	for k := range f.radios {
		rf := &f.radios[k]
		if rf.ap != ap || len(rf.rows) < 4 {
			continue
		}
		b, g := &f.bands[rf.band], w.spots
		d := make([]float64, len(rf.rows)*g)
		for a, i := range rf.rows {
			row := d[a*g : (a+1)*g]
			here := f.mean(rf, i)
			for c := range row {
				row[c] = b.level + b.exponent*w.x[i*g+c] - here + f.v.aimed(k, w.from[c], f.v.rows.floor[i], f.v.rows.at[i])
				for m, loss := range b.loss {
					row[c] -= loss * w.c[m][i*g+c]
				}
			}
		}
		whiten(f.krigs[k].chol, d, g)
		for i, v := range d {
			d2[i%g] += f.share(ap) * v * v / b.s2
		}
	}
	return ninetySeen(d2, 1, thresholds[Moved], leastMoveM, func(c int) float64 { return distance(f.v.ground.cells[s.floor][c], s.at) })
}

// ninetySeen is the least distance from which on nine of ten changes to a cell
// that far away are named, if the evidence for it is part of ½ D².
func ninetySeen(d2 []float64, part, limit, least float64, away func(c int) float64) float64 {
	near := 0.0
	for _, v := range d2 {
		near += math.Exp(-.5 * part * v)
	}
	limit += math.Log(max(float64(len(d2))/max(near, .1), 1))
	n := int(mostAwayM / ringM)
	sum, count := make([]float64, n), make([]float64, n)
	for c, v := range d2 {
		r := int(away(c) / ringM)
		if r >= n || away(c) < least {
			continue
		}
		count[r]++
		if v > 0 {
			sum[r] += phi((.5*part*v - limit) / math.Sqrt(part*v))
		}
	}
	seen := math.NaN()
	for r := n - 1; r >= 0 && (count[r] == 0 || sum[r] >= .9*count[r]); r-- {
		if count[r] > 0 {
			seen = max(float64(r)*ringM, least)
		}
	}
	return seen
}

// dyingSeen is the last row before which falling silent would be noticed, and
// the expected hearings over all rows.
func (f *fit) dyingSeen(ap int) (*Visit, float64) {
	best, total := -1, 0.0
	for k := range f.radios {
		rf := &f.radios[k]
		if rf.ap != ap || len(rf.rows) == 0 {
			continue
		}
		r := f.v.rows
		p := make([]float64, r.n)
		o := f.ownOf(k)
		s := math.Sqrt(f.bands[rf.band].s2)
		for i := range p {
			if c := k*r.n + i; !r.out[i] && r.listened[c] > 0 {
				p[i] = 1 - math.Exp(unheard(f.odds(r.listened[c]), f.mean(rf, i)+o.b0+o.b1*f.x(rf, i), s, r.floorDBm[c]))
			}
		}
		// Growing backwards, places apart are taken greedily.
		var taken []int
		sum := 0.0
		gap := max(1.5*f.ell, 2)
		for i := r.n - 1; i >= 0; i-- {
			ok := p[i] > 0
			for _, j := range taken {
				ok = ok && (r.floor[i] != r.floor[j] || distance(r.at[i], r.at[j]) >= gap)
			}
			if !ok {
				continue
			}
			taken = append(taken, i)
			if sum += p[i]; sum >= leastToDie && best < i {
				best = i
			}
		}
		total = max(total, sum)
	}
	if best < leastBefore {
		return nil, total
	}
	return f.visit(best), total
}

// pointsSeen is how far off each visit has to be recorded.
func (f *fit) pointsSeen() []VisitOutlook {
	r := f.v.rows
	out := make([]VisitOutlook, r.n)
	grounds := make([]*levels, len(r.site.Floors))
	for fl := range grounds {
		grounds[fl] = f.levelsOn(fl, nil)
	}
	parallel.Do(r.n, func(i int) {
		out[i] = VisitOutlook{*f.visit(i), math.NaN()}
		g := grounds[r.floor[i]]
		if r.out[i] || len(g.at) == 0 {
			return
		}
		out[i].OffM = f.pointSeen(i, g)
	})
	return out
}

// pointSeen is as moveSeen for a row: D² is that of the levels at a cell against
// those at the row's place, about an offset that all of the row share.
func (f *fit) pointSeen(i int, g *levels) float64 {
	r, n := f.v.rows, len(g.at)
	s0, s1, ss := make([]float64, n), make([]float64, n), make([]float64, n)
	heard := 0
	for k := range f.radios {
		h, ok := f.leaveOut(k, []int{i})
		if !ok {
			continue
		}
		heard++
		rf, m := &f.radios[k], &g.maps[k]
		s2, share, here := f.bands[rf.band].s2, f.share(rf.ap), f.mean(rf, i)+h.mu
		for c := range n {
			w, d := share/(max(m.v[c], .05)*s2), m.mean[c]-here
			s0[c] += w
			s1[c] += w * d
			ss[c] += w * d * d
		}
	}
	if heard < 3 {
		return math.NaN()
	}
	for c := range ss {
		ss[c] = max(ss[c]-s1[c]*s1[c]/(s0[c]+1/(f.shareDB*f.shareDB)), 0)
	}
	return ninetySeen(ss, tailShare, thresholds[Point], leastPointM, func(c int) float64 { return distance(g.at[c], r.at[i]) })
}

// receiversSeen is how large an offset of each receiver against that with most
// rows has to be.
func (f *fit) receiversSeen() []ReceiverOutlook {
	var out []ReceiverOutlook
	for _, e := range f.receiverEffects() {
		o := ReceiverOutlook{Receiver: e.name, Against: e.against, OffsetDB: math.NaN()}
		if e.den > 0 {
			v := 1 / e.den
			w := receiverSD * receiverSD
			o.OffsetDB = math.Sqrt((thresholds[Receiver]+.5*math.Log1p(w/v))/(.5*(1/v-1/(v+w)))) + ninety*math.Sqrt(v)
		}
		out = append(out, o)
	}
	return out
}
