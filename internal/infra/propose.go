package infra

import (
	"fmt"
	"slices"

	"footrule/internal/site"
)

// socket is a free port.
type socket struct {
	sw    *site.Switch
	port  int
	group *site.PortGroup
}

// plan is the patching that is still open.
type plan struct {
	l       *look
	open    []int // indices into feeds
	sockets []socket
	costs   [][]cost // by open and socket
	may     [][]bool
	group   []int // of each socket: sockets of one group are alike
	solved  int
}

// propose patches the access points whose patching is open: fewest without a
// port, then fewest shortfalls (too little power, a port too slow, a cable too
// long, a switch over its budget), then fewest doubts, then least that is not
// known, then least cable. Without budgets this is the assignment problem; with them, it branches
// on the access points of the switch that has too many.
func (l *look) propose() {
	p := l.openPlan()
	if len(p.open) == 0 || len(l.infra.Switches) == 0 {
		return
	}
	best, proven := p.search()
	l.proof = proven
	for k, i := range p.open {
		f := &l.feeds[i]
		if best.cols[k] >= len(p.sockets) {
			l.unpatched = append(l.unpatched, f.ap.ID)
			f.sw = nil
			continue
		}
		s := p.sockets[best.cols[k]]
		f.sw, f.port, f.group, f.proposed = s.sw, s.port, s.group, true
	}
}

// openPlan gathers the access points whose patching is open and the free ports.
func (l *look) openPlan() *plan {
	p := &plan{l: l}
	taken := map[string]bool{}
	name := func(sw *site.Switch, port int) string { return fmt.Sprintf("%s %d", sw.ID, port) }
	for i := range l.feeds {
		if f := &l.feeds[i]; f.port != 0 {
			taken[name(f.sw, f.port)] = true
		} else {
			p.open = append(p.open, i)
		}
	}
	for i := range l.infra.Switches {
		s := &l.infra.Switches[i]
		for n := 1; n <= s.PortCount(); n++ {
			if !taken[name(s, n)] && !slices.Contains(s.Taken, n) {
				p.sockets = append(p.sockets, socket{s, n, s.Port(n)})
			}
		}
	}
	for j, k := range p.sockets {
		if j == 0 {
			p.group = append(p.group, 0)
		} else if k.group == p.sockets[j-1].group {
			p.group = append(p.group, p.group[j-1])
		} else {
			p.group = append(p.group, p.group[j-1]+1)
		}
	}
	p.price()
	return p
}

// price sets what each open access point costs on each socket.
func (p *plan) price() {
	for _, i := range p.open {
		f := &p.l.feeds[i]
		row, may := make([]cost, len(p.sockets)), make([]bool, len(p.sockets))
		var last socket
		for j, s := range p.sockets {
			if j > 0 && s.group == last.group { // ports of a group cost the same
				row[j], may[j] = row[j-1], may[j-1]
				continue
			}
			last = s
			d := f.ap.Drop
			may[j] = (f.sw == nil || f.sw == s.sw) && (d == nil || d.Closet == "" || s.sw.Closet == "" || d.Closet == s.sw.Closet)
			row[j] = p.l.costOf(f, s)
		}
		p.costs, p.may = append(p.costs, row), append(p.may, may)
	}
}

func (l *look) costOf(f *feed, s socket) cost {
	g := *f
	g.sw, g.group, g.len = s.sw, s.group, l.lengthOf(f, s.sw)
	var c cost
	if sourceOf(f.ap) != site.FromLocal {
		d, ok := drawOf(f.ap)
		most, from, why := g.most(s.group)
		switch {
		case !ok || why != "":
			c[unknown]++
		default:
			if g.power(d, most, from).Status == Fails {
				c[shortfall]++
			}
			if _, fed := Granted(d.asked.Number, most); !fed {
				c[shortfall]++ // off is worse than slow
			}
		}
	}
	switch {
	case f.demand == nil || s.group.SpeedMbps == nil:
		c[unknown]++
	case *f.demand > *s.group.SpeedMbps:
		c[shortfall]++
	case *f.demand > NearlyFull**s.group.SpeedMbps:
		c[doubt]++
	}
	if !g.len.known {
		c[unknown]++
		c[metres] = LinkM
		return c
	}
	if g.len.least > LinkM {
		c[shortfall]++
	}
	c[metres] = g.len.m
	return c
}
