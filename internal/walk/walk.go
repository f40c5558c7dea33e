package walk

import (
	"time"

	"footrule/internal/radio"

	"github.com/paulmach/orb"
)

// NoFacing stands for a facing that was not recorded.
const NoFacing = -1.0

// Header says who walked, with what, over which plan.
type Header struct {
	ID        string // unique in a site; identity when walks are merged
	Name      string
	Surveyor  string // may be empty
	Receiver  string // adapter or device; levels of one receiver compare with each other
	Adapter   string // of a live walk the interface and its driver, as the system names them; else empty
	Source    Source
	Started   time.Time
	PlanRev   uint64 // revision of the plan that was walked
	Settings  Settings
	Digest    string // SHA-256 of an imported file, empty for a live walk
	Seed      uint64 // of a synthetic walk, else 0
	Program   string // version that recorded it
	Completed bool   // false while a live walk may be resumed
}

// Source says where the readings came from.
type Source string

// The sources of a walk.
const (
	Live      Source = "live"
	Synthetic Source = "synthetic"
	Imported  Source = "import"
)

// Settings say how each visit is made.
type Settings struct {
	FacingsDeg     []float64 // facings to take at each point, in order; empty for one, free
	ScansPerFacing int       // at least 1
	Need           int       // access points that every point should hear
	ThresholdDBm   float64   // an AP is heard where its level is at or above
}

// DefaultSettings are four facings of three scans, three APs at −75 dBm
// (common practice: four facings against body loss, 10 to 30 readings a point).
func DefaultSettings() Settings {
	return Settings{FacingsDeg: []float64{0, 90, 180, 270}, ScansPerFacing: 3, Need: 3, ThresholdDBm: -75}
}

// Walk is the visits of one surveyor with one receiver, in order.
type Walk struct {
	Header
	Visits []Visit
	Marks  []Mark
}

// Visit is the scans taken during one stay at one point.
type Visit struct {
	ID    string // unique in its walk
	Seq   int    // place among the facts of its walk, from 1
	Point string // ID of the reference point; empty where only coordinates are known
	Floor string
	At    orb.Point // where the surveyor stood, metres on the plan
	Scans []Scan
}

// Scan is one sweep of the receiver: the readings it gave. Sites' access
// points that are not among them were not heard in it, which says something
// of those whose channel it listened on.
type Scan struct {
	ID           string // as the capture named it; empty for live scans
	Time         time.Time
	FacingDeg    float64 // degrees clockwise from the plan's +y, or NoFacing
	FreqsMHz     []int   // channels that it listened on, ascending; nil for all
	Readings     []radio.Reading
	DroppedStale int // results that were older than the stay, or no level at all
}

// MarkKind says what a mark does.
type MarkKind string

// The kinds of marks.
const (
	Skip   MarkKind = "skip"   // Target is a point that will not be walked
	Unskip MarkKind = "unskip" // takes a skip back
	Void   MarkKind = "void"   // Target is a visit that does not count
	Unvoid MarkKind = "unvoid" // takes a void back
	Goto   MarkKind = "goto"   // Target is the point the surveyor chose to go to next
	Finish MarkKind = "finish" // the walk is over
)

// Mark is a decision of the surveyor, kept beside the visits.
type Mark struct {
	Seq    int // place among the facts of its walk, from 1
	Time   time.Time
	Kind   MarkKind
	Target string
	Reason string
	Undo   bool // it takes back the latest fact that was not yet taken back
}

// Standing gives the visits that count: those not voided, in order. The visits
// are not copied.
func (w *Walk) Standing() []*Visit {
	voided := map[string]bool{}
	for _, m := range w.Marks {
		switch m.Kind {
		case Void:
			voided[m.Target] = true
		case Unvoid:
			delete(voided, m.Target)
		}
	}
	out := make([]*Visit, 0, len(w.Visits))
	for i := range w.Visits {
		if !voided[w.Visits[i].ID] {
			out = append(out, &w.Visits[i])
		}
	}
	return out
}

// Readings counts the readings of the visits that stand.
func (w *Walk) Readings() int {
	n := 0
	for _, v := range w.Standing() {
		for _, s := range v.Scans {
			n += len(s.Readings)
		}
	}
	return n
}
