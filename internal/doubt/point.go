package doubt

import (
	"math"
	"slices"

	"footrule/internal/median"
	"footrule/internal/parallel"
)

// Constants of a point at the wrong place.
const (
	pointNu     = 8.0 // degrees of freedom of a single level
	worstRows   = 16  // rows that are looked at closely, the worst predicted
	exchangeTop = 6   // rows among which exchanges are tried
	exchangeGap = 5.0 // metres between points that can be told from each other
	leastPointM = 4.0
	leastSDs    = 2.5 // spreads of its place that a visit has to be off: unknown walls move one by less
)

// spotted is a row (or all rows of its place) with what it says of where it was
// made.
type spotted struct {
	rows []int
	lbf  float64
	at   Place
}

// points looks for visits that were made elsewhere. The level of each radio is
// kriged from the rows of other places at every place q where someone can stand;
// radios are summed as t(8) about an offset that all of the row share, with
// log P(unheard) of those it did not hear, and
//
//	lbf = log mean_q exp(l(q) − l(recorded))
func (f *fit) points() []spotted {
	units := f.units()
	worth := make([]float64, len(units))
	parallel.Do(len(units), func(u int) { worth[u] = f.misfit(units[u]) })
	order := make([]int, len(units))
	for i := range order {
		order[i] = i
	}
	sortBy(order, func(u int) float64 { return -worth[u] })
	order = order[:min(len(order), worstRows)]
	var out []spotted
	r := f.v.rows
	for fl := range r.site.Floors {
		var here [][]int
		for _, u := range order {
			if r.floor[units[u][0]] == fl {
				here = append(here, units[u])
			}
		}
		if len(here) > 0 {
			out = append(out, f.pointsOn(fl, here)...)
		}
	}
	slices.SortStableFunc(out, func(a, b spotted) int {
		switch {
		case a.lbf > b.lbf:
			return -1
		case a.lbf < b.lbf:
			return 1
		}
		return 0
	})
	return out
}

// units are the rows one by one, and together where several were made at one place.
func (f *fit) units() [][]int {
	r := f.v.rows
	by := map[int][]int{}
	var out [][]int
	for i := range r.n {
		if !r.out[i] {
			out = append(out, []int{i})
			by[r.place[i]] = append(by[r.place[i]], i)
		}
	}
	for i := range r.n {
		if rows := by[r.place[i]]; len(rows) > 1 && rows[0] == i {
			out = append(out, rows)
		}
	}
	return out
}

// misfit is how badly a unit is predicted from the others, per radio heard: the
// units worth a closer look come first.
func (f *fit) misfit(unit []int) float64 {
	var z []float64
	for k := range f.radios {
		if h, ok := f.leaveOut(k, unit); ok {
			z = append(z, (h.mean-h.mu)/math.Sqrt(h.v*f.bands[f.radios[k].band].s2))
		}
	}
	mid := median.Of(z)
	sum := 0.0
	for _, v := range z {
		v -= mid
		sum += min(v*v, 16) - 1
	}
	return sum
}

// pointsOn looks at units of one floor closely.
func (f *fit) pointsOn(floor int, units [][]int) []spotted {
	g := f.levelsOn(floor, units)
	if len(g.cells) == 0 {
		return nil
	}
	out := make([]spotted, len(units))
	parallel.Do(len(units), func(u int) { out[u] = f.pointAt(u, units[u], floor, g) })
	return slices.DeleteFunc(out, func(s spotted) bool { return s.rows == nil })
}

// pointAt gives what a unit says of where it was made.
func (f *fit) pointAt(u int, unit []int, floor int, g *levels) spotted {
	r, n, maps := f.v.rows, len(g.cells), g.maps
	type obs struct {
		res, v []float64 // per cell, then at the recorded place; dB, dB²
		share  float64
	}
	var heard []obs
	quiet := make([]float64, n+1)
	m := float64(len(unit))
	for k := range f.radios {
		rf := &f.radios[k]
		b := &f.bands[rf.band]
		h, ok := f.leaveOut(k, unit)
		switch {
		case ok && maps[k].u[u] != nil:
			o := obs{make([]float64, n+1), make([]float64, n+1), f.share(rf.ap)}
			y := 0.0 // their mean level
			for _, a := range h.idx {
				y += f.y(k, rf.rows[a]) / float64(len(h.idx))
			}
			fewer := f.rho * (1 - 1/float64(len(h.idx))) // a mean has less of the nugget
			for c := range n {
				o.res[c] = y - (maps[k].mean[c] - maps[k].u[u][c])
				o.v[c] = max(maps[k].v[c]+maps[k].uu[u][c]-fewer, .05) * b.s2
			}
			o.res[n], o.v[n] = h.mean-h.mu, max(h.v, .05)*b.s2
			heard = append(heard, o)
		case len(rf.rows) >= 3 && len(h.idx) == 0:
			share := f.share(rf.ap)
			for _, i := range unit {
				c := k*r.n + i
				if r.listened[c] == 0 {
					continue
				}
				pm, fl := f.odds(r.listened[c]), r.floorDBm[c]
				for q := range n {
					quiet[q] += share * unheard(pm, maps[k].mean[q], math.Sqrt(max(maps[k].v[q], .05)*b.s2), fl) / m
				}
				mu, sd := f.predict(k, i, rf.rows, &f.krigs[k])
				quiet[n] += share * unheard(pm, mu, sd, fl) / m
			}
		}
	}
	if len(heard) < 3 {
		return spotted{}
	}
	ll := make([]float64, n+1)
	s2 := f.shareDB * f.shareDB
	for q := range ll {
		s0, s1 := 1/s2, 0.0
		for i := range heard {
			s0 += heard[i].share / heard[i].v[q]
			s1 += heard[i].share * heard[i].res[q] / heard[i].v[q]
		}
		off := s1 / s0
		l := quiet[q] - .5*off*off/s2 - .5*math.Log(s2*s0)
		for i := range heard {
			d := heard[i].res[q] - off
			l -= .5 * heard[i].share * (math.Log(heard[i].v[q]) + (pointNu+1)*math.Log1p(d*d/(heard[i].v[q]*pointNu)))
		}
		ll[q] = l
	}
	rel := make([]float64, n)
	for c := range rel {
		rel[c] = ll[c] - ll[n]
	}
	full := make([]float64, len(f.v.ground.cells[floor]))
	for c := range full {
		full[c] = math.Inf(-1)
	}
	for c, cell := range g.cells {
		full[cell] = rel[c]
	}
	out := spotted{rows: unit, lbf: logMean(rel), at: f.place(full, floor)}
	if d := distance(out.at.At, r.at[unit[0]]); d < leastPointM || d < leastSDs*out.at.SDM {
		out.lbf = min(out.lbf, 0)
	}
	return out
}
