package propagation

import (
	"fmt"
	"slices"
	"strings"

	"footrule/internal/radio"
	"footrule/internal/site"
)

// Environment is a kind of building with published figures for how levels fall
// off there, for predictions before anyone has walked.
type Environment struct {
	Name   string
	Says   string // what it is like, one line
	Source string
	Walls  bool // walls of the plan are counted; else the figures have walls in them

	falloff func(freqMHz float64) Falloff
	lossDB  float64 // of device and polarisation, beyond isotropic antennas
}

// must takes a row that is there.
func must(p Falloff, err error) Falloff {
	if err != nil {
		panic(err)
	}
	return p
}

func p1238At(place string, los bool) func(float64) Falloff {
	return func(f float64) Falloff { return must(P1238(place, los, f)) }
}

func tgnAt(model rune) func(float64) Falloff {
	return func(f float64) Falloff { return must(TGn(model, f)) }
}

const (
	ofP1238 = "ITU-R P.1238-11, Table 2"
	ofTGn   = "IEEE 802.11-03/940r4 (TGn)"
	ofInH   = "3GPP TR 38.901, Table 7.4.1-1"
)

// environments is the table of environments; the first is the default.
var environments = []Environment{
	{Name: "rooms", Says: "rooms off corridors, with the walls of the plan", Walls: true, lossDB: SystemLossDB, falloff: common,
		Source: "exponents 2.7 (2.4 GHz) and 2.9, spreads 4 and 4.5 dB: common practice; walls ITU-R P.2040-3"},
	{Name: "office-sight", Says: "an office in line of sight, with the walls of the plan", Walls: true, falloff: p1238At("office", true), Source: ofP1238 + ", walls ITU-R P.2040-3"},
	{Name: "office", Says: "an office out of sight, its walls in the figures", falloff: p1238At("office", false), Source: ofP1238},
	{Name: "corridor-sight", Says: "along a corridor, with the walls of the plan", Walls: true, falloff: p1238At("corridor", true), Source: ofP1238 + ", walls ITU-R P.2040-3"},
	{Name: "corridor", Says: "out of a corridor and around corners", falloff: p1238At("corridor", false), Source: ofP1238},
	{Name: "industrial-sight", Says: "an industrial hall in line of sight, with the walls of the plan", Walls: true, falloff: p1238At("industrial", true), Source: ofP1238 + ", walls ITU-R P.2040-3"},
	{Name: "industrial", Says: "an industrial hall full of plant", falloff: p1238At("industrial", false), Source: ofP1238},
	{Name: "inh-sight", Says: "an indoor office in line of sight, with the walls of the plan", Walls: true, falloff: func(f float64) Falloff { return InH(true, f) }, Source: ofInH + ", walls ITU-R P.2040-3"},
	{Name: "inh", Says: "an indoor office out of sight", falloff: func(f float64) Falloff { return InH(false, f) }, Source: ofInH},
	{Name: "tgn-b", Says: "a flat or small rooms", falloff: tgnAt('B'), Source: ofTGn + ", model B"},
	{Name: "tgn-c", Says: "a small office", falloff: tgnAt('C'), Source: ofTGn + ", model C"},
	{Name: "tgn-d", Says: "a typical office", falloff: tgnAt('D'), Source: ofTGn + ", model D"},
	{Name: "tgn-e", Says: "a large office", falloff: tgnAt('E'), Source: ofTGn + ", model E"},
	{Name: "tgn-f", Says: "a large hall", falloff: tgnAt('F'), Source: ofTGn + ", model F"},
}

// Environments lists all environments, the default first.
func Environments() []Environment { return slices.Clone(environments) }

// EnvironmentOf finds one by its name.
func EnvironmentOf(name string) (Environment, error) {
	var names []string
	for _, e := range environments {
		if e.Name == name {
			return e, nil
		}
		names = append(names, e.Name)
	}
	return Environment{}, fmt.Errorf("no environment %q; use one of %s", name, strings.Join(names, ", "))
}

// Typical is what is common in a WLAN where nothing else is known.
type Typical struct {
	Exponent, SigmaDB float64 // besides walls that are known; common practice (2.4 to 3.5, 3 to 8 dB)
	TxPowerDBm        float64 // common practice
	FloorDBm          float64 // lowest level that a laptop reports; common practice
}

// TypicalOf gives what is common in a band.
func TypicalOf(b radio.Band) Typical {
	if b == radio.Band2 {
		return Typical{Exponent: 2.7, SigmaDB: 4, TxPowerDBm: 14, FloorDBm: -92}
	}
	return Typical{Exponent: 2.9, SigmaDB: 4.5, TxPowerDBm: 17, FloorDBm: -90}
}

// SystemLossDB is what a level at 1 m lacks of free space: antennas that do not
// look at each other, polarisation (common practice). ScatterDB and MissRate are
// typical of a receiver: the sd from scan to scan and the share of scans that
// miss a strong radio.
const (
	SystemLossDB = 7.0
	ScatterDB    = 2.0
	MissRate     = 0.1
)

func common(freqMHz float64) Falloff {
	b, _ := radio.BandOf(int(freqMHz))
	t := TypicalOf(b)
	return Falloff{Loss1mDB: radio.FreeSpace1m(freqMHz), Exponent: t.Exponent, SigmaDB: t.SigmaDB}
}

// Falloff gives the path loss at the band's typical frequency.
func (e Environment) Falloff(b radio.Band) Falloff { return e.falloff(float64(b.TypicalMHz())) }

// Level1mDBm is the level at 1 m of a radio: its power (the plan's, else the
// typical one) and the gain of its antenna less the path loss over 1 m, and in
// "rooms" less [SystemLossDB].
func (e Environment) Level1mDBm(r *site.Radio) float64 {
	power := TypicalOf(r.Band).TxPowerDBm
	if r.TxPowerDBm != nil {
		power = *r.TxPowerDBm
	}
	return power + gainOf(r) - e.Falloff(r.Band).Loss1mDB - e.lossDB
}

// gainOf is the gain that the plan says of a radio's antenna, in dBi.
func gainOf(r *site.Radio) float64 {
	if r.Antenna == nil {
		return 0
	}
	return r.Antenna.GainDBi
}

// Fit is the model that the environment assumes for a site: nothing in it was
// measured. The notes say what stands in for what the plan does not say.
func (e Environment) Fit(s *site.Site) (*Fit, []string, error) {
	var groups []Group
	var radios []RadioFit
	var walls []WallLoss
	var notes []string
	for _, b := range radio.Bands() {
		fall, typical := e.Falloff(b), TypicalOf(b)
		g := Group{Band: b, Exponent: assumed(fall.Exponent), SigmaDB: assumed(fall.SigmaDB), ShadowDB: fall.SigmaDB, ScatterDB: ScatterDB,
			FloorDBm: typical.FloorDBm, MissRate: MissRate, BreakM: fall.BreakM, Beyond: fall.Beyond}
		used := false
		for _, ref := range s.Radios() {
			used = used || s.AccessPoints[ref.AP].Radios[ref.Radio].Band == b
		}
		if !used {
			continue
		}
		groups = append(groups, g)
		if e.Walls {
			for _, m := range s.Materials() {
				loss, _ := WallLossDB(m, b)
				walls = append(walls, WallLoss{Material: m, Band: b, LossDB: assumed(loss)})
			}
		}
		if len(s.Floors) > 1 {
			walls = append(walls, WallLoss{Material: Storey, Band: b, LossDB: assumed(StoreyDB)})
		}
	}
	powers := 0
	for _, ref := range s.Radios() {
		r := &s.AccessPoints[ref.AP].Radios[ref.Radio]
		if r.TxPowerDBm == nil {
			powers++
		}
		radios = append(radios, RadioFit{InFit: true, Level1m: assumed(e.Level1mDBm(r)), ScanMiss: MissRate})
	}
	if powers > 0 {
		notes = append(notes, fmt.Sprintf("the plan does not say the power of %d of %d radios; %g dBm at 2.4 GHz and %g dBm above stand in (common practice)",
			powers, len(radios), TypicalOf(radio.Band2).TxPowerDBm, TypicalOf(radio.Band5).TxPowerDBm))
	}
	if e.Walls {
		for _, m := range s.Materials() {
			if _, known := WallLossDB(m, radio.Band5); !known {
				notes = append(notes, fmt.Sprintf("the loss of %s is not known; %g dB stand in (a light wall of COST 231)", m, LightWallDB))
			}
		}
	}
	f, err := Assume(s, Options{Model: TwoLevel}, groups, radios, walls)
	return f, notes, err
}

// assumed is a value that nothing was estimated from.
func assumed(v float64) Value { n := nan(); n.Est = v; return n }
