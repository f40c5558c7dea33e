package grouping

import (
	"fmt"
	"slices"

	"footrule/internal/radio"
	"footrule/internal/site"
)

// NewRadio as Target.Radio is one that the access point does not have yet.
const NewRadio = -1

// Target is a place for a BSSID on the plan.
type Target struct {
	AP    string
	Radio int // index into AccessPoint.Radios, or NewRadio
	Band  radio.Band
}

// Name is how the target is called: AP-01/5, or AP-01/5 new.
func (t Target) Name(plan *site.Site) string {
	i := apIndex(plan, t.AP)
	if i >= 0 && t.Radio >= 0 && t.Radio < len(plan.AccessPoints[i].Radios) {
		return plan.RadioName(site.RadioRef{AP: i, Radio: t.Radio})
	}
	return fmt.Sprintf("%s/%s new", t.AP, t.Band)
}

func apIndex(plan *site.Site, id string) int {
	return slices.IndexFunc(plan.AccessPoints, func(a site.AccessPoint) bool { return a.ID == id })
}

// Change is what a person decided about one BSSID.
type Change struct {
	BSSID radio.BSSID
	Heard radio.Band // the band it was heard in; empty where unknown
	To    *Target    // nil takes it off the plan
	// Mates are BSSIDs of the same radio. Where To is a new radio, and one of the
	// access point already has a mate, that one is meant.
	Mates []radio.BSSID
}

// Apply gives the plan that a change leads to; plan itself stays as it is. It
// is an error to name an access point or radio that the plan does not have, a
// radio of another band than the BSSID was heard in, or a BSSID that no BSS can
// have.
func Apply(plan *site.Site, c Change) (*site.Site, error) {
	next := plan.Clone()
	for i := range next.AccessPoints {
		for k := range next.AccessPoints[i].Radios {
			r := &next.AccessPoints[i].Radios[k]
			r.BSSIDs = slices.DeleteFunc(r.BSSIDs, func(b radio.BSSID) bool { return b == c.BSSID })
		}
	}
	if c.To == nil {
		return next, nil
	}
	i := apIndex(next, c.To.AP)
	if i < 0 {
		return nil, fmt.Errorf("no access point %q on the plan; choose one that it has", c.To.AP)
	}
	ap, k := &next.AccessPoints[i], c.To.Radio
	if k == NewRadio {
		k = slices.IndexFunc(ap.Radios, func(r site.Radio) bool {
			return r.Band == c.To.Band && slices.ContainsFunc(r.BSSIDs, func(b radio.BSSID) bool { return slices.Contains(c.Mates, b) })
		})
	}
	if k == NewRadio {
		ap.Radios = append(ap.Radios, site.Radio{Band: c.To.Band})
		k = len(ap.Radios) - 1
	}
	if k < 0 || k >= len(ap.Radios) {
		return nil, fmt.Errorf("%s has %d radios, not %d; choose one that it has", ap.ID, len(ap.Radios), k+1)
	}
	r := &ap.Radios[k]
	if c.Heard != "" && c.Heard != r.Band {
		return nil, fmt.Errorf("%s was heard in %s GHz, and %s is a radio of %s GHz; choose one of its band",
			c.BSSID, c.Heard, next.RadioName(site.RadioRef{AP: i, Radio: k}), r.Band)
	}
	r.BSSIDs = append(r.BSSIDs, c.BSSID)
	if err := next.Validate(); err != nil {
		return nil, err
	}
	return next, nil
}

// Choices lists where a BSSID that was heard in a band may go: the radios of
// that band, then a new radio of each access point. With an unknown band it is
// all radios, and no new one.
func Choices(plan *site.Site, heard radio.Band) []Target {
	var out []Target
	for _, ref := range plan.Radios() {
		ap := &plan.AccessPoints[ref.AP]
		if b := ap.Radios[ref.Radio].Band; heard == "" || b == heard {
			out = append(out, Target{AP: ap.ID, Radio: ref.Radio, Band: b})
		}
	}
	if heard != "" {
		for i := range plan.AccessPoints {
			out = append(out, Target{AP: plan.AccessPoints[i].ID, Radio: NewRadio, Band: heard})
		}
	}
	return out
}
