package position

import (
	"math"

	"footrule/internal/propagation"
	"footrule/internal/radio"
)

// Forecast is what more points would do to the intervals: half of the width of
// each 95 % interval, now and after More further points like those so far.
type Forecast struct {
	Points, More int
	CE50         Narrowing   // metres
	Exponents    []BandReach // per group of the fit
}

// Narrowing is half of the width of a 95 % interval, NaN where unknown.
type Narrowing struct {
	Now, Then float64
}

// BandReach is a [Narrowing] of the exponent of a band.
type BandReach struct {
	Band radio.Band
	Narrowing
}

// Outlook says what further points would buy, for the screen's line "5 more
// points: ±0.5 m". Both intervals rest on independent places, so that their
// widths go as 1/√places:
//
//	then = now √(points/(points + more))
//
// It is the interval that narrows; that a better fit also makes smaller errors
// is not counted. A point far from or near to the access points, where the
// points so far are not, narrows the exponent by more than this.
func Outlook(e *Errors, f *propagation.Fit, more int) Forecast {
	if more < 0 {
		panic("position: fewer points than none")
	}
	shrink := func(half float64, n int) Narrowing {
		if n == 0 {
			return Narrowing{math.NaN(), math.NaN()}
		}
		return Narrowing{Now: half, Then: half * math.Sqrt(float64(n)/float64(n+more))}
	}
	o := Forecast{Points: e.Points, More: more, CE50: shrink(e.CI95["ce50_m"].Half(), e.Points)}
	fitted := e.Points
	for _, r := range f.Radios {
		if r.InFit {
			fitted = r.Points + r.Silent // places of the fit, the same for every radio
			break
		}
	}
	for _, g := range f.Groups {
		o.Exponents = append(o.Exponents, BandReach{g.Band, shrink((g.Exponent.Hi-g.Exponent.Lo)/2, fitted)})
	}
	return o
}
