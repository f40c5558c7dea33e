package tui

import (
	"context"
	"math"
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
	File    string // what the commands that are named on the screen are to be given; FILE where empty
	Session *walk.Session
	Scanner radio.Scanner // a radio.Placer is told before each scan where it stands

	// Store returns once the fact is on disk. Only then is it applied and
	// called saved.
	Store func(walk.Fact) error
	// Judge fits the walk so far and measures its error. It is called again
	// after every change of what stands, one call at a time, and its context ends
	// when the answer is no longer wanted.
	Judge func(ctx context.Context, w walk.Walk) (Standing, error)
	// Find looks for what does not fit in the walk so far, once it has been
	// judged. Its context ends when the answer is no longer wanted.
	Find func(ctx context.Context, w walk.Walk) ([]Finding, error)
	// NoFindings says, where Findings would be shown, that they are hidden: in a
	// drill somebody is to find out by themselves, until it is graded.
	NoFindings bool
	// Drill lets a training case be answered on the screen; nil for no case.
	Drill *Drill
	// Doubts compares a finished visit with the latest fit. No doubts store it.
	Doubts func(v *walk.Visit) []Doubt
	// Guide gives the way on foot from one place to another of the floor.
	Guide func(from, to orb.Point, floor string) (Leg, bool)

	// Lay computes what a lens lays over a floor, from the latest fit. Its
	// context ends when the answer is no longer wanted.
	Lay func(ctx context.Context, q Query) (Map, error)

	// Dark reports whether the picture under a floor is dark about a place, over
	// a square of so many metres. Nil where there are no pictures.
	Dark func(floor string, at orb.Point, sideM float64) bool

	// Prep lists what the infrastructure lacks, the worst first.
	Prep []Finding

	Clock func() time.Time
	// After is time.After where nil. A nil channel from it never fires.
	After func(time.Duration) <-chan time.Time
	// Bell rings n times: once for a visit that is done, twice for a doubt.
	Bell func(n int)

	Profile canvas.Profile
	ASCII   bool // marks and lines in ASCII
	Feet    bool // lengths in feet on the screen
	Theme   Theme
	Big     bool // letters that can be read at arm's length
	Mouse   bool // clicks choose, the wheel zooms
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
	FiveMoreM    Estimate // CE50M after five more points; NaN where unknown

	Warnings []string

	Judged   []Judged  // one per place that was judged
	ErrorsM  []float64 // of all fixes, ascending
	Curves   []Curve   // one per radio in the fit
	Findings []Finding // the strongest first; from Find
	Odd      []Doubt   // about the latest visit, by the fit before it; of a replay
	Targets  []Target  // what is asked of the error

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

// Target is what is asked of the error, and how that stands.
type Target struct {
	Share   float64 // of places, 0 to 1
	WithinM float64
	Verdict string // a few words
	Passed  bool
}

// Judged is one place whose fixes were held against where the surveyor stood.
type Judged struct {
	Point, Floor string
	At, Fix      orb.Point // Fix is the mean of its fixes
	ErrorM       float64   // mean of its fixes' errors, NaN where none was located
	BoundM       float64   // NaN where unknown
	Why          string    // a few words where it is bad; may be empty
}

// Curve is how the level of a radio falls with distance.
type Curve struct {
	AP        int // index into Site.AccessPoints
	Band      radio.Band
	Level1m   Estimate // dBm
	Exponent  Estimate
	SigmaDB   float64
	Points    int // places that heard it
	Silent    int // places that did not
	DistanceM []float64
	LevelDBm  []float64 // of the places that heard it, in the order of DistanceM
	WallsDB   []float64 // loss through walls there, by the fit, so that LevelDBm + WallsDB lies about the line
}

// Finding is something that does not fit, found over the whole walk.
type Finding struct {
	Title    string // a few words with the name
	Evidence string // a sentence with its numbers
	Do       string // what to do, a sentence
	Floor    string
	At       orb.Point  // where the plan has it
	Seems    *orb.Point // where it seems to be; nil where that is not the fault
	AP       int        // index into Site.AccessPoints, −1 for none
}

// Layer names what can be laid over a floor.
type Layer int

// The layers.
const (
	LevelLayer  Layer = iota // level of one access point, of its strongest radio, dBm
	HeardLayer               // access points heard at the threshold of the walk
	BoundLayer               // Cramér-Rao bound on the error, metres
	HullLayer                // 1 inside the hull of the access points heard, 0 outside
	ExpectLayer              // error to expect, metres
)

// Query asks for a layer of a floor.
type Query struct {
	Layer Layer
	Floor string
	AP    int // of LevelLayer; −1 otherwise
}

// Share is the part of the floor that hears so many access points.
type Share struct {
	AtLeast int
	Share   float64 // 0 to 1
}

// Hole is a connected part of the floor that hears fewer than are needed.
type Hole struct {
	At     orb.Point
	AreaM2 float64
	Heard  int // the fewest
	// Add is where one more access point closes most of it; nil where that was not
	// looked for.
	Add      *orb.Point
	ClosesM2 float64
}

// Map is a quantity over a floor in equal cells.
type Map struct {
	Origin orb.Point // lower left corner
	Cell   orb.Point // size of a cell, metres
	W, H   int
	Values []float64 // row by row from the lower left; NaN where nobody can stand
	From   string    // what it rests on, a few words
	Inside float64   // of HullLayer, the share of the area inside
	Shares []Share   // of HeardLayer
	Holes  []Hole    // of HeardLayer, the largest first
}

// At gives the value at a place, NaN outside.
func (m *Map) At(p orb.Point) float64 {
	x, y := math.Floor((p[0]-m.Origin[0])/m.Cell[0]), math.Floor((p[1]-m.Origin[1])/m.Cell[1])
	if !(x >= 0 && y >= 0 && x < float64(m.W) && y < float64(m.H)) {
		return math.NaN()
	}
	return m.Values[int(y)*m.W+int(x)]
}
