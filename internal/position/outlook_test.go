package position_test

import (
	"context"
	"math"
	"testing"

	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/radio"
	"footrule/internal/walk"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestOutlook(t *testing.T) {
	e := &position.Errors{Summary: position.Summary{Points: 20, CI95: map[string]position.Interval{"ce50_m": {Lo: 3, Hi: 5}}}}
	f := &propagation.Fit{
		Groups: []propagation.Group{{Band: radio.Band5, Exponent: propagation.Value{Est: 3, Lo: 2.8, Hi: 3.2}}},
		Radios: []propagation.RadioFit{{InFit: false}, {InFit: true, Points: 12, Silent: 18}},
	}
	o := position.Outlook(e, f, 60)
	assert.Equal(t, 20, o.Points)
	assert.Equal(t, 60, o.More)
	assert.Equal(t, position.Narrowing{Now: 1, Then: .5}, o.CE50)
	require.Len(t, o.Exponents, 1)
	assert.Equal(t, radio.Band5, o.Exponents[0].Band)
	assert.InDelta(t, .2, o.Exponents[0].Now, 1e-12)
	assert.InDelta(t, .2*math.Sqrt(30.0/90), o.Exponents[0].Then, 1e-12)
	assert.Equal(t, o.CE50.Now, position.Outlook(e, f, 0).CE50.Then)
}

// What 20 points foretell of 60 is what 60 then have, on average over simulated
// halls: within a fifth, as intervals from 20 points are themselves rough.
func TestOutlookComesTrue(t *testing.T) {
	if testing.Short() {
		t.Skip("simulation")
	}
	var ce50, n struct{ told, came float64 }
	for seed := range uint64(12) {
		v := small()
		v.points, v.facings = 60, 1
		s, w := v.walk(100 + seed)
		third := walk.Walk{Header: w.Header}
		for i := 0; i < 60; i += 3 {
			third.Visits = append(third.Visits, w.Visits[i])
		}
		judge := func(w walk.Walk) *position.Errors {
			e, err := position.Judge(context.Background(), s, []walk.Walk{w},
				position.Options{Fix: position.PerVisit, Propagation: propagation.Options{Model: propagation.OLS}, Resamples: 500, Seed: seed})
			require.NoError(t, err)
			return e
		}
		early, late := judge(third), judge(w)
		o := position.Outlook(early, early.Fit, 40)
		ce50.told += o.CE50.Then
		ce50.came += late.CI95["ce50_m"].Half()
		n.told += o.Exponents[0].Then
		n.came += (late.Fit.Groups[0].Exponent.Hi - late.Fit.Groups[0].Exponent.Lo) / 2
	}
	t.Logf("half widths told and come: CE50 %.2f %.2f m, exponent %.3f %.3f", ce50.told/12, ce50.came/12, n.told/12, n.came/12)
	assert.InEpsilon(t, ce50.came, ce50.told, .2)
	assert.InEpsilon(t, n.came, n.told, .2)
}
