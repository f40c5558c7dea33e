package report

import (
	"time"

	"footrule/internal/coverage"
	"footrule/internal/doubt"
	"footrule/internal/infra"
	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

// Addresses says what becomes of the BSSIDs of the site's own radios. Those of
// others are never in a report.
type Addresses string

// What becomes of addresses: they stand there, a keyed hash of each that tells equal
// ones, or nothing.
const (
	Keep Addresses = "keep"
	Hash Addresses = "hash"
	Drop Addresses = "drop"
)

// Input is all that a report says.
type Input struct {
	Title, Customer, Author string
	Program                 string // version that makes the report
	Date                    time.Time
	Addresses               Addresses
	EachLevel               bool // a map of levels for each access point; else only of the strongest

	Site    *site.Site
	PlanRev uint64 // 0 where it has none
	Floors  []int  // that are shown, indices into Site.Floors
	Walks   []walk.Walk

	Fit       *propagation.Fit // of the site's own walks; nil where there is none
	NotFitted string           // why walks could not be fitted
	Basis     string           // what the maps rest on, a phrase
	Notes     []string         // what stands in there for what is not known

	Cover    *coverage.Map
	Expected []Expected // per floor of Cover, then of all
	Holes    []coverage.Hole

	Asked     []position.Target // of the positions, judged or not
	Errors    *position.Errors  // nil where nothing was judged
	NotJudged string            // why not
	Verdicts  []string          // a sentence per target of Errors
	Ellipses  string            // what the share of places in the ellipses says

	Doubts      *doubt.Report // nil before any walk
	DoubtTitles []string      // per finding

	Infra        infra.Report
	InfraVerdict string

	Next    *Next  // nil where it is not known
	NotNext string // why not
}

// Expected sums up over an area, in metres and shares.
type Expected struct {
	InHull, NoFix        float64
	BoundMedian, Bound90 float64
	Mean, Median, Ninety float64
	Most                 float64
}

// Next is where to walk next, in the order of a tour.
type Next struct {
	Says           string
	Points         []NextPoint
	WalkM, Minutes float64
}

// NextPoint is a point to walk; what it buys is metres of the mean error.
type NextPoint struct {
	Name   string
	OnPlan bool
	Floor  string
	At     orb.Point
	BuysM  float64
	ErrorM float64 // with all that come before it in order of worth
	WayM   float64
}
