package position

import (
	"context"
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
