package site

import (
	"time"

	"footrule/internal/radio"

	"github.com/paulmach/orb"
)

// Infra is what the access points hang on: closets, switches, control and the
// location service. All of it is optional, and so is every pointer below: nil
// is what nobody has said yet.
type Infra struct {
	Closets  []Closet
	Switches []Switch
	Control  *Control
	Location *Location
}

// Closet is a telecommunications room or a rack: where cables end and switches
// are mounted.
type Closet struct {
	ID            string
	Floor         string
	At            *orb.Point // where the cables end, on the plan of its floor
	RackUnitsFree *int       // before the switches that are not mounted yet
}

// Switch is an Ethernet switch. Its ports are numbered from 1 in the order of
// Ports; those of Taken serve something else than access points.
type Switch struct {
	ID           string
	Closet       string   // ID of a closet; "" where not known
	Mounted      bool     // it is in its rack already
	RackUnits    *int     // that it takes
	PowerBudgetW *float64 // for all of its ports together
	PowerUsedW   *float64 // of that, by what is on the taken ports
	Uplinks      *int
	UplinkMbps   *float64 // of each uplink
	Ports        []PortGroup
	Taken        []int
}

// PortGroup is a run of equal ports.
type PortGroup struct {
	Count     int
	SpeedMbps *float64
	Power     PowerStandard
	Class     *int // the highest IEEE 802.3 class that a port grants
}

// PowerStandard is the clause of IEEE 802.3 by which a port gives power.
type PowerStandard string

// The standards of power over Ethernet, no power, and not known.
const (
	PowerUnknown PowerStandard = ""
	PowerNone    PowerStandard = "none"
	Power8023af  PowerStandard = "802.3af" // type 1, classes 1 to 3
	Power8023at  PowerStandard = "802.3at" // type 2, class 4
	Power8023bt  PowerStandard = "802.3bt" // types 3 and 4, classes 5 to 8
)

// MaxPowerClass is the highest class of IEEE 802.3bt.
const MaxPowerClass = 8

// mostClass is the highest class of a standard.
var mostClass = map[PowerStandard]int{Power8023af: 3, Power8023at: 4, Power8023bt: MaxPowerClass}

// HighestClass is the highest class that a port of the group grants; known is
// false where the file leaves it open, which "802.3bt" alone does, since that
// covers two types. Without power it is −1.
func (g *PortGroup) HighestClass() (class int, known bool) {
	switch {
	case g.Power == PowerNone:
		return -1, true
	case g.Class != nil:
		return *g.Class, true
	case g.Power == Power8023af, g.Power == Power8023at:
		return mostClass[g.Power], true
	}
	return 0, false
}

// PortCount is the number of ports.
func (s *Switch) PortCount() int {
	n := 0
	for i := range s.Ports {
		n += s.Ports[i].Count
	}
	return n
}

// Port gives the group of a port by its number, from 1; nil where there is no
// such port.
func (s *Switch) Port(number int) *PortGroup {
	for i := range s.Ports {
		if number >= 1 && number <= s.Ports[i].Count {
			return &s.Ports[i]
		}
		number -= s.Ports[i].Count
	}
	return nil
}

// ControlKind says who manages the access points.
type ControlKind string

// Central control has one place that manages all of them; stand-alone access
// points are managed one by one.
const (
	Central    ControlKind = "central"
	StandAlone ControlKind = "stand-alone"
)

// Control is how access points are managed.
type Control struct {
	Kind         ControlKind
	AccessPoints *int // as many as it can manage
	Licences     *int // for access points
}

// Location is the service that computes positions.
type Location struct {
	Expected *int // devices to be tracked
	Capacity *int // devices that the service carries
}

// PowerSource says where an access point's power comes from.
type PowerSource string

// The switch port is what power comes from unless the file says otherwise.
const (
	FromPort     PowerSource = "port"
	FromInjector PowerSource = "injector" // a midspan in the run of the cable
	FromLocal    PowerSource = "local"    // a supply of its own
)

// APPower is what an access point needs to run.
type APPower struct {
	Source        PowerSource
	InjectorClass *int
	Class         *int     // IEEE 802.3 class that it asks for
	MaxW          *float64 // the most that it draws, at its socket
	TypicalW      *float64
	Modes         []PowerMode // what it does with less than MaxW
}

// PowerMode is one way in which an access point runs on less power.
type PowerMode struct {
	NeedsW float64 // at its socket
	Chains []int   // that still send, in the order of its radios
}

// Cable is the category of a cable by ISO/IEC 11801 and TIA-568.
type Cable string

// Cables lists the categories, from the lowest.
var Cables = []Cable{"cat3", "cat5", "cat5e", "cat6", "cat6a", "cat7", "cat7a", "cat8"}

// Drop is the cable from a closet to an access point and what it is patched to.
type Drop struct {
	Closet string   // where the cable ends; "" where not known
	Switch string   // patched to; "" where open
	Port   *int     // nil where open
	LinkM  *float64 // the permanent link, panel to outlet
	PatchM *float64 // the cords at both ends together
	Cable  Cable    // "" where not known
}

// Standard is an amendment of IEEE 802.11 that a radio speaks.
type Standard string

// PHY is how fast a radio can be.
type PHY struct {
	Standard Standard // "" where not known
	WidthMHz *int
	Streams  *int // spatial streams
	Chains   *int // transmit chains
}

// PHYLimits are what an amendment allows.
type PHYLimits struct {
	Widths  []int
	Streams int
	Bands   []radio.Band
}

// Standards are the amendments of IEEE 802.11 that a radio can be of, with
// their limits (IEEE 802.11-2020 clauses 17 to 21, 802.11ax, 802.11be).
var Standards = []struct {
	Name Standard
	PHYLimits
}{
	{"802.11a", PHYLimits{[]int{20}, 1, []radio.Band{radio.Band5}}},
	{"802.11g", PHYLimits{[]int{20}, 1, []radio.Band{radio.Band2}}},
	{"802.11n", PHYLimits{[]int{20, 40}, 4, []radio.Band{radio.Band2, radio.Band5}}},
	{"802.11ac", PHYLimits{[]int{20, 40, 80, 160}, 8, []radio.Band{radio.Band5}}},
	{"802.11ax", PHYLimits{[]int{20, 40, 80, 160}, 8, []radio.Band{radio.Band2, radio.Band5, radio.Band6}}},
	{"802.11be", PHYLimits{[]int{20, 40, 80, 160, 320}, 8, []radio.Band{radio.Band2, radio.Band5, radio.Band6}}},
}

// Answer is what somebody found out about one question of the walk-down.
type Answer struct {
	Question string // its ID
	Text     string
	By       string
	At       time.Time // UTC
}

// Closet finds a closet by its ID; nil where there is none.
func (n *Infra) Closet(id string) *Closet {
	for i := range n.list().Closets {
		if n.Closets[i].ID == id {
			return &n.Closets[i]
		}
	}
	return nil
}

// Switch finds a switch by its ID; nil where there is none.
func (n *Infra) Switch(id string) *Switch {
	for i := range n.list().Switches {
		if n.Switches[i].ID == id {
			return &n.Switches[i]
		}
	}
	return nil
}

func (n *Infra) list() *Infra {
	if n == nil {
		return &Infra{}
	}
	return n
}

// Answer gives the answer to a question; nil where it is open.
func (s *Site) Answer(question string) *Answer {
	for i := range s.Answers {
		if s.Answers[i].Question == question {
			return &s.Answers[i]
		}
	}
	return nil
}
