package propagation_test

import (
	"math"
	"testing"

	"footrule/internal/propagation"

	"github.com/stretchr/testify/require"
)

// Stays on two floors hang together only on their own: a fit of them ends, and its
// interval is finite, whatever range of correlation is found.
func TestTwoFloors(t *testing.T) {
	h := bigHall()
	h.corrM, h.points = 8, 40
	s, stays := h.simulate(3)
	up := s.Floors[0]
	up.ID, up.ElevationM = "I", 4
	s.Floors = append(s.Floors, up)
	for i := range stays {
		stays[i].Floor = i % 2
	}
	require.NoError(t, s.Validate())
	for _, m := range propagation.Models() {
		fit, err := propagation.Estimate(propagation.Observe(s, stays), propagation.Options{Model: m})
		require.NoError(t, err, m)
		e := fit.Groups[0].Exponent
		require.False(t, math.IsNaN(e.Hi-e.Lo) || math.IsInf(e.Hi-e.Lo, 0), "%s: %+v", m, e)
	}
}
