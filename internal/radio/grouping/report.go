package grouping

import (
	"encoding/hex"

	"footrule/internal/radio"
)

// Kind says what a proposal is.
type Kind string

// The kinds of proposals, in the order in which a report lists them.
const (
	Add      Kind = "add"       // to a radio of the plan
	Move     Kind = "move"      // from one radio of the plan to another
	AddRadio Kind = "new radio" // of an access point of the plan
	Doubt    Kind = "doubt"     // the plan says what the walks contradict, and no better place is known
	Unplaced Kind = "no place"  // it fits no radio of the plan
	KeptOut  Kind = "kept out"  // by default, for the reason given
)

// Proposal is what to do about one BSSID. Nothing is done until a person says so.
type Proposal struct {
	// ID is the same for the same BSSID and the same place: 02005e100121@AP-01/5.
	ID           string
	BSSID        radio.BSSID
	Kind         Kind
	SSIDs        []string // hostile text
	FreqMHz      int      // 0 where unknown
	Scans        int      // that heard it
	Places       int      // where it was heard
	StrongestDBm float64

	Planned string        // radio that the plan has it under; empty for none
	To      *Target       // nil where no place is known
	ToName  string        // of To; empty for none
	Mates   []radio.BSSID // the others of its radio, on the plan or not

	With       *radio.BSSID // whom Evidence compares it with; nil for none
	Score      float64      // 0 to 0.99, from the weights of Evidence; NaN where nothing was compared
	Confidence Confidence   // empty where Score is NaN
	Evidence   []Evidence
	OwnSSID    bool   // it carries an SSID of the plan's BSSIDs and is not on the plan
	Why        string // a sentence
}

// Change is the change that accepting the proposal as it stands makes; ok is
// false where no place is known.
func (p *Proposal) Change() (c Change, ok bool) {
	band, _ := radio.BandOf(p.FreqMHz)
	return Change{BSSID: p.BSSID, Heard: band, To: p.To, Mates: p.Mates}, p.To != nil
}

func (p *Proposal) name() {
	place := p.ToName
	if place == "" {
		place = "none"
	}
	p.ID = hex.EncodeToString(p.BSSID[:]) + "@" + place
}

// RadioGroup is BSSIDs that are taken for one radio.
type RadioGroup struct {
	BSSIDs  []radio.BSSID
	FreqMHz int
	Planned string // radio of the plan that it is; empty for none
	// Score is the weakest link: the least over members of the best score with
	// another member; NaN for a group of one.
	Score float64
}

// APGroup is radios that are taken for one access point.
type APGroup struct {
	Radios   []int    // indices into Report.Radios
	Planned  []string // access points that the plan has them under; more than one is a conflict
	Score    float64  // the weakest link, NaN for a group of one
	Evidence []Evidence
}

// Report is what is proposed for a plan.
type Report struct {
	Scans, Places int
	OwnSSIDs      []string // carried by BSSIDs of the plan
	Radios        []RadioGroup
	AccessPoints  []APGroup
	Proposals     []Proposal    // by kind, the best score first
	AsPlanned     int           // BSSIDs that the walks agree with the plan about
	Unheard       []radio.BSSID // on the plan and in no scan
}

// Find gives the proposal with an ID; nil where there is none.
func (r *Report) Find(id string) *Proposal {
	for i := range r.Proposals {
		if r.Proposals[i].ID == id {
			return &r.Proposals[i]
		}
	}
	return nil
}
