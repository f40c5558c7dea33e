package coverage

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"sync"

	"footrule/internal/parallel"
	"footrule/internal/propagation"
	"footrule/internal/site"

	"gonum.org/v1/gonum/stat/distuv"
)

// Options say what is asked of a map. The zero value is the default.
type Options struct {
	CellM        float64 // 0 is [DefaultCellM]
	ThresholdDBm float64 // 0 is [DefaultThresholdDBm]
	Confidence   float64 // 0 is [DefaultConfidence]
	Need         int     // access points to be heard; 0 is [DefaultNeed]
	Scans        int     // of a stay, for the bound; 0 is [DefaultScans]
	Floors       []int   // indices into Site.Floors; nil is all
}

// What is asked where nothing else is said (common practice): three access
// points at −75 dBm or more, more often than not; and a fix from four scans.
const (
	DefaultThresholdDBm = -75.0
	DefaultConfidence   = 0.5
	DefaultNeed         = 3
	DefaultScans        = 4
)

func (o Options) filled(s *site.Site) (Options, error) {
	if o.CellM == 0 {
		o.CellM = DefaultCellM
	}
	if o.ThresholdDBm == 0 {
		o.ThresholdDBm = DefaultThresholdDBm
	}
	if o.Confidence == 0 {
		o.Confidence = DefaultConfidence
	}
	if o.Need == 0 {
		o.Need = DefaultNeed
	}
	if o.Scans == 0 {
		o.Scans = DefaultScans
	}
	if o.Floors == nil {
		for i := range s.Floors {
			o.Floors = append(o.Floors, i)
		}
	}
	switch {
	case !(o.ThresholdDBm >= -120 && o.ThresholdDBm < 0):
		return o, fmt.Errorf("threshold of %g dBm; give a level from −120 to below 0", o.ThresholdDBm)
	case !(o.Confidence > 0 && o.Confidence < 1):
		return o, fmt.Errorf("confidence %g; give a share between 0 and 1", o.Confidence)
	case o.Need < 1 || o.Need > MostNeed:
		return o, fmt.Errorf("a need of %d access points; give 1 to %d", o.Need, MostNeed)
	}
	return o, nil
}

// MostNeed is the most access points that can be asked for.
const MostNeed = 20

// Map is levels over the floors of a site, and what they say.
type Map struct {
	Site    *site.Site
	Fit     *propagation.Fit
	Options Options
	Floors  []FloorMap
}

// FloorMap is the part of a map on one floor. Its slices have one value a cell.
type FloorMap struct {
	*Cells
	Heard   []int       // access points heard
	AtLeast [][]float64 // per k from 1 to 4 (at index k−1), the probability that at least k are heard
	Missing float64     // area in m² below the need

	levels [][]float32 // per radio; nil for one that is not in the fit
}

// Reported is the k up to which shares of area are reported.
const Reported = 4

// Predict maps the levels of a fit. An access point is heard in a cell where, for
// one of its radios at least, the probability that the level is at or above the
// threshold is at or above the confidence: with the model's spread σ of a stay's
// mean level,
//
//	P = Φ((μ − threshold)/σ)
//
// A box with two bands counts once, and its probability is that of its better
// radio: what stands in the way of one band stands in that of the other.
//
// It uses as many goroutines as there are processors, and its result does not
// depend on how many.
func Predict(ctx context.Context, s *site.Site, f *propagation.Fit, o Options) (*Map, error) {
	o, err := o.filled(s)
	if err != nil {
		return nil, err
	}
	m := &Map{Site: s, Fit: f, Options: o}
	cells := 0
	for _, floor := range o.Floors {
		c, err := LayCells(s, floor, o.CellM)
		if err != nil {
			return nil, err
		}
		cells += c.Len()
		if cells > MaxCells {
			return nil, fmt.Errorf("more than %d cells of %g m; give a larger size", MaxCells, o.CellM)
		}
		m.Floors = append(m.Floors, FloorMap{Cells: c, levels: make([][]float32, len(f.Radios))})
	}
	for i := range m.Floors {
		fm := &m.Floors[i]
		err := parallel.Until(ctx, len(f.Radios), func(k int) {
			if f.Group(k) != nil {
				fm.levels[k] = fm.Cells.levels(f, k)
			}
		})
		if err != nil {
			return nil, err
		}
		if err := fm.count(ctx, m); err != nil {
			return nil, err
		}
	}
	return m, nil
}

// latticePool spares a map of one radio the making of its room.
var latticePool = sync.Pool{New: func() any { return new([]float64) }}

// levels maps one radio onto the cells.
func (c *Cells) levels(f *propagation.Fit, radio int) []float32 {
	room := latticePool.Get().(*[]float64)
	defer latticePool.Put(room)
	*room = slices.Grow((*room)[:0], c.Lattice.Len())
	all := (*room)[:c.Lattice.Len()]
	f.LevelMap(radio, c.Floor, c.Lattice, all)
	out := make([]float32, c.Len())
	for i, n := range c.Index {
		out[i] = float32(all[n])
	}
	for _, i := range c.moved {
		out[i] = float32(f.Level(radio, c.Floor, c.At[i]))
	}
	return out
}

// Level gives the level of a radio in a cell, in dBm; NaN where the radio is not
// in the fit.
func (fm *FloorMap) Level(radio, cell int) float64 {
	if fm.levels[radio] == nil {
		return math.NaN()
	}
	return float64(fm.levels[radio][cell])
}

// bar is the level from which a radio of this spread is heard.
func (o *Options) bar(sigma float64) float64 {
	return o.ThresholdDBm + sigma*distuv.UnitNormal.Quantile(o.Confidence)
}

// certain is the number of spreads from the threshold beyond which a radio is
// taken to be heard, or not: Φ(−6) is 1e-9.
const certain = 6.0

// chunk is how many cells are counted in one go, and strip how many of them at a
// time: near each other, so that the same access points are strong in all.
const (
	chunk = 4096
	strip = 64
)

// count turns levels into access points heard.
func (fm *FloorMap) count(ctx context.Context, m *Map) error {
	n := fm.Len()
	fm.Heard = make([]int, n)
	fm.AtLeast = make([][]float64, Reported)
	for k := range fm.AtLeast {
		fm.AtLeast[k] = make([]float64, n)
	}
	aps := fm.heardAPs(m)
	err := parallel.Until(ctx, (n+chunk-1)/chunk, func(part int) {
		order := slices.Clone(aps)
		for i := part * chunk; i < min(n, (part+1)*chunk); i += strip {
			fm.countStrip(i, min(i+strip, n, (part+1)*chunk), order)
		}
	})
	fm.Missing = 0
	for i, heard := range fm.Heard {
		if heard < m.Options.Need {
			fm.Missing += fm.AreaM2[i]
		}
	}
	return err
}

// heardAP is an access point as it counts, with its radios that are in the fit.
type heardAP struct {
	radios []hearing
	strong float32 // level of the strongest of them in the strip at hand
}

// hearing says from which level a radio is heard, and how likely.
type hearing struct {
	levels           []float32
	bar              float32
	threshold, scale float64 // (level − threshold)·scale is in spreads
}

func (fm *FloorMap) heardAPs(m *Map) []heardAP {
	var out []heardAP
	for _, radios := range radiosByAP(m.Site) {
		ap := heardAP{}
		for _, k := range radios {
			if fm.levels[k] != nil {
				sigma, _ := m.Fit.Spread(k)
				ap.radios = append(ap.radios, hearing{fm.levels[k], float32(m.Options.bar(sigma)), m.Options.ThresholdDBm, 1 / sigma})
			}
		}
		if ap.radios != nil {
			out = append(out, ap)
		}
	}
	return out
}

// heard adds 1 for every cell from one on that hears the access point.
func (ap *heardAP) heard(from int, count []int) {
	if len(ap.radios) == 1 {
		bar := ap.radios[0].bar
		for i, l := range ap.radios[0].levels[from : from+len(count)] {
			if l >= bar {
				count[i]++
			}
		}
		return
	}
	for i := range count {
		for k := range ap.radios {
			if r := &ap.radios[k]; r.levels[from+i] >= r.bar {
				count[i]++
				break
			}
		}
	}
}

// spreads sets how many spreads the best radio is above its threshold.
func (ap *heardAP) spreads(from int, best []float64) {
	for k := range ap.radios {
		r := &ap.radios[k]
		for i, l := range r.levels[from : from+len(best)] {
			z := (float64(l) - r.threshold) * r.scale
			if k == 0 || z > best[i] {
				best[i] = z
			}
		}
	}
}

// surely is how improbable it is that fewer than [Reported] are heard where
// further access points no longer change what is reported.
const surely = 1e-9

// countStrip counts over some cells, the strongest access points first: after
// some of those the others do not change the probabilities any more.
func (fm *FloorMap) countStrip(from, to int, aps []heardAP) {
	middle := (from + to) / 2
	for n := range aps {
		ap := &aps[n]
		ap.strong = float32(math.Inf(-1))
		for i := range ap.radios {
			ap.strong = max(ap.strong, ap.radios[i].levels[middle])
		}
	}
	slices.SortStableFunc(aps, func(a, b heardAP) int { return cmp.Compare(b.strong, a.strong) })
	var dist [strip]numbers
	for i := range dist {
		dist[i][0] = 1
	}
	heard := fm.Heard[from:to]
	open := true
	var best [strip]float64
	for n := range aps {
		ap := &aps[n]
		ap.heard(from, heard)
		if !open {
			continue
		}
		ap.spreads(from, best[:len(heard)])
		open = false
		for i, z := range best[:len(heard)] {
			d := &dist[i]
			switch {
			case z > certain:
				d.join(1)
			case z > -certain:
				d.join(normal(z))
			}
			open = open || d[0]+d[1]+d[2]+d[3] > surely
		}
	}
	for i := range heard {
		below := 0.0
		for k, p := range dist[i] {
			below += p
			fm.AtLeast[k][from+i] = max(0, 1-below)
		}
	}
}

// Steps of the table of Φ to one spread: linear between them it is exact to
// φ′/(8·steps²) < 5e-7.
const normalSteps = 256

var normalTable = func() (t [2*int(certain)*normalSteps + 2]float64) {
	for i := range t {
		z := float64(i)/normalSteps - certain
		t[i] = math.Erfc(-z/math.Sqrt2) / 2
	}
	return t
}()

// normal is Φ(z) for |z| up to certain.
func normal(z float64) float64 {
	x := (z + certain) * normalSteps
	i := int(x)
	return normalTable[i] + (x-float64(i))*(normalTable[i+1]-normalTable[i])
}

// numbers is the distribution of the number heard, of which only the first few
// are kept.
type numbers [Reported]float64

// join adds one access point (Poisson-binomial, term by term).
func (d *numbers) join(p float64) {
	d[3] += p * (d[2] - d[3])
	d[2] += p * (d[1] - d[2])
	d[1] += p * (d[0] - d[1])
	d[0] *= 1 - p
}

// radiosByAP lists the radios of every access point.
func radiosByAP(s *site.Site) [][]int {
	out := make([][]int, len(s.AccessPoints))
	for k, r := range s.Radios() {
		out[r.AP] = append(out[r.AP], k)
	}
	return out
}
