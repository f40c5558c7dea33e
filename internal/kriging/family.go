package kriging

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/floats"
)

// Node is a pair of hyperparameters on a lattice: ℓ = 2^(Length/3) m and
// ρ = 10^(Ratio/4). A step changes predictions by far less than their error.
type Node struct {
	Length, Ratio int
}

// The lattice: ℓ from 0.25 m, less than a step, to 64 m, more than a shadow; ρ
// from 1/100, where values are next to exact, to 100, where they say nothing.
const (
	leastLength, mostLength = -6, 18
	leastRatio, mostRatio   = -8, 8
)

// Start is a node from which to look for the best: ℓ = 4 m, ρ = 1.
var Start = Node{6, 0}

// LengthM is ℓ.
func (n Node) LengthM() float64 { return math.Exp2(float64(n.Length) / 3) }

// NoiseRatio is ρ.
func (n Node) NoiseRatio() float64 { return math.Pow(10, float64(n.Ratio)/4) }

func (n Node) inside() bool {
	return n.Length >= leastLength && n.Length <= mostLength && n.Ratio >= leastRatio && n.Ratio <= mostRatio
}

// Family is the systems of one layout over the lattice, each factored when it is
// first asked for. It is safe for use by several goroutines.
type Family struct {
	Layout Layout
	mu     sync.Mutex
	kept   map[Node]func() (*System, error)
}

// NewFamily factors nothing yet.
func NewFamily(l Layout) *Family {
	return &Family{Layout: l, kept: map[Node]func() (*System, error){}}
}

// System gives the system of a node.
func (f *Family) System(n Node) (*System, error) {
	f.mu.Lock()
	get, ok := f.kept[n]
	if !ok {
		get = sync.OnceValues(func() (*System, error) { return NewSystem(f.Layout, n.LengthM(), n.NoiseRatio()) })
		f.kept[n] = get
	}
	f.mu.Unlock()
	return get()
}

// Linear is values at the rows of a family that are linear in a few coefficients,
//
//	y = Σ c_b y_b
//
// as residuals are in the parameters of what they are residuals of. Every system
// solves for the columns y_b once; coefficients cost columns² steps from then on,
// and not rows². It is safe for use by several goroutines.
type Linear struct {
	Family  *Family
	Columns [][]float64 // y_b
	mu      sync.Mutex
	kept    map[Node]func() (*Solved, error)
}

// NewLinear solves nothing yet.
func NewLinear(f *Family, columns ...[]float64) *Linear {
	return &Linear{Family: f, Columns: columns, kept: map[Node]func() (*Solved, error){}}
}

// Solved is what a system makes of the columns.
type Solved struct {
	System *System
	z      [][]float64 // K⁻¹y_b
	gram   [][]float64 // y_aᵀK⁻¹y_b
}

// Solved solves for the columns at a node.
func (l *Linear) Solved(n Node) (*Solved, error) {
	l.mu.Lock()
	get, ok := l.kept[n]
	if !ok {
		get = sync.OnceValues(func() (*Solved, error) { return l.solve(n) })
		l.kept[n] = get
	}
	l.mu.Unlock()
	return get()
}

func (l *Linear) solve(n Node) (*Solved, error) {
	sys, err := l.Family.System(n)
	if err != nil {
		return nil, err
	}
	v := &Solved{System: sys}
	for a, y := range l.Columns {
		z := make([]float64, len(y))
		sys.Solve(y, z)
		v.z, v.gram = append(v.z, z), append(v.gram, make([]float64, len(l.Columns)))
		for b := range a + 1 {
			v.gram[a][b] = floats.Dot(z, l.Columns[b])
			v.gram[b][a] = v.gram[a][b]
		}
	}
	return v, nil
}

// Square is yᵀK⁻¹y for coefficients.
func (v *Solved) Square(coef []float64) float64 {
	sum := 0.0
	for a, c := range coef {
		sum += c * floats.Dot(v.gram[a], coef)
	}
	return sum
}

// At is row i of z = K⁻¹y for coefficients.
func (v *Solved) At(coef []float64, i int) float64 {
	sum := 0.0
	for b, c := range coef {
		sum += c * v.z[b][i]
	}
	return sum
}

// Series is values at the rows of a family. Where rows are means of several
// values, what those differed by within rows tells their noise too.
type Series struct {
	*Linear
	Coef    []float64 // of the columns
	Without []int     // rows that do not count

	WithinSquare float64 // Σ (value − its row's mean)², over rows that count
	WithinDF     int     // values less rows, over rows that count
}

// Hyper is what [Best] found: the hyperparameters that series share.
type Hyper struct {
	Node
	Variance float64 // s²
	LogLik   float64 // log marginal likelihood of all values that count
}

// NoiseVariance is ρ s², the variance of a value of noise 1 around g.
func (h Hyper) NoiseVariance() float64 { return h.NoiseRatio() * h.Variance }

// Best climbs on the lattice from a node to one that no neighbour exceeds in the
// marginal likelihood of all series together, with
//
//	s² = (Σ yᵀK⁻¹y + Σ within/ρ)/(Σ rows + Σ degrees within)
//
// the best for each node. Without values that count it is the start with s² = 0.
func Best(series []Series, start Node) (Hyper, error) {
	known := map[Node]Hyper{}
	at := func(n Node) (Hyper, error) {
		if h, ok := known[n]; ok {
			return h, nil
		}
		h, err := At(series, n)
		known[n] = h
		return h, err
	}
	best, err := at(start)
	if err != nil || best.Variance == 0 {
		return best, err
	}
	for {
		from := best
		for _, d := range [...]Node{{1, 0}, {-1, 0}, {0, 1}, {0, -1}, {1, 1}, {1, -1}, {-1, 1}, {-1, -1}} {
			n := Node{from.Length + d.Length, from.Ratio + d.Ratio}
			if !n.inside() {
				continue
			}
			h, err := at(n)
			if err != nil {
				return best, err
			}
			if h.LogLik > best.LogLik {
				best = h
			}
		}
		if best == from {
			return best, nil
		}
	}
}

// Scale is how many times s² the variance of some series is by themselves, drawn
// to 1 with the weight of so many values:
//
//	(prior + (Σ yᵀK⁻¹y + Σ within/ρ)/s²)/(prior + Σ rows + Σ degrees within)
func Scale(series []Series, h Hyper, prior float64) float64 {
	square, _, values, err := tally(series, h.Node)
	if err != nil || h.Variance == 0 || prior+float64(values) == 0 {
		return 1
	}
	return (prior + square/h.Variance) / (prior + float64(values))
}

// At is [Best] at one node: the best variance there and its likelihood.
func At(series []Series, n Node) (Hyper, error) {
	h := Hyper{Node: n}
	square, logDet, values, err := tally(series, n)
	if err != nil {
		return h, err
	}
	if values == 0 || square == 0 {
		return h, nil
	}
	h.Variance = square / float64(values)
	h.LogLik = -.5 * (float64(values)*(math.Log(2*math.Pi*h.Variance)+1) + logDet)
	return h, nil
}

// tally sums what the likelihood of series needs at a node.
func tally(series []Series, n Node) (square, logDet float64, values int, err error) {
	for i := range series {
		r := &series[i]
		v, err := r.Solved(n)
		if err != nil {
			return 0, 0, 0, err
		}
		s := v.System
		e := Evidence{N: s.Rows(), LogDet: s.logDet, Square: v.Square(r.Coef)}
		if len(r.Without) > 0 {
			b := s.Block(r.Without)
			e = b.evidence(e, b.of(v, r.Coef))
		}
		square += e.Square + r.WithinSquare/s.Ratio
		logDet += e.LogDet + float64(r.WithinDF)*math.Log(s.Ratio)
		values += e.N + r.WithinDF
	}
	return square, logDet, values, nil
}
