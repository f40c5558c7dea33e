package coverage

import (
	"math"

	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
	"gonum.org/v1/gonum/stat/distuv"
)

// DefaultReachM is how far around a measured place a cell counts as measured.
const DefaultReachM = 5.0

// Measured maps what the stays of walks heard. A cell takes what was heard at the
// nearest measured place of its floor, in a straight line (Voronoi); cells
// farther than reachM (0: [DefaultReachM]) from every one are not measured and
// are left out, so that Cells of a measured map may have gaps.
//
// At a place a radio is heard where at least half of all scans there heard it
// and its mean level stands above the threshold as the confidence asks: mean ≥
// threshold + z s, z the quantile of the confidence and s the standard deviation
// of the readings (common practice; at a confidence of 0.5 the mean decides).
// The stays at one place count together. Radios are those of the plan.
//
// AtLeast of a measured map is NaN.
func Measured(s *site.Site, stays []walk.Stay, o Options, reachM float64) (*Map, error) {
	o, err := o.filled(s)
	if err != nil {
		return nil, err
	}
	if reachM == 0 {
		reachM = DefaultReachM
	}
	m := &Map{Site: s, Options: o}
	at, heard := heardAt(s, stays, &o)
	for _, floor := range o.Floors {
		all, err := LayCells(s, floor, o.CellM)
		if err != nil {
			return nil, err
		}
		fm := FloorMap{Cells: all.keep(func(i int) bool { return nearest(at[floor], all.At[i], reachM) >= 0 })}
		fm.Heard = make([]int, fm.Len())
		for i, p := range fm.At {
			fm.Heard[i] = heard[floor][nearest(at[floor], p, reachM)]
			if fm.Heard[i] < o.Need {
				fm.Missing += fm.AreaM2[i]
			}
		}
		fm.AtLeast = make([][]float64, Reported)
		for k := range fm.AtLeast {
			fm.AtLeast[k] = make([]float64, fm.Len())
			for i := range fm.AtLeast[k] {
				fm.AtLeast[k][i] = math.NaN()
			}
		}
		m.Floors = append(m.Floors, fm)
	}
	return m, nil
}

// heardAt counts the access points heard at every place, by floor.
func heardAt(s *site.Site, stays []walk.Stay, o *Options) (at [][]orb.Point, heard [][]int) {
	type pool struct {
		at     orb.Point
		floor  int
		scans  int
		levels []walk.Level
	}
	var pools []*pool
	byPlace := map[walk.Place]*pool{}
	radios := len(s.Radios())
	for i := range stays {
		st := &stays[i]
		p := byPlace[st.Place()]
		if p == nil {
			p = &pool{at: st.At, floor: st.Floor, levels: make([]walk.Level, radios)}
			byPlace[st.Place()] = p
			pools = append(pools, p)
		}
		p.scans += st.Scans
		for k, l := range st.Levels {
			p.levels[k] = pooled(p.levels[k], l)
		}
	}
	at, heard = make([][]orb.Point, len(s.Floors)), make([][]int, len(s.Floors))
	z := distuv.UnitNormal.Quantile(o.Confidence)
	for _, p := range pools {
		n := 0
		for _, radios := range radiosByAP(s) {
			for _, k := range radios {
				l := p.levels[k]
				sd := 0.0
				if l.Heard > 1 {
					sd = math.Sqrt(l.SumSqDB / float64(l.Heard-1))
				}
				if l.Heard > 0 && 2*l.Heard >= p.scans && l.MeanDBm >= o.ThresholdDBm+z*sd {
					n++
					break
				}
			}
		}
		at[p.floor], heard[p.floor] = append(at[p.floor], p.at), append(heard[p.floor], n)
	}
	return at, heard
}

// pooled joins the readings of two stays (Chan, Golub and LeVeque 1983).
func pooled(a, b walk.Level) walk.Level {
	switch {
	case a.Heard == 0:
		return b
	case b.Heard == 0:
		return a
	}
	na, nb := float64(a.Heard), float64(b.Heard)
	d := b.MeanDBm - a.MeanDBm
	return walk.Level{
		Heard: a.Heard + b.Heard, MeanDBm: a.MeanDBm + d*nb/(na+nb),
		SumSqDB: a.SumSqDB + b.SumSqDB + d*d*na*nb/(na+nb), MinDBm: min(a.MinDBm, b.MinDBm),
	}
}

// nearest gives the nearest place within reach, −1 where there is none; of
// equally near ones the first.
func nearest(at []orb.Point, p orb.Point, reachM float64) int {
	best, least := -1, reachM*reachM*(1+1e-12)
	for j, q := range at {
		if d := planar.DistanceSquared(p, q); d < least || d == least && best < 0 {
			best, least = j, d
		}
	}
	return best
}

// keep gives the cells that are wanted.
func (c *Cells) keep(want func(i int) bool) *Cells {
	out := &Cells{Floor: c.Floor, Lattice: c.Lattice, cellAt: make([]int32, len(c.cellAt))}
	for n := range out.cellAt {
		out.cellAt[n] = -1
	}
	for i, n := range c.Index {
		if !want(i) {
			continue
		}
		out.cellAt[n] = int32(len(out.At))
		out.Index, out.At, out.AreaM2 = append(out.Index, n), append(out.At, c.At[i]), append(out.AreaM2, c.AreaM2[i])
	}
	return out
}

// Difference is how a prediction compares with a measurement, over the area
// that was measured.
type Difference struct {
	Predicted, Measured Shares
	MoreM2, FewerM2     float64 // area where more, and where fewer, were heard than predicted
	NeedAgrees          float64 // share of the area where both say the same of the need
}

// Compare holds a prediction to a measurement of the same cells.
func Compare(predicted, measured *Map) Difference {
	var d Difference
	var p, q []Shares
	agree, area := 0.0, 0.0
	for i := range measured.Floors {
		fm, fp := &measured.Floors[i], &predicted.Floors[i]
		if fm.Floor != fp.Floor || fm.Lattice != fp.Lattice {
			panic("coverage: maps of different cells")
		}
		part := FloorMap{Cells: fm.Cells, Heard: make([]int, fm.Len()), AtLeast: make([][]float64, Reported)}
		for k := range part.AtLeast {
			part.AtLeast[k] = make([]float64, fm.Len())
		}
		for c, n := range fm.Index {
			from := fp.cellAt[n]
			part.Heard[c] = fp.Heard[from]
			for k := range Reported {
				part.AtLeast[k][c] = fp.AtLeast[k][from]
			}
			a := fm.AreaM2[c]
			area += a
			switch {
			case fm.Heard[c] > part.Heard[c]:
				d.MoreM2 += a
			case fm.Heard[c] < part.Heard[c]:
				d.FewerM2 += a
			}
			if (fm.Heard[c] >= measured.Options.Need) == (part.Heard[c] >= measured.Options.Need) {
				agree += a
			}
		}
		p, q = append(p, part.Shares(measured.Options.Need)), append(q, fm.Shares(measured.Options.Need))
	}
	d.Predicted, d.Measured, d.NeedAgrees = joined(p), joined(q), agree/area
	return d
}
