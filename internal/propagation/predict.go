package propagation

import (
	"fmt"
	"math"
	"slices"
	"sync"

	"footrule/internal/parallel"
	"footrule/internal/radio"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

func nan() Value { return Value{math.NaN(), math.NaN(), math.NaN(), math.NaN()} }

// newFit makes a fit in which no radio is.
func newFit(d *Data, o Options) *Fit {
	l := d.links
	if l == nil {
		l = newLinks(d.Site)
		d.links = l
	}
	f := &Fit{
		Model: o.Model, PerAP: o.PerAP, links: l, curves: &sync.Map{},
		Radios: make([]RadioFit, len(l.radios)), bandOf: make([]radio.Band, len(l.radios)),
		groupOf: make([]int, len(l.radios)), rates: make([]missRate, len(l.radios)),
		LogLikelihood: math.NaN(), AICc: math.NaN(), LOORMSEDB: math.NaN(),
	}
	for k, ref := range l.radios {
		ap := &l.site.AccessPoints[ref.AP]
		f.bandOf[k] = ap.Radios[ref.Radio].Band
		f.groupOf[k] = -1
		f.Radios[k] = RadioFit{Ref: ref, Name: l.site.RadioName(ref), AP: ap.ID, Band: f.bandOf[k], Level1m: nan(), Exponent: nan(), MissRate: math.NaN(), ScanMiss: math.NaN(), StayMiss: math.NaN()}
	}
	return f
}

// bands lists the bands that radios of the site have, in the order of [radio.Bands].
func (f *Fit) bands() []radio.Band {
	var out []radio.Band
	for _, b := range radio.Bands() {
		if slices.Contains(f.bandOf, b) {
			out = append(out, b)
		}
	}
	return out
}

// Assume makes a fit from given parameters, for a site that was not walked or
// whose truth is known. It takes of every group Band, Exponent.Est, ShadowDB,
// ScatterDB, FloorDBm and, where it has one, the break, of every radio (in the order of Site.Radios) InFit,
// Level1m.Est, ScanMiss and StayMiss, with PerAP or pooled its Exponent.Est, and of every
// wall Material, Band and LossDB.Est. A radio in the fit whose band has no
// group is an error.
func Assume(s *site.Site, o Options, groups []Group, radios []RadioFit, walls []WallLoss) (*Fit, error) {
	if o.Model == "" {
		o.Model = TwoLevel
	}
	f := newFit(&Data{Site: s}, o)
	if len(radios) != len(f.Radios) {
		return nil, fmt.Errorf("%d radios given for a site of %d", len(radios), len(f.Radios))
	}
	f.Groups = slices.Clone(groups)
	f.Walls = slices.Clone(walls)
	f.loss = make([][]float64, len(groups))
	for g := range groups {
		f.loss[g] = make([]float64, len(f.links.materials))
		for _, w := range walls {
			if j := slices.Index(f.links.materials, w.Material); j >= 0 && w.Band == groups[g].Band {
				f.loss[g][j] = w.LossDB.Est
			}
		}
	}
	for k, r := range radios {
		if !r.InFit {
			continue
		}
		g := slices.IndexFunc(groups, func(g Group) bool { return g.Band == f.bandOf[k] })
		if g < 0 {
			return nil, fmt.Errorf("radio %s is in a fit that has no %s GHz group", f.Radios[k].Name, f.bandOf[k])
		}
		to := &f.Radios[k]
		to.InFit, to.Level1m, to.Exponent = true, r.Level1m, groups[g].Exponent
		if o.ownExponents() {
			to.Exponent = r.Exponent
		}
		to.ScanMiss, to.StayMiss = r.ScanMiss, r.StayMiss
		to.MissRate = r.StayMiss + (1-r.StayMiss)*r.ScanMiss
		f.groupOf[k] = g
		f.rates[k] = missRate{scan: r.ScanMiss, stay: r.StayMiss}
	}
	return f, nil
}

// take enters the estimates of a band, without their errors.
func (f *Fit) take(b *groupFit) {
	g := len(f.Groups)
	group := Group{
		Band: b.band, FloorDBm: b.floor,
		Readings: b.counts.readings, Censored: b.counts.missed, Stays: b.counts.heard, Silent: b.counts.silent,
	}
	parallel.Do(len(b.radios), func(k int) {
		to := &f.Radios[b.radios[k]]
		to.InFit = true
		f.groupOf[b.radios[k]] = g
		was := make([]int8, len(b.data.Places)) // 1 where it was not heard, 2 where it was
		readings := 0
		for i := b.rows.start[k]; i < b.rows.start[k+1]; i++ {
			p := b.data.PlaceOf[b.stay[i]]
			was[p] = max(was[p], 1)
			if b.level[i].Heard > 0 {
				was[p] = 2
			}
			readings += b.level[i].Heard
		}
		to.Readings += readings
		for _, w := range was {
			switch w {
			case 1:
				to.Silent++
			case 2:
				to.Points++
			}
		}
	})
	f.Groups = append(f.Groups, group)
	for j, c := range b.wall {
		w := WallLoss{Material: b.data.Materials[j], Band: b.band}
		for _, i := range b.heard {
			if c[i] < 0 {
				w.Crossed++
			}
		}
		f.Walls = append(f.Walls, w)
	}
	f.loss = append(f.loss, make([]float64, len(b.wall)))
	f.pooling = append(f.pooling, b.pooling)
	f.Warnings = append(f.Warnings, b.warnings...)
	f.estimates(g, b)
}

// estimates enters the parameters of a band that was taken as group g.
func (f *Fit) estimates(g int, b *groupFit) {
	only := func(v float64) Value { return Value{v, math.NaN(), math.NaN(), math.NaN()} }
	group := &f.Groups[g]
	group.SigmaDB, group.ShadowDB = only(b.sigma), b.sigma
	if b.model == Pooled {
		group.Level1mSDDB, group.ExponentSD = math.Sqrt(b.pooling.sigma[0][0]), math.Sqrt(b.pooling.sigma[1][1])
	}
	if b.model == TwoLevel {
		group.ShadowDB, group.ScatterDB = math.Exp(b.theta[b.psiAt()]), math.Exp(b.theta[b.psiAt()+1])
	}
	n, miss := 0.0, 0.0
	for k, r := range b.radios {
		to := &f.Radios[r]
		to.Level1m, to.Exponent = only(b.theta[k]), only(b.exponentOf(k))
		to.ScanMiss, to.StayMiss = b.rates[k].scan, b.rates[k].stay
		to.MissRate = to.StayMiss + (1-to.StayMiss)*to.ScanMiss
		f.rates[r] = b.rates[k]
		n += b.exponentOf(k)
		miss += to.MissRate
	}
	group.Exponent = only(n / float64(b.blocks))
	group.MissRate = miss / float64(b.blocks)
	for j := range b.wall {
		if at := slices.Index(b.walls, j); at >= 0 {
			f.loss[g][j] = b.theta[b.wallAt(at)]
		}
		f.Walls[g*len(b.wall)+j].LossDB = only(f.loss[g][j])
	}
}

// Level predicts the level in dBm of a radio, an index into Site.Radios, at a
// place of a floor, an index into Site.Floors. It is NaN for a radio that is
// not in the fit. Several goroutines may call it at a time.
func (f *Fit) Level(radio, floor int, at orb.Point) float64 {
	if f.groupOf[radio] < 0 {
		return math.NaN()
	}
	var buf [16]float64
	c := f.crossings(&buf)
	d := f.links.measure(radio, floor, at, c)
	return f.level(radio, math.Log10(d), c) + f.links.pattern(radio, floor, at)
}

// Levels is [Fit.Level] of every radio, into out, which is as long as there are
// radios. Those of one access point share its way.
func (f *Fit) Levels(floor int, at orb.Point, out []float64) {
	var buf [16]float64
	c := f.crossings(&buf)
	ap, logD := -1, 0.0
	for k := range out {
		if f.groupOf[k] < 0 {
			out[k] = math.NaN()
			continue
		}
		if a := f.links.radios[k].AP; a != ap {
			ap = a
			clear(c)
			logD = math.Log10(f.links.measure(k, floor, at, c))
		}
		out[k] = f.level(k, logD, c) + f.links.pattern(k, floor, at)
	}
}

// crossings makes room for those of one way.
func (f *Fit) crossings(buf *[16]float64) []float64 {
	if n := len(f.links.materials); n > len(buf) {
		return make([]float64, n)
	}
	return buf[:len(f.links.materials)]
}

func (f *Fit) level(radio int, logD float64, crossings []float64) float64 {
	mu := f.falls(radio, logD)
	for j, l := range f.loss[f.groupOf[radio]] {
		mu -= crossings[j] * l
	}
	return mu
}

// falls is the level that distance alone leaves, of a radio in the fit.
func (f *Fit) falls(radio int, logD float64) float64 {
	r, g := &f.Radios[radio], &f.Groups[f.groupOf[radio]]
	mu := r.Level1m.Est - 10*r.Exponent.Est*logD
	if g.BreakM > 0 {
		if over := logD - math.Log10(g.BreakM); over > 0 {
			mu -= 10 * (g.Beyond - r.Exponent.Est) * over
		}
	}
	return mu
}

// Group gives what the radio shares with its band; nil for a radio that is not
// in the fit.
func (f *Fit) Group(radio int) *Group {
	if g := f.groupOf[radio]; g >= 0 {
		return &f.Groups[g]
	}
	return nil
}

// Spread gives the spread of the radio's levels around [Fit.Level]: shared by
// the scans of a stay, and from scan to scan (0 but for two-level). NaN for a
// radio that is not in the fit.
func (f *Fit) Spread(radio int) (shadowDB, scatterDB float64) {
	g := f.Group(radio)
	if g == nil {
		return math.NaN(), math.NaN()
	}
	return g.ShadowDB, g.ScatterDB
}

// LogLik is the log likelihood (natural log) of what one stay of so many scans
// says of a radio, given that the mean level there is mu dBm, with silence
// treated as in the fit:
//
//	ols        log φ((ȳ − μ)/σ)/σ; a radio that was not heard says nothing, 0
//	pooled     as ols
//	censored   the same, and log(π + (1 − π) Φ((c − μ)/σ)) where it was never heard
//	two-level  the likelihood of all scans, see [Estimate]
//	robust     −ρ((ȳ − μ)/s) − log s − log Z with Huber's ρ, and log(π + (1 − π) F((c − μ)/s))
//	           where it was never heard, F the distribution of that density
//
// It is 0 for a radio that is not in the fit.
func (f *Fit) LogLik(radio int, mu float64, l walk.Level, scans int) float64 {
	v, _ := f.LogLikGrad(radio, mu, l, scans)
	return v
}

// LogLikGrad is [Fit.LogLik] and its derivative by mu, per dB.
func (f *Fit) LogLikGrad(radio int, mu float64, l walk.Level, scans int) (logLik, slope float64) {
	h := f.Hearing(radio, l, scans)
	return h.At(mu)
}

// Doubt is a level of a fresh stay that is far off the fit.
type Doubt struct {
	Radio       int    // index into Site.Radios
	Name        string // site.RadioName
	Unheard     bool   // predicted strong, and not heard in any scan
	LevelDBm    float64
	PredictDBm  float64
	ResidualDB  float64 // level less prediction; for an unheard radio floor of hearing less prediction
	SDs         float64 // residual in standard deviations of a stay's mean level
	Probability float64 // of so large a residual, two-sided, or of such a silence, under the fit
}

// Limits of what is doubted.
const (
	doubtSDs     = 3.0
	doubtDB      = 10.0
	doubtSilence = 0.1 // a silence that the fit expects more often than this is no news
)

// Doubts lists the levels of a stay that are far off the fit, the largest
// first: more than 3 standard deviations and 10 dB, or not heard in any scan
// though predicted 12 dB or more above the floor of hearing by a fit that
// expects such a silence in less than a tenth of the stays.
func (f *Fit) Doubts(st walk.Stay) []Doubt {
	var out []Doubt
	for k := range f.Radios {
		g := f.Group(k)
		if g == nil || k >= len(st.Levels) || st.Levels[k].Listened(st.Scans) == 0 {
			continue
		}
		l, mu := st.Levels[k], f.Level(k, st.Floor, st.At)
		d := Doubt{Radio: k, Name: f.Radios[k].Name, PredictDBm: mu, LevelDBm: l.MeanDBm}
		sd := math.Sqrt(g.ShadowDB*g.ShadowDB + g.ScatterDB*g.ScatterDB/float64(max(l.Heard, 1)))
		if l.Heard == 0 {
			d.Unheard, d.LevelDBm = true, math.NaN()
			d.ResidualDB = g.FloorDBm - mu
			d.Probability = math.Exp(f.LogLik(k, mu, l, st.Scans))
			if f.Model.IgnoresSilence() {
				d.Probability = bigPhi(d.ResidualDB / sd)
			}
		} else {
			d.ResidualDB = l.MeanDBm - mu
			d.Probability = 2 * bigPhi(-math.Abs(d.ResidualDB)/sd)
		}
		d.SDs = d.ResidualDB / sd
		if d.Unheard && -d.ResidualDB >= strongDB && d.Probability < doubtSilence ||
			!d.Unheard && math.Abs(d.SDs) > doubtSDs && math.Abs(d.ResidualDB) > doubtDB {
			out = append(out, d)
		}
	}
	slices.SortStableFunc(out, func(a, b Doubt) int {
		switch {
		case math.Abs(a.SDs) > math.Abs(b.SDs):
			return -1
		case math.Abs(a.SDs) < math.Abs(b.SDs):
			return 1
		}
		return 0
	})
	return out
}
