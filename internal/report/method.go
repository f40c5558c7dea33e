package report

import (
	"crypto/hmac"
	"crypto/sha256"
	"fmt"
	"slices"
	"strings"

	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/radio"
	"footrule/internal/say"
	"footrule/internal/site"
	"footrule/internal/walk"
)

// method says with what and how everything was found.
func (w *writer) method() {
	w.section(methodTitle)
	w.part("How the survey was made")
	if len(w.Walks) == 0 {
		w.say("No walk yet.")
	} else {
		how := "A surveyor stood at points of the plan and had a receiver scan for access points"
		if w.walked.faced {
			how += ", facing one direction after another"
		}
		w.say(how + ". " +
			"Of each access point the levels of the scans that heard it were averaged in dB; a scan that did not hear it counts as such, where it listened on its channel.")
		w.walks()
	}
	w.part("Access points")
	w.accessPoints()
	if n := w.Site.Infra; n != nil && len(n.Switches) > 0 {
		w.part("Switches")
		w.switches(n)
	}
	w.part("How the figures were reached")
	w.list(w.reached())
}

func (w *writer) walks() {
	var rows, how [][]string
	for i := range w.Walks {
		k := &w.Walks[i]
		one := walkedOf(&Input{Site: w.Site, Walks: w.Walks[i : i+1]})
		rows = append(rows, []string{k.Name, or(k.Surveyor, "not named"), receiver(k), sourceName[k.Source], one.days(),
			whole(one.visits), whole(len(one.stands)), whole(one.scans), whole(one.readings)})
		how = append(how, []string{k.Name, facings(k), scansPer(k), listened(k), w.heardOn(k), or(k.Program, "not said")})
	}
	w.table("Walks", rows, "walk", "surveyor", "receiver", "levels are", "dates (UTC)", "visits#", "places#", "scans#", "readings#")
	w.table("How they were taken", how, "walk", "facings, degrees clockwise from plan up", "scans in a facing#", "listened on", "the site's radios were heard on channel", "written by footrule")
	if n := w.walked.foreign; n > 0 {
		w.say(fmt.Sprintf("%d of the %d readings are of radios that are not on the plan. Nothing of them is used, and neither their addresses nor their names are in this report.", n, w.walked.readings))
	}
}

// receiver names what received, with its interface and driver where they are known.
func receiver(k *walk.Walk) string {
	switch {
	case k.Adapter == "" || strings.HasPrefix(k.Adapter, k.Receiver):
		return or(k.Adapter, or(k.Receiver, "not named"))
	}
	return k.Receiver + " (" + k.Adapter + ")"
}

var sourceName = map[walk.Source]string{walk.Live: "measured", walk.Synthetic: "simulated", walk.Imported: "imported"}

// facings lists the directions that were faced.
func facings(k *walk.Walk) string {
	var all []float64
	free := false
	for _, v := range k.Standing() {
		for _, s := range v.Scans {
			switch {
			case s.FacingDeg == walk.NoFacing:
				free = true
			case !slices.Contains(all, s.FacingDeg):
				all = append(all, s.FacingDeg)
			}
		}
	}
	slices.Sort(all)
	var out []string
	for _, d := range all {
		out = append(out, number(d))
	}
	const most = 8
	if len(out) > most {
		out = []string{fmt.Sprintf("%d different ones", len(out))}
	}
	if free {
		out = append(out, "not recorded")
	}
	return or(strings.Join(out, ", "), "–")
}

// scansPer gives how many scans the facings of a visit have, from fewest to most.
func scansPer(k *walk.Walk) string {
	least, most := 0, 0
	for _, v := range k.Standing() {
		n := map[float64]int{}
		for _, s := range v.Scans {
			n[s.FacingDeg]++
		}
		for _, c := range n {
			if least == 0 || c < least {
				least = c
			}
			most = max(most, c)
		}
	}
	if least == most {
		return whole(least)
	}
	return fmt.Sprintf("%d to %d", least, most)
}

// listened says on which channels scans listened.
func listened(k *walk.Walk) string {
	all := false
	freqs := map[int]bool{}
	for _, v := range k.Standing() {
		for _, s := range v.Scans {
			all = all || len(s.FreqsMHz) == 0
			for _, f := range s.FreqsMHz {
				freqs[f] = true
			}
		}
	}
	if all {
		return "all channels of the receiver"
	}
	return channels(freqs)
}

// heardOn lists the channels on which radios of the plan were heard.
func (w *writer) heardOn(k *walk.Walk) string {
	ours := w.Site.RadioOf()
	freqs := map[int]bool{}
	for _, v := range k.Standing() {
		for _, s := range v.Scans {
			for _, r := range s.Readings {
				if _, ok := ours[r.BSSID]; ok && r.FreqMHz != 0 {
					freqs[r.FreqMHz] = true
				}
			}
		}
	}
	return or(channels(freqs), "not recorded")
}

// channels names channels band by band.
func channels(freqs map[int]bool) string {
	var out []string
	for _, b := range radio.Bands() {
		var of []int
		for f := range freqs {
			if in, ok := radio.BandOf(f); ok && in == b {
				of = append(of, f)
			}
		}
		slices.Sort(of)
		var names []string
		for _, f := range of {
			if c, ok := radio.Channel(f); ok {
				names = append(names, whole(c))
			} else {
				names = append(names, fmt.Sprintf("%d MHz", f))
			}
		}
		if len(names) > 0 {
			out = append(out, string(b)+" GHz: "+strings.Join(names, ", "))
		}
	}
	return strings.Join(out, "; ")
}

func (w *writer) accessPoints() {
	heads := []string{"access point", "floor", "at x, y m#", "height m#", "band GHz", "antenna", "power dBm#", "speed"}
	switch w.Addresses {
	case Keep:
		heads = append(heads, "addresses")
	case Hash:
		if len(w.Walks) > 0 {
			heads = append(heads, "hashed addresses")
		}
	}
	var rows [][]string
	for i := range w.Site.AccessPoints {
		ap := &w.Site.AccessPoints[i]
		for j := range ap.Radios {
			r := &ap.Radios[j]
			row := []string{ap.ID, ap.Floor, place(ap.At), number(ap.HeightM), string(r.Band), antenna(r.Antenna), optional(r.TxPowerDBm), speed(r.PHY)}
			if len(heads) > len(row) {
				row = append(row, w.addresses(r.BSSIDs))
			}
			rows = append(rows, row)
		}
	}
	w.table("Access points as on the plan, a row for each radio", rows, heads...)
	w.say(fmt.Sprintf("Heights are above the floor; the receiver's antenna is taken to be %g m above it.", w.Site.ReceiverHeightM))
	switch w.Addresses {
	case Hash:
		if len(w.Walks) == 0 {
			w.say("Addresses are left out: before any walk there is no key to hash them by.")
			break
		}
		w.say("The hashes let who has the site file tell the radios; nobody else can undo them by trying addresses.")
	case Keep:
		w.note("This report has the hardware addresses of the site's own radios in it.")
	}
}

func antenna(a *site.Antenna) string {
	if a == nil {
		return "omnidirectional, assumed"
	}
	text := fmt.Sprintf("%g dBi", a.GainDBi)
	if !a.Directional() {
		return say.Minus("omnidirectional, " + text)
	}
	text += fmt.Sprintf(", towards %g°, %g° down", a.AzimuthDeg, a.TiltDeg)
	if a.BeamWidthDeg > 0 {
		text += fmt.Sprintf(", %g° wide", a.BeamWidthDeg)
	}
	if a.BeamHeightDeg > 0 {
		text += fmt.Sprintf(", %g° high", a.BeamHeightDeg)
	}
	return say.Minus(text)
}

func speed(p *site.PHY) string {
	if p == nil {
		return "not known"
	}
	var out []string
	if p.Standard != "" {
		out = append(out, string(p.Standard))
	}
	if p.WidthMHz != nil {
		out = append(out, fmt.Sprintf("%d MHz", *p.WidthMHz))
	}
	if p.Streams != nil {
		out = append(out, say.Count(*p.Streams, "stream"))
	}
	return or(strings.Join(out, ", "), "not known")
}

// addresses are the BSSIDs of a radio, as they may be shown.
func (w *writer) addresses(list []radio.BSSID) string {
	var out []string
	for _, b := range list {
		text := b.String()
		if w.Addresses == Hash {
			mac := hmac.New(sha256.New, []byte(w.key()))
			mac.Write(b[:])
			text = fmt.Sprintf("%x", mac.Sum(nil)[:8])
		}
		out = append(out, text)
	}
	return or(strings.Join(out, ", "), "none yet")
}

// key is made of what the site file has and the report has not: every level of the
// walks, and when it was read. Without it the 2⁴⁸ addresses cannot be tried one by one.
func (w *writer) key() string {
	if w.hashKey != "" {
		return w.hashKey
	}
	h := sha256.New()
	for i := range w.Walks {
		fmt.Fprintln(h, w.Walks[i].ID, w.Walks[i].Digest)
		for _, v := range w.Walks[i].Visits {
			for _, s := range v.Scans {
				fmt.Fprintln(h, s.Time.UnixNano())
				for _, r := range s.Readings {
					fmt.Fprintln(h, r.BSSID, r.RSSIDBm)
				}
			}
		}
	}
	w.hashKey = string(h.Sum(nil))
	return w.hashKey
}

func (w *writer) switches(n *site.Infra) {
	var rows [][]string
	for i := range n.Switches {
		sw := &n.Switches[i]
		var ports []string
		for _, g := range sw.Ports {
			text := fmt.Sprintf("%d at %s Mbit/s", g.Count, optional(g.SpeedMbps))
			if g.Power != site.PowerUnknown {
				text += ", power " + string(g.Power)
			}
			if g.Class != nil {
				text += fmt.Sprintf(" up to class %d", *g.Class)
			}
			ports = append(ports, text)
		}
		rows = append(rows, []string{sw.ID, or(sw.Closet, "not known"), strings.Join(ports, "; "), whole(len(sw.Taken)), optional(sw.PowerBudgetW), optional(sw.Uplinks) + " at " + optional(sw.UplinkMbps)})
	}
	w.table("Switches", rows, "switch", "closet", "ports", "taken#", "power budget W#", "uplinks, Mbit/s#")
}

// modelSays says how a model treats levels and silence.
var modelSays = map[propagation.Model]string{
	propagation.OLS:      "least squares on the levels that were heard; silence is left out",
	propagation.Censored: "maximum likelihood; a radio that a whole visit did not hear is taken for weak",
	propagation.TwoLevel: "maximum likelihood over all scans: those of one visit share the shadowing of their place, and a scan that did not hear a radio was out of its reach or missed it",
	propagation.Robust:   "Huber's weights, so that bodies, doors and wrong points pull less; a radio that a whole visit did not hear was weak or missed",
	propagation.Pooled:   "each radio has a level and an exponent drawn towards those of its band; silence is left out",
}

var methodSays = map[position.Method]string{
	position.Trilaterate: "the likeliest place on the plan under the fitted model",
	position.Posterior:   "the place of least expected error under the fitted model, over where people walk",
	position.RadioMap:    "the place of least expected error, by levels that follow the measured ones where somebody stood",
	position.Nearest:     "the points of the walk with the most similar levels",
}

var protocolSays = map[position.Protocol]string{
	position.LeaveOneOut:  "each place was left out in turn, with all visits to it: its fixes come from a fit that never saw it",
	position.LeaveAreaOut: "all places of an area were left out together: their fixes come from a fit to the other areas",
	position.TrainTest:    "the fixes of some walks were made by a fit to other walks",
}

// reached says how the figures came about, a point for each kind.
func (w *writer) reached() []string {
	var out []string
	if f := w.Fit; f != nil {
		out = append(out, fmt.Sprintf("Levels: in dBm, level at 1 m less 10 times the exponent times the logarithm of the distance in metres (in three dimensions), less a loss for each wall between. The %s model was fitted: %s. Intervals of its parameters respect that readings taken at one place share their shadowing.", f.Model, modelSays[f.Model]))
	}
	if c := w.Cover; c != nil {
		out = append(out, fmt.Sprintf("Maps: predicted from %s, in cells of %g m. An access point is heard where its level is %s dBm or more at a probability of %g; a box with two bands counts once.", w.Basis, c.Options.CellM, number(c.Options.ThresholdDBm), c.Options.Confidence))
	}
	if e := w.Errors; e != nil {
		out = append(out,
			fmt.Sprintf("Fixes: by %s, %s; one from each %s. The protocol is %s: %s.", e.Method, methodSays[e.Method], e.Fix, e.Protocol, protocolSays[e.Protocol]),
			fmt.Sprintf("Errors: horizontal distance from the fix to where the surveyor stood, with the names of ISO/IEC 18305. Quantiles are %s. Intervals of metres are BCa bootstraps over places, those of shares exact binomial.", e.Quantiles),
			"Targets: passed or failed by the exact binomial bound (Clopper and Pearson) at the stated confidence. A place counts as within by the share of its fixes that are; a fix that was not found is not within. Where neither is shown, the target is open.")
	}
	if w.Doubts != nil {
		out = append(out, "Doubts: what does not fit is named where the levels are many times likelier with the fault than without it, after what is known of how levels at neighbouring places go together.")
	}
	return append(out, "Infrastructure: figures on paper held against the standards that each check names.")
}
