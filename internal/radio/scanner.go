package radio

import (
	"context"
	"time"

	"github.com/paulmach/orb"
)

// Reading is one RSSI value of one BSSID in one scan.
type Reading struct {
	BSSID   BSSID
	SSID    string // hostile text: strip control bytes before showing it
	FreqMHz int
	RSSIDBm float64
	// MaxBSSIDIndicator is n of the Multiple BSSID element that the BSS sent
	// along: its radio serves up to 2ⁿ BSSIDs (IEEE 802.11-2020, 9.4.2.45).
	// 0 where it sent none, or the receiver does not say.
	MaxBSSIDIndicator int
}

// Heard is a reading as a receiver gives it, with its age at the end of the sweep.
type Heard struct {
	Reading
	Age time.Duration
}

// Sweep is one pass of a receiver over its channels: what it heard, and by
// that also what it did not hear.
type Sweep struct {
	Interface    string
	Started      time.Time
	Took         time.Duration
	FreqsMHz     []int // channels it visited; empty for all that the receiver has
	Heard        []Heard
	DroppedStale int // results older than Request.NotBefore, left out of Heard
}

// Readings gives the readings of the sweep without their ages.
func (s Sweep) Readings() []Reading {
	out := make([]Reading, len(s.Heard))
	for i, h := range s.Heard {
		out[i] = h.Reading
	}
	return out
}

// Request says what a sweep should cover.
type Request struct {
	FreqsMHz  []int     // channels to visit; empty for all
	Passive   bool      // listen only, send no probe
	NotBefore time.Time // results heard before this moment are dropped and counted
}

// Scanner takes sweeps. A Scan that ends in an error has heard nothing that
// counts: the caller repeats it or gives up, and never keeps half of it.
// Implementations honour ctx and are called from one goroutine at a time.
type Scanner interface {
	Scan(ctx context.Context, req Request) (Sweep, error)
}

// Placer is a Scanner that has to be told where the receiver stands, because
// it simulates the place. Facing is in degrees clockwise from the plan's +y.
type Placer interface {
	Place(floor string, at orb.Point, facingDeg float64)
}
