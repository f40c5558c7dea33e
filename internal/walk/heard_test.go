package walk_test

import (
	"testing"

	"footrule/internal/radio"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestHeardIn: an invented box with two bands counts once, the mean decides and
// not the best scan, foreign BSSIDs count nothing.
func TestHeardIn(t *testing.T) {
	id := func(n byte) radio.BSSID { return radio.BSSID{2, 0, 0, 0, 0, n} }
	s := &site.Site{Floors: []site.Floor{{ID: "G", Outline: orb.Ring{{0, 0}, {9, 0}, {9, 9}, {0, 9}}}},
		AccessPoints: []site.AccessPoint{
			{ID: "A", Floor: "G", Radios: []site.Radio{{Band: radio.Band2, BSSIDs: []radio.BSSID{id(1)}}, {Band: radio.Band5, BSSIDs: []radio.BSSID{id(2)}}}},
			{ID: "B", Floor: "G", Radios: []site.Radio{{Band: radio.Band5, BSSIDs: []radio.BSSID{id(3)}}}},
			{ID: "C", Floor: "G", Radios: []site.Radio{{Band: radio.Band5, BSSIDs: []radio.BSSID{id(4)}}}},
		}}
	se, err := walk.NewSession(s, walk.Walk{Header: walk.Header{Settings: walk.DefaultSettings()}}, []walk.Stop{{Point: "P", Floor: "G", At: orb.Point{1, 1}}})
	require.NoError(t, err)
	scan := func(levels map[byte]float64) walk.Scan {
		sc := walk.Scan{FacingDeg: walk.NoFacing}
		for n, v := range levels {
			sc.Readings = append(sc.Readings, radio.Reading{BSSID: id(n), RSSIDBm: v})
		}
		return sc
	}
	v := &walk.Visit{Floor: "G", Scans: []walk.Scan{
		scan(map[byte]float64{1: -60, 2: -50, 3: -74, 4: -75, 9: -30}),
		scan(map[byte]float64{1: -60, 2: -50, 3: -78}),
	}}
	assert.Equal(t, 2, se.HeardIn(v), "A and C; B has a mean of -76")
	assert.Zero(t, se.HeardIn(&walk.Visit{Floor: "X"}))
	assert.Zero(t, se.HeardIn(&walk.Visit{Floor: "G"}))
}
