package grouping_test

import (
	"fmt"
	"testing"

	"footrule/internal/radio"
	"footrule/internal/radio/grouping"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/stretchr/testify/assert"
)

// counts are pairs: said and so, said and not so, so and not said.
type counts struct{ hit, wrong, missed int }

func (c counts) precision() float64 { return float64(c.hit) / float64(c.hit+c.wrong) }
func (c counts) recall() float64    { return float64(c.hit) / float64(c.hit+c.missed) }
func (c *counts) add(said, so bool) {
	switch {
	case said && so:
		c.hit++
	case said:
		c.wrong++
	case so:
		c.missed++
	}
}

// bare is a plan without one BSSID.
func bare(s *site.Site) *site.Site {
	out := s.Clone()
	for i := range out.AccessPoints {
		for k := range out.AccessPoints[i].Radios {
			out.AccessPoints[i].Radios[k].BSSIDs = nil
		}
	}
	return out
}

// first leaves only the first BSSID of each radio on the plan.
func first(s *site.Site) *site.Site {
	out := s.Clone()
	for i := range out.AccessPoints {
		for k := range out.AccessPoints[i].Radios {
			r := &out.AccessPoints[i].Radios[k]
			r.BSSIDs = r.BSSIDs[:1]
		}
	}
	return out
}

// TestSimulatedSites counts pairs of BSSIDs said to be one radio, and one access
// point, on sites whose plan knows no BSSID, against the truth of the simulation.
func TestSimulatedSites(t *testing.T) {
	for name, tc := range map[string]struct {
		pattern           pattern
		seeds, visits     int
		precision, recall float64 // of radios, at least
		apPrec, apRec     float64
	}{
		"low bits":    {lowBits, 4, 42, 1, 0.99, 0.95, 0.95},
		"first octet": {firstOctet, 4, 42, 1, 0.99, 0.95, 0.9},
		"no pattern":  {scattered, 4, 42, 1, 0.95, 0.9, 0},
		"five visits": {lowBits, 4, 5, 1, 0.9, 0.9, 0.5},
		"one visit":   {lowBits, 4, 1, 0.95, 0.9, 0, 0},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			var radios, aps counts
			for seed := range tc.seeds {
				w := simulate(t, uint64(seed+101), 3, tc.pattern)
				plan := bare(w.truth)
				w.walk.Visits = w.walk.Visits[:tc.visits]
				rep := grouping.Propose(plan, grouping.Listen(plan, []walk.Walk{w.walk}), grouping.Options{})
				radioOf, apOf := map[radio.BSSID]int{}, map[radio.BSSID]int{}
				for g, r := range rep.Radios {
					for _, b := range r.BSSIDs {
						radioOf[b] = g
					}
				}
				for g, a := range rep.AccessPoints {
					for _, r := range a.Radios {
						for _, b := range rep.Radios[r].BSSIDs {
							apOf[b] = g
						}
					}
				}
				var heard []radio.BSSID
				for _, r := range rep.Radios {
					heard = append(heard, r.BSSIDs...)
				}
				for i, a := range heard {
					for _, b := range heard[i+1:] {
						radios.add(radioOf[a] == radioOf[b], w.radio[a] == w.radio[b])
						if w.radio[a] != w.radio[b] {
							aps.add(apOf[a] == apOf[b], w.ap[a] == w.ap[b])
						}
					}
				}
			}
			t.Logf("%s: one radio: %+v, precision %.3f, recall %.3f; one access point: %+v, precision %.3f, recall %.3f",
				name, radios, radios.precision(), radios.recall(), aps, aps.precision(), aps.recall())
			assert.GreaterOrEqual(t, radios.precision(), tc.precision)
			assert.GreaterOrEqual(t, radios.recall(), tc.recall)
			if tc.apRec > 0 {
				assert.GreaterOrEqual(t, aps.precision(), tc.apPrec)
				assert.GreaterOrEqual(t, aps.recall(), tc.apRec)
			}
		})
	}
}

// TestSimulatedProposals hides all but the first BSSID of each radio, and counts
// where the others are proposed to go.
func TestSimulatedProposals(t *testing.T) {
	var c counts
	foreign := 0
	for seed := range 4 {
		w := simulate(t, uint64(seed+201), 3, lowBits)
		plan := first(w.truth)
		rep := grouping.Propose(plan, grouping.Listen(plan, []walk.Walk{w.walk}), grouping.Options{})
		at := w.truth.RadioOf()
		for _, p := range rep.Proposals {
			if !w.ours[p.BSSID] {
				foreign++
				assert.Nil(t, p.To, "a neighbour's %s: %s", p.BSSID, p.Why)
				continue
			}
			k := at[p.BSSID]
			right := p.To != nil && p.ToName == w.truth.RadioName(w.truth.Radios()[k])
			if p.To != nil {
				c.add(true, right)
			}
			if !right {
				c.missed++
			}
			assert.Equal(t, p.SSIDs[0] == "works", p.OwnSSID, "%s %q", p.BSSID, p.SSIDs)
		}
	}
	t.Logf("places: %+v; neighbours left without one: %d", c, foreign)
	assert.Positive(t, foreign)
	assert.GreaterOrEqual(t, c.precision(), 0.99)
	assert.GreaterOrEqual(t, c.recall(), 0.98)
}

// swapped gives what is proposed for a plan, and of that in words what is about
// the site's own BSSIDs.
func swapped(w world, plan *site.Site) (rep grouping.Report, own []string) {
	rep = grouping.Propose(plan, grouping.Listen(plan, []walk.Walk{w.walk}), grouping.Options{})
	for _, p := range rep.Proposals {
		if w.ours[p.BSSID] {
			own = append(own, fmt.Sprint(p.Kind, " ", p.ID, " from ", p.Planned, " ", p.Confidence))
		}
	}
	return rep, own
}

// TestSwappedPairs exchanges one of two BSSIDs, so that each radio of the plan
// has as many of one group as of the other: the access points' other addresses decide.
func TestSwappedPairs(t *testing.T) {
	w := simulate(t, 6, 2, lowBits)
	plan := w.truth.Clone()
	a, b := &plan.AccessPoints[4].Radios[1], &plan.AccessPoints[6].Radios[1]
	a.BSSIDs[1], b.BSSIDs[1] = b.BSSIDs[1], a.BSSIDs[1]
	_, got := swapped(w, plan)
	assert.Equal(t, []string{
		"move 02005e200411@AP-05/5 from AP-07/5 strong",
		"move 02005e200611@AP-07/5 from AP-05/5 strong",
	}, got)
}

// TestRadiosExchanged hangs all BSSIDs of one radio under the other access point
// and the other way round: each radio is as planned, and no access point is.
func TestRadiosExchanged(t *testing.T) {
	w := simulate(t, 7, 2, lowBits)
	plan := w.truth.Clone()
	a, b := &plan.AccessPoints[0].Radios[1], &plan.AccessPoints[5].Radios[1]
	a.BSSIDs, b.BSSIDs = b.BSSIDs, a.BSSIDs
	rep := grouping.Propose(plan, grouping.Listen(plan, []walk.Walk{w.walk}), grouping.Options{})
	assert.Equal(t, 32, rep.AsPlanned)
	var got [][]string
	for _, g := range rep.AccessPoints {
		if len(g.Planned) > 1 {
			names := []string{}
			for _, k := range g.Radios {
				names = append(names, rep.Radios[k].Planned)
			}
			got = append(got, names)
		}
	}
	assert.Equal(t, [][]string{{"AP-01/2.4", "AP-06/5"}, {"AP-06/2.4", "AP-01/5"}}, got)
}

// TestSwappedOnPlan exchanges a BSSID between two radios of the plan; both have
// to come back, and no other.
func TestSwappedOnPlan(t *testing.T) {
	w := simulate(t, 5, 3, lowBits)
	plan := w.truth.Clone()
	a, b := &plan.AccessPoints[0].Radios[1], &plan.AccessPoints[5].Radios[1]
	a.BSSIDs[2], b.BSSIDs[2] = b.BSSIDs[2], a.BSSIDs[2]
	rep, got := swapped(w, plan)
	assert.Equal(t, []string{
		"move 02005e200012@AP-01/5 from AP-06/5 strong",
		"move 02005e200512@AP-06/5 from AP-01/5 strong",
	}, got)
	for i := range 2 {
		c, ok := rep.Proposals[i].Change()
		assert.True(t, ok)
		next, err := grouping.Apply(plan, c)
		assert.NoError(t, err)
		plan = next
	}
	assert.ElementsMatch(t, w.truth.AccessPoints[0].Radios[1].BSSIDs, plan.AccessPoints[0].Radios[1].BSSIDs)
	assert.ElementsMatch(t, w.truth.AccessPoints[5].Radios[1].BSSIDs, plan.AccessPoints[5].Radios[1].BSSIDs)
}
