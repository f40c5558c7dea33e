package tui

import (
	"context"
	"time"

	"footrule/internal/canvas"
	"footrule/internal/radio"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

// Config is what a walk is shown with. Session, Scanner, Store and Clock have
// to be there; the other functions may be nil, and what they would say is then
// left out.
type Config struct {
	Title   string // what is walked; the site's name where empty
	Session *walk.Session
	Scanner radio.Scanner // a radio.Placer is told before each scan where it stands

	// Store returns once the fact is on disk. Only then is it applied and
	// called saved.
	Store func(walk.Fact) error
	// Judge fits the walk so far and measures its error. It is called again
	// after every change of what stands, one call at a time, and its context ends
	// when the answer is no longer wanted.
	Judge func(ctx context.Context, w walk.Walk) (Standing, error)
	// Doubts compares a finished visit with the latest fit. No doubts store it.
	Doubts func(v *walk.Visit) []Doubt
	// Guide gives the way on foot from one place to another of the floor.
	Guide func(from, to orb.Point, floor string) (Leg, bool)

	Clock func() time.Time
	// After is time.After where nil. A nil channel from it never fires.
	After func(time.Duration) <-chan time.Time
	// Bell rings n times: once for a visit that is done, twice for a doubt.
	Bell func(n int)

	Profile canvas.Profile
	ASCII   bool // marks and lines in ASCII
	Feet    bool // lengths in feet on the screen
}

// Estimate is a value and the half of its 95 % interval; NaN where unknown.
type Estimate struct {
	Value, Half float64
}

// BandEstimate is an estimate for one band.
type BandEstimate struct {
	Band radio.Band
	Estimate
}

// Standing is where the walk stands: the running fit and its error.
type Standing struct {
	Points, Need int // places walked; places without which nothing is fitted
	Readings     int // scans that heard, over all radios of the fit

	Exponents []BandEstimate
	SpreadsDB []BandEstimate

	CE50M, CE90M Estimate // half, and nine of ten, fixes are within
	RMSM, BoundM float64  // root mean square of the errors and of the Cramér-Rao bound; NaN where unknown
	FiveMoreM    float64  // half of the interval of CE50M after five more points; NaN where unknown

	Warnings []string

	// Level predicts radio k (place in Site.Radios) where someone stands, in dBm,
	// NaN where unknown. It is called while a frame is made, so it has to be quick.
	Level func(k int, floor string, at orb.Point) float64
}

// Ready reports whether there is a fit.
func (s *Standing) Ready() bool { return s.Points >= s.Need && len(s.Exponents) > 0 }

// Doubt is one thing about a visit that does not fit.
type Doubt struct {
	Text string // a sentence with its size and what may have caused it
	AP   int    // index into Site.AccessPoints, to be shown on the plan; −1 for none
}

// Leg is the way to the next point.
type Leg struct {
	LengthM float64
	Via     []orb.Point // turning points, with both ends
}
