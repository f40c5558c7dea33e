package infra

import (
	"container/heap"
	"fmt"
	"slices"
	"strings"

	"footrule/internal/site"
)

// maxTrials is how many assignments are solved to keep switches within their
// power budgets; with more to try, the best so far is taken and not called
// proven.
const maxTrials = 300

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

// trial is one assignment under additional conditions.
type trial struct {
	barred   map[[2]int]bool // open access points, and groups of ports that they keep off
	accepted map[int]bool    // switches that may exceed their budget, by index
	cols     []int           // socket of each open access point; beyond the sockets: none
	bound    cost
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

// solve assigns the open access points under the conditions of a trial.
func (p *plan) solve(t *trial) {
	p.solved++
	n, m := len(p.open), len(p.sockets)
	at := func(i, j int) (cost, bool) {
		if j >= m { // a column of its own for having no port
			return cost{without: 1}, j == m+i
		}
		return p.costs[i][j], p.may[i][j] && (len(t.barred) == 0 || !t.barred[[2]int{i, p.group[j]}])
	}
	t.cols = assign(n, m+n, at)
	t.bound = cost{shortfall: float64(len(t.accepted))}
	for i, j := range t.cols {
		c, _ := at(i, j)
		t.bound = t.bound.plus(c)
	}
}

// over lists the switches that a trial puts above their budgets, at the most
// that access points draw; movable are the open ones on the first of them that
// is not accepted.
func (p *plan) over(t *trial) (switches []int, movable []int) {
	for k := range p.l.infra.Switches {
		s := &p.l.infra.Switches[k]
		if s.PowerBudgetW == nil {
			continue
		}
		sum := 0.0
		if s.PowerUsedW != nil {
			sum = *s.PowerUsedW
		}
		load := func(f *feed, g *site.PortGroup) float64 {
			d, ok := drawOf(f.ap)
			if !ok || sourceOf(f.ap) != site.FromPort {
				return 0
			}
			n := *f
			n.len = p.l.lengthOf(f, s)
			w, _ := n.atSwitch(g, d.needW)
			return w
		}
		for i := range p.l.feeds {
			if f := &p.l.feeds[i]; f.sw == s && f.port != 0 {
				sum += load(f, f.group)
			}
		}
		var on []int
		for i, j := range t.cols {
			if j < len(p.sockets) && p.sockets[j].sw == s {
				if w := load(&p.l.feeds[p.open[i]], p.sockets[j].group); w > 0 {
					sum += w
					on = append(on, i)
				}
			}
		}
		if sum > *s.PowerBudgetW && len(on) > 0 {
			switches = append(switches, k)
			if movable == nil && !t.accepted[k] {
				movable = on
			}
		}
	}
	return switches, movable
}

// search tries assignments from the best bound on, until one keeps within the
// budgets or is worth what it exceeds.
func (p *plan) search() (best *trial, proven bool) {
	root := &trial{}
	p.solve(root)
	best = p.dive(root)
	least := p.whole(best)
	queue := &trials{root}
	seen := map[string]bool{}
	for queue.Len() > 0 {
		t := heap.Pop(queue).(*trial)
		if !t.bound.less(least) {
			return best, true
		}
		switches, movable := p.over(t)
		if whole := p.whole(t); whole.less(least) {
			best, least = t, whole
		}
		if movable == nil {
			continue
		}
		at := switches[slices.IndexFunc(switches, func(k int) bool { return !t.accepted[k] })]
		next := &trial{barred: t.barred, accepted: map[int]bool{at: true}}
		for k := range t.accepted {
			next.accepted[k] = true
		}
		p.push(queue, seen, next)
		for _, i := range movable {
			p.push(queue, seen, t.without(i, p.group[t.cols[i]], p.group[t.cols[i]]))
		}
		if p.solved > maxTrials {
			return best, false
		}
	}
	return best, true
}

// whole is the cost of a trial with the switches that it puts over budget.
func (p *plan) whole(t *trial) cost {
	switches, _ := p.over(t)
	c := t.bound
	c[shortfall] += float64(len(switches) - len(t.accepted))
	return c
}

// without gives the trial in which an open access point also keeps off groups
// of ports, from the first to the last.
func (t *trial) without(i, first, last int) *trial {
	next := &trial{barred: map[[2]int]bool{}, accepted: t.accepted}
	for k := range t.barred {
		next.barred[k] = true
	}
	for g := first; g <= last; g++ {
		next.barred[[2]int{i, g}] = true
	}
	return next
}

// dive moves access points off switches over budget, each time the one that
// costs least, while that gains: a good patching soon, for the search to better.
func (p *plan) dive(t *trial) *trial {
	for p.solved < maxTrials/2 {
		_, movable := p.over(t)
		var best *trial
		for _, i := range movable {
			sw := p.sockets[t.cols[i]].sw
			first, last := -1, -1
			for j, s := range p.sockets {
				if s.sw == sw {
					if first < 0 {
						first = p.group[j]
					}
					last = p.group[j]
				}
			}
			next := t.without(i, first, last)
			p.solve(next)
			if best == nil || p.whole(next).less(p.whole(best)) {
				best = next
			}
		}
		if best == nil || best.bound[without] > t.bound[without] || p.whole(t).less(best.bound) {
			return t
		}
		t = best
	}
	return t
}

// push solves a trial and queues it, once.
func (p *plan) push(queue *trials, seen map[string]bool, t *trial) {
	var keys []string
	for k := range t.barred {
		keys = append(keys, fmt.Sprint(k))
	}
	for k := range t.accepted {
		keys = append(keys, fmt.Sprint(k))
	}
	slices.Sort(keys)
	key := strings.Join(keys, " ")
	if seen[key] {
		return
	}
	seen[key] = true
	p.solve(t)
	heap.Push(queue, t)
}

// trials is a heap by the bound.
type trials []*trial

func (q trials) Len() int           { return len(q) }
func (q trials) Less(i, j int) bool { return q[i].bound.less(q[j].bound) }
func (q trials) Swap(i, j int)      { q[i], q[j] = q[j], q[i] }
func (q *trials) Push(x any)        { *q = append(*q, x.(*trial)) }
func (q *trials) Pop() any {
	old := *q
	x := old[len(old)-1]
	*q = old[:len(old)-1]
	return x
}
