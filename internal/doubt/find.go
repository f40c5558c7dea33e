package doubt

import (
	"context"
	"fmt"
	"math"
	"slices"

	"footrule/internal/say"
	"footrule/internal/site"
	"footrule/internal/walk"
)

// Limits of what is looked at.
const (
	leastVisits  = 8   // with fewer nothing is told from chance
	leastHeard   = 3   // access points heard in enough rows
	mostFindings = 12  // after so many the plan is another building's
	usualRows    = 150 // above these neighbours are averaged
)

// Find looks for what does not fit between the plan and the walks: it names the
// fault with most evidence over its threshold, corrects for it, fits again, and
// goes on until nothing is left above a threshold. Access points that were never
// heard come first, then events, because either looks like many other faults.
//
// Its only error is that of ctx.
//
//  1. Equal sites, walks and options give equal reports, whatever the number
//     of processors.
//  2. A report on fewer than 8 visits, or fewer than 3 access points that 8
//     of them heard, has no finding, and says what is missing.
func Find(ctx context.Context, s *site.Site, walks []walk.Walk, o Options) (*Report, error) {
	r := newRows(s, walks)
	rep := &Report{Visits: r.n}
	seen := map[int]bool{}
	for _, p := range r.place {
		seen[p] = true
	}
	rep.Places = len(seen)
	if rep.Missing = r.missing(); rep.Missing != "" {
		return rep, ctx.Err()
	}
	most := o.Rows
	if most <= 0 {
		most = usualRows
	}
	r = r.thin(most)
	f := newFit(newView(r))
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	var margin float64
	var left *fit
	rep.Findings, left, margin = search(ctx, f)
	for i := range rep.Findings {
		rep.Findings[i].tell(r)
	}
	if !o.Brief && ctx.Err() == nil {
		rep.Power = left.outlook()
		rep.Power.Text = left.prospects(&rep.Power)
		rep.Advice = left.advice(&rep.Power)
	}
	if o.Draws > 0 && ctx.Err() == nil {
		p := left.pValue(ctx, margin, o.Draws, o.Seed)
		rep.PValue = &p
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return rep, nil
}

// missing says why nothing can be looked for.
func (r *rows) missing() string {
	if r.n < leastVisits {
		return fmt.Sprintf("%s, and it takes %d to tell anything from chance; walk more points", say.Count(r.n, "visit"), leastVisits)
	}
	aps := map[int]bool{}
	for k, ref := range r.refs {
		n := 0
		for i := range r.n {
			if r.heard[k*r.n+i] > 0 {
				n++
			}
		}
		if n >= leastVisits {
			aps[ref.AP] = true
		}
	}
	if len(aps) < leastHeard {
		return fmt.Sprintf("%d access points were heard in %d visits or more, and it takes %d; walk more points, or check the BSSIDs on the plan", len(aps), leastVisits, leastHeard)
	}
	return ""
}

// search names, corrects and fits again. It gives the fit of what is left, and
// the largest evidence over its threshold that there was at first, but for
// access points that were never heard.
func search(ctx context.Context, f *fit) (out []Finding, left *fit, margin float64) {
	margin = math.NaN()
	not := map[string]bool{} // what a refit did not bear out
	calm := true             // no event so far: visits may be doubted
	for range mostFindings {
		if ctx.Err() != nil {
			return out, f, margin
		}
		fd, all, ok := f.worst(ctx, calm, not)
		if math.IsNaN(margin) && all != nil {
			margin = margins(all)
		}
		if !ok {
			break
		}
		g := f.corrected(fd)
		if fd.Kind == Moved && !g.bears(f, fd) {
			not[fd.key()] = true
			continue
		}
		out = append(out, fd)
		calm = calm && fd.Kind != Event
		f = g
	}
	for _, s := range f.slopes() {
		named := slices.ContainsFunc(out, func(o Finding) bool { return slices.Contains(o.APs, s.APs[0]) })
		if s.LBF > s.Threshold && !named {
			out = append(out, s)
		}
	}
	return out, f, margin
}

// key tells findings of one kind apart.
func (fd *Finding) key() string { return fmt.Sprint(fd.Kind, fd.APs, fd.row, fd.partner) }

// candidates weighs every fault there may be.
func (f *fit) candidates(ctx context.Context, calm bool) []Finding {
	alone, events := f.power(f.steps())
	all := append(events, alone...)
	all = append(all, f.moved()...)
	all = append(all, f.labels()...)
	all = append(all, f.dies()...)
	all = append(all, f.receivers()...)
	if ctx.Err() != nil {
		return all
	}
	all = append(all, f.scale()...)
	if calm && ctx.Err() == nil {
		spots := f.points()
		for _, s := range spots {
			all = append(all, f.pointFinding(s))
		}
		all = append(all, f.exchanges(spots, f.again(f.v).total())...)
	}
	return all
}

// worst is the finding to name next, out of all that were weighed.
func (f *fit) worst(ctx context.Context, calm bool, not map[string]bool) (fd Finding, all []Finding, ok bool) {
	if never := f.never(); len(never) > 0 {
		return never[0], nil, true
	}
	all = f.candidates(ctx, calm)
	best := -1
	for i := range all {
		if all[i].Kind == Event {
			if r := f.handedOver(all[i].span, all); r != nil {
				return *r, all, true
			}
			return all[i], all, true
		}
		if over := all[i].LBF - all[i].Threshold; over > 0 && !not[all[i].key()] && (best < 0 || over > all[best].LBF-all[best].Threshold) {
			best = i
		}
	}
	if best < 0 {
		return Finding{}, all, false
	}
	// One that fell silent is heard only near where the walk was by then, and
	// so seems to hang there.
	if fd := all[best]; fd.Kind == Moved {
		for _, d := range all {
			if d.Kind == Dies && d.APs[0] == fd.APs[0] && d.LBF > d.Threshold {
				return d, all, true
			}
		}
	}
	return all[best], all, true
}

// handedOver is the finding that a receiver differs, where all levels change when
// another receiver takes over for good.
func (f *fit) handedOver(span [2]int, all []Finding) *Finding {
	r := f.v.rows
	for i := range all {
		fd := &all[i]
		if fd.Kind != Receiver || fd.LBF <= fd.Threshold {
			continue
		}
		for at := max(span[0], 1); at <= span[1]; at++ {
			before, after := r.receiver[:at], r.receiver[at:]
			takesOver := (before[at-1] == fd.row) != (after[0] == fd.row)
			if takesOver && slices.Contains(before, fd.row) != slices.Contains(after, fd.row) {
				return fd
			}
		}
	}
	return nil
}

func (f *fit) pointFinding(s spotted) Finding {
	fd := Finding{Kind: Point, Seems: []Place{s.at}, Effect: distance(s.at.At, f.v.rows.at[s.rows[0]]), SE: s.at.SDM, Unit: "m",
		LBF: s.lbf, Threshold: thresholds[Point], row: s.rows[0], partner: len(s.rows)}
	for _, i := range s.rows {
		fd.Visits = append(fd.Visits, *f.visit(i))
	}
	return fd
}

// bears reports whether a fit with the access point elsewhere still prefers
// that to the plan, by as much.
func (f *fit) bears(before *fit, fd Finding) bool {
	ap := fd.APs[0]
	return logMean(f.elsewhere(ap, f.v.spots[ap].floor, f.likely(ap, before.single(ap))[0])) > fd.Threshold
}

// corrected fits again as if the finding were mended.
func (f *fit) corrected(fd Finding) *fit {
	v := f.v
	r := v.rows.clone()
	spots := slices.Clone(v.spots)
	moved := false
	dead := slices.Clone(v.dead)
	mute := func(ap, from int) {
		for k := range f.radios {
			if f.radios[k].ap != ap || len(fd.Radios) > 0 && !slices.Contains(fd.Radios, k) {
				continue
			}
			for i := from; i < r.n; i++ {
				r.listened[k*r.n+i] = 0
			}
		}
	}
	lower := func(ap, from int, db float64) {
		for k := range f.radios {
			if f.radios[k].ap == ap {
				for i := from; i < r.n; i++ {
					r.level[k*r.n+i] -= db
				}
			}
		}
	}
	switch fd.Kind {
	case Moved:
		spots[fd.APs[0]].floor, spots[fd.APs[0]].at = fd.Seems[0].Floor, fd.Seems[0].At
	case Labels:
		for i, ap := range fd.APs {
			spots[ap] = v.spots[fd.AtPlaceOf[i]]
		}
	case Power:
		lower(fd.APs[0], fd.row, fd.Effect)
	case Event:
		for _, ap := range fd.APs {
			s := f.step(ap)
			lower(ap, fd.row, s.num[fd.row]/s.den[fd.row])
		}
	case Dies:
		mute(fd.APs[0], fd.row)
	case Dead, Unreached:
		mute(fd.APs[0], 0)
		dead[fd.APs[0]] = dead[fd.APs[0]] || len(fd.Radios) == 0
	case Scale:
		r, moved = f.stretched(fd.partner == 1, fd.Effect), true
	case Point:
		for i := range r.n {
			if i == fd.row || fd.partner > 1 && r.place[i] == r.place[fd.row] {
				r.out[i] = true
			}
		}
	case Exchange:
		r, moved = exchanged(r, fd.sets[0], fd.sets[1]), true
	case Receiver:
		for c := range r.level {
			if r.receiver[c%r.n] == fd.row && !math.IsNaN(r.level[c]) {
				r.level[c] -= fd.Effect
			}
		}
	}
	next := v.with(r, spots, moved)
	next.dead = dead
	return newFit(next)
}
