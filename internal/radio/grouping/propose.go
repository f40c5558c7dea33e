package grouping

import (
	"cmp"
	"slices"

	"footrule/internal/radio"
	"footrule/internal/site"
)

// contradicted is the sum of measured weights from which on two BSSs that the
// plan has under one radio are said not to be: levels that differ by more than
// one radio's can, or channels.
const contradicted = -1.5

// Options bring in what walks do not say.
type Options struct {
	Sets []MultipleBSSID // that beacons announced
}

// Propose weighs what was heard against a plan.
//
//  1. Of two BSSs on one radio the walks have to say so: see the weights. The
//     plan is believed where they say nothing against it.
//  2. A group of BSSs is the radio of the plan that most of its members are
//     under; where two have as many, the one whose access point has more
//     addresses of the same first five octets. No two groups are one radio.
//  3. A group that is no radio of the plan goes to the access point of the radio
//     that it is nearest to, if that is near enough.
//  4. A BSSID of the plan is never kept out.
//  5. Equal input gives equal output.
func Propose(plan *site.Site, h Heard, o Options) Report {
	p := &proposer{plan: plan, heard: &h, refs: plan.Radios(), on: make([]int, len(h.BSSs)), why: make([]string, len(h.BSSs))}
	p.radios = newLinks(priorRadio, func(i, j int) []Evidence { return oneRadio(&h.BSSs[i], &h.BSSs[j], slices.Concat(h.Sets, o.Sets)) })
	p.places()
	p.leaveOut()
	p.groups = p.radios.cluster(p.kept, func(i, j int) bool { return mayShare(&h.BSSs[i], &h.BSSs[j]) })
	p.believe()
	p.name()
	for _, g := range p.groups {
		p.sent = append(p.sent, h.transmitter(g))
	}
	p.aps = newLinks(priorAP, func(i, j int) []Evidence { return h.oneAP(&p.sent[i], &p.sent[j]) })
	p.aps.every = true // boxes with neighbouring addresses in one hall are alike on the average
	all := make([]int, len(p.groups))
	for i := range all {
		all[i] = i
	}
	p.boxes = p.aps.cluster(all, func(i, j int) bool { return true })
	return p.report()
}

type proposer struct {
	plan   *site.Site
	heard  *Heard
	refs   []site.RadioRef
	radios *links   // between BSSs
	on     []int    // per BSS: place in Site.Radios, −1 for none
	why    []string // per BSS: why it is kept out
	own    map[string]bool
	ownIDs []string

	kept   []int
	groups [][]int // of BSSs
	is     []int   // per group: radio of the plan, −1 for none
	sent   []transmitter
	aps    *links // between groups
	boxes  [][]int
}

func (p *proposer) radioAt(k int) *site.Radio {
	r := p.refs[k]
	return &p.plan.AccessPoints[r.AP].Radios[r.Radio]
}

// places looks up every BSS on the plan and finds the site's own SSIDs.
func (p *proposer) places() {
	of := p.plan.RadioOf()
	p.own = map[string]bool{}
	for i := range p.heard.BSSs {
		b := &p.heard.BSSs[i]
		p.on[i] = -1
		if k, ok := of[b.ID]; ok {
			p.on[i] = k
			for _, s := range b.SSIDs {
				if !p.own[s] {
					p.own[s] = true
					p.ownIDs = append(p.ownIDs, s)
				}
			}
		}
	}
	slices.Sort(p.ownIDs)
}

func (p *proposer) carriesOwn(i int) bool {
	return p.on[i] < 0 && slices.ContainsFunc(p.heard.BSSs[i].SSIDs, func(s string) bool { return p.own[s] })
}

// leaveOut sorts out what is kept out by default.
func (p *proposer) leaveOut() {
	bss := p.heard.BSSs
	for i := range bss {
		if p.on[i] < 0 {
			alone := !p.carriesOwn(i)
			for j := range bss {
				if i != j && (address(bss[i].ID, bss[j].ID).Weight > 0 || bss[i].ssid() != "" && slices.Contains(bss[j].SSIDs, bss[i].ssid())) {
					alone = false
				}
			}
			p.why[i] = p.heard.keptOut(&bss[i], alone)
		}
		if p.why[i] == "" {
			p.kept = append(p.kept, i)
		}
	}
}

// fits reports whether BSS i was heard in the band of radio k, or its band is unknown.
func (p *proposer) fits(i, k int) bool {
	b := p.heard.BSSs[i].band()
	return b == "" || b == p.radioAt(k).Band
}

// votes counts the members of a group that the plan has under radio k.
func (p *proposer) votes(g []int, k int) int {
	n := 0
	for _, i := range g {
		if p.on[i] == k && p.fits(i, k) {
			n++
		}
	}
	return n
}

// main is the group with most members under radio k of the plan, of equal ones
// the one with more kin there; −1 for none.
func (p *proposer) main(k int) int {
	best, most, kin := -1, 0, 0
	for g := range p.groups {
		n := p.votes(p.groups[g], k)
		if n == 0 || n < most {
			continue
		}
		if c := p.kin(p.groups[g], k); n > most || c > kin {
			best, most, kin = g, n, c
		}
	}
	return best
}

// believe joins groups that the plan has under one radio where what was
// measured does not contradict it.
func (p *proposer) believe() {
	for k := range p.refs {
		for again := true; again; {
			again = false
			m := p.main(k)
			for g := range p.groups {
				if m < 0 || g == m || p.votes(p.groups[g], k) == 0 || p.elsewhere(p.groups[g], k) || p.measured(p.groups[m], p.groups[g]) <= contradicted {
					continue
				}
				p.groups[m] = slices.Concat(p.groups[m], p.groups[g])
				slices.Sort(p.groups[m])
				p.groups = slices.Delete(p.groups, g, g+1)
				again = true
				break
			}
		}
	}
}

// elsewhere reports whether a group has members under another radio than k.
func (p *proposer) elsewhere(g []int, k int) bool {
	return slices.ContainsFunc(g, func(i int) bool { return p.on[i] >= 0 && p.on[i] != k })
}

func (p *proposer) measured(a, b []int) float64 {
	total := 0.0
	for _, i := range a {
		for _, j := range b {
			total += measured(p.radios.evidence(i, j))
		}
	}
	return total / float64(len(a)*len(b))
}

// name decides which radio of the plan each group is: pairs of a group and a
// radio, those with most votes first, then those with most kin.
func (p *proposer) name() {
	type claim struct{ g, k, votes, kin int }
	var claims []claim
	p.is = make([]int, len(p.groups))
	for g := range p.groups {
		p.is[g] = -1
		for k := range p.refs {
			if n := p.votes(p.groups[g], k); n > 0 {
				claims = append(claims, claim{g, k, n, p.kin(p.groups[g], k)})
			}
		}
	}
	slices.SortStableFunc(claims, func(a, b claim) int { return cmp.Or(b.votes-a.votes, b.kin-a.kin) })
	for _, c := range claims {
		if p.is[c.g] < 0 && !slices.Contains(p.is, c.k) {
			p.is[c.g] = c.k
		}
	}
}

// kin counts the addresses of radio k's access point, those of the group left
// aside, that share the first five octets with one of the group.
func (p *proposer) kin(g []int, k int) int {
	n := 0
	for _, r := range p.plan.AccessPoints[p.refs[k].AP].Radios {
		for _, b := range r.BSSIDs {
			mine := slices.ContainsFunc(g, func(i int) bool { return p.heard.BSSs[i].ID == b })
			near := slices.ContainsFunc(g, func(i int) bool { return number(p.heard.BSSs[i].ID)>>8 == number(b)>>8 })
			if near && !mine {
				n++
			}
		}
	}
	return n
}

// nearest is the group that is a radio of the plan, in the same access point as
// group g, with the best sum; −1 for none.
func (p *proposer) nearest(g int) int {
	best, most := -1, 0.0
	for _, box := range p.boxes {
		if !slices.Contains(box, g) {
			continue
		}
		for _, q := range box {
			if s := p.aps.sum(min(g, q), max(g, q)); q != g && p.is[q] >= 0 && s > most {
				best, most = q, s
			}
		}
	}
	return best
}

// vacant is a radio of an access point in a band that no group is; NewRadio
// where there is none.
func (p *proposer) vacant(ap int, band radio.Band) int {
	for k, ref := range p.refs {
		if ref.AP == ap && p.radioAt(k).Band == band && !slices.Contains(p.is, k) {
			return ref.Radio
		}
	}
	return NewRadio
}
