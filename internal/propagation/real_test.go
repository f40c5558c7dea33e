package propagation_test

import (
	"testing"

	"footrule/internal/propagation"
	"footrule/internal/realsite"
	"footrule/internal/walk"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Open data of two real sites, where they lie beside the repository: the
// default gives exponents as they are indoors in the literature (Rappaport
// 2002, Table 4.2: 1.6 to 1.8 in line of sight, 2 to 3 and 4 to 6 obstructed),
// where taking every silence for weakness may not.
func TestRealSites(t *testing.T) {
	for _, c := range []struct{ folder, walk string }{{"rtt_library", "survey-300"}, {"ble_tetam", "survey"}} {
		t.Run(c.folder, func(t *testing.T) {
			s, walks := realsite.Read(t, c.folder, c.walk)
			d := propagation.Observe(s, walk.Stays(s, walks, walk.ByVisit))
			for _, o := range []propagation.Options{{Model: propagation.OLS}, {Model: propagation.Censored}, {}, {PerAP: true}} {
				fit, err := propagation.Estimate(d, o)
				require.NoError(t, err)
				g := fit.Groups[0]
				t.Logf("%-9s per AP %-5v n %.2f [%.2f, %.2f] σ %.2f (σ_s %.2f σ_e %.2f) c %.0f miss %.3f heard %d silent %d LOO %.2f, %d warnings",
					fit.Model, o.PerAP, g.Exponent.Est, g.Exponent.Lo, g.Exponent.Hi, g.SigmaDB.Est, g.ShadowDB, g.ScatterDB, g.FloorDBm, g.MissRate, g.Stays, g.Silent, fit.LOORMSEDB, len(fit.Warnings))
				if o.Model == "" {
					assert.Greater(t, g.Exponent.Est, 1.5)
					assert.Less(t, g.Exponent.Est, 4.0)
					assert.Less(t, g.SigmaDB.Est, 9.0)
				}
			}
		})
	}
}
