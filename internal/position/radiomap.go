package position

import (
	"fmt"
	"math"
	"slices"
	"sync"

	"footrule/internal/kriging"
	"footrule/internal/propagation"
	"footrule/internal/radio"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

// learnMap gathers rows, chooses the hyperparameters of every band from all
// stays, from where those without a place set out, and maps all of it.
func learnMap(l *lessons) learner {
	m := &mapping{lessons: l, cells: l.grid.cells(), spots: spotsOf(l), start: map[radio.Band]kriging.Node{}}
	families := map[string]*series{}
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
			if same := families[key]; same != nil {
				s.family, s.maps = same.family, same.maps
			} else {
				s.family = kriging.NewFamily(layout)
				s.maps = &maps{kept: map[kriging.Node]func() *kriging.Map{}}
				families[key] = s
			}
			m.series = append(m.series, s)
		}
	}
	m.onFloor = make([][]int, len(l.data.Site.Floors))
	for i, f := range m.cells.floor {
		m.onFloor[f] = append(m.onFloor[f], i)
	}
	all := m.residuals(m.spots.levels(l.fit), nil)
	for _, b := range radio.Bands() {
		m.start[b] = kriging.Start
		m.start[b] = m.hyper(b, all).Node
	}
	return m
}

// mapping makes radio maps without some places.
type mapping struct {
	*lessons
	cells   *cells
	spots   *spots
	series  []*series
	onFloor [][]int // cells
	start   map[radio.Band]kriging.Node
}

// maps are those of one layout, by node.
type maps struct {
	mu   sync.Mutex
	kept map[kriging.Node]func() *kriging.Map
}

// of gives the map of a system, made when first asked for.
func (m *maps) of(s *kriging.System, n kriging.Node, at func() []orb.Point) *kriging.Map {
	m.mu.Lock()
	get, ok := m.kept[n]
	if !ok {
		get = sync.OnceValue(func() *kriging.Map { return s.Onto(at()) })
		m.kept[n] = get
	}
	m.mu.Unlock()
	return get()
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
func (m *mapping) residuals(levels [][]float64, without map[int]bool) []kriging.Series {
	out := make([]kriging.Series, len(m.series))
	for i, s := range m.series {
		if levels[s.radio] != nil {
			out[i] = s.residuals(levels[s.radio], without)
		}
	}
	return out
}

// of picks the residuals of some radios of the fit.
func (m *mapping) of(all []kriging.Series, radio func(k int) bool) []kriging.Series {
	var out []kriging.Series
	for i, s := range m.series {
		if all[i].Family != nil && radio(s.radio) {
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
	all := m.residuals(m.spots.levels(f), gone)
	hypers := map[radio.Band]kriging.Hyper{}
	for _, b := range radio.Bands() {
		hypers[b] = m.hyper(b, all)
	}
	out := &radioMap{fit: f, cells: m.cells, prior: m.cells.prior(m.stood(m.left(places))), radios: make([]mapped, len(f.Radios))}
	spans := m.cells.spans(f)
	for k := range out.radios {
		if spans[k].at == nil {
			continue
		}
		h := hypers[f.Radios[k].Band]
		if h.Variance == 0 { // nothing is known of residuals but their spread in the fit
			sigma := f.Group(k).ResidualDB()
			h.Variance = sigma * sigma
		}
		r := &out.radios[k]
		h.Variance *= kriging.Scale(m.of(all, func(r int) bool { return r == k }), h, radioValues)
		r.level = spans[k].at
		r.variance = make([]float64, len(r.level))
		for i := range r.variance {
			r.variance[i] = h.Variance
		}
		for i, s := range m.series {
			if s.radio == k {
				m.add(s, &all[i], h, r)
			}
		}
		r.finish(h.NoiseVariance())
	}
	return out
}

// add puts the kriged residuals of a series on the cells of its floor.
func (m *mapping) add(s *series, y *kriging.Series, h kriging.Hyper, r *mapped) {
	sys, err := s.family.System(h.Node)
	if err != nil {
		panic(err) // it was there to choose the node
	}
	on := m.onFloor[s.floor]
	mp := s.maps.of(sys, h.Node, func() []orb.Point {
		at := make([]orb.Point, len(on))
		for n, i := range on {
			at[n] = m.cells.at[i]
		}
		return at
	})
	z := make([]float64, len(y.Y))
	sys.Solve(y.Y, z)
	mean, share := make([]float64, len(on)), make([]float64, len(on))
	mp.Without(y.Y, z, sys.Block(y.Without), mean, share)
	for n, i := range on {
		r.level[i] += mean[n]
		r.variance[i] = h.Variance * share[n]
	}
}

// mapped is one radio over the cells.
type mapped struct {
	level    []float64 // dBm
	variance []float64 // dB², of the level
	halfLog  []float64 // ½ log of the variance of a stay's level there
	inverse  []float64 // 1/(ν variance of a stay's level)
}

// finish adds the noise of a stay.
func (r *mapped) finish(noise float64) {
	r.halfLog, r.inverse = make([]float64, len(r.level)), make([]float64, len(r.level))
	for i, v := range r.variance {
		v += noise
		r.halfLog[i] = math.Log(v) / 2
		r.inverse[i] = 1 / (tDegrees * v)
	}
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
	prior  []float64 // log, per cell
	radios []mapped
}

// Fix locates a stay.
func (m *radioMap) Fix(st *walk.Stay) Fix {
	heard := heardAPs(m.fit, st)
	if heard == 0 {
		return Fix{Reason: nothingHeard}
	}
	l := slices.Clone(m.prior)
	product := make([]float64, len(l))
	for i := range product {
		product[i] = 1
	}
	fold := func() {
		for i, p := range product {
			l[i] -= (tDegrees + 1) / 2 * math.Log(p)
			product[i] = 1
		}
	}
	n := 0
	for k := range m.radios {
		r := &m.radios[k]
		if r.level == nil {
			continue
		}
		if k >= len(st.Levels) || st.Levels[k].Heard == 0 {
			m.silent(k, st, l)
			continue
		}
		y := st.Levels[k].MeanDBm
		for i, mu := range r.level {
			e := y - mu
			product[i] *= 1 + e*e*r.inverse[i]
			l[i] -= r.halfLog[i]
		}
		if n++; n%32 == 0 { // a product of 32 stays far from the end of the numbers
			fold()
		}
	}
	fold()
	fix := m.cells.weigh(l)
	fix.Heard = heard
	return fix
}

// silent adds what it says that a stay did not hear a radio: nothing where no
// scan listened on its channel.
func (m *radioMap) silent(k int, st *walk.Stay, l []float64) {
	scans := st.Scans
	if k < len(st.Levels) {
		scans = st.Levels[k].Listened(scans)
	}
	if m.fit.Model == propagation.OLS || scans == 0 {
		return
	}
	f, r, floor := &m.fit.Radios[k], &m.radios[k], m.fit.Group(k).FloorDBm
	p := f.StayMiss + (1-f.StayMiss)*math.Pow(f.ScanMiss, float64(scans))
	for i, mu := range r.level {
		l[i] += math.Log(p + (1-p)*t5((floor-mu)*math.Sqrt(tDegrees*r.inverse[i])) + math.SmallestNonzeroFloat64)
	}
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
