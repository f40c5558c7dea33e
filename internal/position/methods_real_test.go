package position_test

import (
	"testing"

	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/realsite"

	"github.com/stretchr/testify/assert"
)

// Mean errors at places never walked by an independent implementation of the
// same protocol on the same files; see TestTrilaterationOnRealSites. Ours must
// come within a twentieth, or be better; for the radio map a twentieth less is
// asked.
func TestMethodsOnRealSites(t *testing.T) {
	for _, c := range []struct {
		folder, train, test string
		mean                map[position.Method]float64
	}{
		{"rtt_library", "survey-300", "test-300", map[position.Method]float64{position.Posterior: 1.73, position.RadioMap: .95 * 1.07, position.Nearest: 1.38}},
		{"ble_tetam", "survey", "test", map[position.Method]float64{position.Posterior: 2.92, position.RadioMap: .95 * 1.90, position.Nearest: 2.77}},
	} {
		s, walks := realsite.Read(t, c.folder, c.train, c.test)
		for m, mean := range c.mean {
			e := judged(t, s, walks, position.Options{Method: m, Train: []string{c.train}, Test: []string{c.test},
				Propagation: propagation.Options{Model: propagation.OLS, PerAP: true}})
			in := 0
			for _, r := range e.Judged {
				if r.Fix.Located && inEllipse(r.Fix, r.At) {
					in++
				}
			}
			t.Logf("%s %s: mean %.3f m, CE50 %.2f m, CE90 %.2f m, %.2f in the 95 %% ellipse", c.folder, m, e.Statistics.MeanM,
				e.Statistics.CE50M, e.Statistics.CE90M, float64(in)/float64(len(e.Judged)))
			assert.Equal(t, e.Points, e.Located)
			assert.Less(t, e.Statistics.MeanM, 1.05*mean, "%s %s", c.folder, m)
			assert.Greater(t, in, len(e.Judged)*9/10)
		}
	}
}
