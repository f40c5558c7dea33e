package synthetic

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"footrule/internal/propagation"
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
// Exponents, spreads besides walls that are known, powers and the loss of the
// system are those of [propagation.TypicalOf] (common practice). Correlation 5 m:
// the indoor office of 3GPP TR 38.901 has 6 m without line of sight. Walls: ITU-R
// P.2040-3 slabs at normal incidence, to a tenth of a decibel; partitions and
// floors from COST 231. Body loss up to 6 dB and a repeat sd of 2 to 4 dB: common
// practice. Channels are those in wide use. The share of missed scans, the drift
// and the neighbours are invented.
func Office() Environment {
	return Environment{
		Exponent:     each(func(b radio.Band) float64 { return propagation.TypicalOf(b).Exponent }),
		TxPowerDBm:   each(func(b radio.Band) float64 { return propagation.TypicalOf(b).TxPowerDBm }),
		SystemLossDB: propagation.SystemLossDB,
		Level1mSD:    1.5,
		BSSOffsetSD:  0.5,
		SigmaDB:      each(func(b radio.Band) float64 { return propagation.TypicalOf(b).SigmaDB }),
		Wall: map[string]map[radio.Band]float64{
			"plasterboard": each(func(radio.Band) float64 { return propagation.LightWallDB }),
			"brick":        slab("brick"),
			"concrete":     slab("concrete"),
			"glass":        slab("glass"),
		},
		Other: each(func(radio.Band) float64 { return propagation.LightWallDB }),
		FreqMHz: map[radio.Band][]int{
			radio.Band2: {2412, 2437, 2462},
			radio.Band5: {5180, 5260, 5500, 5580, 5660},
			radio.Band6: {5975, 6055, 6135, 6215, 6295},
		},
		MissRate:   propagation.MissRate,
		SSIDs:      []string{"works", "guests"},
		Neighbours: 6,
		Rest: Truth{
			FloorLossDB:   each(func(radio.Band) float64 { return propagation.StoreyDB }),
			ShadowLengthM: 5,
			APShare:       0.5,
			BodyLossDB:    5,
			ScatterDB:     propagation.ScatterDB,
			BSSScatterDB:  0.7,
			FloorDBm:      each(func(b radio.Band) float64 { return propagation.TypicalOf(b).FloorDBm }),
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

func each(of func(radio.Band) float64) map[radio.Band]float64 {
	out := map[radio.Band]float64{}
	for _, b := range radio.Bands() {
		out[b] = of(b)
	}
	return out
}

func slab(material string) map[radio.Band]float64 {
	return each(func(b radio.Band) float64 {
		db, _ := propagation.WallLossDB(material, b)
		return math.Round(10*db) / 10
	})
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
			if r.Antenna != nil {
				power += r.Antenna.GainDBi
			}
			out := e.radio(rng, r.Band, dealt, power)
			if r.Antenna != nil {
				a := *r.Antenna
				out.Antenna = &a
			}
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
