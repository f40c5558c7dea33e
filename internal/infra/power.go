package infra

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"footrule/internal/say"
	"footrule/internal/site"
)

// demand of power is what an access point asks for, and what it gets.
type draw struct {
	asked   Class
	guessed bool    // the class follows from the watts
	needW   float64 // at the device, with everything on
	how     string  // where needW is from
}

// drawOf is what an access point asks for; ok is false where that is unknown.
func drawOf(ap *site.AccessPoint) (d draw, ok bool) {
	p := ap.Power
	if p == nil || (p.Class == nil && p.MaxW == nil) {
		return d, false
	}
	if p.MaxW != nil {
		d.needW, d.how = *p.MaxW, "draws at most"
	}
	switch {
	case p.Class != nil:
		d.asked, _ = ClassOf(*p.Class)
	default:
		d.guessed = true
		if d.asked, ok = ClassFor(*p.MaxW); !ok {
			d.asked, _ = ClassOf(site.MaxPowerClass)
		}
	}
	if p.MaxW == nil {
		d.needW, d.how = d.asked.DeviceW, fmt.Sprintf("may draw, as class %d,", d.asked.Number)
	}
	return d, true
}

// source of power of an access point; its zero value is the port.
func sourceOf(ap *site.AccessPoint) site.PowerSource {
	if ap.Power == nil {
		return site.FromPort
	}
	return ap.Power.Source
}

// most is the highest class that feeds an access point, −1 for no power; why
// says what is missing where it is not known.
func (f *feed) most(g *site.PortGroup) (class int, from, why string) {
	if sourceOf(f.ap) == site.FromInjector {
		if c := f.ap.Power.InjectorClass; c != nil {
			return *c, "its injector", ""
		}
		return 0, "", "add injector_class to [access_point.power]"
	}
	if g == nil {
		return 0, "", "on no port yet, so what feeds it is not known"
	}
	c, known := g.HighestClass()
	if !known {
		return 0, "", "add power and class to the [[switch.ports]] that feed it"
	}
	return c, "its port", ""
}

func devicePower(f *feed, m *missing) []Finding {
	id := f.ap.ID
	if sourceOf(f.ap) == site.FromLocal {
		return []Finding{{Subjects: []string{id}, Status: Holds, Text: "has a supply of its own, and needs no power from the port"}}
	}
	d, ok := drawOf(f.ap)
	if !ok {
		m.add(id, "add class or max_w to [access_point.power]")
		return nil
	}
	most, from, why := f.most(f.group)
	if why != "" {
		m.add(id, why)
		return nil
	}
	return []Finding{f.power(d, most, from)}
}

// power judges one access point by the highest class that feeds it.
func (f *feed) power(d draw, most int, from string) Finding {
	metres, over := f.channelM()
	granted, ok := Granted(d.asked.Number, most)
	gives := "no power"
	if most >= 0 {
		gives = fmt.Sprintf("class %d at most", most)
	}
	if !ok {
		r := judged(f.ap.ID, Fails, d.needW, 0, "W", fmt.Sprintf("it asks for class %d, and %s gives %s: it stays off; it %s %s W", d.asked.Number, from, gives, d.how, watts(d.needW)))
		r.Proposed = f.proposed
		return r
	}
	may, behind := granted.May(metres), granted.Behind(metres)
	text := fmt.Sprintf("%s %s W, and class %d leaves it %s W (%s W at %s, %s W behind %s)", d.how, watts(d.needW), granted.Number, watts(may), watts(granted.PortW), from, watts(behind), over)
	if granted.Number != d.asked.Number {
		text = fmt.Sprintf("asks for class %d and gets class %d: ", d.asked.Number, granted.Number) + text
	}
	if d.guessed {
		text += fmt.Sprintf("; that it asks for class %d is inferred", d.asked.Number)
	}
	r := judged(f.ap.ID, Holds, d.needW, may, "W", text)
	if d.needW > may {
		r.Status = Fails
		r.Text += ": " + f.sheds(may)
	}
	r.Proposed = f.proposed && sourceOf(f.ap) == site.FromPort
	return r
}

// sheds says what an access point does with less power than it needs.
func (f *feed) sheds(may float64) string {
	modes := f.ap.Power.Modes
	if len(modes) == 0 {
		return "it sheds radio chains or reboots under load; which, its power modes would say"
	}
	best := -1
	for i, m := range modes {
		if m.NeedsW <= may && (best < 0 || m.NeedsW > modes[best].NeedsW) {
			best = i
		}
	}
	if best < 0 {
		return "none of its power modes runs on that: it reboots or stays off"
	}
	var each []string
	for j, n := range modes[best].Chains {
		of := ""
		if p := f.ap.Radios[j].PHY; p != nil && p.Chains != nil {
			of = fmt.Sprintf(" of %d", *p.Chains)
		}
		each = append(each, fmt.Sprintf("%d%s on %s GHz", n, of, f.ap.Radios[j].Band))
	}
	return fmt.Sprintf("it sheds radio chains and keeps %s (%s W)", strings.Join(each, ", "), watts(modes[best].NeedsW))
}

// atSwitch is what the port of an access point gives when it draws watts, at
// most what it is granted; ok is false where that is unknown.
func (f *feed) atSwitch(g *site.PortGroup, drawn float64) (w float64, ok bool) {
	d, okD := drawOf(f.ap)
	most, _, why := f.most(g)
	if !okD || why != "" {
		return 0, false
	}
	c, ok := Granted(d.asked.Number, most)
	if !ok {
		return 0, true // it stays off
	}
	metres, _ := f.channelM()
	w = c.AtPort(math.Min(drawn, c.May(metres)), metres)
	if math.IsNaN(w) || w > c.PortW {
		w = c.PortW
	}
	return w, true
}

func worstBudget(l *look) []Finding {
	return l.budgets("at their most", func(f *feed) (float64, string) {
		if d, ok := drawOf(f.ap); ok {
			return d.needW, ""
		}
		return 0, "class or max_w"
	})
}

func typicalBudget(l *look) []Finding {
	return l.budgets("typically", func(f *feed) (float64, string) {
		if p := f.ap.Power; p != nil && p.TypicalW != nil {
			return *p.TypicalW, ""
		}
		return 0, "typical_w"
	})
}

// budgets sums what each switch gives to its access points and judges it.
func (l *look) budgets(when string, drawn func(*feed) (w float64, lacks string)) []Finding {
	var out []Finding
	var m missing
	for i := range l.infra.Switches {
		s := &l.infra.Switches[i]
		sum, fed, proposed := 0.0, 0, false
		var open []string
		for k := range l.feeds {
			f := &l.feeds[k]
			if f.sw != s || f.group == nil || sourceOf(f.ap) != site.FromPort {
				continue
			}
			proposed = proposed || f.proposed
			w, lacks := drawn(f)
			if lacks != "" {
				open = append(open, lacks+" of "+f.ap.ID)
				continue
			}
			w, ok := f.atSwitch(f.group, w)
			if !ok {
				open = append(open, "class of "+f.ap.ID+" or of its port")
				continue
			}
			sum, fed = sum+w, fed+1
		}
		text := fmt.Sprintf("%s %s W %s at the switch", verbed(fed, "access point", "takes", "take"), watts(sum), when)
		switch {
		case s.PowerUsedW != nil:
			sum += *s.PowerUsedW
			text += fmt.Sprintf(", with what else it feeds %s W", watts(sum))
		case len(s.Taken) > 0:
			open = append(open, fmt.Sprintf("power_used_w by %s", say.Count(len(s.Taken), "taken port")))
		}
		if fed == 0 && len(open) == 0 {
			continue
		}
		if fed == 0 {
			m.add(s.ID, "of what it feeds is not known: "+some(open))
			continue
		}
		if s.PowerBudgetW == nil {
			m.add(s.ID, "add power_budget_w to [[switch]]; "+text)
			continue
		}
		budget := *s.PowerBudgetW
		text += fmt.Sprintf(", of a budget of %s W, %s W with headroom", watts(budget), watts((1-Headroom)*budget))
		f := judged(s.ID, Holds, sum, budget, "W", text)
		f.Proposed = proposed
		switch {
		case sum > budget:
			f.Status = Fails
			f.Text += fmt.Sprintf(": short of %s W", watts(sum-budget))
		case len(open) > 0:
			f.Status, f.Have = Unknown, nil
			f.Text += "; not known: " + some(open)
		case sum > (1-Headroom)*budget:
			f.Status = Doubtful
			f.Text += fmt.Sprintf(": %.0f %% of it, and %.0f %% is usual", 100*sum/budget, 100*(1-Headroom))
		}
		out = append(out, f)
	}
	if len(l.infra.Switches) == 0 {
		m.add("", "there is no [[switch]], so no budget")
	}
	return append(out, m.findings()...)
}

// watts writes a power with no more than two digits after the point, as the
// classes of IEEE 802.3 need them.
func watts(w float64) string { return strconv.FormatFloat(math.Round(w*100)/100, 'f', -1, 64) }

// some lists the first few of many.
func some(list []string) string {
	const few = 4
	if len(list) > few+1 {
		return fmt.Sprintf("%s and %d more", strings.Join(list[:few], ", "), len(list)-few)
	}
	return strings.Join(list, ", ")
}

// inMetres writes a length with no more than one digit after the point.
func inMetres(m float64) string { return strconv.FormatFloat(math.Round(m*10)/10, 'f', -1, 64) }

// verbed counts things that do something.
func verbed(n int, noun, one, many string) string {
	if n == 1 {
		many = one
	}
	return say.Count(n, noun) + " " + many
}
