package infra

import "math"

// Class is a power class of IEEE 802.3 (802.3-2022 tables 33-1 and 145-1).
type Class struct {
	Number   int
	Standard string
	Type     int     // of the equipment that gives the power
	PortW    float64 // what the port must be able to give
	DeviceW  float64 // what the device may draw: left of PortW behind 100 m
	Volts    float64 // the least at the port
	OhmsAt   float64 // of the loop over a channel of 100 m
}

// ChannelM is the length in metres that Class.OhmsAt is of, and the longest
// channel that ISO/IEC 11801 and TIA-568 know.
const ChannelM = 100.0

var classes = []Class{
	{0, "802.3af", 1, 15.4, 12.95, 44, 20},
	{1, "802.3af", 1, 4, 3.84, 44, 20},
	{2, "802.3af", 1, 7, 6.49, 44, 20},
	{3, "802.3af", 1, 15.4, 12.95, 44, 20},
	{4, "802.3at", 2, 30, 25.5, 50, 12.5},
	{5, "802.3bt", 3, 45, 40, 50, 6.25},
	{6, "802.3bt", 3, 60, 51, 50, 6.25},
	{7, "802.3bt", 4, 75, 62, 52, 6.25},
	{8, "802.3bt", 4, 90, 71.3, 52, 6.25},
}

// ClassOf gives a class by its number, 0 to 8; ok is false beyond.
func ClassOf(number int) (c Class, ok bool) {
	if number < 0 || number >= len(classes) {
		return Class{}, false
	}
	return classes[number], true
}

// ClassFor gives the lowest class that lets a device draw watts; ok is false
// where none does. Class 3 stands for class 0, which is the same power.
func ClassFor(watts float64) (c Class, ok bool) {
	for _, c := range classes[1:] {
		if watts <= c.DeviceW {
			return c, true
		}
	}
	return Class{}, false
}

// ohms is the resistance of the loop over metres of cable.
func (c Class) ohms(metres float64) float64 { return c.OhmsAt * metres / ChannelM }

// Behind is the power in watts that is left behind metres of cable when the
// port gives all of PortW:
//
//	P_PD = P_PSE − (P_PSE / V)² R
//
// with the least voltage of the class and the most resistance that it allows.
// It is never below 0.
func (c Class) Behind(metres float64) float64 {
	i := c.PortW / c.Volts
	return math.Max(0, c.PortW-i*i*c.ohms(metres))
}

// May is the power in watts that a device may count on behind metres of cable:
// DeviceW within a channel of 100 m, less beyond it.
func (c Class) May(metres float64) float64 {
	if metres <= ChannelM {
		return c.DeviceW
	}
	return math.Min(c.DeviceW, c.Behind(metres))
}

// AtPort is the power in watts that the port gives when a device behind metres
// of cable draws watts: the smaller root of the equation of [Class.Behind]. It
// is NaN where the cable can't carry so much.
func (c Class) AtPort(watts, metres float64) float64 {
	r := c.ohms(metres)
	if r == 0 {
		return watts
	}
	d := c.Volts*c.Volts - 4*r*watts
	if d < 0 {
		return math.NaN()
	}
	return c.Volts * (c.Volts - math.Sqrt(d)) / (2 * r)
}

// Granted is the class that a port of class most gives to a device that asks
// for class asked: what it asks for, or where that is more than the port has,
// the next of classes 6, 4 and 3 to which IEEE 802.3 demotes (from memory). ok
// is false where the port gives nothing at all.
func Granted(asked, most int) (c Class, ok bool) {
	a, okA := ClassOf(asked)
	m, okM := ClassOf(most)
	if !okA || !okM {
		return Class{}, false
	}
	if a.PortW <= m.PortW {
		return a, true
	}
	for _, n := range []int{6, 4, 3} {
		if d := classes[n]; d.PortW <= m.PortW && d.PortW < a.PortW {
			return d, true
		}
	}
	return Class{}, false
}
