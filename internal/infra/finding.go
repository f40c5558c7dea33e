package infra

import "footrule/internal/site"

// Status is how a check ended, as it is printed.
type Status string

// The statuses, from the worst.
const (
	Fails    Status = "fails"
	Doubtful Status = "doubtful" // it works on paper, with less room than is usual
	Unknown  Status = "not known"
	Holds    Status = "holds"
)

// Statuses lists them, from the worst.
var Statuses = []Status{Fails, Doubtful, Unknown, Holds}

// Finding is the result of one check of one thing, or, of what is not known,
// of all things of which the same is missing.
type Finding struct {
	Check    string   // the ID of the check
	Subjects []string // IDs of access points, switches or closets; none is the site
	Status   Status
	Have     *float64 // what was compared, nil where unknown
	Limit    *float64 // with what
	Unit     string
	Text     string // the numbers in a sentence
	Proposed bool   // rests on a patching that is only proposed
	Estimate bool   // rests on a length that is only estimated from the plan
}

// Patch is an access point on a port of a switch.
type Patch struct {
	AP       string
	Switch   string
	Port     int
	LengthM  *float64 // of the permanent link; nil where unknown
	Measured bool     // the length stands in the file; else it is estimated from the plan
	Proposed bool     // the file leaves the patching open
}

// Report is all findings on a site.
type Report struct {
	Findings  []Finding // in the order of Checks, and of the file
	Patching  []Patch   // in the order of the access points
	Unpatched []string  // access points for which there is no port
	Proof     bool      // the proposed patching is shown to be the best there is
}

// Count is the number of findings of a status.
func (r *Report) Count(s Status) int {
	n := 0
	for i := range r.Findings {
		if r.Findings[i].Status == s {
			n++
		}
	}
	return n
}

// Verdict is what the findings come to: Fails where one fails, else Unknown
// where something is not known, else Doubtful, else Holds.
func (r *Report) Verdict() Status {
	for _, s := range []Status{Fails, Unknown, Doubtful} {
		if r.Count(s) > 0 {
			return s
		}
	}
	return Holds
}

// Tightest is the finding that comes closest to its limit; nil where none has one.
func Tightest(list []*Finding) *Finding {
	var t *Finding
	most := -1.0
	for _, f := range list {
		if f.Have != nil && f.Limit != nil && *f.Limit > 0 && *f.Have / *f.Limit > most {
			t, most = f, *f.Have / *f.Limit
		}
	}
	return t
}

// Check is one line of the table of checks.
type Check struct {
	ID      string
	Group   string // of the output
	Title   string
	Against string // what it is checked against
	run     func(*look) []Finding
}

// Checks is the table of all checks, in the order of the output.
var Checks = []Check{
	{"power.device", "power", "power at the access point", "IEEE 802.3 power classes, loss (P/V)²R over the cable", feedByFeed(devicePower)},
	{"power.worst", "power", "switch budget, every access point at its most", "the switch's budget with 20 % headroom (common practice)", worstBudget},
	{"power.typical", "power", "switch budget, typical draw", "the switch's budget with 20 % headroom (common practice)", typicalBudget},
	{"port.count", "ports", "ports for all access points", "the free ports of the switches", portCount},
	{"port.speed", "ports", "speed of the port", "0.65 of the sum of the radios' PHY rates (common practice), rates by IEEE 802.11", feedByFeed(portSpeed)},
	{"port.uplink", "ports", "uplink of the switch", "its busiest access point, and 20 to 1 for all (common practice)", uplinks},
	{"cable.link", "cable", "permanent link", "90 m (ISO/IEC 11801, TIA-568)", feedByFeed(permanentLink)},
	{"cable.channel", "cable", "channel with its cords", "100 m (ISO/IEC 11801, TIA-568)", feedByFeed(channel)},
	{"cable.kind", "cable", "category of the cable", "IEEE 802.3 speeds over 100 m (from memory), power above class 3 not on category 3", feedByFeed(category)},
	{"closet.rack", "closets", "rack space", "free rack units of 44.45 mm (EIA-310, IEC 60297)", rackSpace},
	{"control.kind", "control", "central or stand-alone", "central above 5 to 10 access points (common practice)", controlKind},
	{"control.capacity", "control", "access points that control carries", "its stated capacity", controlCapacity},
	{"control.licences", "control", "licences", "one for each access point", licences},
	{"location.devices", "location service", "tracked devices", "the stated capacity of the location service", trackedDevices},
	{"questions.open", "walk-down", "questions answered on site", "the list of the walk-down (prep FILE --open)", openQuestions},
}

// CheckOf gives a check by its ID; nil where there is none.
func CheckOf(id string) *Check {
	for i := range Checks {
		if Checks[i].ID == id {
			return &Checks[i]
		}
	}
	return nil
}

// Examine runs all checks on a site that is valid.
func Examine(s *site.Site) Report {
	l := survey(s)
	r := Report{Patching: l.patching(), Unpatched: l.unpatched, Proof: l.proof}
	for _, c := range Checks {
		for _, f := range c.run(l) {
			f.Check = c.ID
			r.Findings = append(r.Findings, f)
		}
	}
	return r
}
