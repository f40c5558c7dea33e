package store_test

import (
	"os"
	"path/filepath"
	"testing"

	"footrule/internal/radio/synthetic"
	"footrule/store"

	"github.com/stretchr/testify/require"
)

// A training case keeps its record over closing, the latest one; other files have
// none, and a damaged one is an error.
func TestDrill(t *testing.T) {
	path := filepath.Join(t.TempDir(), "case.footrule")
	st, err := store.Create(path, synthetic.DemoSite(), store.Options{NoSync: true})
	require.NoError(t, err)
	got, err := st.Drill()
	require.NoError(t, err)
	require.Nil(t, got)
	require.NoError(t, st.PutDrill([]byte("first")))
	require.NoError(t, st.PutDrill([]byte("second and longer")))
	require.NoError(t, st.Close())

	st, err = store.Open(path, store.Options{ReadOnly: true})
	require.NoError(t, err)
	got, err = st.Drill()
	require.NoError(t, err)
	require.Equal(t, "second and longer", string(got))
	require.ErrorIs(t, st.PutDrill([]byte("third")), store.ErrReadOnly)
	require.NoError(t, st.Close())

	data, err := os.ReadFile(path)
	require.NoError(t, err)
	for i := range data {
		if string(data[i:min(i+6, len(data))]) == "second" {
			data[i] = 'S'
		}
	}
	require.NoError(t, os.WriteFile(path, data, 0o644))
	st, err = store.Open(path, store.Options{ReadOnly: true})
	require.NoError(t, err)
	defer st.Close()
	_, err = st.Drill()
	require.ErrorIs(t, err, store.ErrForeign)
}
