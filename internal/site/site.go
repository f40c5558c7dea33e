package site

import (
	"fmt"

	"footrule/internal/radio"

	"github.com/paulmach/orb"
)

// Site is all floors and access points of one building or area.
type Site struct {
	Name            string
	ReceiverHeightM float64 // where the receiver's antenna is, above the floor
	Floors          []Floor
	AccessPoints    []AccessPoint
	Infra           *Infra   `json:",omitempty"` // nil where the file says nothing
	Answers         []Answer `json:",omitempty"` // to the questions of the walk-down
}

// DefaultReceiverHeightM is used where the site file says nothing: a laptop
// carried on one arm (common practice: 1.2 to 1.5 m).
const DefaultReceiverHeightM = 1.2

// Floor is one level of the building. Outline is a simple polygon without the
// closing repetition of its first corner.
type Floor struct {
	ID         string
	Name       string
	ElevationM float64
	Outline    orb.Ring
	Walls      []Wall
	Areas      []Area
	Points     []Point
	Drawing    *Drawing `cbor:",omitempty"` // nil where the floor was typed in
	Taped      []Taped  `cbor:",omitempty"`
}

// Wall is a polyline of one material. Doors are gaps between walls.
type Wall struct {
	Material string
	Line     orb.LineString
}

// AreaKind says what an area is for.
type AreaKind string

// Zones name a part of the floor; nobody can stand in a void; nothing can be
// mounted over a part kept free of mounts, but people walk there.
const (
	Zone    AreaKind = "zone"
	Void    AreaKind = "void"
	NoMount AreaKind = "no-mount"
)

// Area is a named part of a floor.
type Area struct {
	ID      string
	Kind    AreaKind
	Polygon orb.Ring
}

// Point is a reference point where someone stands to measure.
type Point struct {
	ID string
	At orb.Point
}

// AccessPoint is a box on the ceiling with one or more radios. It may hang
// outside the outline of its floor.
type AccessPoint struct {
	ID      string
	Floor   string
	At      orb.Point
	HeightM float64 // above its floor
	Radios  []Radio
	Power   *APPower `json:",omitempty"` // nil where unknown
	Drop    *Drop    `json:",omitempty"` // nil where unknown
}

// Radio is one transmitter of an access point.
type Radio struct {
	Band       radio.Band
	BSSIDs     []radio.BSSID
	TxPowerDBm *float64 // nil where unknown
	Antenna    *Antenna // nil where the plan says none: omnidirectional
	PHY        *PHY     `json:",omitempty"` // nil where unknown
}

// RadioRef names one radio of a site by its place in the lists. The order of
// [Site.Radios] is the order of every per-radio slice in the program.
type RadioRef struct {
	AP    int // index into Site.AccessPoints
	Radio int // index into AccessPoint.Radios
}

// Radios lists all radios, access point by access point.
func (s *Site) Radios() []RadioRef {
	var out []RadioRef
	for i := range s.AccessPoints {
		for j := range s.AccessPoints[i].Radios {
			out = append(out, RadioRef{i, j})
		}
	}
	return out
}

// RadioOf maps every BSSID of the site to its place in [Site.Radios].
func (s *Site) RadioOf() map[radio.BSSID]int {
	out := make(map[radio.BSSID]int)
	for k, r := range s.Radios() {
		for _, b := range s.AccessPoints[r.AP].Radios[r.Radio].BSSIDs {
			out[b] = k
		}
	}
	return out
}

// Floor finds a floor by its ID; nil where there is none.
func (s *Site) Floor(id string) *Floor {
	if i := s.FloorIndex(id); i >= 0 {
		return &s.Floors[i]
	}
	return nil
}

// FloorIndex gives the place of a floor in Floors, −1 where there is none.
func (s *Site) FloorIndex(id string) int {
	for i := range s.Floors {
		if s.Floors[i].ID == id {
			return i
		}
	}
	return -1
}

// Point finds a point of the floor by its ID; nil where there is none.
func (f *Floor) Point(id string) *Point {
	for i := range f.Points {
		if f.Points[i].ID == id {
			return &f.Points[i]
		}
	}
	return nil
}

// Materials lists the wall materials of the site, each once, in the order of
// their first appearance.
func (s *Site) Materials() []string {
	var out []string
	seen := map[string]bool{}
	for _, f := range s.Floors {
		for _, w := range f.Walls {
			if !seen[w.Material] {
				seen[w.Material] = true
				out = append(out, w.Material)
			}
		}
	}
	return out
}

// RadioName is how a radio is called on screens and in messages: the access
// point's ID and the band, with a letter where one box has two radios in a band.
func (s *Site) RadioName(r RadioRef) string {
	ap := &s.AccessPoints[r.AP]
	band, nth := ap.Radios[r.Radio].Band, 0
	for j := 0; j < r.Radio; j++ {
		if ap.Radios[j].Band == band {
			nth++
		}
	}
	if nth == 0 {
		return fmt.Sprintf("%s/%s", ap.ID, band)
	}
	return fmt.Sprintf("%s/%s%c", ap.ID, band, 'a'+nth)
}
