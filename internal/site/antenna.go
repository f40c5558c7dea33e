package site

import "math"

// Antenna is what a plan says of the antenna of a radio. The zero value, and a
// radio without one, is omnidirectional: of the same gain in all directions.
//
// The pattern is that of an element in 3GPP TR 38.901, Table 7.3-1: with φ and θ
// the angles across and along the beam from its axis, B and H its half-power
// widths and A the front-to-back ratio,
//
//	−min{ min{12 (φ/B)², A} + min{12 (θ/H)², A}, A }  dB
//
// so that it is −3 dB at half of a width and −A behind. A width of 0 is none: the
// antenna looks equally far in all directions of that kind.
type Antenna struct {
	GainDBi       float64 // along the axis
	AzimuthDeg    float64 // of the axis, clockwise from the plan's +y
	TiltDeg       float64 // of the axis below the horizon
	BeamWidthDeg  float64 // B; 0 for none
	BeamHeightDeg float64 // H; 0 for none
	FrontToBackDB float64 // A; 0 is [DefaultFrontToBackDB]
}

// DefaultFrontToBackDB is A where the plan does not say (3GPP TR 38.901, Table 7.3-1).
const DefaultFrontToBackDB = 30.0

// antennaKey is a key of an antenna in a site.toml, with its limits.
type antennaKey struct {
	name     string
	value    *float64
	unit     string
	min, max float64
}

func (a *Antenna) keys() []antennaKey {
	return []antennaKey{
		{"gain_dbi", &a.GainDBi, "dBi", -20, 40},
		{"azimuth_deg", &a.AzimuthDeg, "degrees clockwise from the plan's +y", -360, 360},
		{"tilt_deg", &a.TiltDeg, "degrees below the horizon", -90, 90},
		{"beam_width_deg", &a.BeamWidthDeg, "degrees", 1, 360},
		{"beam_height_deg", &a.BeamHeightDeg, "degrees", 1, 360},
		{"front_to_back_db", &a.FrontToBackDB, "dB", 1, 80},
	}
}

// Directional reports whether the antenna has a pattern.
func (a *Antenna) Directional() bool { return a != nil && (a.BeamWidthDeg > 0 || a.BeamHeightDeg > 0) }

// PatternDB is what a direction lacks of the gain along the axis, 0 or less: x to
// the right and y up on the plan, z up. It is 0 for no direction.
func (a *Antenna) PatternDB(x, y, z float64) float64 {
	if !a.Directional() || x == 0 && y == 0 && z == 0 {
		return 0
	}
	most := a.FrontToBackDB
	if most == 0 {
		most = DefaultFrontToBackDB
	}
	sinA, cosA := math.Sincos(a.AzimuthDeg * math.Pi / 180)
	sinT, cosT := math.Sincos(a.TiltDeg * math.Pi / 180)
	ahead := x*sinA*cosT + y*cosA*cosT - z*sinT
	aside := x*cosA - y*sinA
	above := x*sinA*sinT + y*cosA*sinT + z*cosT
	loss := func(angle, width float64) float64 {
		if width <= 0 {
			return 0
		}
		r := angle * 180 / math.Pi / width
		return min(12*r*r, most)
	}
	across := loss(math.Atan2(aside, ahead), a.BeamWidthDeg)
	along := loss(math.Atan2(above, math.Hypot(ahead, aside)), a.BeamHeightDeg)
	return -min(across+along, most)
}

// PatternDB is what the antenna of radio r lacks in the direction of a receiver
// held at a place of floor, an index into Floors: 0 or less.
func (s *Site) PatternDB(r RadioRef, floor int, at [2]float64) float64 {
	ap := &s.AccessPoints[r.AP]
	a := ap.Radios[r.Radio].Antenna
	if !a.Directional() {
		return 0
	}
	dz := s.Floors[floor].ElevationM + s.ReceiverHeightM - s.Floors[s.FloorIndex(ap.Floor)].ElevationM - ap.HeightM
	return a.PatternDB(at[0]-ap.At[0], at[1]-ap.At[1], dz)
}
