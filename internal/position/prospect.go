package position

import (
	"context"
	"math"
	"slices"

	"footrule/internal/kriging"
	"footrule/internal/propagation"
	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// Prospect is the error to expect of fixes from a radio map where people walk, and how stays at further points would lower it. A level at p scatters
// around what the map tells by what the map does not know there yet and by what
// a stay differs from the map, both averaged over what the hyperparameters may be:
//
//	V_k(p) = Σ_j w_j σ_kj² (v_kj(p) + ρ_j + (1 + ρ_j)/n_k)
//	F(p) = Σ_k ω_k u_k u_kᵀ/V_k(p),  u_k = ∂μ_k/∂p
//	E(p) = mean length of N(0, (F(p) + P⁻¹)⁻¹)
//
// with P the covariance of a place anywhere on the floor, v_kj the share of
// variance that kriging leaves at node j given where radio k was heard, and ω_k
// [HeardWeight]. The last term is what n_k places leave unknown of a radio's level
// at 1 m. v depends on where stays are, not on what they say, so further
// ones are counted before they are made: one at q lowers it by
// C(p, q)²/(v(q) + ρ/h), C being the covariance given all stays so far and h how
// likely the radio is heard at q. Laws:
//
//  1. A further stay never raises the error anywhere.
//  2. The order in which stays are added changes nothing.
//  3. What a stay at q leaves is what kriging leaves of a layout with q in it.
//
// E is of the right kind and not of the right size: levels depart from normal,
// and far places can look alike. [Prospect.LeftOutM] is what it says of places
// that are left out; the error measured there over that is how much too small it
// is.
type Prospect struct {
	Targets    []Spot // where the error counts: where people walk, which is where they did and may be sent
	Candidates []Spot // where further stays may be made

	look   *looker
	floors []*vista
}

// Spot is a place on a floor.
type Spot struct {
	Floor int // index into Site.Floors
	At    orb.Point
}

// vista is what is known on one floor.
type vista struct {
	targets, candidates []int      // indices into those of the prospect
	prior               Covariance // P
	radios              []*outlook // those that can be heard there
}

// outlook is what is known of one radio's level on one floor.
type outlook struct {
	slope  []orb.Point // per target, ∂μ/∂p in dB/m
	weight []float64   // per target, ω
	hear   []float64   // per candidate, h
	parts  []part      // per node of the band
	heard  float64     // places where it was heard: n
}

// part is one node's share in V.
type part struct {
	s2, rho float64 // w σ² in dB², ρ
	base    *unknown
}

// unknown is v and C of one layout at one node, over targets, then candidates.
type unknown struct {
	variance []float64
	cov      [][]float64 // per candidate
}

// Detail is how fine targets and candidates lie at most: what is known of a
// floor changes over metres, and choosing costs targets × candidates × radios.
type Detail struct{ Targets, Candidates int }

// The details for a command, and for a figure beside a walk that goes on.
var (
	Fine   = Detail{240, 200}
	Coarse = Detail{100, 60}
)

// leastWeight is how seldom a radio is heard that brings next to nothing.
const leastWeight = 0.02

// NewProspect looks at the stays of d, observed on the grid's site, and the fit
// to them. The candidates are where further stays may be made, such as
// [Candidates].
func NewProspect(g *Grid, d *propagation.Data, f *propagation.Fit, candidates []Spot, detail Detail) *Prospect {
	p := &Prospect{Candidates: candidates}
	var all []Spot
	seen := map[Spot]bool{}
	for i, at := range d.At {
		if c := (Spot{d.Floor[i], at}); !seen[c] {
			seen[c] = true
			all = append(all, c)
		}
	}
	all = append(all, candidates...)
	n := min(len(all), detail.Targets)
	for k := range n {
		p.Targets = append(p.Targets, all[k*len(all)/n])
	}
	targets, from := byFloor(g.site, p.Targets), byFloor(g.site, candidates)
	for fl := range g.site.Floors {
		p.floors = append(p.floors, &vista{targets: targets[fl], candidates: from[fl], prior: anywhere(p.Targets, targets[fl])})
	}
	p.look = newLooker(learnMap(&lessons{grid: g, data: d, fit: f}).(*mapping), p)
	p.look.at(p.floors, func(int) bool { return true })
	return p
}

func byFloor(s *site.Site, spots []Spot) [][]int {
	out := make([][]int, len(s.Floors))
	for i, p := range spots {
		out[p.Floor] = append(out[p.Floor], i)
	}
	return out
}

func floorsOf(spots []Spot) []int {
	out := make([]int, len(spots))
	for i := range spots {
		out[i] = spots[i].Floor
	}
	return out
}

func placesOf(spots []Spot) []orb.Point {
	out := make([]orb.Point, len(spots))
	for i := range spots {
		out[i] = spots[i].At
	}
	return out
}

// anywhere is the covariance of a place that may be any of some spots, and half
// a metre to each side of it.
func anywhere(spots []Spot, of []int) Covariance {
	var mx, my float64
	n := float64(len(of))
	for _, i := range of {
		mx, my = mx+spots[i].At[0]/n, my+spots[i].At[1]/n
	}
	c := Covariance{XX: 1. / 12, YY: 1. / 12}
	for _, i := range of {
		x, y := spots[i].At[0]-mx, spots[i].At[1]-my
		c.XX, c.XY, c.YY = c.XX+x*x/n, c.XY+x*y/n, c.YY+y*y/n
	}
	return c
}

// ErrorM is the error to expect once stays at some candidates were made too, the
// mean over all targets in metres.
func (p *Prospect) ErrorM(candidates ...int) float64 {
	return p.mean(p.floors, candidates)
}

// OfM is the error to expect had only some places of the walk been walked, in
// metres.
func (p *Prospect) OfM(places []int) float64 {
	then := make([]*vista, len(p.floors))
	for fl, v := range p.floors {
		c := *v
		then[fl] = &c
	}
	p.look.at(then, func(i int) bool { return slices.Contains(places, i) })
	return p.mean(then, nil)
}

// floorM is the error to expect on one floor, NaN where none counts there.
func (p *Prospect) floorM(floor int) float64 {
	v := p.floors[floor]
	return v.given(nil).error(-1) / float64(len(v.targets))
}

func (p *Prospect) mean(floors []*vista, candidates []int) float64 {
	sum := 0.0
	for _, v := range floors {
		sum += v.given(v.own(candidates)).error(-1)
	}
	return sum / float64(len(p.Targets))
}

// own gives those of some candidates that are on the floor, as places among its own.
func (v *vista) own(candidates []int) []int {
	var out []int
	for _, c := range candidates {
		if n, ok := slices.BinarySearch(v.candidates, c); ok {
			out = append(out, n)
		}
	}
	return out
}

// outset is a floor once stays at some candidates were made too.
type outset struct {
	*vista
	added    []int
	variance [][]float64   // per radio and node, over targets, then candidates: v
	rows     [][][]float64 // and per added stay: C(q, ·)/√(v(q) + ρ/h), each given those before it
	heard    []float64     // per radio: n
}

func (v *vista) given(added []int) *outset {
	o := &outset{vista: v}
	for _, r := range v.radios {
		for i := range r.parts {
			o.variance = append(o.variance, slices.Clone(r.parts[i].base.variance))
		}
		o.heard = append(o.heard, r.heard)
	}
	o.rows = make([][][]float64, len(o.variance))
	for _, n := range added {
		o.add(n)
	}
	return o
}

// add counts a stay at a candidate of the floor.
func (o *outset) add(n int) {
	o.added = append(o.added, n)
	row := make([]float64, len(o.targets)+len(o.candidates))
	o.each(n, len(row), row, func(k int, over float64) {
		kept := slices.Clone(row)
		for j := range kept {
			kept[j] *= math.Sqrt(over)
			o.variance[k][j] -= kept[j] * kept[j]
		}
		o.rows[k] = append(o.rows[k], kept)
	})
	for k, r := range o.radios {
		o.heard[k] += r.hear[n]
	}
}

// each gives, for every radio and node that a stay at a candidate would tell of,
// its row C(q, ·) up to some length and 1/(v(q) + ρ/h).
func (o *outset) each(n, length int, row []float64, f func(k int, over float64)) {
	k := -1
	at := len(o.targets) + n
	for _, r := range o.radios {
		for i := range r.parts {
			k++
			if r.hear[n] <= leastWeight {
				continue
			}
			p := &r.parts[i]
			copy(row[:length], p.base.cov[n])
			for _, w := range o.rows[k] {
				if c := w[at]; c != 0 {
					for j, x := range w[:length] {
						row[j] -= c * x
					}
				}
			}
			f(k, 1/(max(0, o.variance[k][at])+p.rho/r.hear[n]))
		}
	}
}

// error is the sum of E over the targets, with one more stay at candidate n of
// the floor; −1 for none.
func (o *outset) error(n int) float64 {
	t := len(o.targets)
	var less [][]float64
	if n >= 0 {
		less = make([][]float64, len(o.variance))
		row := make([]float64, t)
		o.each(n, t, row, func(k int, over float64) {
			less[k] = make([]float64, t)
			for j, c := range row {
				less[k][j] = c * c * over
			}
		})
	}
	sum := 0.0
	for j := range t {
		sum += o.errorAt(j, n, less)
	}
	return sum
}

// errorAt is E at a target, with v of every radio and node less by so much, nil
// for nothing.
func (o *outset) errorAt(j, n int, less [][]float64) float64 {
	det := o.prior.XX*o.prior.YY - o.prior.XY*o.prior.XY
	xx, xy, yy := o.prior.YY/det, -o.prior.XY/det, o.prior.XX/det
	k := 0
	for i, r := range o.radios {
		w := r.weight[j]
		if w <= leastWeight {
			k += len(r.parts)
			continue
		}
		all, heard := 0.0, o.heard[i]
		if n >= 0 {
			heard += r.hear[n]
		}
		for i := range r.parts {
			p, v := &r.parts[i], o.variance[k][j]
			if less != nil && less[k] != nil {
				v -= less[k][j]
			}
			all += p.s2 * (max(0, v) + p.rho + (1+p.rho)/heard)
			k++
		}
		w /= all
		x, y := r.slope[j][0], r.slope[j][1]
		xx, xy, yy = xx+w*x*x, xy+w*x*y, yy+w*y*y
	}
	return meanOf(xx, xy, yy)
}

// meanOf is the mean error that an information matrix leaves.
func meanOf(xx, xy, yy float64) float64 {
	d := xx*yy - xy*xy
	return Covariance{XX: yy / d, XY: -xy / d, YY: xx / d}.MeanM()
}

// LeftOutM is the error to expect at each place of the walk as leave-one-out
// judges it: without the stays there. In metres, per place of the data.
func (p *Prospect) LeftOutM(ctx context.Context) ([]float64, error) { return p.look.leftOut(ctx, p) }

// unknown works out what a layout leaves unknown at the targets and candidates of
// a floor.
func (p *Prospect) unknown(v *vista, l kriging.Layout, n kriging.Node) *unknown {
	var at []orb.Point
	for _, i := range v.targets {
		at = append(at, p.Targets[i].At)
	}
	for _, i := range v.candidates {
		at = append(at, p.Candidates[i].At)
	}
	sys, err := kriging.NewSystem(l, n.LengthM(), n.NoiseRatio())
	if err != nil { // noise of a hundredth and more of the variance keeps a covariance positive
		panic(err)
	}
	m := sys.Onto(at)
	out := &unknown{variance: make([]float64, len(at))}
	m.Variance(out.variance)
	for _, i := range v.candidates {
		c := make([]float64, len(at))
		m.Covariance(p.Candidates[i].At, c)
		out.cov = append(out.cov, c)
	}
	return out
}
