package doubt_test

import (
	"context"
	"slices"
	"testing"

	"footrule/internal/doubt"
	"footrule/internal/realsite"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// On real floors whose plans are right nothing is named; with two labels
// exchanged on the plan, for every pair, mostly that pair is, and hardly ever
// anything else.
func TestRealSites(t *testing.T) {
	for _, c := range []struct {
		folder, file string
		pairs        int
	}{{"rtt_library", "survey-300", 15}, {"rtt_library", "survey", 3}, {"ble_tetam", "survey", 22}} {
		t.Run(c.folder+" "+c.file, func(t *testing.T) {
			s, w := realsite.Read(t, c.folder, c.file)
			rep, err := doubt.Find(context.Background(), s, w, doubt.Options{})
			require.NoError(t, err)
			for _, f := range rep.Findings {
				t.Error(f.Text)
			}
			hits, others, tried, most := 0, 0, 0, c.pairs
			if asked() == 0 {
				most = min(most, 2)
			}
			for i := range s.AccessPoints {
				for j := range i {
					if (i*(i-1)/2+j)%3 != 0 && c.pairs > 15 || tried == most {
						continue
					}
					tried++
					swapped := s.Clone()
					a, b := &swapped.AccessPoints[i], &swapped.AccessPoints[j]
					a.At, b.At, a.HeightM, b.HeightM = b.At, a.At, b.HeightM, a.HeightM
					rep, err := doubt.Find(context.Background(), swapped, w, doubt.Options{Brief: true})
					require.NoError(t, err)
					right := slices.ContainsFunc(rep.Findings, func(f doubt.Finding) bool {
						return f.Kind == doubt.Labels && len(f.APs) == 2 && slices.Contains(f.APs, i) && slices.Contains(f.APs, j)
					})
					if right {
						hits++
					}
					if n := len(rep.Findings); n > 1 || n == 1 && !right {
						others++
						t.Logf("%s and %s exchanged: %s", a.ID, b.ID, rep.Findings[0].Text)
					}
				}
			}
			t.Logf("the right pair in %d of %d, something else in %d", hits, tried, others)
			atLeast(t, .95, hits, tried, "the right pair")
			assert.LessOrEqual(t, others, tried/8)
		})
	}
}
