package doubt

import (
	"time"

	"github.com/paulmach/orb"
)

// Kind names a family of faults.
type Kind string

// The families.
const (
	Moved     Kind = "moved"     // an access point hangs elsewhere, on its floor or another
	Labels    Kind = "labels"    // access points hang at each other's places
	Power     Kind = "power"     // the power of an access point changed during the walk
	Event     Kind = "event"     // several access points changed at a time: a wall, an area, the receiver
	Dies      Kind = "dies"      // an access point fell silent
	Dead      Kind = "dead"      // an access point was never heard, and should have been
	Unreached Kind = "unreached" // an access point was never heard, and no point was near enough
	Scale     Kind = "scale"     // points and access points are not drawn to one scale
	Point     Kind = "point"     // a visit was made elsewhere than it is recorded
	Exchange  Kind = "exchange"  // two points are recorded as each other
	Receiver  Kind = "receiver"  // one receiver reports more than another
	Slope     Kind = "slope"     // the level of an access point does not fall with distance
)

// thresholds are those of the log Bayes factor above which a fault is named. They
// are calibrated on clean sites, because maxima over places and moments with
// estimated covariances do not follow textbook quantiles.
var thresholds = map[Kind]float64{
	Moved: 5, Labels: 3, Power: 4, Event: 4, Dies: 3.5, Dead: 4.6, Scale: 5, Point: 7.5, Exchange: 9, Receiver: 3, Slope: 5,
}

// Visit is when something happened or where somebody stood.
type Visit struct {
	Walk, ID string
	Point    string // may be empty
	Floor    int    // index into Site.Floors
	At       orb.Point
	Time     time.Time // of its first scan
}

// Place is where something seems to be.
type Place struct {
	Floor int // index into Site.Floors
	At    orb.Point
	SDM   float64    // of the distance from there, rms, metres
	Other *orb.Point // a second place that the levels tell from the first by less than a factor of 20
}

// Finding is one thing that does not fit.
type Finding struct {
	Kind     Kind
	APs      []int // indices into Site.AccessPoints
	Radios   []int // indices into Site.Radios, where it concerns single radios
	Visits   []Visit
	Receiver string // of a receiver's offset, and Against which it is
	Against  string

	When         *Visit // the first visit after it changed
	Early, Late  *Visit // the change lies between these
	Seems        []Place
	AtPlaceOf    []int   // of labels: APs[i] hangs where the plan has AtPlaceOf[i]
	Effect, SE   float64 // in Unit; NaN where it has no size, or none that can be told
	Unit         string  // "dB", "m" or "" (a factor)
	LBF          float64 // natural log of the Bayes factor: the fault against none, averaged over its place, moment or size
	Threshold    float64
	Suspicion    bool // evidence that hangs on the model alone: see Do
	Text, Do     string
	row, partner int
	sets         [2][]int // of an exchange
	span         [2]int   // rows between which an event lies
}

// Options of [Find]. The zero value is the default.
type Options struct {
	Draws int    // of the bootstrap p-value; 0 leaves it out, 99 is usual
	Seed  uint64 // of those draws
	Brief bool   // only findings, without what could have been found, which costs a quarter
	Rows  int    // above so many visits, neighbours are averaged; 0 is 150
}

// Report is what was found and what could have been.
type Report struct {
	Visits, Places int // that were looked at
	Findings       []Finding
	Missing        string // why nothing could be looked for; empty where it was
	PValue         *float64

	Power  Outlook  // what could have been found
	Advice []string // the walk that would find more
}
