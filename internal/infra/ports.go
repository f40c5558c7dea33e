package infra

import (
	"fmt"

	"footrule/internal/say"
)

func portCount(l *look) []Finding {
	n := len(l.feeds)
	if len(l.infra.Switches) == 0 {
		return []Finding{{Status: Unknown, Text: fmt.Sprintf("there is no [[switch]], and %s a port each", verbed(n, "access point", "needs", "need"))}}
	}
	free := 0
	for i := range l.infra.Switches {
		free += l.infra.Switches[i].PortCount() - len(l.infra.Switches[i].Taken)
	}
	text := fmt.Sprintf("%s a port each, and %s free", verbed(n, "access point", "needs", "need"), verbed(free, "port", "is", "are"))
	f := judged("", Holds, float64(n), float64(free), "ports", text)
	switch {
	case n > free:
		f.Status = Fails
		f.Text += fmt.Sprintf(": short of %s", say.Count(n-free, "port"))
	case len(l.unpatched) > 0:
		f.Status, f.Subjects = Fails, l.unpatched
		f.Text += ", and none of them where the cable of these ends"
	}
	return []Finding{f}
}

func portSpeed(f *feed, m *missing) []Finding {
	switch {
	case f.demand == nil:
		m.add(f.ap.ID, fmt.Sprintf("add %s to its radios", listed(f.lacks)))
	case f.group == nil:
		m.add(f.ap.ID, fmt.Sprintf("on no port yet; its radios bring up to %.0f Mbit/s", *f.demand))
	case f.group.SpeedMbps == nil:
		m.add(f.ap.ID, fmt.Sprintf("add speed_mbps to the ports of %s", f.sw.ID))
	default:
		speed := *f.group.SpeedMbps
		r := judged(f.ap.ID, Holds, *f.demand, speed, "Mbit/s", fmt.Sprintf("its radios bring %.0f Mbit/s (%.2f of %s) onto a port of %.0f Mbit/s", *f.demand, Throughput, f.rates, speed))
		switch {
		case *f.demand > speed:
			r.Status = Fails
			r.Text += fmt.Sprintf(": the port is slower by %.0f Mbit/s", *f.demand-speed)
		case *f.demand > NearlyFull*speed:
			r.Status = Doubtful
			r.Text += ": borderline"
		}
		r.Proposed = f.proposed
		return []Finding{r}
	}
	return nil
}

func uplinks(l *look) []Finding {
	var out []Finding
	var m missing
	for i := range l.infra.Switches {
		s := &l.infra.Switches[i]
		sum, top, n, proposed := 0.0, 0.0, 0, false
		var open []string
		for k := range l.feeds {
			f := &l.feeds[k]
			if f.sw != s || f.group == nil {
				continue
			}
			n++
			proposed = proposed || f.proposed
			if f.demand == nil {
				open = append(open, "demand of "+f.ap.ID)
				continue
			}
			d := *f.demand
			if v := f.group.SpeedMbps; v != nil {
				d = min(d, *v)
			}
			sum, top = sum+d, max(top, d)
		}
		if n == 0 {
			continue
		}
		if s.Uplinks == nil || s.UplinkMbps == nil {
			m.add(s.ID, "add uplinks and uplink_mbps to [[switch]]")
			continue
		}
		up := float64(*s.Uplinks) * *s.UplinkMbps
		f := judged(s.ID, Holds, top, up, "Mbit/s", fmt.Sprintf("%s up to %.0f Mbit/s together and the busiest %.0f, over %s of %.0f Mbit/s", verbed(n, "access point", "brings", "bring"), sum, top, say.Count(*s.Uplinks, "uplink"), *s.UplinkMbps))
		f.Proposed = proposed
		switch {
		case up == 0 || top > up:
			f.Status = Fails
			f.Text += ": the uplink is slower than one access point"
		case sum > Oversubscribed*up:
			f.Status = Doubtful
			f.Text += fmt.Sprintf(": %.0f to 1, and %.0f to 1 is usual at most", sum/up, Oversubscribed)
		case len(open) > 0:
			f.Status, f.Have = Unknown, nil
			f.Text += "; not known: " + some(open)
		default:
			f.Text += fmt.Sprintf(": %.1f to 1", sum/up)
		}
		out = append(out, f)
	}
	if len(l.infra.Switches) == 0 {
		m.add("", "there is no [[switch]], so no uplink")
	}
	return append(out, m.findings()...)
}

// listed joins keys as a sentence does.
func listed(keys []string) string {
	switch n := len(keys); n {
	case 0:
		return ""
	case 1:
		return keys[0]
	default:
		out := keys[0]
		for _, k := range keys[1 : n-1] {
			out += ", " + k
		}
		return out + " and " + keys[n-1]
	}
}
