package grouping

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// report writes everything down.
func (p *proposer) report() Report {
	out := Report{Scans: p.heard.Scans, Places: len(p.heard.Places), OwnSSIDs: p.ownIDs}
	for i := range p.heard.BSSs {
		if p.why[i] != "" {
			pr := p.begin(i, KeptOut)
			pr.Why = p.why[i]
			p.finish(&out, pr)
		}
	}
	for g, members := range p.groups {
		rg := RadioGroup{BSSIDs: p.heard.addresses(members), FreqMHz: p.sent[g].freqMHz, Score: math.NaN()}
		if k := p.is[g]; k >= 0 {
			rg.Planned = p.plan.RadioName(p.refs[k])
		}
		if len(members) > 1 {
			rg.Score = p.radios.weakest(members)
		}
		out.Radios = append(out.Radios, rg)
		for _, i := range members {
			if k := p.on[i]; k >= 0 && k == p.is[g] && p.fits(i, k) {
				out.AsPlanned++
				continue
			}
			p.finish(&out, p.propose(g, i))
		}
	}
	for _, box := range p.boxes {
		ag := APGroup{Radios: box, Score: math.NaN()}
		for _, g := range box {
			if k := p.is[g]; k >= 0 {
				if id := p.plan.AccessPoints[p.refs[k].AP].ID; !slices.Contains(ag.Planned, id) {
					ag.Planned = append(ag.Planned, id)
				}
			}
		}
		if len(box) > 1 {
			ag.Score = p.aps.weakest(box)
			ag.Evidence = p.aps.evidence(box[0], box[1])
		}
		out.AccessPoints = append(out.AccessPoints, ag)
	}
	for _, ref := range p.refs {
		for _, b := range p.plan.AccessPoints[ref.AP].Radios[ref.Radio].BSSIDs {
			if !slices.ContainsFunc(p.heard.BSSs, func(x BSS) bool { return x.ID == b }) {
				out.Unheard = append(out.Unheard, b)
			}
		}
	}
	order := []Kind{Add, Move, AddRadio, Doubt, Unplaced, KeptOut}
	slices.SortStableFunc(out.Proposals, func(a, b Proposal) int {
		return cmp.Or(cmp.Compare(slices.Index(order, a.Kind), slices.Index(order, b.Kind)),
			ownFirst(a, b), cmp.Compare(rank(b.Score), rank(a.Score)), cmp.Compare(number(a.BSSID), number(b.BSSID)))
	})
	return out
}

// ownFirst puts what carries an SSID of the site first among what has no place.
func ownFirst(a, b Proposal) int {
	switch {
	case a.To != nil || b.To != nil || a.OwnSSID == b.OwnSSID:
		return 0
	case a.OwnSSID:
		return -1
	}
	return 1
}

func rank(score float64) float64 {
	if math.IsNaN(score) {
		return -1
	}
	return score
}

// weakest is the least, over members, of the best score with another member.
func (l *links) weakest(members []int) float64 {
	least := math.Inf(1)
	for _, i := range members {
		most := math.Inf(-1)
		for _, j := range members {
			if i != j {
				most = max(most, l.sum(i, j))
			}
		}
		least = min(least, most)
	}
	return score(least)
}

// begin fills in what is known of BSS i.
func (p *proposer) begin(i int, kind Kind) Proposal {
	b := &p.heard.BSSs[i]
	pr := Proposal{BSSID: b.ID, Kind: kind, SSIDs: b.SSIDs, FreqMHz: b.FreqMHz, Scans: len(b.Samples), Places: b.Places,
		StrongestDBm: b.StrongestDBm, OwnSSID: p.carriesOwn(i), Score: math.NaN()}
	if k := p.on[i]; k >= 0 {
		pr.Planned = p.plan.RadioName(p.refs[k])
	}
	return pr
}

func (p *proposer) finish(out *Report, pr Proposal) {
	if pr.To != nil {
		pr.ToName = pr.To.Name(p.plan)
	}
	if !math.IsNaN(pr.Score) {
		pr.Confidence = confidence(pr.Score)
	}
	if pr.OwnSSID && pr.To == nil {
		pr.Why += "; it carries an SSID of this site: an access point that the plan lacks, or somebody else's"
	}
	pr.name()
	out.Proposals = append(out.Proposals, pr)
}

// compare sets whom BSS i is compared with: the member of others with the best sum.
func (p *proposer) compare(pr *Proposal, i int, others []int) {
	best, most := -1, math.Inf(-1)
	for _, j := range others {
		if s := p.radios.sum(i, j); j != i && (best < 0 || s > most) {
			best, most = j, s
		}
	}
	if best >= 0 {
		pr.With, pr.Score, pr.Evidence = &p.heard.BSSs[best].ID, score(most), p.radios.evidence(min(i, best), max(i, best))
	}
}

// propose says what to do about member i of group g, which is not as planned.
func (p *proposer) propose(g, i int) Proposal {
	pr := p.begin(i, Unplaced)
	b := &p.heard.BSSs[i]
	for _, j := range p.groups[g] {
		if j != i {
			pr.Mates = append(pr.Mates, p.heard.BSSs[j].ID)
		}
	}
	under := func(k int, of []int) []int {
		var out []int
		for _, j := range of {
			if p.on[j] == k {
				out = append(out, j)
			}
		}
		return out
	}
	if k := p.is[g]; k >= 0 && p.on[i] != k {
		ref := p.refs[k]
		pr.To = &Target{AP: p.plan.AccessPoints[ref.AP].ID, Radio: ref.Radio, Band: p.radioAt(k).Band}
		p.compare(&pr, i, under(k, p.groups[g]))
		pr.Kind, pr.Why = Add, fmt.Sprintf("one radio with %s, which the plan has under %s", pr.With, p.plan.RadioName(ref))
		if pr.Planned != "" {
			pr.Kind = Move
			pr.Why += fmt.Sprintf("; this one stands under %s", pr.Planned)
		}
		return pr
	}
	if q := p.nearest(g); q >= 0 && b.band() != "" {
		ref := p.refs[p.is[q]]
		name := p.plan.RadioName(ref)
		pr.To = &Target{AP: p.plan.AccessPoints[ref.AP].ID, Radio: p.vacant(ref.AP, b.band()), Band: b.band()}
		pr.With = &p.heard.BSSs[p.sent[q].members[0]].ID
		pr.Evidence = p.aps.evidence(g, q)
		pr.Score = score(p.aps.sum(g, q))
		pr.Kind, pr.Why = AddRadio, fmt.Sprintf("a radio of the access point that sends %s", name)
		if pr.To.Radio != NewRadio {
			pr.Kind = Add
			pr.Why += ", and the plan's radio of that band was not heard otherwise"
		}
		if pr.Planned != "" {
			pr.Kind = Move
			pr.Why += fmt.Sprintf("; the plan has this one under %s", pr.Planned)
		}
		return pr
	}
	if k := p.on[i]; k >= 0 {
		pr.Kind = Doubt
		if !p.fits(i, k) {
			pr.Why = fmt.Sprintf("the plan has it under %s, and it was heard on %s", pr.Planned, channelText(b.FreqMHz))
			return pr
		}
		if m := p.main(k); m >= 0 {
			p.compare(&pr, i, under(k, p.groups[m]))
		}
		pr.Why = fmt.Sprintf("the plan has it under %s, but it does not go with the others there", pr.Planned)
		return pr
	}
	pr.Why = "it fits no radio of the plan"
	if len(pr.Mates) > 0 {
		pr.Why += fmt.Sprintf("; it is one radio with %s", pr.Mates[0])
		p.compare(&pr, i, p.groups[g])
	}
	return pr
}
