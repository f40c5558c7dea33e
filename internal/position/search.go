package position

import (
	"cmp"
	"math"
	"slices"

	"footrule/internal/propagation"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
)

// search is the search for one fix.
type search struct {
	t      *Trilateration
	says   []propagation.Hearing // per radio
	levels []float64             // per radio, at the place in hand
	slopes []float64             // per radio, of the log likelihood there by its level
	over   []float64             // log likelihood over the grid
}

func newSearch(t *Trilateration, st *walk.Stay) *search {
	return &search{t: t, says: hearings(t.fit, st), levels: make([]float64, len(t.grid.refs)), slopes: make([]float64, len(t.grid.refs))}
}

// hearings prepares what a stay says of every radio under a fit.
func hearings(f *propagation.Fit, st *walk.Stay) []propagation.Hearing {
	out := make([]propagation.Hearing, len(f.Radios))
	for k := range out {
		var l walk.Level // a level missing at the end counts as not heard
		if k < len(st.Levels) {
			l = st.Levels[k]
		}
		out[k] = f.Hearing(k, l, st.Scans)
	}
	return out
}

// place is a place with its log likelihood.
type place struct {
	floor int
	at    orb.Point
	l     float64
}

// curveDB is the step of the tables in which the log likelihood of a level is
// looked up over the grid: it bends over some decibels, and cubics through
// values and slopes 2 dB apart are far better than a start needs.
const curveDB = 2.0

// onGrid gives the log likelihood at every place of the grid.
func (s *search) onGrid() []float64 {
	out := make([]float64, len(s.t.grid.at))
	sumOver(s.says, s.t.levels, out)
	return out
}

// sumOver adds to out, place by place, what a stay says of the radios by their
// levels there. A radio without levels is not in the fit.
func sumOver(says []propagation.Hearing, levels []span, out []float64) {
	var cubics [][4]float64
	for k := range levels {
		r := &levels[k]
		if r.at == nil {
			continue
		}
		size := int((r.hi-r.lo)/curveDB) + 1
		cubics = cubics[:0]
		v, d := says[k].At(r.lo)
		d *= curveDB
		for j := range size {
			v1, d1 := says[k].At(r.lo + float64(j+1)*curveDB)
			d1 *= curveDB
			cubics = append(cubics, [4]float64{v, d, 3*(v1-v) - 2*d - d1, d + d1 - 2*(v1-v)})
			v, d = v1, d1
		}
		for i, m := range r.at {
			x := (m - r.lo) / curveDB
			j := int(x)
			x -= float64(j)
			c := &cubics[j]
			out[i] += c[0] + x*(c[1]+x*(c[2]+x*c[3]))
		}
	}
}

// peaks gives the best places of the grid that no neighbour exceeds.
func (s *search) peaks() []place {
	g := s.t.grid
	s.over = s.onGrid()
	l := s.over
	var out []place
	for i, v := range l {
		if slices.ContainsFunc(g.near[i], func(j int32) bool { return l[j] > v || l[j] == v && int(j) < i }) {
			continue
		}
		out = append(out, place{floor: g.floor[i], at: g.at[i], l: v})
	}
	slices.SortStableFunc(out, likelier)
	keep := 1
	for keep < min(peaks, len(out)) && out[keep].l > out[0].l-peakDepth {
		keep++
	}
	return out[:keep]
}

func likelier(a, b place) int { return cmp.Compare(b.l, a.l) }

// sameTopM is the distance of two tops that are one to what a climb leaves.
const sameTopM = 1e-6

// best climbs from every start and gives the best place found.
func (s *search) best(starts []place) place {
	tops := make([]place, len(starts))
	for i, p := range starts {
		tops[i] = s.climb(p.floor, p.at)
	}
	slices.SortStableFunc(tops, likelier)
	best := tops[0]
	if s.t.grid.walls {
		for i, p := range tops {
			if i == 0 || i == 1 && (p.floor != tops[0].floor || planar.Distance(p.at, tops[0].at) > sameTopM) {
				p = s.overJumps(p)
			}
			if p.l > best.l {
				best = p
			}
		}
	}
	return best
}

// logLik is the log likelihood of a place, which is in hand then.
func (s *search) logLik(floor int, p orb.Point) float64 {
	s.t.fit.Levels(floor, p, s.levels)
	sum := 0.0
	for k := range s.says {
		l, d := s.says[k].At(s.levels[k])
		s.slopes[k] = d
		sum += l
	}
	return sum
}

// bendDB is the step over which the curvature in the level is taken.
const bendDB = 0.25

// hill is the log likelihood with its slope and curvature over the plan, walls
// apart; jxx, jxy, jyy is the part of the curvature that a Gauss-Newton step
// keeps, Σ −ℓ” ∂μ ∂μᵀ over radios with ℓ” < 0.
type hill struct {
	l, gx, gy, hxx, hxy, hyy float64
	jxx, jxy, jyy            float64
}

func (s *search) hill(floor int, p orb.Point) hill {
	return s.hillInHand(floor, p, s.logLik(floor, p))
}

// hillInHand is the hill at the place that logLik was last asked for.
func (s *search) hillInHand(floor int, p orb.Point, l float64) hill {
	h := hill{l: l}
	f := s.t.fit
	for k := range s.t.grid.refs {
		r := &f.Radios[k]
		if !r.InFit {
			continue
		}
		d := s.slopes[k]
		_, up := s.says[k].At(s.levels[k] + bendDB)
		_, down := s.says[k].At(s.levels[k] - bendDB)
		dd := (up - down) / (2 * bendDB)
		gx, gy, hxx, hxy, hyy := s.t.grid.slope(k, floor, p, r.Exponent.Est)
		h.gx += d * gx
		h.gy += d * gy
		h.hxx += dd*gx*gx + d*hxx
		h.hxy += dd*gx*gy + d*hxy
		h.hyy += dd*gy*gy + d*hyy
		if dd < 0 {
			h.jxx -= dd * gx * gx
			h.jxy -= dd * gx * gy
			h.jyy -= dd * gy * gy
		}
	}
	return h
}

func (s *search) covariance(p place) (Covariance, bool) {
	h := s.hill(p.floor, p.at)
	return BoundOf(h.jxx, h.jxy, h.jyy)
}

const (
	climbSteps = 60
	stillM     = 1e-9 // a step that does not matter, metres
	// Close to the top the log likelihood no longer shows which of two places
	// is higher: rounding of a sum over some tens of radios. The slope does.
	sameLogLik = 1e-13
)

// climb is Newton's method with Levenberg's damping, kept within the outline: a
// step that leads out ends on the outline, and from there the search goes along it.
func (s *search) climb(floor int, p orb.Point) place {
	outline := s.t.grid.site.Floors[floor].Outline
	h := s.hill(floor, p)
	damp := 0.0
	for range climbSteps {
		next, ok := s.step(floor, outline, p, &h, damp)
		if !ok || planar.Distance(next, p) < stillM {
			break
		}
		l := s.logLik(floor, next)
		climbs, level := l > h.l, math.Abs(l-h.l) < sameLogLik*(1+math.Abs(h.l))
		var hn hill
		if climbs || level {
			hn = s.hillInHand(floor, next, l)
		}
		if climbs || level && math.Hypot(hn.gx, hn.gy) < math.Hypot(h.gx, h.gy) {
			p, h = next, hn
			if damp *= 0.1; damp < 1e-4 {
				damp = 0
			}
			continue
		}
		if damp = max(8*damp, 1e-2); damp > 1e9 {
			break
		}
	}
	return place{floor: floor, at: p, l: h.l}
}

// step proposes where to go from p; ok is false at a constrained maximum.
func (s *search) step(floor int, outline orb.Ring, p orb.Point, h *hill, damp float64) (orb.Point, bool) {
	xx, xy, yy := -h.hxx, -h.hxy, -h.hyy
	mean, half := (xx+yy)/2, math.Hypot((xx-yy)/2, xy)
	least, most := mean-half, max(math.Abs(mean+half), math.Abs(mean-half))
	if most == 0 {
		return p, false
	}
	shift := damp * most
	if least+shift < 1e-6*most {
		shift = 1e-3*most - least
	}
	xx, yy = xx+shift, yy+shift
	det := xx*yy - xy*xy
	q := orb.Point{p[0] + (yy*h.gx-xy*h.gy)/det, p[1] + (xx*h.gy-xy*h.gx)/det}
	q = short(p, q, 4*s.t.grid.stepM)
	fl := &s.t.grid.site.Floors[floor]
	if fl.Inside(q) {
		return q, true
	}
	edges := edgesAt(outline, p)
	if len(edges) == 0 {
		return onOutline(outline, q), true
	}
	// On the outline with a step that leads out: along the edge that climbs most.
	best, gain := p, 0.0
	for _, i := range edges {
		a, b := outline[i], outline[(i+1)%len(outline)]
		n := planar.Distance(a, b)
		ux, uy := (b[0]-a[0])/n, (b[1]-a[1])/n
		slope := h.gx*ux + h.gy*uy
		bend := ux*ux*xx + 2*ux*uy*xy + uy*uy*yy
		along := (p[0]-a[0])*ux + (p[1]-a[1])*uy + slope/bend
		along = min(max(along, 0), n)
		e := short(p, orb.Point{a[0] + along*ux, a[1] + along*uy}, 4*s.t.grid.stepM)
		if g := h.gx*(e[0]-p[0]) + h.gy*(e[1]-p[1]); g > gain {
			best, gain = e, g
		}
	}
	return best, gain > 0
}

// short cuts a step to a length: curvature does not reach far.
func short(p, q orb.Point, most float64) orb.Point {
	if d := planar.Distance(p, q); d > most {
		return orb.Point{p[0] + (q[0]-p[0])*most/d, p[1] + (q[1]-p[1])*most/d}
	}
	return q
}

// onEdgeM is how near an edge a place counts as on it; [site.Floor.Inside]
// allows a micrometre.
const onEdgeM = 1e-7

// edgesAt lists the edges of the outline that a place lies on, by the number of
// their first corner.
func edgesAt(r orb.Ring, p orb.Point) []int {
	var out []int
	for i := range r {
		if planar.DistanceFromSegment(r[i], r[(i+1)%len(r)], p) <= onEdgeM {
			out = append(out, i)
		}
	}
	return out
}

// onOutline gives the place of the outline nearest to p.
func onOutline(r orb.Ring, p orb.Point) orb.Point {
	best, least := p, math.Inf(1)
	for i := range r {
		a, b := r[i], r[(i+1)%len(r)]
		ux, uy := b[0]-a[0], b[1]-a[1]
		n := ux*ux + uy*uy
		if n == 0 {
			continue
		}
		s := min(max(((p[0]-a[0])*ux+(p[1]-a[1])*uy)/n, 0), 1)
		q := orb.Point{a[0] + s*ux, a[1] + s*uy}
		if d := planar.Distance(p, q); d < least {
			best, least = q, d
		}
	}
	return best
}

// jumpM ends the pattern search over jumps, metres.
const jumpM = 0.02

// overJumps looks around a place in eight directions, near and nearer, for
// places beyond a jump of the level that are likelier, and climbs from there.
func (s *search) overJumps(p place) place {
	fl := &s.t.grid.site.Floors[p.floor]
	for r := s.t.grid.stepM; r > jumpM; r /= 2 {
		for moved := true; moved; {
			moved = false
			for k := range 8 {
				sin, cos := math.Sincos(float64(k) * math.Pi / 4)
				q := orb.Point{p.at[0] + r*cos, p.at[1] + r*sin}
				if !fl.Inside(q) {
					continue
				}
				// A gain worth a move is one that a user could see in the likelihood.
				if l := s.logLik(p.floor, q); l > p.l+1e-6 {
					p.at, p.l, moved = q, l, true
				}
			}
		}
	}
	if q := s.climb(p.floor, p.at); q.l > p.l {
		return q
	}
	return p
}
