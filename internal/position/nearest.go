package position

import (
	"math"

	"footrule/internal/propagation"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"gonum.org/v1/gonum/stat/distuv"
)

func learnNearest(l *lessons) learner { return &neighbourhoods{l} }

type neighbourhoods struct{ *lessons }

// without learns from the stays that are left: how silence counts comes from the
// fit to them, and k from leaving out one of their places after another.
func (n *neighbourhoods) without(f *propagation.Fit, places []int) Locator {
	t := &nearest{fit: f, data: n.data, stays: n.left(places)}
	t.miss = t.misses()
	at, floor := n.stood(t.stays)
	if s := spacing(at, floor); !math.IsInf(s, 1) {
		t.roomM2 = s * s / 12
	}
	r := n.data.Radios
	t.sayings = make([]saying, len(t.stays))
	for a, i := range t.stays {
		t.sayings[a] = t.say(n.data.Levels[i*r:(i+1)*r], n.data.Scans[i])
	}
	t.choose()
	return t
}

// nearest finds fixes as the mean of the places of the k stays whose levels are
// the most alike, each weighted by 1/d². Over radios of the fit, with σ the spread
// of their band,
//
//	d² = Σ (a − b)²/2σ²        where both stays heard the radio
//	   + Σ −2 log P(silent|a)  where only one did, at the level a
//
// and nothing where neither did, or where one did not listen on the channel. P(silent|a) = p + (1 − p) Φ((c − a)/√2σ) is the
// chance of a silence where the other stay heard a, with floor of hearing c and
// the share p of stays that miss the radio where the fit predicts it strong, drawn
// towards the share of all radios. So silence counts little where radios are
// often missed, and the rule is the same under every model of the level.
//
// k minimises the mean error of leave-one-place-out among the stays that were
// learned from (of [mostProbes] of them where there are more). The covariance is the scatter of the k places, widened to what
// those errors were.
type nearest struct {
	fit     *propagation.Fit
	data    *propagation.Data
	stays   []int     // of data
	sayings []saying  // per stay
	miss    []float64 // per radio, share of stays that miss it where it is strong
	k       int
	widen   float64 // factor on the covariance
	roomM2  float64 // m², variance along an axis of a place between the places learned from
}

// saying is the levels of one stay as they are compared.
type saying struct {
	level  []float64 // per radio, in units of √2σ, NaN where silent
	silent []float64 // per radio, what a silence of the other adds
	deaf   []bool    // per radio, true where no scan listened on its channel; nil where all did
}

// mostNeighbours bounds k. Over more the mean is drawn to the middle of the site.
const mostNeighbours = 40

// say prepares the levels of a stay of so many scans.
func (t *nearest) say(levels []walk.Level, scans int) saying {
	s := saying{level: make([]float64, len(t.miss)), silent: make([]float64, len(t.miss))}
	for k, p := range t.miss {
		s.level[k] = math.NaN()
		if k < len(levels) && levels[k].Deaf > 0 && levels[k].Listened(scans) == 0 {
			if s.deaf == nil {
				s.deaf = make([]bool, len(t.miss))
			}
			s.deaf[k] = true
		}
		if k >= len(levels) || levels[k].Heard == 0 || !t.fit.Radios[k].InFit {
			continue
		}
		g := t.fit.Group(k)
		sigma := math.Sqrt2 * g.ResidualDB()
		s.level[k] = levels[k].MeanDBm / sigma
		weak := distuv.UnitNormal.CDF((g.FloorDBm - levels[k].MeanDBm) / sigma)
		s.silent[k] = -2 * math.Log(p+(1-p)*weak)
	}
	return s
}

// A level so far above the floor of hearing is strong, as in the fit; the share
// of all radios counts with as many stays, and before any evidence one stay in a
// hundred misses a strong radio, which weighs as much as 25 stays.
const (
	strongDB       = 12.0
	siteStays      = 6.0
	priorStayMiss  = 0.01
	priorStayCount = 25.0
)

// misses estimates, per radio, the share of stays that miss it where it is strong.
func (t *nearest) misses() []float64 {
	n := t.data.Radios
	silent, all := make([]float64, n), make([]float64, n)
	levels := make([]float64, n)
	siteSilent, siteAll := priorStayMiss*priorStayCount, priorStayCount
	for _, i := range t.stays {
		t.fit.Levels(t.data.Floor[i], t.data.At[i], levels)
		for k, l := range levels {
			if g := t.fit.Group(k); g == nil || l < g.FloorDBm+strongDB || t.data.Levels[i*n+k].Listened(t.data.Scans[i]) == 0 {
				continue
			}
			all[k]++
			siteAll++
			if t.data.Levels[i*n+k].Heard == 0 {
				silent[k]++
				siteSilent++
			}
		}
	}
	for k := range silent {
		silent[k] = (silent[k] + siteStays*siteSilent/siteAll) / (all[k] + siteStays)
	}
	return silent
}

// apart is d² between two stays, or anything from limit on where it is that large.
func apart(a, b *saying, limit float64) float64 {
	sum := 0.0
	for k, x := range a.level {
		if sum >= limit {
			break
		}
		y := b.level[k]
		switch {
		case x == x && y == y:
			sum += (x - y) * (x - y)
		case x == x:
			if b.deaf == nil || !b.deaf[k] {
				sum += a.silent[k]
			}
		case y == y:
			if a.deaf == nil || !a.deaf[k] {
				sum += b.silent[k]
			}
		}
	}
	return sum
}

// neighbour is a stay that was learned from, by its number in stays.
type neighbour struct {
	of int
	d2 float64
}

// around finds the k stays nearest to a saying, the nearest first and of equals
// the first, passing over those at a place.
func (t *nearest) around(s *saying, k, except int, out []neighbour) []neighbour {
	out = out[:0]
	for b, i := range t.stays {
		if t.data.PlaceOf[i] == except {
			continue
		}
		limit := math.Inf(1)
		if len(out) == k {
			limit = out[k-1].d2
		}
		d2 := apart(s, &t.sayings[b], limit)
		if d2 >= limit {
			continue
		}
		if len(out) < k {
			out = append(out, neighbour{})
		}
		at := len(out) - 1
		for at > 0 && out[at-1].d2 > d2 {
			out[at] = out[at-1]
			at--
		}
		out[at] = neighbour{b, d2}
	}
	return out
}

// leastApart keeps a stay with the very same levels from outweighing all others.
const leastApart = 1e-3

// mean is the floor, the place and the scatter of the nearest.
func (t *nearest) mean(of []neighbour) (floor int, at orb.Point, scatter Covariance) {
	var mass [8]float64
	floors := mass[:]
	if n := len(t.data.Site.Floors); n > len(mass) {
		floors = make([]float64, n)
	}
	weight := func(n neighbour) float64 { return 1 / (n.d2 + leastApart) }
	for _, n := range of {
		floors[t.data.Floor[t.stays[n.of]]] += weight(n)
	}
	for f, m := range floors {
		if m > floors[floor] {
			floor = f
		}
	}
	for _, n := range of {
		if i := t.stays[n.of]; t.data.Floor[i] == floor {
			w := weight(n) / floors[floor]
			at[0] += w * t.data.At[i][0]
			at[1] += w * t.data.At[i][1]
		}
	}
	scatter.XX, scatter.YY = t.roomM2, t.roomM2
	for _, n := range of {
		if i := t.stays[n.of]; t.data.Floor[i] == floor {
			w := weight(n) / floors[floor]
			x, y := t.data.At[i][0]-at[0], t.data.At[i][1]-at[1]
			scatter.XX += w * x * x
			scatter.XY += w * x * y
			scatter.YY += w * y * y
		}
	}
	return floor, at, scatter
}

// mostProbes is how many stays k is chosen by, evenly taken from all: the mean of
// so many errors is known to a twentieth, and the best k is broad.
const mostProbes = 400

// choose sets k and what the scatter is widened by.
func (t *nearest) choose() {
	most := min(mostNeighbours, len(t.stays))
	t.k, t.widen = 1, 1
	sum, square, n := make([]float64, most+1), make([]float64, most+1), make([]int, most+1)
	var near []neighbour
	probes := min(mostProbes, len(t.stays))
	for p := range probes {
		a := p * len(t.stays) / probes
		i := t.stays[a]
		near = t.around(&t.sayings[a], most, t.data.PlaceOf[i], near)
		for k := 1; k <= len(near); k++ {
			_, at, c := t.mean(near[:k])
			x, y := at[0]-t.data.At[i][0], at[1]-t.data.At[i][1]
			sum[k] += math.Hypot(x, y)
			square[k] += (x*x*c.YY - 2*x*y*c.XY + y*y*c.XX) / (c.XX*c.YY - c.XY*c.XY)
			n[k]++
		}
	}
	for k := 1; k <= most && n[k] > 0; k++ {
		if n[k] == n[1] && sum[k] < sum[t.k] {
			t.k = k
		}
	}
	if most > 0 && n[t.k] > 0 {
		t.widen = square[t.k] / (2 * float64(n[t.k]))
	}
}

// Fix locates a stay.
func (t *nearest) Fix(st *walk.Stay) Fix {
	heard := heardAPs(t.fit, st)
	if heard == 0 || len(t.stays) == 0 {
		return Fix{Reason: nothingHeard}
	}
	s := t.say(st.Levels, st.Scans)
	near := t.around(&s, t.k, -1, nil)
	floor, at, c := t.mean(near)
	c.XX, c.XY, c.YY = c.XX*t.widen, c.XY*t.widen, c.YY*t.widen
	d := math.Inf(1)
	if len(near) > 0 {
		d = near[0].d2
	}
	return Fix{Located: true, Floor: floor, At: at, LogLik: -d / 2, Covariance: c, Sure: true, Heard: heard}
}
