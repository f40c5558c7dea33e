package position

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"sync"

	"footrule/internal/kriging"
	"footrule/internal/propagation"
	"footrule/internal/radio"
	"footrule/internal/walk"
)

// learnMap gathers rows, chooses the hyperparameters of every band from all
// stays, from where those without a place set out, and maps all of it.
func learnMap(l *lessons) learner {
	m := &mapping{lessons: l, cells: l.grid.cells(), spots: spotsOf(l), start: map[radio.Band]kriging.Node{}}
	m.ground = newGround(m.cells, m.spots.at, m.spots.floor)
	same := map[string]*series{}
	for k := range l.fit.Radios {
		if !l.fit.Radios[k].InFit {
			continue
		}
		for f := range l.data.Site.Floors {
			s := seriesOf(l, m.spots, k, f)
			if len(s.rows) == 0 {
				continue
			}
			layout := s.layout()
			key := layoutKey(f, layout)
			if o := same[key]; o != nil {
				s.family, s.maps = o.family, o.maps
			} else {
				s.family, s.maps = kriging.NewFamily(layout), new(keep[kriging.Node, *kriging.Map])
				same[key] = s
			}
			s.materials = m.materials(k)
			s.linear = kriging.NewLinear(s.family, s.columns(&m.spots.ways, l.fit)...)
			m.series = append(m.series, s)
		}
	}
	all := m.residuals(l.fit, nil)
	for _, b := range radio.Bands() {
		m.start[b] = kriging.Start
		m.start[b] = m.hyper(b, all).Node
	}
	return m
}

// mapping makes radio maps without some places.
type mapping struct {
	*lessons
	cells  *cells
	spots  *spots
	ground *ground
	series []*series
	start  map[radio.Band]kriging.Node
}

// materials lists what is crossed on the ways of a radio to spots and cells.
func (m *mapping) materials(k int) []string {
	all := map[string]bool{}
	for _, g := range []*ways{&m.spots.ways, &m.cells.ways} {
		for name := range g.crossed[k] {
			all[name] = true
		}
	}
	return slices.Sorted(maps.Keys(all))
}

func layoutKey(floor int, l kriging.Layout) string {
	b := fmt.Appendf(nil, "%d", floor)
	for i, p := range l.At {
		b = fmt.Appendf(b, " %g %g %g", p[0], p[1], l.Noise[i])
	}
	return string(b)
}

// levels predicts every radio of a fit at every spot.
func (s *spots) levels(f *propagation.Fit) [][]float64 {
	out := make([][]float64, len(f.Radios))
	for k := range out {
		if f.Radios[k].InFit {
			out[k] = s.ways.level(f, k)
		}
	}
	return out
}

// residuals are what a fit leaves at the rows of every series, those at places
// left out not counting.
func (m *mapping) residuals(f *propagation.Fit, without map[int]bool) []kriging.Series {
	out := make([]kriging.Series, len(m.series))
	for i, s := range m.series {
		if f.Radios[s.radio].InFit {
			out[i] = s.residuals(m.fit, f, without)
		}
	}
	return out
}

// of picks the residuals of some radios of the fit.
func (m *mapping) of(all []kriging.Series, radio func(k int) bool) []kriging.Series {
	var out []kriging.Series
	for i, s := range m.series {
		if all[i].Linear != nil && radio(s.radio) {
			out = append(out, all[i])
		}
	}
	return out
}

// hyper chooses the hyperparameters of a band.
func (m *mapping) hyper(b radio.Band, all []kriging.Series) kriging.Hyper {
	h, err := kriging.Best(m.of(all, func(k int) bool { return m.fit.Radios[k].Band == b }), m.start[b])
	if err != nil { // noise of a hundredth and more of the variance keeps a covariance positive
		panic(err)
	}
	return h
}

// radioValues is with how many values the variance of all radios of a band counts
// in that of one: some radios fade more than others.
const radioValues = 20

// without maps what is left; the fit and the hyperparameters are of that alone.
func (m *mapping) without(f *propagation.Fit, places []int) Locator {
	gone := map[int]bool{}
	for _, p := range places {
		gone[p] = true
	}
	all := m.residuals(f, gone)
	hypers := map[radio.Band]kriging.Hyper{}
	for _, b := range radio.Bands() {
		hypers[b] = m.hyper(b, all)
	}
	out := &radioMap{fit: f, cells: m.cells, prior: m.ground.prior(m.spots.left(m.lessons, gone)), radios: make([]mapped, len(f.Radios))}
	for i, l := range out.prior {
		out.prior[i] = math.Exp(l)
	}
	for k := range out.radios {
		if !f.Radios[k].InFit {
			continue
		}
		h := hypers[f.Radios[k].Band]
		if h.Variance == 0 { // nothing is known of residuals but their spread in the fit
			sigma := f.Group(k).ResidualDB()
			h.Variance = sigma * sigma
		}
		h.Variance *= kriging.Scale(m.of(all, func(r int) bool { return r == k }), h, radioValues)
		out.radios[k] = m.mapOf(f, k, all, h)
	}
	return out
}

// mapOf is the map of one radio.
func (m *mapping) mapOf(f *propagation.Fit, k int, all []kriging.Series, h kriging.Hyper) mapped {
	n := len(m.cells.at)
	r := mapped{make([]float64, n), make([]float64, n)}
	done := 0
	for i, s := range m.series {
		if s.radio == k {
			lo, hi := m.cells.first[s.floor], m.cells.first[s.floor+1]
			m.carry(s, h.Node).Without(all[i].Coef, all[i].Without, r.level[lo:hi], r.norm[lo:hi])
			done += hi - lo
		}
	}
	if done < n { // on floors where it was not heard
		level := m.cells.level(f, k)
		for fl := range m.data.Site.Floors {
			if m.seriesOf(k, fl) == nil {
				for i := m.cells.first[fl]; i < m.cells.first[fl+1]; i++ {
					r.level[i], r.norm[i] = level[i], 1
				}
			}
		}
	}
	noise := h.NoiseRatio()
	for i, share := range r.norm {
		r.norm[i] = 1 / math.Sqrt(h.Variance*(share+noise))
	}
	return r
}

// carry is the map of a series at a node, made when first asked for.
func (m *mapping) carry(s *series, n kriging.Node) *kriging.Carried {
	return s.carried.of(n, func() *kriging.Carried {
		solved, err := s.linear.Solved(n)
		if err != nil {
			panic(err) // it was there to choose the node
		}
		lo, hi := m.cells.first[s.floor], m.cells.first[s.floor+1]
		onto := s.maps.of(n, func() *kriging.Map { return solved.System.Onto(m.cells.at[lo:hi]) })
		further := [][]float64{m.cells.level(m.fit, s.radio)[lo:hi]}
		for _, term := range m.cells.terms(s.radio, s.materials) {
			further = append(further, term[lo:hi])
		}
		return onto.Carry(s.linear, solved, further)
	})
}

// keep makes what is asked for once. Its zero value is empty.
type keep[K comparable, V any] struct {
	mu   sync.Mutex
	kept map[K]func() V
}

func (k *keep[K, V]) of(key K, make func() V) V {
	k.mu.Lock()
	get, ok := k.kept[key]
	if !ok {
		if k.kept == nil {
			k.kept = map[K]func() V{}
		}
		get = sync.OnceValue(make)
		k.kept[key] = get
	}
	k.mu.Unlock()
	return get()
}

// mapped is one radio over the cells.
type mapped struct {
	level []float64 // dBm
	norm  []float64 // 1/√(variance of a stay's level), 1/dB
}

// tDegrees are those of Student's t in which levels are told: bodies and doors
// make some far off, and those must not decide.
const tDegrees = 5.0

// radioMap finds fixes as [posterior] does, but by levels that are kriged: the
// fit is the mean, and on each floor a Gaussian process with the exponential
// kernel stands for what it leaves at the stays that were learned from, radio by
// radio; its hyperparameters are shared by the radios of a band and maximise the
// marginal likelihood ([kriging.Best]), but that the variance of each radio is its
// own, drawn to that of the band ([kriging.Scale]). Levels count by Student's t with the
// scale √(variance of the level + variance of a stay around it), the second from
// stays of the kind that fixes are made of: between facings where they are cut
// by facing. A silence counts as in the fit, with the t for the normal.
type radioMap struct {
	fit    *propagation.Fit
	cells  *cells
	prior  []float64 // per cell
	radios []mapped

	silences keep[silence, []float64]
}

// silence is that of a radio in so many scans that listened.
type silence struct{ radio, scans int }

// product is the room for one over the cells.
type product struct{ w, under []float64 }

var productPool = sync.Pool{New: func() any { return new(product) }}

// from begins with a prior, and 1 under it.
func (p *product) from(prior []float64) (w, under []float64) {
	p.w = append(p.w[:0], prior...)
	p.under = slices.Grow(p.under[:0], len(prior))[:len(prior)]
	for i := range p.under {
		p.under[i] = 1
	}
	return p.w, p.under
}

// foldEvery is after how many radios the size of numbers is taken out of a
// product, so that none leaves what numbers can be.
const foldEvery = 16

// leastFactor is how improbable a silence can be: [t5] is good to so much.
const leastFactor = 1e-17

// Fix locates a stay.
func (m *radioMap) Fix(st *walk.Stay) Fix {
	heard := heardAPs(m.fit, st)
	if heard == 0 {
		return Fix{Reason: nothingHeard}
	}
	buffer := productPool.Get().(*product)
	defer productPool.Put(buffer)
	w, under := buffer.from(m.prior)
	var exponents []int // of two, where numbers were folded
	n := 0
	for k := range m.radios {
		r := &m.radios[k]
		if r.level == nil {
			continue
		}
		if k >= len(st.Levels) || st.Levels[k].Heard == 0 {
			for i, p := range m.silent(k, st) {
				w[i] *= p
			}
		} else {
			r.tell(st.Levels[k].MeanDBm, w, under)
		}
		if n++; n%foldEvery == 0 {
			exponents = fold(w, under, exponents)
		}
	}
	over(w, under)
	whole := 0
	if exponents != nil {
		exponents = fold(w, under, exponents)
		whole = slices.Max(exponents)
		for i, e := range exponents {
			w[i] = math.Ldexp(w[i], e-whole)
		}
	}
	top := slices.Max(w)
	fix := m.cells.fix(w, top)
	fix.Heard, fix.LogLik = heard, math.Log(top)+math.Ln2*float64(whole)
	return fix
}

// over divides by the cubes of what is under, and leaves 1 there.
func over(w, under []float64) {
	under = under[:len(w)]
	for i, q := range under {
		w[i] /= q * q * q
		under[i] = 1
	}
}

// fold leaves fractions of numbers and adds their exponents of two up.
func fold(w, under []float64, exponents []int) []int {
	over(w, under)
	if exponents == nil {
		exponents = make([]int, len(w))
	}
	for i, v := range w {
		frac, e := math.Frexp(v)
		w[i] = frac
		exponents[i] += e
	}
	return exponents
}

// tell multiplies by how likely a level is, up to a factor: Student's density
//
//	(1 + t²/ν)^(−(ν + 1)/2)/√v,  t = (y − μ)/√v
//
// Of the first, which is cubed for ν = 5, the base goes under.
func (r *mapped) tell(y float64, w, under []float64) {
	const over = 1 / tDegrees
	level, norm, under := r.level[:len(w)], r.norm[:len(w)], under[:len(w)]
	for i, mu := range level {
		t := (y - mu) * norm[i]
		under[i] *= 1 + t*t*over
		w[i] *= norm[i]
	}
}

// silent is how likely it is that a stay did not hear a radio, per cell; nil where
// that says nothing, as where no scan listened on its channel.
func (m *radioMap) silent(k int, st *walk.Stay) []float64 {
	scans := st.Scans
	if k < len(st.Levels) {
		scans = st.Levels[k].Listened(scans)
	}
	if m.fit.Model == propagation.OLS || scans == 0 {
		return nil
	}
	return m.silences.of(silence{k, scans}, func() []float64 {
		f, r, floor := &m.fit.Radios[k], &m.radios[k], m.fit.Group(k).FloorDBm
		p := f.StayMiss + (1-f.StayMiss)*math.Pow(f.ScanMiss, float64(scans))
		out := make([]float64, len(r.level))
		for i, mu := range r.level {
			out[i] = max(leastFactor, p+(1-p)*t5((floor-mu)*r.norm[i]))
		}
		return out
	})
}

// t5 is the distribution function of Student's t with 5 degrees of freedom
// (Abramowitz and Stegun 26.7.3): with θ = atan(t/√5),
//
//	½ + (θ + sin θ cos θ (1 + ⅔ cos² θ))/π
func t5(t float64) float64 {
	c2 := 1 / (1 + t*t/5)
	s := t / math.Sqrt(5) * c2 // sin θ cos θ
	return max(0, .5+(math.Atan(t/math.Sqrt(5))+s*(1+2*c2/3))/math.Pi)
}
