package site_test

import (
	"math"
	"testing"

	"footrule/internal/radio"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A site made in code answers to the rules of a site that was read; the rules
// themselves are tested through Read.
func TestValidate(t *testing.T) {
	require.NoError(t, depotSite().Validate())
	for _, c := range []struct {
		spoil func(*site.Site)
		want  string
	}{
		{func(s *site.Site) { s.Floors = nil }, `input: the site has no floor; add [[floor]] with id and outline`},
		{func(s *site.Site) { f := &s.Floors[0]; f.Outline = append(f.Outline, f.Outline[0]) },
			`input: corner 5 of the outline of floor "G" repeats corner 1, (0, 0); list each corner once`},
		{func(s *site.Site) { s.Floors[0].Points[0].At = orb.Point{31, 13} },
			`input: point "P01" at (31, 13) is in void "shaft" of floor "G"; move it to where someone can stand`},
		{func(s *site.Site) { s.AccessPoints[0].HeightM = math.NaN() },
			`input: height_m of access point "AP-01" is NaN; write metres above the floor, from -10 to 100`},
		{func(s *site.Site) { s.AccessPoints[0].Floor = "H" },
			`input: access point "AP-01" is on floor "H", which is not there; write one of the floors: "G"`},
		{func(s *site.Site) { s.AccessPoints[0].Radios[1].BSSIDs = []radio.BSSID{{2, 0, 0x5e, 0x10, 1, 0}} },
			`input: BSSID 02:00:5e:10:01:00 is on AP-01/5 and on AP-01/2.4; leave it on the radio that sends it`},
		{func(s *site.Site) { s.Floors[0].Points[0].ID = "\xff" },
			`input: the ID "\xff" of point 1 of floor "G" is not UTF-8; write 1 to 40 characters without blanks, not starting with a hyphen`},
		{func(s *site.Site) { s.Name, s.Floors[0].ID = "", "" },
			`input: the site's name, "", is empty; write 1 to 80 characters that can be printed`},
	} {
		s := depotSite()
		c.spoil(s)
		assert.EqualError(t, s.Validate(), c.want)
	}
}
