package doubt

import (
	"cmp"
	"math"
	"slices"

	"footrule/internal/parallel"
)

// Constants of a power step.
const (
	stepSD      = 6.0 // dB, prior of its size
	driftSD     = 0.7 // dB, by which power wanders without a fault (common practice: half a decibel to one)
	suspect     = 5.0 // by which evidence has to be more where time and place are not told apart
	mostDriftDB = 2.0 // that all levels may have in common from some row on, as receivers warm up
	leastSide   = 4   // rows that heard on each side
	wide        = 3.0 // log odds within which a moment may lie
)

// step is what the rows of an access point say of a change of its level at row τ:
// with h = 1[row ≥ τ], num = hᵀS⁻¹e/s², den = hᵀS⁻¹h/s², and a size of variance ω,
//
//	g(ω) = num²/(1/ω + den)
//	l(τ, ω) = ½(ν0+N) [log(1 + Q/ν0) − log(1 + (Q − g)/ν0)] − ½ log(1 + ω den)
//	l(τ) = l(τ, 6² dB²) − l(τ, 0.7² dB²)
//
// summed over its radios, each by its share: a step against mere drift. What most
// access points have in common from τ on is taken off first.
type step struct {
	ap       int
	q, rows  float64
	ok       []bool // per row: enough rows on both sides
	l        []float64
	num, den []float64
	share    float64
	lbf      float64
	at       int // the likeliest row
	early    int // the first and the last that are not much less likely
	late     int
}

// size is that of a step if it came at row τ.
func (f *fit) size(s *step, row int) (db, se float64) {
	return s.num[row] / s.den[row], f.unsure(s.ap, row, 1/(s.den[row]*s.share))
}

// unsure is the standard error of a change of power at row τ: levels tell it with
// variance v, power wanders, and where no place was visited before and after, the
// second part of the walk may lie behind walls that are not on the plan.
func (f *fit) unsure(ap, row int, v float64) float64 {
	v += driftSD * driftSD
	if !f.repeated(row, ap) {
		v += shadeDB * shadeDB
	}
	return math.Sqrt(v)
}

// steps gives a step of every access point that enough rows heard.
func (f *fit) steps() []step {
	all := make([]step, len(f.v.spots))
	parallel.Do(len(all), func(ap int) { all[ap] = f.step(ap) })
	all = slices.DeleteFunc(all, func(s step) bool { return !slices.Contains(s.ok, true) })
	if len(all) > 3 {
		for i := range f.v.rows.n {
			c := common(all, i)
			for j := range all {
				s := &all[j]
				s.l[i] = s.q - 2*c*s.num[i] + c*c*s.den[i]
				s.num[i] -= c * s.den[i]
			}
		}
	} else {
		for j := range all {
			for i := range all[j].l {
				all[j].l[i] = all[j].q
			}
		}
	}
	parallel.Do(len(all), func(j int) { all[j].weigh() })
	return all
}

// common is the weighted median over access points of the change at row i.
func common(all []step, i int) float64 {
	type part struct{ db, w float64 }
	var parts []part
	total := 0.0
	for j := range all {
		if s := &all[j]; s.ok[i] {
			parts = append(parts, part{s.num[i] / s.den[i], s.den[i]})
			total += s.den[i]
		}
	}
	if len(parts) < 4 {
		return 0
	}
	slices.SortFunc(parts, func(a, b part) int { return cmp.Compare(a.db, b.db) })
	sum := 0.0
	for _, p := range parts {
		if sum += p.w; sum >= total/2 {
			return min(max(p.db, -mostDriftDB), mostDriftDB)
		}
	}
	return 0
}

// weigh turns Q in l into the evidence for every row.
func (s *step) weigh() {
	s.at = -1
	var all []float64
	for i, q := range s.l {
		s.l[i] = math.NaN()
		if !s.ok[i] {
			continue
		}
		l := func(w float64) float64 {
			g := s.num[i] * s.num[i] / (1/w + s.den[i])
			return .5*(nu0+s.rows)*(math.Log1p(q/nu0)-math.Log1p(max(q-g, 0)/nu0)) - .5*math.Log1p(w*s.den[i])
		}
		s.l[i] = s.share * (l(stepSD*stepSD) - l(driftSD*driftSD))
		all = append(all, s.l[i])
		if s.at < 0 || s.l[i] > s.l[s.at] {
			s.at = i
		}
	}
	s.lbf = logMean(all)
	s.early, s.late = s.at, s.at
	for i, l := range s.l {
		if l > s.l[s.at]-wide {
			s.early, s.late = min(s.early, i), max(s.late, i)
		}
	}
}

func (f *fit) step(ap int) step {
	n := f.v.rows.n
	s := step{ap: ap, share: f.share(ap), ok: make([]bool, n), l: make([]float64, n), num: make([]float64, n), den: make([]float64, n)}
	before := make([]int, n+1) // rows before τ in which the best radio was heard
	most := 0
	for k := range f.radios {
		rf := &f.radios[k]
		if rf.ap != ap || len(rf.rows) < 2*leastSide {
			continue
		}
		kr, s2 := &f.krigs[k], f.bands[rf.band].s2
		s.q += kr.q / s2
		s.rows += float64(len(rf.rows))
		num, den := 0.0, 0.0
		a := len(rf.rows) - 1
		for i := n - 1; i >= 0; i-- { // suffix sums: h grows backwards in time
			if a >= 0 && rf.rows[a] == i {
				num += kr.alpha[a]
				den += kr.inv[a*kr.n+a]
				for b := a + 1; b < kr.n; b++ {
					den += 2 * kr.inv[a*kr.n+b]
				}
				a--
			}
			s.num[i] += num / s2
			s.den[i] += den / s2
		}
		if len(rf.rows) > most {
			most = len(rf.rows)
			clear(before)
			for _, i := range rf.rows {
				before[i+1]++
			}
			for i := range n {
				before[i+1] += before[i]
			}
		}
	}
	for i := range n {
		s.ok[i] = before[i] >= leastSide && most-before[i] >= leastSide && s.den[i] > 1e-9
	}
	return s
}

// power turns steps into findings, and steps of several access points at one
// time into an event.
func (f *fit) power(steps []step) (alone []Finding, events []Finding) {
	limit := thresholds[Power]
	ends := f.bookends()
	var strong []*step
	for i := range steps {
		s := &steps[i]
		db, se := f.size(s, s.at)
		fd := Finding{Kind: Power, APs: []int{s.ap}, Effect: db, SE: se, Unit: "dB", LBF: s.lbf, Threshold: limit,
			When: f.visit(s.at), Early: f.visit(max(s.early-1, 0)), Late: f.visit(s.late), row: s.at, Suspicion: !f.repeated(s.at, s.ap)}
		if fd.Suspicion {
			fd.Threshold += suspect
		}
		if e := ends[s.ap]; e != nil {
			if at := e.evidence(e.critical); e.evidence(e.mean)-at > max(fd.LBF-fd.Threshold, 0) {
				fd.Effect, fd.SE, fd.LBF, fd.Threshold, fd.Suspicion = e.mean, math.Hypot(e.se, driftSD), e.evidence(e.mean), at, false
			}
		}
		alone = append(alone, fd)
		if fd.LBF > fd.Threshold {
			strong = append(strong, s)
		}
	}
	if len(strong) < 2 {
		return alone, nil
	}
	// The moment and the sign that most of the strong ones may share.
	best, count := -1, 0
	up := false
	with := func(s *step, at int, up bool) bool {
		return s.early <= at && at <= s.late && (s.num[s.at] > 0) == up
	}
	for _, s := range strong {
		n := 0
		for _, o := range strong {
			if with(o, s.at, s.num[s.at] > 0) {
				n++
			}
		}
		if n > count {
			best, count, up = s.at, n, s.num[s.at] > 0
		}
	}
	if count < 2 {
		return alone, nil
	}
	e := Finding{Kind: Event, Threshold: thresholds[Event], SE: math.NaN(), Unit: "dB", row: best}
	early, late := 0, f.v.rows.n-1
	score := make([]float64, f.v.rows.n)
	sum := 0.0
	for _, s := range strong {
		if with(s, best, up) {
			db, _ := f.size(s, s.at)
			e.APs, e.LBF = append(e.APs, s.ap), e.LBF+s.lbf
			sum += db
			early, late = max(early, s.early), min(late, s.late)
			for i := range score {
				score[i] += s.l[i]
			}
		}
	}
	for i := early; i <= late; i++ {
		if score[i] > score[e.row] || math.IsNaN(score[e.row]) {
			e.row = i
		}
	}
	e.Effect = sum / float64(len(e.APs))
	e.When, e.Early, e.Late, e.span = f.visit(e.row), f.visit(max(early-1, 0)), f.visit(late), [2]int{early, late}
	return alone, []Finding{e}
}

func (f *fit) visit(row int) *Visit {
	if row < 0 || row >= f.v.rows.n {
		return nil
	}
	v := f.v.rows.names[row]
	return &v
}

// repeated reports whether three places at least that heard an access point
// were visited before row τ and again from then on, so that a step does not hang
// on the model.
func (f *fit) repeated(row, ap int) bool {
	r := f.v.rows
	for k := range f.radios {
		if f.radios[k].ap != ap {
			continue
		}
		before, both := map[int]bool{}, map[int]bool{}
		for _, i := range f.radios[k].rows {
			if i < row {
				before[r.place[i]] = true
			} else if before[r.place[i]] {
				both[r.place[i]] = true
			}
		}
		if len(both) >= 3 {
			return true
		}
	}
	return false
}
