package propagation

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
)

// groupFit is the estimation of one band.
type groupFit struct {
	*rows
	data  *Data
	model Model
	perAP bool

	*design
	walls []int     // material of every wall column, in the design's order
	theta []float64 // levels, own exponents, [exponent], wall losses, log spreads
	fixed []bool    // not estimated by the likelihood: exponents taken from the common fit, the scale of robust and pooled
	lower []float64
	lik   likelihood // in natural parameters
	opt   *optimum   // at theta, of lik

	cells  *folded
	picked [][]float64 // the shared columns cell by cell
	shares []float64   // least squares of the shared coefficients with nothing held
	rates  []missRate  // per block

	pooling pooling    // pooled
	sums    *mixedSums // pooled: of levels and of −10 log10 d about meanX
	meanX   float64
	differ  differing

	sigma    float64 // total spread of a stay's mean level
	warnings []Warning
}

// missRate is how often a radio is missed for another reason than its level.
type missRate struct {
	scan float64 // share of scans within the stays that hear it
	stay float64 // share of stays that miss it altogether
}

// Bounds of the spreads in dB. A scatter below that of rounding to whole
// decibels (1/√12) comes from a receiver that repeats itself.
const (
	leastShadowDB  = 0.05
	leastScatterDB = 0.28867513459481287
)

func (f *groupFit) exponentAt() int { return f.blocks } // of the common one
func (f *groupFit) wallAt(j int) int {
	if f.perAP {
		return 2*f.blocks + j
	}
	return f.blocks + 1 + j
}
func (f *groupFit) psiAt() int { return f.size() - f.psi }

// exponentOf gives the exponent of a block.
func (f *groupFit) exponentOf(k int) float64 {
	if f.perAP {
		return f.theta[f.blocks+k]
	}
	return f.theta[f.exponentAt()]
}

// lay out the design: which losses the heard levels can tell, and which radios
// have an exponent of their own. common gives the exponent for the others; it
// is called only where there are any.
func (f *groupFit) lay(common func() (float64, error)) error {
	f.cells = f.fold()
	band := string(f.band)
	nb := len(f.radios)
	own := make([]bool, nb)
	n0 := math.NaN()
	alone := f.perAP && f.model != Pooled // what its own levels do not tell, nothing does
	if alone {
		for k := range own {
			places, ratio := f.spread(k, f.data)
			if own[k] = places >= 2 && ratio > 1.0001; own[k] {
				continue
			}
			if math.IsNaN(n0) {
				var err error
				if n0, err = common(); err != nil {
					return err
				}
			}
			f.warn(k, "heard at %s, so it has no exponent of its own: the band's %.2f stands in; walk points nearer and farther", atPlaces(places), n0)
		}
	}
	var cols, picked [][]float64
	var names []string
	if !alone {
		cols, picked, names = append(cols, f.x), append(picked, f.cells.x), append(names, "exponent")
	}
	for j, c := range f.wall {
		if !slices.ContainsFunc(c, func(v float64) bool { return v != 0 }) {
			continue
		}
		cols, picked, names = append(cols, c), append(picked, f.cells.pick(c)), append(names, f.data.Materials[j])
		f.walls = append(f.walls, j)
	}
	for {
		bad, err := f.undetermined(picked, names, own)
		if err != nil {
			return err
		}
		if !slices.Contains(bad, true) {
			break
		}
		for j := len(cols) - 1; j >= 0; j-- {
			if !bad[j] {
				continue
			}
			w := j
			if !alone {
				if j == 0 {
					return fmt.Errorf("the exponent at %s GHz cannot be told from %d levels: every radio was heard at one distance; walk points nearer and farther", band, len(f.heard))
				}
				w--
			}
			f.warnings = append(f.warnings, Warning{Text: fmt.Sprintf("the loss of %s at %s GHz cannot be told: no radio was heard both with and without it in the way, apart from other walls; it is taken as 0 dB", names[j], band)})
			f.walls = append(f.walls[:w], f.walls[w+1:]...)
			cols, picked, names = slices.Delete(cols, j, j+1), slices.Delete(picked, j, j+1), slices.Delete(names, j, j+1)
		}
	}
	if f.perAP && !alone {
		cols, picked = cols[1:], picked[1:]
	}
	f.design, f.picked = &design{rows: f.rows.n(), blocks: nb, start: f.rows.start, shared: cols}, picked
	if f.perAP {
		f.design.own = f.x
	}
	switch f.model {
	case TwoLevel:
		f.psi = 2
	default:
		f.psi = 1
	}
	p := f.size()
	f.theta, f.fixed, f.lower = make([]float64, p), make([]bool, p), make([]float64, p)
	for j := range f.lower {
		f.lower[j] = math.Inf(-1)
	}
	if f.perAP {
		for k := range own {
			if f.fixed[nb+k] = alone && !own[k]; f.fixed[nb+k] {
				f.theta[nb+k] = n0
			}
			f.lower[nb+k] = 0
		}
	}
	for j := range f.walls {
		f.lower[f.wallAt(j)] = 0
	}
	f.fixed[f.psiAt()] = f.model == Robust || f.model == Pooled // their scale is not of this likelihood
	return nil
}

func atPlaces(n int) string {
	if n == 1 {
		return "1 place"
	}
	return fmt.Sprintf("%d places, all at one distance", n)
}

// undetermined says which columns, given cell by cell, the heard levels cannot tell. Where they can
// all be told their least squares are f.shares.
func (f *groupFit) undetermined(cols [][]float64, names []string, own []bool) ([]bool, error) {
	bad := make([]bool, len(cols))
	any := false
	part := make([][]float64, 0, len(cols))
	var at []int
	var kept []string
	for j, c := range cols {
		p := f.cells.partialled(c, own)
		if norm2(p) <= 1e-9*f.cells.norm2(c) {
			bad[j], any = true, true
			continue
		}
		part, at, kept = append(part, p), append(at, j), append(kept, names[j])
	}
	if any || len(part) == 0 {
		return bad, nil
	}
	b, _, err := leastSquares(part, kept, f.cells.partialled(f.cells.level, own))
	if err == nil {
		f.shares = b
		return nil, nil
	}
	re, ok := err.(*RankError)
	if !ok || len(re.Columns) == 0 {
		return nil, err
	}
	for a, name := range kept {
		for _, b := range re.Columns {
			if name == b {
				bad[at[a]] = true
			}
		}
	}
	return bad, nil
}

// y is the mean level of every row, 0 where it was not heard.
func (r *rows) y() []float64 {
	y := make([]float64, r.n())
	for i := range y {
		y[i] = r.level[i].MeanDBm
	}
	return y
}

// ordinary is the normal likelihood of the mean levels that were heard; rows
// that were not say nothing. Its spread parameter is log σ.
type ordinary struct{ *rows }

func (o ordinary) row(i int, eta float64, psi []float64, r *deriv) {
	*r = deriv{}
	if o.level[i].Heard == 0 {
		return
	}
	w := math.Exp(-2 * psi[0])
	u := o.level[i].MeanDBm - eta
	r.l = -psi[0] - u*u*w/2 - halfLog2Pi
	r.m, r.mm = u*w, -w
	r.p[0], r.mp[0], r.p00 = u*u*w-1, -2*u*w, -2*u*u*w
}

// ols solves the least squares of the heard mean levels under the bounds, and
// leaves σ with as many degrees of freedom as levels exceed parameters.
func (f *groupFit) ols() error {
	n := len(f.heard)
	active := append([]bool(nil), f.fixed...)
	for round := 0; ; round++ {
		free := 0
		var cols [][]float64
		var names []string
		var at []int
		for j, c := range f.picked {
			if q := f.base() + j; !active[q] {
				cols, at = append(cols, c), append(at, q)
				names = append(names, f.columnName(j))
			}
		}
		ownFree := make([]bool, f.blocks)
		rest := f.room.float(len(f.cells.level))
		copy(rest, f.cells.level)
		if f.own != nil {
			for k := range f.blocks {
				if ownFree[k] = !active[f.blocks+k]; !ownFree[k] {
					for a := f.cells.first[k]; a < f.cells.first[k+1]; a++ {
						rest[a] -= f.theta[f.blocks+k] * f.cells.x[a]
					}
				} else {
					free++
				}
			}
		}
		free += f.blocks + len(cols)
		if n <= free {
			return fmt.Errorf("%d levels at %s GHz do not determine %d unknowns and their spread; walk more points", n, f.band, free)
		}
		if len(cols) > 0 {
			b := f.shares
			if slices.Contains(active[:f.psiAt()], true) {
				part := make([][]float64, len(cols))
				for j, c := range cols {
					part[j] = f.cells.partialled(c, ownFree)
				}
				var err error
				if b, _, err = leastSquares(part, names, f.cells.partialled(rest, ownFree)); err != nil {
					return err
				}
			}
			for j, q := range at {
				f.theta[q] = b[j]
				floats.AddScaled(rest, -b[j], cols[j])
			}
		}
		rss := f.blockwise(rest, ownFree)
		f.sigma = math.Sqrt(rss / float64(n-free))
		f.theta[f.psiAt()] = math.Log(max(math.Sqrt(rss/float64(n)), 1e-6))
		ok := true
		for q := range f.theta {
			ok = ok && f.theta[q] >= f.lower[q]
		}
		if ok || round > 0 {
			f.opt = &optimum{theta: f.theta, active: active}
			return nil
		}
		// Which bounds hold is found by the quadratic programme; the digits
		// then come from the smaller least squares. Its spread stays put.
		lower := append([]float64(nil), f.lower...)
		fixed := append([]bool(nil), f.fixed...)
		for q := f.psiAt(); q < f.size(); q++ {
			fixed[q] = true
		}
		o, err := (&problem{design: f.design, lik: ordinary{f.rows}, fixed: fixed, lower: lower}).maximise(f.theta)
		if err != nil {
			return err
		}
		for q := range f.base() + len(f.shared) {
			if active[q] = o.active[q] || o.theta[q] <= f.lower[q]; active[q] {
				f.theta[q] = max(o.theta[q], f.lower[q])
			}
		}
	}
}

func (f *groupFit) columnName(j int) string {
	if !f.perAP {
		if j == 0 {
			return "exponent"
		}
		j--
	}
	return f.data.Materials[f.walls[j]]
}

// blockwise solves level, and own exponent where free, of every block from
// what the other terms leave of its cells, and returns the residual sum of squares.
func (f *groupFit) blockwise(rest []float64, ownFree []bool) float64 {
	rss := 0.0
	for k := range f.blocks {
		mx, my, slope := f.cells.line(k, rest, ownFree[k])
		f.theta[k] = my - slope*mx
		if ownFree[k] {
			f.theta[f.blocks+k] = slope
		}
		rss += f.cells.within[k]
		for a := f.cells.first[k]; a < f.cells.first[k+1]; a++ {
			e := rest[a] - my - slope*(f.cells.x[a]-mx)
			rss += f.cells.weight[a] * e * e
		}
	}
	return rss
}

func (f *groupFit) warn(block int, format string, args ...any) {
	name := ""
	if block >= 0 {
		name = f.data.Site.RadioName(f.data.links.radios[f.radios[block]])
	}
	f.warnings = append(f.warnings, Warning{Radio: name, Text: fmt.Sprintf(format, args...)})
}
