package position_test

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/stretchr/testify/require"
)

// realSite reads open data of a real site beside the repository: a site and the
// walks of the named files. The test is skipped where it is not there.
func realSite(t testing.TB, folder string, files ...string) (*site.Site, []walk.Walk) {
	t.Helper()
	dir := filepath.Join("..", "..", "..", "shared", "data", folder)
	f, err := os.Open(filepath.Join(dir, "site.toml"))
	if err != nil {
		t.Skipf("open data of real sites are not beside the repository: %v", err)
	}
	defer f.Close()
	s, err := site.Read(f.Name(), f)
	require.NoError(t, err)
	var walks []walk.Walk
	for _, name := range files {
		c, err := os.Open(filepath.Join(dir, name+".csv"))
		require.NoError(t, err)
		r, err := walk.ReadCSV(c, c.Name(), s)
		require.NoError(t, c.Close())
		require.NoError(t, err)
		walks = append(walks, walk.Walk{Header: walk.Header{ID: name}, Visits: r.Visits})
	}
	return s, walks
}

func judged(t testing.TB, s *site.Site, walks []walk.Walk, o position.Options) *position.Errors {
	t.Helper()
	o.Resamples = 500
	e, err := position.Judge(context.Background(), s, walks, o)
	require.NoError(t, err)
	return e
}

func TestRealSites(t *testing.T) {
	zero := 0.0
	_ = zero
	for _, c := range []struct{ folder, train, test string }{
		{"rtt_library", "survey-300", "test-300"},
		{"ble_tetam", "survey", "test"},
	} {
		s, walks := realSite(t, c.folder, c.train, c.test)
		for _, p := range []propagation.Options{
			{Model: propagation.OLS, PerAP: true}, {Model: propagation.OLS}, {Model: propagation.Censored}, {Model: propagation.Censored, PerAP: true}, {Model: propagation.TwoLevel}, {Model: propagation.TwoLevel, PerAP: true},
		} {
			e := judged(t, s, walks, position.Options{Train: []string{c.train}, Test: []string{c.test}, Propagation: p})
			t.Logf("%s %s per-ap %v: mean %.3f ce50 %.2f ce90 %.2f bound %.2f located %d/%d n %.2f sigma %.2f", c.folder, p.Model, p.PerAP, e.Statistics.MeanM, e.Statistics.CE50M, e.Statistics.CE90M, e.BoundRMSM, e.Located, e.Points,
				e.Fit.Groups[0].Exponent.Est, e.Fit.Groups[0].SigmaDB.Est)
		}
	}
}
