package propagation

// olsen is the [tobit] likelihood in γ = 1/σ and δ = b/σ of the rows of a band, of
// which those with equal regressors are taken together: n levels that were heard,
// with mean ȳ and w = Σ (y − ȳ)², are worth
//
//	n log γ − n (γ ȳ − η)²/2 − γ² w/2
//
// and n that were not n times one.
type olsen struct {
	y      []float64 // ȳ, or the floor of hearing
	n      []float64
	within []float64 // w
	heard  []bool
	miss   float64 // share of stays that miss a radio altogether
}

func (o *olsen) row(i int, eta float64, psi []float64, r *deriv) {
	gamma, y, n := psi[0], o.y[i], o.n[i]
	z := gamma*y - eta
	*r = deriv{}
	if o.heard[i] {
		w := o.within[i]
		r.l = n*(ln(gamma)-halfLog2Pi-z*z/2) - gamma*gamma*w/2
		r.m, r.mm = n*z, -n
		r.p[0], r.mp[0], r.p00 = n*(1/gamma-y*z)-gamma*w, n*y, -n*(1/(gamma*gamma)+y*y)-w
		return
	}
	l, l1, l2 := logMissed(z, o.miss)
	r.l = n * l
	r.m, r.mm = -n*l1, n*l2
	r.p[0], r.mp[0], r.p00 = n*y*l1, -n*y*l2, n*y*y*l2
}

// olsen takes rows together that follow each other, and gives their design.
func (f *groupFit) olsen(miss float64) (*design, *olsen) {
	n := f.rows.n()
	at := f.room.int(n)[:0] // one of the rows of each
	o := &olsen{y: f.room.float(n)[:0], n: f.room.float(n)[:0], within: f.room.float(n)[:0], miss: miss}
	add := func(row int, y, n, within float64, heard bool) {
		at, o.heard = append(at, row), append(o.heard, heard)
		o.y, o.n, o.within = append(o.y, y), append(o.n, n), append(o.within, within)
	}
	d := &design{blocks: f.blocks, start: make([]int, 1, f.blocks+1), psi: f.psi}
	for k := range f.blocks {
		for from := f.design.start[k]; from < f.design.start[k+1]; {
			to := from + 1
			for to < f.design.start[k+1] && f.alike(to, from) && f.floorAt(to) == f.floorAt(from) {
				to++
			}
			var sum, heard, within float64
			for _, l := range f.level[from:to] {
				if l.Heard > 0 {
					sum, heard = sum+l.MeanDBm, heard+1
				}
			}
			if heard > 0 {
				mean := sum / heard
				for _, l := range f.level[from:to] {
					if l.Heard > 0 {
						within += (l.MeanDBm - mean) * (l.MeanDBm - mean)
					}
				}
				add(from, mean, heard, within, true)
			}
			if silent := float64(to-from) - heard; silent > 0 {
				add(from, f.floorAt(from), silent, 0, false)
			}
			from = to
		}
		d.start = append(d.start, len(at))
	}
	d.rows = len(at)
	pick := func(column []float64) []float64 {
		out := f.room.float(len(at))
		for c, i := range at {
			out[c] = column[i]
		}
		return out
	}
	for _, c := range f.shared {
		d.shared = append(d.shared, pick(c))
	}
	if f.own != nil {
		d.own = pick(f.own)
	}
	return d, o
}
