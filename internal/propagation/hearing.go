package propagation

import (
	"math"

	"footrule/internal/walk"
)

// Hearing is what one stay says of one radio under a fit, as a function of the
// mean level μ at the place: see [Fit.LogLik]. The zero value says nothing.
type Hearing struct {
	says     bool
	heard    bool
	base     float64 // ℓ = base − (ȳ − μ)²/2V of the scans that heard
	mean     float64 // ȳ
	variance float64 // V
	unheard  float64 // censored, robust: π of a silence, whose σ is √V and whose floor is that of pair
	robust   bool
	pair     pair
	group    *Group
	missed   *curve // two-level: what the scans that missed say; nil for none
}

// Hearing prepares the log likelihood of a radio's level in a stay of so many
// scans, for use at many places.
func (f *Fit) Hearing(radio int, l walk.Level, scans int) Hearing {
	g := f.Group(radio)
	scans = l.Listened(scans)
	if g == nil || scans == 0 || f.Model.IgnoresSilence() && l.Heard == 0 {
		return Hearing{}
	}
	rate := f.rates[radio]
	h := Hearing{says: true, heard: l.Heard > 0, mean: l.MeanDBm, group: g, unheard: rate.stay}
	if f.Model != TwoLevel {
		sigma := g.ShadowDB
		h.variance = sigma * sigma
		h.base = -halfLog2Pi - math.Log(sigma) + math.Log1p(-rate.stay)
		h.pair.floor = g.FloorDBm
		h.robust = f.Model == Robust
		return h
	}
	h.pair = pair{heard: l.Heard, missed: scans - l.Heard, mean: l.MeanDBm, sumSq: l.SumSqDB, floor: g.FloorDBm - 0.5, scan: rate.scan, stay: rate.stay}
	if h.heard {
		var o deriv
		h.pair.gaussian(l.MeanDBm, g.ShadowDB, g.ScatterDB, &o)
		h.base = o.l + float64(l.Heard)*math.Log1p(-rate.scan) + math.Log1p(-rate.stay)
		h.variance = g.ShadowDB*g.ShadowDB + g.ScatterDB*g.ScatterDB/float64(l.Heard)
	}
	if h.pair.missed > 0 {
		h.missed = f.curve(radio, &h.pair, g)
	}
	return h
}

// At is the log likelihood (natural log) at a mean level in dBm, and its
// derivative, per dB.
func (h *Hearing) At(mu float64) (logLik, slope float64) {
	if !h.says {
		return 0, 0
	}
	u := 0.0
	if h.robust {
		return h.resistant(mu)
	}
	if h.heard {
		u = h.mean - mu
		logLik, slope = h.base-u*u/(2*h.variance), u/h.variance
		if h.missed == nil {
			return logLik, slope
		}
	} else if h.missed == nil {
		sigma := math.Sqrt(h.variance)
		v, v1, _ := logMissed((h.pair.floor-mu)/sigma, h.unheard)
		return v, -v1 / sigma
	}
	v, d, ok := h.missed.at(h.pair.floor - mu - h.missed.weight*u)
	if !ok {
		var o deriv
		h.pair.logLik(mu, h.group.ShadowDB, h.group.ScatterDB, &o)
		return o.l, o.m
	}
	logLik += v
	slope -= d * (1 - h.missed.weight)
	if !h.heard && h.pair.stay > 0 {
		e := (1 - h.pair.stay) * math.Exp(logLik)
		logLik, slope = math.Log(h.pair.stay+e), slope*e/(h.pair.stay+e)
	}
	return logLik, slope
}

// resistant is At of a robust fit.
func (h *Hearing) resistant(mu float64) (logLik, slope float64) {
	s := math.Sqrt(h.variance)
	if h.heard {
		logLik, slope, _ = huberHeard((h.mean-mu)/s, s, h.unheard)
		return logLik, slope
	}
	logLik, slope, _ = huberMissed((h.pair.floor-mu)/s, h.unheard)
	return logLik, -slope / s
}
