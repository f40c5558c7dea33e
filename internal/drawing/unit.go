package drawing

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

const (
	inch         = 0.0254        // exact since 1959
	surveyFoot   = 1200.0 / 3937 // the foot of the United States' survey, exact
	minUnitM     = 1e-6
	maxUnitM     = 1e4
	maxDistanceM = 20e3
)

// insertUnits is the table of the DXF header's $INSUNITS.
var insertUnits = map[int]struct {
	name   string
	metres float64
}{
	1: {"in", inch}, 2: {"ft", 12 * inch}, 3: {"mi", 63360 * inch}, 4: {"mm", 0.001}, 5: {"cm", 0.01}, 6: {"m", 1}, 7: {"km", 1000},
	8: {"µin", inch * 1e-6}, 9: {"mil", inch * 1e-3}, 10: {"yd", 36 * inch}, 11: {"Å", 1e-10}, 12: {"nm", 1e-9}, 13: {"µm", 1e-6},
	14: {"dm", 0.1}, 15: {"dam", 10}, 16: {"hm", 100}, 17: {"Gm", 1e9}, 18: {"au", 149597870700}, 19: {"ly", 9460730472580800}, 20: {"pc", 3.0856775814913673e16},
	21: {"US survey ft", surveyFoot}, 22: {"US survey in", surveyFoot / 12}, 23: {"US survey yd", 3 * surveyFoot}, 24: {"US survey mi", 5280 * surveyFoot},
}

// units are those that people type.
var units = map[string]float64{"mm": 0.001, "cm": 0.01, "dm": 0.1, "m": 1, "km": 1000, "in": inch, "ft": 12 * inch, "yd": 36 * inch}

// ParseUnit reads a unit by name (mm, cm, dm, m, km, in, ft, yd) or a number of
// metres.
func ParseUnit(s string) (float64, error) {
	if u, ok := units[strings.ToLower(s)]; ok {
		return u, nil
	}
	v, err := strconv.ParseFloat(strings.TrimSuffix(strings.ToLower(s), "m"), 64)
	if err != nil || !(v >= minUnitM && v <= maxUnitM) {
		return 0, fmt.Errorf("unit %q; write mm, cm, dm, m, km, in, ft, yd, or how many metres one unit is", s)
	}
	return v, nil
}

// ParseDistance reads a length with its unit, 12.5m or 41ft, into metres.
func ParseDistance(s string) (float64, error) {
	num := strings.TrimRightFunc(s, func(r rune) bool { return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' })
	u, ok := units[strings.ToLower(s[len(num):])]
	v, err := strconv.ParseFloat(num, 64)
	if !ok || err != nil || !(v > 0 && v*u <= maxDistanceM) {
		return 0, fmt.Errorf("distance %q; write a number with its unit, such as 12.5m", s)
	}
	return v * u, nil
}

// ParsePlace reads x,y.
func ParsePlace(s string) ([2]float64, error) {
	a, b, ok := strings.Cut(s, ",")
	x, err1 := strconv.ParseFloat(a, 64)
	y, err2 := strconv.ParseFloat(b, 64)
	if !ok || err1 != nil || err2 != nil || !(math.Abs(x) <= maxNumber && math.Abs(y) <= maxNumber) {
		return [2]float64{}, fmt.Errorf("place %q; write x,y without a blank, such as 120,80", s)
	}
	return [2]float64{x, y}, nil
}
