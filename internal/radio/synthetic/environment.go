package synthetic

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"footrule/internal/radio"
	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// Environment is what is typical of a kind of building, from which a Truth for
// a site is drawn.
type Environment struct {
	Exponent   map[radio.Band]float64
	ExponentSD float64 // of radios around it

	// A radio's level at 1 m is its power (the plan's, else TxPowerDBm) less the
	// free-space loss over 1 m less SystemLossDB (antennas that do not look at
	// each other, polarisation), with sd Level1mSD.
	TxPowerDBm   map[radio.Band]float64
	SystemLossDB float64
	Level1mSD    float64
	BSSOffsetSD  float64

	SigmaDB map[radio.Band]float64
	Wall    map[string]map[radio.Band]float64 // by material
	Other   map[radio.Band]float64            // materials that Wall has not

	FreqMHz  map[radio.Band][]int // channels, dealt out in turn
	MissRate float64              // mean; radios vary by a half to one and a half of it
	SSIDs    []string             // of the first, second, … BSSID of a radio; the last for the rest

	Neighbours int // foreign radios, around the site

	// Rest is taken over as it stands; its lists and walls are drawn.
	Rest Truth
}

// Office is a floor of offices.
//
// Exponents 2.7 and 2.9 and spreads of 4 to 5 dB besides walls that are known:
// common practice (2.4 to 3.5, 3 to 8 dB). Correlation 5 m: the indoor office of
// 3GPP TR 38.901 has 6 m without line of sight. Walls: ITU-R
// P.2040-3 slabs at normal incidence (0.2 m of brick 5.8 and 6.3 dB, 0.2 m of
// concrete 14.8 and 25.3, glass of 6 mm 1.9 and 3.3); partitions 3.4 dB, floors
// 18.3 dB from COST 231 (1800 MHz). Body loss up to 6 dB and a repeat
// sd of 2 to 4 dB: common practice. Channels are those in wide use. The share of
// missed scans, the drift and the neighbours are invented.
func Office() Environment {
	return Environment{
		Exponent:     map[radio.Band]float64{radio.Band2: 2.7, radio.Band5: 2.9, radio.Band6: 2.9},
		TxPowerDBm:   map[radio.Band]float64{radio.Band2: 14, radio.Band5: 17, radio.Band6: 17},
		SystemLossDB: 7,
		Level1mSD:    1.5,
		BSSOffsetSD:  0.5,
		SigmaDB:      map[radio.Band]float64{radio.Band2: 4, radio.Band5: 4.5, radio.Band6: 4.5},
		Wall: map[string]map[radio.Band]float64{
			"plasterboard": {radio.Band2: 3.4, radio.Band5: 3.4, radio.Band6: 3.4},
			"brick":        {radio.Band2: 5.8, radio.Band5: 6.3, radio.Band6: 6.3},
			"concrete":     {radio.Band2: 14.8, radio.Band5: 25.3, radio.Band6: 28.1},
			"glass":        {radio.Band2: 1.9, radio.Band5: 3.3, radio.Band6: 3.1},
		},
		Other: map[radio.Band]float64{radio.Band2: 3.4, radio.Band5: 3.4, radio.Band6: 3.4},
		FreqMHz: map[radio.Band][]int{
			radio.Band2: {2412, 2437, 2462},
			radio.Band5: {5180, 5260, 5500, 5580, 5660},
			radio.Band6: {5975, 6055, 6135, 6215, 6295},
		},
		MissRate:   0.1,
		SSIDs:      []string{"works", "guests"},
		Neighbours: 6,
		Rest: Truth{
			FloorLossDB:   map[radio.Band]float64{radio.Band2: 18.3, radio.Band5: 18.3, radio.Band6: 18.3},
			ShadowLengthM: 5,
			APShare:       0.5,
			BodyLossDB:    5,
			ScatterDB:     2,
			BSSScatterDB:  0.7,
			FloorDBm:      map[radio.Band]float64{radio.Band2: -92, radio.Band5: -90, radio.Band6: -90},
			FloorSoftDB:   0.5,
			DriftDB:       0.5,
			APDriftDB:     0.5,
			DriftTime:     10 * time.Minute,
			StaleRate:     0.02,
			SweepMin:      300 * time.Millisecond,
			SweepMax:      500 * time.Millisecond,
		},
	}
}

// Plain is a building in which only the propagation model acts: levels with
// shadowing and scatter, and nothing else. Exponent, spreads and walls are those
// of [Office]; the shadowing of each radio is its own.
func Plain() Environment {
	e := Office()
	e.Level1mSD, e.BSSOffsetSD, e.MissRate, e.Neighbours = 0, 0, 0, 0
	e.Rest.APShare, e.Rest.BodyLossDB, e.Rest.BSSScatterDB, e.Rest.FloorSoftDB = 0, 0, 0, 0
	e.Rest.DriftDB, e.Rest.APDriftDB, e.Rest.StaleRate = 0, 0, 0
	return e
}

// Truth draws the truth of a site: every AP hangs where the plan says.
func (e Environment) Truth(s *site.Site, seed uint64) Truth {
	rng := rand.New(rand.NewPCG(seed, streamTruth))
	t := e.Rest.Clone()
	t.AccessPoints, t.Radios, t.Foreign = nil, nil, nil
	t.Walls = map[Wall]float64{}
	for _, m := range s.Materials() {
		for _, b := range radio.Bands() {
			loss, known := e.Wall[m]
			if !known {
				loss = e.Other
			}
			t.Walls[Wall{m, b}] = loss[b]
		}
	}
	dealt := map[radio.Band]int{}
	for _, ap := range s.AccessPoints {
		t.AccessPoints = append(t.AccessPoints, AccessPoint{Floor: ap.Floor, At: ap.At, HeightM: ap.HeightM})
		for _, r := range ap.Radios {
			power := e.TxPowerDBm[r.Band]
			if r.TxPowerDBm != nil {
				power = *r.TxPowerDBm
			}
			out := e.radio(rng, r.Band, dealt, power)
			for i, b := range r.BSSIDs {
				out.BSSs = append(out.BSSs, BSS{ID: b, SSID: e.ssid(i), OffsetDB: e.BSSOffsetSD * rng.NormFloat64()})
			}
			t.Radios = append(t.Radios, out)
		}
	}
	if len(s.Floors) > 0 {
		for i := range e.Neighbours {
			t.Foreign = append(t.Foreign, e.neighbour(rng, s, i, dealt))
		}
	}
	return t
}

func (e Environment) radio(rng *rand.Rand, b radio.Band, dealt map[radio.Band]int, power float64) Radio {
	freq := b.TypicalMHz()
	if f := e.FreqMHz[b]; len(f) > 0 {
		freq = f[dealt[b]%len(f)]
		dealt[b]++
	}
	return Radio{
		Band: b, FreqMHz: freq,
		Level1mDBm: power - radio.FreeSpace1m(float64(freq)) - e.SystemLossDB + e.Level1mSD*rng.NormFloat64(),
		Exponent:   e.Exponent[b] + e.ExponentSD*rng.NormFloat64(),
		SigmaDB:    e.SigmaDB[b],
		MissRate:   e.MissRate * (0.5 + rng.Float64()),
	}
}

// outerWallDB is what a neighbour's level loses on its way in (invented).
const outerWallDB = 10

func (e Environment) neighbour(rng *rand.Rand, s *site.Site, i int, dealt map[radio.Band]int) Foreign {
	f := &s.Floors[i%len(s.Floors)]
	box := f.Outline.Bound()
	centre, angle := box.Center(), 2*math.Pi*rng.Float64()
	away := math.Hypot(box.Max[0]-box.Min[0], box.Max[1]-box.Min[1])/2 + 5 + 15*rng.Float64()
	band := []radio.Band{radio.Band2, radio.Band5}[i%2]
	out := Foreign{
		Radio: e.radio(rng, band, dealt, e.TxPowerDBm[band]),
		Floor: f.ID, HeightM: 2.5,
		At: orb.Point{centre[0] + away*math.Cos(angle), centre[1] + away*math.Sin(angle)},
	}
	out.Level1mDBm -= outerWallDB
	out.BSSs = []BSS{{ID: radio.BSSID{0x02, 0x00, 0x5e, 0xf0, byte(i >> 8), byte(i)}, SSID: fmt.Sprintf("neighbour-%d", i+1)}}
	return out
}

func (e Environment) ssid(i int) string {
	if len(e.SSIDs) == 0 {
		return ""
	}
	return e.SSIDs[min(i, len(e.SSIDs)-1)]
}
