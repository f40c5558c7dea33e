package doubt

import (
	"slices"

	"footrule/internal/parallel"
	"footrule/internal/radio"

	"gonum.org/v1/gonum/blas/blas64"
)

// Constants of the base fit, fixed beforehand.
const (
	nu0        = 10.0 // weight of the shared spread in that of a radio, rows
	mostRadios = 10   // radios that decide length, nugget and spread of slopes
	leastRows  = 8    // rows that heard without which a radio decides nothing shared
	rounds     = 8    // of the slope free of selection
	typicalN   = 3.0  // common practice: 2 to 4 indoors
	typicalNSD = 1.5
	typicalL   = 4.0 // dB a wall, common practice: 3 to 10
	typicalLSD = 4.0
)

// fit is the base fit of a view: the level of radio k in row i is
//
//	y = Ā + n̄ x − Σ L c + b₀ + b₁ x + s u,  x = −10 log10 d
//
// with Ā, n̄ and the wall losses L of its band, b ~ N(0, diag(τ_A², τ_n²)) of its
// own, and u of covariance C = (1−ρ) exp(−D/ℓ) + ρ I over the rows that heard it.
// The spread s of each radio is integrated out around that of its band, with
// the weight of nu0 rows.
type fit struct {
	v      *view
	bands  []bandFit
	radios []radioFit
	plan   *ways // from every access point to every row

	ell, rho float64 // ℓ in metres, ρ
	tauN     float64
	kappa    float64 // correlation of the bands of one access point
	shareDB  float64 // spread of what all radios of a row have in common
	missScan float64 // p0: share of scans that miss a strong radio
	missStay float64 // of stays that miss it without a reason
	weight   float64 // of a silent row: neighbours say the same
	corr     []float64
	krigs    []kriged // per radio, over its rows
}

// bandFit is what the radios of one band share.
type bandFit struct {
	band     radio.Band
	level    float64 // Ā, dBm at 1 m
	exponent float64 // n̄
	loss     []float64
	tauA     float64
	s2       float64 // dB²
}

// radioFit is one radio with the rows that heard it and those that did not.
type radioFit struct {
	ap, band int
	rows     []int
	silent   []int
	pattern  []float64         // per row of the site, what its antenna lacks there in dB; nil without a beam
	chol     blas64.Triangular // of C over rows
	logDet   float64           // log |C|
}

func newFit(v *view) *fit {
	r := v.rows
	f := &fit{v: v, ell: 5, rho: .4, tauN: .4}
	f.plan = v.ground.measure(v.spots, r.floor, r.at)
	f.radios = make([]radioFit, len(r.refs))
	for k, ref := range r.refs {
		b := slices.IndexFunc(f.bands, func(b bandFit) bool { return b.band == r.band(k) })
		if b < 0 {
			b = len(f.bands)
			f.bands = append(f.bands, bandFit{band: r.band(k), level: -40, exponent: typicalN, loss: make([]float64, v.ground.materials), tauA: 6, s2: 25})
		}
		rf := radioFit{ap: ref.AP, band: b}
		for i := range r.n {
			switch c := k*r.n + i; {
			case r.out[i] || r.listened[c] == 0 || !r.listens(k):
			case r.heard[c] > 0:
				rf.rows = append(rf.rows, i)
			default:
				rf.silent = append(rf.silent, i)
			}
		}
		f.radios[k] = rf
	}
	f.aim()
	parallel.Do(len(f.bands), func(b int) { f.start(b) })
	f.hyper(startLengths, startNuggets, startSlopes)
	f.shared(2, .8)
	f.hyper(around(f.ell, .75, 1, 1.33), plus(f.rho, -.1, 0, .1), around(f.tauN, .7, 1, 1.4))
	f.shared(rounds, .5)
	f.refactor()
	f.silence()
	f.kinship()
	return f
}

var (
	startLengths = []float64{2, 4, 7, 12, 22}
	startNuggets = []float64{.15, .35, .6, .85}
	startSlopes  = []float64{.15, .3, .6, 1}
)

func around(v float64, by ...float64) []float64 {
	out := make([]float64, len(by))
	for i, f := range by {
		out[i] = v * f
	}
	return out
}

func plus(v float64, by ...float64) []float64 {
	out := make([]float64, len(by))
	for i, d := range by {
		out[i] = min(max(v+d, .05), .95)
	}
	return out
}

// x is that of a radio and a row, with its access point where the view has it.
func (f *fit) x(rf *radioFit, i int) float64 { return f.plan.x[i*f.plan.spots+rf.ap] }

// walls is what the walls on that way take, in dB.
func (f *fit) walls(rf *radioFit, i int) float64 {
	sum := 0.0
	for m, l := range f.bands[rf.band].loss {
		if l != 0 {
			sum += l * f.plan.c[m][i*f.plan.spots+rf.ap]
		}
	}
	return sum
}

// mean is the level of a radio of the band in row i, without its own b.
func (f *fit) mean(rf *radioFit, i int) float64 {
	b := &f.bands[rf.band]
	mu := b.level + b.exponent*f.x(rf, i) - f.walls(rf, i)
	if rf.pattern != nil {
		mu += rf.pattern[i]
	}
	return mu
}

// aim sets the patterns of antennas with a beam.
func (f *fit) aim() {
	r := f.v.rows
	for k := range f.radios {
		rf := &f.radios[k]
		rf.pattern = nil
		if r.antenna(k).Directional() {
			rf.pattern = make([]float64, r.n)
			for i := range rf.pattern {
				rf.pattern[i] = f.v.aimed(k, f.v.spots[rf.ap], r.floor[i], r.at[i])
			}
		}
	}
}

func (f *fit) y(k, i int) float64 { return f.v.rows.level[k*f.v.rows.n+i] }
