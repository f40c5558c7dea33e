package infra

import (
	"fmt"

	"footrule/internal/site"
)

// carries is the highest speed in Mbit/s that a category carries over a channel
// of 100 m by IEEE 802.3 (10BASE-T, 1000BASE-T, 2.5G, 5G and 10GBASE-T; from
// memory). Category 6 carries 10GBASE-T as well over cat6ShortM (TIA TSB-155,
// from memory).
var carries = map[site.Cable]float64{
	"cat3": 10, "cat5": 1000, "cat5e": 2500, "cat6": 5000, "cat6a": 10000, "cat7": 10000, "cat7a": 10000, "cat8": 10000,
}

const cat6ShortM = 37.0

func permanentLink(f *feed, m *missing) []Finding {
	n := f.len
	switch {
	case !n.known:
		m.add(f.ap.ID, "add link_m to [access_point.drop], or at to its [[closet]] for an estimate")
		return nil
	case n.measured:
		r := judged(f.ap.ID, Holds, n.m, LinkM, "m", fmt.Sprintf("the link is %s m long", inMetres(n.m)))
		if n.m > LinkM {
			r.Status = Fails
			r.Text += fmt.Sprintf(": too long by %s m", inMetres(n.m-LinkM))
		}
		if c := f.ap.Drop.Closet; c != "" && f.sw != nil && f.sw.Closet != "" && f.sw.Closet != c {
			return []Finding{r, {Subjects: []string{f.ap.ID}, Status: Doubtful, Text: fmt.Sprintf("its cable ends in closet %s and its switch is in closet %s: the way between them is not counted", c, f.sw.Closet)}}
		}
		return []Finding{r}
	}
	r := judged(f.ap.ID, Holds, n.m, LinkM, "m", fmt.Sprintf("the link is about %.0f m long by the plan, not measured", n.m))
	switch {
	case n.least > LinkM:
		r.Status = Fails
		r.Text = fmt.Sprintf("the closet is %.0f m away in a straight line", n.least)
	case n.m > NearlyFull*LinkM:
		r.Status = Doubtful
		r.Text += ": measure its way before it is counted on"
	}
	r.Proposed, r.Estimate = f.proposed, true
	return []Finding{r}
}

func channel(f *feed, m *missing) []Finding {
	d := f.ap.Drop
	switch {
	case !f.len.known:
		m.add(f.ap.ID, "the length of the link is not known")
		return nil
	case d == nil || d.PatchM == nil:
		if f.len.m > ChannelM {
			return []Finding{judged(f.ap.ID, Fails, f.len.m, ChannelM, "m", fmt.Sprintf("the link alone is %s m long", inMetres(f.len.m)))}
		}
		m.add(f.ap.ID, fmt.Sprintf("add patch_m to [access_point.drop]; %.0f m of cords are usual at most", CordsM))
		return nil
	}
	about := ""
	if !f.len.measured {
		about = "about "
	}
	sum := f.len.m + *d.PatchM
	r := judged(f.ap.ID, Holds, sum, ChannelM, "m", fmt.Sprintf("the channel is %s%s m long, with %s m of cords", about, inMetres(sum), inMetres(*d.PatchM)))
	if sum > ChannelM {
		r.Status = Fails
		r.Text += fmt.Sprintf(": too long by %s m", inMetres(sum-ChannelM))
		if !f.len.measured {
			r.Status = Doubtful
			r.Text += ", and its link is only estimated"
		}
	}
	r.Proposed, r.Estimate = f.proposed && !f.len.measured, !f.len.measured
	return []Finding{r}
}

func category(f *feed, m *missing) []Finding {
	d := f.ap.Drop
	if d == nil || d.Cable == "" {
		m.add(f.ap.ID, "add cable to [access_point.drop]")
		return nil
	}
	most := carries[d.Cable]
	if d.Cable == "cat6" && f.len.known && f.len.m+CordsM <= cat6ShortM {
		most = 10000
	}
	if r, asked := drawOf(f.ap); asked && d.Cable == "cat3" && sourceOf(f.ap) != site.FromLocal && r.asked.Number > 3 {
		return []Finding{judged(f.ap.ID, Fails, float64(r.asked.Number), 3, "power class", fmt.Sprintf("%s carries class 3 at most, and class %d is asked for", d.Cable, r.asked.Number))}
	}
	if f.demand == nil {
		m.add(f.ap.ID, fmt.Sprintf("%s carries %.0f Mbit/s; what the radios bring is not known", d.Cable, most))
		return nil
	}
	r := judged(f.ap.ID, Holds, *f.demand, most, "Mbit/s", fmt.Sprintf("%s carries %.0f Mbit/s, and the radios bring %.0f", d.Cable, most, *f.demand))
	if *f.demand > most {
		r.Status = Fails
	}
	return []Finding{r}
}
