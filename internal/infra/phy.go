package infra

import (
	"fmt"
	"slices"

	"footrule/internal/site"
)

// modulation is one index of a modulation and coding scheme.
type modulation struct {
	bits float64 // per subcarrier and stream, N_BPSCS
	rate float64 // of the code, R
}

// The modulation and coding schemes, by their index (IEEE 802.11-2020 19.5,
// 21.5; 802.11ax-2021 27.5; 802.11be 36.5).
var modulations = []modulation{
	{1, 1. / 2}, {2, 1. / 2}, {2, 3. / 4}, {4, 1. / 2}, {4, 3. / 4}, {6, 2. / 3}, {6, 3. / 4}, {6, 5. / 6},
	{8, 3. / 4}, {8, 5. / 6}, {10, 3. / 4}, {10, 5. / 6}, {12, 3. / 4}, {12, 5. / 6},
}

// numerology is what an amendment sets of the rate.
type numerology struct {
	subcarriers map[int]float64 // N_SD by width in MHz
	symbolUS    float64         // T_sym with the shortest guard interval
	topMCS      int
}

var (
	ofdm   = map[int]float64{20: 48}
	ht     = map[int]float64{20: 52, 40: 108}
	vht    = map[int]float64{20: 52, 40: 108, 80: 234, 160: 468}
	heTone = map[int]float64{20: 234, 40: 468, 80: 980, 160: 1960, 320: 3920}
)

var numerologies = map[site.Standard]numerology{
	"802.11a":  {ofdm, 4, 6}, // 64-QAM 3/4, in 802.11n's counting
	"802.11g":  {ofdm, 4, 6},
	"802.11n":  {ht, 3.6, 7},
	"802.11ac": {vht, 3.6, 9},
	"802.11ax": {heTone, 13.6, 11},
	"802.11be": {heTone, 13.6, 13},
}

// Rate is the PHY rate in Mbit/s:
//
//	N_SD N_BPSCS R N_SS / T_sym
//
// with the shortest guard interval of the amendment. mcs is the index of the
// modulation and coding scheme, of 802.11n the one of a single stream.
func Rate(std site.Standard, widthMHz, streams, mcs int) (float64, error) {
	l, ok := std.Limits()
	switch {
	case !ok:
		return 0, fmt.Errorf("no standard %q", std)
	case !slices.Contains(l.Widths, widthMHz):
		return 0, fmt.Errorf("%s has no channels of %d MHz", std, widthMHz)
	case streams < 1 || streams > l.Streams:
		return 0, fmt.Errorf("%s has 1 to %d spatial streams, not %d", std, l.Streams, streams)
	case mcs < 0 || mcs > numerologies[std].topMCS || !allowed(std, widthMHz, streams, mcs):
		return 0, fmt.Errorf("%s has no MCS %d with %d MHz and %d streams", std, mcs, widthMHz, streams)
	}
	n := numerologies[std]
	m := modulations[mcs]
	return n.subcarriers[widthMHz] * m.bits * m.rate * float64(streams) / n.symbolUS, nil
}

// TopRate is the highest [Rate] of a radio and the MCS that gives it.
func TopRate(std site.Standard, widthMHz, streams int) (mbps float64, mcs int, err error) {
	n, ok := numerologies[std]
	if !ok {
		return 0, 0, fmt.Errorf("no standard %q", std)
	}
	for mcs = n.topMCS; mcs >= 0; mcs-- {
		if allowed(std, widthMHz, streams, mcs) {
			break
		}
	}
	mbps, err = Rate(std, widthMHz, streams, mcs)
	return mbps, mcs, err
}

// allowed leaves out what 802.11ac leaves out: combinations whose bits don't
// fill a whole number of symbols of each encoder (IEEE 802.11-2020 21.5).
func allowed(std site.Standard, width, streams, mcs int) bool {
	if std != "802.11ac" {
		return true
	}
	switch {
	case width == 20 && mcs == 9:
		return streams == 3 || streams == 6
	case width == 80 && mcs == 6:
		return streams != 3 && streams != 7
	case width == 80 && mcs == 9:
		return streams != 6
	case width == 160 && mcs == 9:
		return streams != 3
	}
	return true
}
