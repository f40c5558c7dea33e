package infra

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func ptr[T any](v T) *T { return &v }

// randomSite invents a site of n access points whose patching is open, and of
// two switches, with power budgets that often do not suffice for all.
func randomSite(rnd *rand.Rand, n int) *site.Site {
	s := &site.Site{Name: "Lot", ReceiverHeightM: 1, Floors: []site.Floor{{ID: "G", Outline: orb.Ring{{0, 0}, {90, 0}, {90, 60}, {0, 60}}}}, Infra: &site.Infra{}}
	for i := range n {
		ap := site.AccessPoint{ID: fmt.Sprint("A", i), Floor: "G", At: orb.Point{float64(rnd.IntN(90)), float64(rnd.IntN(60))}, HeightM: 3,
			Radios: []site.Radio{{Band: "5", PHY: &site.PHY{Standard: "802.11ax", WidthMHz: ptr(80), Streams: ptr(1 + rnd.IntN(4))}}}}
		if rnd.IntN(5) > 0 {
			ap.Power = &site.APPower{Source: site.FromPort, Class: ptr(3 + rnd.IntN(3))}
		}
		if rnd.IntN(6) == 0 {
			ap.Drop = &site.Drop{Switch: "S0"}
		}
		s.AccessPoints = append(s.AccessPoints, ap)
	}
	for k := range 2 {
		id := fmt.Sprint("C", k)
		s.Infra.Closets = append(s.Infra.Closets, site.Closet{ID: id, Floor: "G", At: &orb.Point{float64(rnd.IntN(90)), float64(rnd.IntN(60))}})
		s.Infra.Switches = append(s.Infra.Switches, site.Switch{ID: fmt.Sprint("S", k), Closet: id, PowerBudgetW: ptr(float64(20 + rnd.IntN(80))),
			Ports: []site.PortGroup{{Count: 1 + rnd.IntN(2), SpeedMbps: ptr(1000.0), Power: site.Power8023at}, {Count: rnd.IntN(2) + 1, SpeedMbps: ptr(2500.0), Power: site.Power8023bt, Class: ptr(6)}}})
	}
	return s
}

// worth is the whole cost of a patching: what the assignment adds up, and the
// switches that it puts above their budgets.
func worth(p *plan, cols []int) cost {
	var sum cost
	for i, j := range cols {
		if j >= len(p.sockets) {
			sum[without]++
		} else {
			sum = sum.plus(p.costs[i][j])
		}
	}
	over, _ := p.over(&trial{cols: cols})
	sum[shortfall] += float64(len(over))
	return sum
}

// bestOfAll tries every patching.
func bestOfAll(p *plan) cost {
	n, m := len(p.open), len(p.sockets)
	cols, used := make([]int, n), make([]bool, m)
	best, found := cost{}, false
	var try func(i int)
	try = func(i int) {
		if i == n {
			if w := worth(p, cols); !found || w.less(best) {
				best, found = w, true
			}
			return
		}
		for j := range m {
			if used[j] || !p.may[i][j] {
				continue
			}
			used[j], cols[i] = true, j
			try(i + 1)
			used[j] = false
		}
		cols[i] = m + i
		try(i + 1)
	}
	try(0)
	return best
}

// Where the search says that it is proven, no patching is better.
func TestProposalIsTheBestOfAll(t *testing.T) {
	rnd := rand.New(rand.NewPCG(21, 34))
	proven, branched := 0, 0
	for k := range 150 {
		s := randomSite(rnd, 2+rnd.IntN(4))
		require.NoError(t, s.Validate())
		p, best, ok := searched(s)
		want := bestOfAll(p)
		got := worth(p, best.cols)
		require.False(t, got.less(want), "site %d", k)
		if ok {
			proven++
			assert.InDeltaSlice(t, want[:], got[:], 1e-9, "site %d", k)
		}
		if len(best.barred)+len(best.accepted) > 0 {
			branched++
		}
	}
	assert.GreaterOrEqual(t, proven, 145, "nearly all small sites are proven")
	assert.Greater(t, branched, 30, "budgets bind on many of them")
}

// searched runs the search of a site, before its result is taken.
func searched(s *site.Site) (*plan, *trial, bool) {
	l := look{site: s, infra: *s.Infra, proof: true}
	for i := range s.AccessPoints {
		f := feed{ap: &s.AccessPoints[i]}
		if f.ap.Drop != nil {
			f.sw = l.infra.Switch(f.ap.Drop.Switch)
		}
		f.demand, f.rates, f.lacks = demandOf(f.ap)
		l.feeds = append(l.feeds, f)
	}
	p := l.openPlan()
	best, ok := p.search()
	return p, best, ok
}

// What is proposed keeps to what the file says: no port twice, none that is
// taken, the switch that an access point is to be on; and equal sites give
// equal proposals.
func TestProposalKeepsToTheFile(t *testing.T) {
	rnd := rand.New(rand.NewPCG(5, 8))
	for range 60 {
		s := randomSite(rnd, 1+rnd.IntN(8))
		s.Infra.Switches[0].Taken = []int{1}
		if s.AccessPoints[0].Drop == nil {
			s.AccessPoints[0].Drop = &site.Drop{Switch: "S1", Port: ptr(2)}
		}
		require.NoError(t, s.Validate())
		r := Examine(s)
		assert.Equal(t, r, Examine(s.Clone()))
		seen := map[string]bool{}
		for _, p := range r.Patching {
			at := fmt.Sprint(p.Switch, " ", p.Port)
			assert.False(t, seen[at], at)
			seen[at] = true
			assert.NotEqual(t, "S0 1", at)
			sw := s.Infra.Switch(p.Switch)
			assert.NotNil(t, sw.Port(p.Port))
		}
		assert.Equal(t, len(s.AccessPoints), len(r.Patching)+len(r.Unpatched))
		for _, p := range r.Patching {
			for _, ap := range s.AccessPoints {
				if ap.ID == p.AP && ap.Drop != nil {
					assert.Equal(t, ap.Drop.Switch, p.Switch)
					assert.Equal(t, ap.Drop.Port == nil, p.Proposed)
				}
			}
		}
	}
}

// A large site with budgets that bind is not searched for ever.
func BenchmarkPropose(b *testing.B) {
	s := randomSite(rand.New(rand.NewPCG(1, 1)), 40)
	for k := range s.Infra.Switches {
		s.Infra.Switches[k].PowerBudgetW = ptr(370.0)
		s.Infra.Switches[k].Ports[0].Count, s.Infra.Switches[k].Ports[1].Count = 24, 8
	}
	for b.Loop() {
		Examine(s)
	}
}

// Twenty-four access points of class 4 take some 650 W: more than the near
// switch has, and less than both have. The proposal shares them out.
func TestProposalSharesOutTheBudget(t *testing.T) {
	s := &site.Site{Name: "Lot", ReceiverHeightM: 1, Floors: []site.Floor{{ID: "G", Outline: orb.Ring{{0, 0}, {90, 0}, {90, 60}, {0, 60}}}}, Infra: &site.Infra{}}
	for i := range 24 {
		s.AccessPoints = append(s.AccessPoints, site.AccessPoint{ID: fmt.Sprintf("A%02d", i), Floor: "G", At: orb.Point{10 + float64(i%6), 10 + float64(i/6)}, HeightM: 3,
			Radios: []site.Radio{{Band: "5"}}, Power: &site.APPower{Source: site.FromPort, Class: ptr(4)}})
	}
	for k, x := range []float64{10, 50} {
		id := fmt.Sprint("C", k)
		s.Infra.Closets = append(s.Infra.Closets, site.Closet{ID: id, Floor: "G", At: &orb.Point{x, 10}})
		s.Infra.Switches = append(s.Infra.Switches, site.Switch{ID: fmt.Sprint("S", k), Closet: id, PowerBudgetW: ptr(370.0), Ports: []site.PortGroup{{Count: 24, Power: site.Power8023at}}})
	}
	require.NoError(t, s.Validate())
	r := Examine(s)
	on := map[string]int{}
	for _, p := range r.Patching {
		on[p.Switch]++
	}
	assert.Equal(t, 24, on["S0"]+on["S1"])
	assert.InDelta(t, 13.5, on["S0"], 1, "as many as the near switch carries: %v", on)
	for _, f := range r.Findings {
		if f.Check == "power.worst" {
			assert.NotEqual(t, Fails, f.Status, f.Text)
		}
	}
}
