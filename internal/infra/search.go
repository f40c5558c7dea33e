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

// trial is one assignment under additional conditions.
type trial struct {
	barred   map[[2]int]bool // open access points, and groups of ports that they keep off
	accepted map[int]bool    // switches that may exceed their budget, by index
	cols     []int           // socket of each open access point; beyond the sockets: none
	bound    cost
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

// dive moves access points off switches over budget, one at a time, the one
// first that loses least elsewhere: a good patching soon, for the search to
// better. It stops where moving costs more than the budget.
func (p *plan) dive(t *trial) *trial {
	best := t
	for p.solved < maxTrials/2 {
		_, movable := p.over(t)
		if movable == nil {
			break
		}
		leaver, least := -1, cost{}
		for _, i := range movable {
			if loss := p.loss(t, i); leaver < 0 || loss.less(least) {
				leaver, least = i, loss
			}
		}
		first, last := p.groupsOf(p.sockets[t.cols[leaver]].sw)
		t = t.without(leaver, first, last)
		p.solve(t)
		if p.whole(t).less(p.whole(best)) {
			best = t
		}
		if p.whole(best).less(t.bound) {
			break
		}
	}
	return best
}

// loss is what an open access point loses at least when it leaves its switch.
func (p *plan) loss(t *trial, i int) cost {
	sw := p.sockets[t.cols[i]].sw
	least := cost{without: 1}
	for j, s := range p.sockets {
		if s.sw != sw && p.may[i][j] && !t.barred[[2]int{i, p.group[j]}] && p.costs[i][j].less(least) {
			least = p.costs[i][j]
		}
	}
	return least.minus(p.costs[i][t.cols[i]])
}

// groupsOf gives the first and the last group of ports of a switch.
func (p *plan) groupsOf(sw *site.Switch) (first, last int) {
	first = -1
	for j, s := range p.sockets {
		if s.sw == sw {
			if first < 0 {
				first = p.group[j]
			}
			last = p.group[j]
		}
	}
	return first, last
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
