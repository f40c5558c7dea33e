package doubt

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// receiverSD is the prior of a receiver's offset in dB.
const receiverSD = 5.0

// receiverEffect is what the rows of one receiver say of its offset.
type receiverEffect struct {
	name, against string
	receiver      int
	num, den      float64
	lbf           float64
}

// receiverEffects compares every receiver with the one that made most rows: all
// radios stacked, with one effect per row that all radios of the row share (its
// spread is shareDB, by Woodbury's identity), and h = 1 in the rows of the
// receiver. den is 0 where they cannot be compared.
func (f *fit) receiverEffects() []receiverEffect {
	r := f.v.rows
	if len(r.receivers) < 2 {
		return nil
	}
	count := make([]int, len(r.receivers))
	for i := range r.n {
		if !r.out[i] {
			count[r.receiver[i]]++
		}
	}
	base := 0
	for c := range count {
		if count[c] > count[base] {
			base = c
		}
	}
	p, e, q, cells := f.stacked()
	var out []receiverEffect
	for c := range count {
		if c == base {
			continue
		}
		o := receiverEffect{name: r.receivers[c], against: r.receivers[base], receiver: c}
		h := make([]float64, r.n)
		for i := range h {
			if r.receiver[i] == c {
				h[i] = 1
			}
		}
		if count[c] >= leastSide {
			o.num, o.den = f.stackedEffect(p, e, h)
		}
		if o.den > 0 {
			g := o.num * o.num / (1/(receiverSD*receiverSD) + o.den)
			o.lbf = .5*(nu0+cells)*(math.Log1p(q/nu0)-math.Log1p(max(q-g, 0)/nu0)) - .5*math.Log1p(receiverSD*receiverSD*o.den)
		}
		out = append(out, o)
	}
	return out
}

// receivers names receivers that report more than another.
func (f *fit) receivers() []Finding {
	var out []Finding
	for _, e := range f.receiverEffects() {
		if e.den > 0 {
			out = append(out, Finding{Kind: Receiver, Receiver: e.name, Against: e.against, Effect: e.num / e.den, SE: 1 / math.Sqrt(e.den),
				Unit: "dB", LBF: e.lbf, Threshold: thresholds[Receiver], row: e.receiver})
		}
	}
	return out
}

// stacked sums S⁻¹ and S⁻¹e over radios, each by its share, over all rows.
func (f *fit) stacked() (p *mat.SymDense, e *mat.VecDense, q, cells float64) {
	n := f.v.rows.n
	p, e = mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	for k := range f.radios {
		rf, kr := &f.radios[k], &f.krigs[k]
		w := f.share(rf.ap) / f.bands[rf.band].s2
		for a, i := range rf.rows {
			e.SetVec(i, e.AtVec(i)+w*kr.alpha[a])
			for b := a; b < kr.n; b++ {
				j := rf.rows[b]
				p.SetSym(i, j, p.At(i, j)+w*kr.inv[a*kr.n+b])
			}
		}
		q += w * kr.q
		cells += f.share(rf.ap) * float64(kr.n)
	}
	return p, e, q, cells
}

// stackedEffect gives hᵀΣ⁻¹e and hᵀΣ⁻¹h with the row effects in Σ.
func (f *fit) stackedEffect(p *mat.SymDense, e *mat.VecDense, h []float64) (num, den float64) {
	n := len(h)
	m := mat.NewSymDense(n, nil)
	m.CopySym(p)
	for i := range n {
		m.SetSym(i, i, m.At(i, i)+1/(f.shareDB*f.shareDB))
	}
	var ch mat.Cholesky
	if !ch.Factorize(m) {
		return 0, 0
	}
	hv := mat.NewVecDense(n, h)
	var ph, mph, me mat.VecDense
	ph.MulVec(p, hv)
	if ch.SolveVecTo(&mph, &ph) != nil || ch.SolveVecTo(&me, e) != nil {
		return 0, 0
	}
	return mat.Dot(hv, e) - mat.Dot(&ph, &me), mat.Dot(hv, &ph) - mat.Dot(&ph, &mph)
}
