package propagation

import (
	"fmt"
	"math"

	"footrule/internal/radio"
)

// Falloff is a path loss between isotropic antennas as a function of the
// distance d in metres,
//
//	L(d) = Loss1mDB + 10 n log10 d                                  up to BreakM
//	L(d) = L(BreakM) + 10 n' log10(d/BreakM),  n' = Beyond           beyond
//
// with a spread of SigmaDB around it. A BreakM of 0 means that there is none.
type Falloff struct {
	Loss1mDB, Exponent float64
	BreakM, Beyond     float64
	SigmaDB            float64
}

// At is L(d) in dB.
func (p Falloff) At(d float64) float64 {
	l := p.Loss1mDB + 10*p.Exponent*math.Log10(d)
	if p.BreakM > 0 && d > p.BreakM {
		l += 10 * (p.Beyond - p.Exponent) * math.Log10(d/p.BreakM)
	}
	return l
}

// p1238Row is a row of ITU-R P.1238-11 (2021), Table 2:
// L = 10 α log10 d + β + 10 γ log10 f with f in GHz, and its spread σ.
type p1238Row struct {
	place                    string
	los                      bool
	alpha, beta, gamma, sdDB float64
}

var p1238 = []p1238Row{
	{"office", true, 1.46, 34.62, 2.03, 3.76},
	{"office", false, 2.46, 29.53, 2.38, 5.04},
	{"corridor", true, 1.63, 28.12, 2.25, 4.07},
	{"corridor", false, 2.77, 29.27, 2.48, 7.63},
	{"industrial", true, 2.31, 24.52, 2.06, 2.69},
	{"industrial", false, 3.79, 21.01, 1.34, 9.05},
}

// P1238 is the site-general model of ITU-R P.1238-11 in an office, a corridor or
// an industrial hall, with or without line of sight. Without it the walls in
// between are part of the figures.
func P1238(place string, lineOfSight bool, freqMHz float64) (Falloff, error) {
	for _, r := range p1238 {
		if r.place == place && r.los == lineOfSight {
			return Falloff{Loss1mDB: r.beta + 10*r.gamma*math.Log10(freqMHz/1000), Exponent: r.alpha, SigmaDB: r.sdDB}, nil
		}
	}
	return Falloff{}, fmt.Errorf("ITU-R P.1238-11 has no place %q; use office, corridor or industrial", place)
}

// InH is the indoor office of 3GPP TR 38.901, Table 7.4.1-1, for 1 to 150 m:
//
//	with line of sight   32.4 + 17.3 log10 d + 20 log10 f, σ = 3 dB
//	without              max of that and 17.3 + 38.3 log10 d + 24.9 log10 f, σ = 8.03 dB
//
// f in GHz. The second is steeper, so that the maximum is a break where both meet.
func InH(lineOfSight bool, freqMHz float64) Falloff {
	f := math.Log10(freqMHz / 1000)
	p := Falloff{Loss1mDB: 32.4 + 20*f, Exponent: 1.73, SigmaDB: 3}
	if !lineOfSight {
		p.SigmaDB = 8.03
		p.Beyond = 3.83
		p.BreakM = math.Pow(10, (p.Loss1mDB-(17.3+24.9*f))/(38.3-17.3))
	}
	return p
}

// TGn is the path loss of channel model A to F of IEEE 802.11 TGn (document
// 11-03/940r4, Erceg and others 2004): free space up to 5, 5, 5, 10, 20 and
// 30 m, then an exponent of 3.5. The spread is that beyond the break (4, 4, 5,
// 5, 6 and 6 dB: from memory).
func TGn(model rune, freqMHz float64) (Falloff, error) {
	if model < 'A' || model > 'F' {
		return Falloff{}, fmt.Errorf("IEEE 802.11 TGn has no channel model %q; use A to F", model)
	}
	i := model - 'A'
	return Falloff{
		Loss1mDB: radio.FreeSpace1m(freqMHz), Exponent: 2,
		BreakM: []float64{5, 5, 5, 10, 20, 30}[i], Beyond: 3.5,
		SigmaDB: []float64{4, 4, 5, 5, 6, 6}[i],
	}, nil
}
