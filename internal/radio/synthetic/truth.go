package synthetic

import (
	"maps"
	"slices"
	"time"

	"footrule/internal/radio"
	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// Truth is how a site really is. The level in dBm that a scan reports of one
// BSS b of radio k at the place p, facing θ, is, rounded to 1 dB,
//
//	A_k − 10 n_k log10(d/1 m) − Σ_w c_w L_w − c_f F        Scanner.Model
//	+ S_k(p)                                               Scanner.Mean
//	− B(θ, p) + steps + drift + offset of receiver and b + scatter
//
// with d in three dimensions from where the radio really hangs, at least
// [site.MinDistanceM]; c_w and c_f the walls of each material and the floors
// crossed; S_k the shadowing; B the loss in the surveyor's body.
//
// A scan hears it where a level before rounding is above the floor of hearing,
// and the scan does not miss the radio.
type Truth struct {
	AccessPoints []AccessPoint // in the order of Site.AccessPoints
	Radios       []Radio       // in the order of Site.Radios
	Foreign      []Foreign     // BSSs of neighbours, on no plan

	Walls       map[Wall]float64       // L, dB a crossing; a material that is not here costs nothing
	FloorLossDB map[radio.Band]float64 // F, dB a storey

	ShadowLengthM float64 // l: the correlation of S over a distance d is exp(−d/l)
	APShare       float64 // share of the variance of S that the radios of one AP have in common, 0 to 1

	BodyLossDB float64 // B with the body full between receiver and AP

	ScatterDB    float64 // sd from scan to scan, common to the BSSs of a radio
	BSSScatterDB float64 // sd from scan to scan, of each BSS by itself

	FloorDBm    map[radio.Band]float64 // floor of hearing
	FloorSoftDB float64                // sd of that floor from scan to scan

	// The receiver and each AP drift as stationary AR(1) processes in time with
	// correlation exp(−Δt/DriftTime).
	DriftDB   float64 // sd, receiver
	APDriftDB float64 // sd, each radio
	DriftTime time.Duration

	// StaleRate is the share of the BSSs that a sweep did not hear, but an
	// earlier one at another place or facing did, that it still lists.
	StaleRate float64

	SweepMin, SweepMax time.Duration // an active sweep takes between these

	// ReceiverOffsetDB is a fault: this receiver reports so much more than others do.
	ReceiverOffsetDB float64
	// PlanScale is a fault: metres of the building per metre of the plan, for
	// places of points about the plan's origin, while APs hang as they are said
	// to. Zero stands for 1.
	PlanScale float64
	// Strays is a fault: points that are recorded where nobody stood.
	Strays []Stray
}

// AccessPoint is where a box really hangs, whatever the plan says.
type AccessPoint struct {
	Floor   string
	At      orb.Point
	HeightM float64
	// Dies is a fault: it is silent from DiesAfter on, counted from the start of
	// the scanner. With DiesAfter zero it is never heard.
	Dies      bool
	DiesAfter time.Duration
}

// Radio is one transmitter as it really is.
type Radio struct {
	BSSs       []BSS
	Band       radio.Band
	FreqMHz    int
	Level1mDBm float64       // A
	Exponent   float64       // n
	SigmaDB    float64       // sd of S
	MissRate   float64       // share of scans that miss it however strong it is
	Antenna    *site.Antenna // its pattern; its gain is in Level1mDBm. nil for none
	// Steps is a fault: its power changes during the walk.
	Steps []Step
}

// BSS is one BSSID of a radio.
type BSS struct {
	ID       radio.BSSID
	SSID     string
	OffsetDB float64 // against its radio
}

// Step adds DB to the power of a radio, After the start of the scanner.
type Step struct {
	After time.Duration
	DB    float64
}

// Foreign is a radio of a neighbour, with walls outside the plan in its level.
type Foreign struct {
	Radio
	Floor   string
	At      orb.Point
	HeightM float64
}

// Wall is a material in a band.
type Wall struct {
	Material string
	Band     radio.Band
}

// Stray says that whoever is recorded within half a metre of At stands Off
// from there, in metres right and up on the plan.
type Stray struct {
	Floor string
	At    orb.Point
	Off   orb.Point
}

// Swap hangs two boxes each at the place of the other, so that the labels on
// the plan are exchanged.
func (t *Truth) Swap(i, j int) {
	a, b := &t.AccessPoints[i], &t.AccessPoints[j]
	a.Floor, b.Floor = b.Floor, a.Floor
	a.At, b.At = b.At, a.At
	a.HeightM, b.HeightM = b.HeightM, a.HeightM
}

// Clone gives a truth that shares nothing with t.
func (t Truth) Clone() Truth {
	t.AccessPoints = slices.Clone(t.AccessPoints)
	t.Radios = slices.Clone(t.Radios)
	for k := range t.Radios {
		t.Radios[k] = t.Radios[k].clone()
	}
	t.Foreign = slices.Clone(t.Foreign)
	for k := range t.Foreign {
		t.Foreign[k].Radio = t.Foreign[k].Radio.clone()
	}
	t.Walls, t.FloorLossDB, t.FloorDBm = maps.Clone(t.Walls), maps.Clone(t.FloorLossDB), maps.Clone(t.FloorDBm)
	t.Strays = slices.Clone(t.Strays)
	return t
}

func (r Radio) clone() Radio {
	r.BSSs, r.Steps = slices.Clone(r.BSSs), slices.Clone(r.Steps)
	if r.Antenna != nil {
		a := *r.Antenna
		r.Antenna = &a
	}
	return r
}

// really gives where someone stands who is recorded at a place.
func (t *Truth) really(floor string, at orb.Point) orb.Point {
	for _, s := range t.Strays {
		if s.Floor == floor && hypot(at, s.At) <= 0.5 {
			at = orb.Point{at[0] + s.Off[0], at[1] + s.Off[1]}
			break
		}
	}
	if t.PlanScale != 0 {
		at = orb.Point{at[0] * t.PlanScale, at[1] * t.PlanScale}
	}
	return at
}
