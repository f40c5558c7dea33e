package realsite

import (
	"os"
	"path/filepath"
	"testing"

	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/stretchr/testify/require"
)

// Folder is where the data of all sites lie.
func Folder(t testing.TB) string {
	t.Helper()
	dir, err := os.Getwd()
	require.NoError(t, err)
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return filepath.Join(dir, "..", "shared", "data")
		}
		require.NotEqual(t, filepath.Dir(dir), dir, "the tests run outside the repository")
		dir = filepath.Dir(dir)
	}
}

// Read gives the plan of a site and its walks of the named files. The test is
// skipped where the data are not there.
func Read(t testing.TB, folder string, files ...string) (*site.Site, []walk.Walk) {
	t.Helper()
	dir := filepath.Join(Folder(t), folder)
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
