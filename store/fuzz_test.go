package store_test

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"footrule/store"

	"github.com/stretchr/testify/require"
)

// FuzzFile writes foreign bytes somewhere into a small file, or cuts it: reading
// ends in an error of ours or in what was stored.
func FuzzFile(f *testing.F) {
	f.Add(uint32(0), []byte{0xff}, uint32(0))
	f.Add(uint32(4096), []byte{1, 2, 3, 4, 5, 6, 7, 8}, uint32(0))
	f.Add(uint32(8200), []byte("\x00\x00\x01\x00\xff\xff"), uint32(0))
	f.Add(uint32(9000), []byte("footrule-store/7"), uint32(30000))
	var file []byte
	var want contents
	f.Fuzz(func(t *testing.T, at uint32, patch []byte, end uint32) {
		if file == nil {
			file, want = little(t)
		}
		bad := append([]byte{}, file...)
		copy(bad[int(at)%len(bad):], patch)
		if end > 0 {
			bad = bad[:int(end)%len(bad)]
		}
		path := filepath.Join(t.TempDir(), "f")
		var d damageTally
		if len(bad) == 0 {
			return
		}
		d.salvaged(t, path, bad, want, "fuzz")
		require.NoError(t, os.WriteFile(path, bad, 0o600))
		s, err := store.Open(path, store.Options{NoSync: true})
		if err != nil {
			require.True(t, errors.Is(err, store.ErrForeign) || errors.Is(err, store.ErrNewer), "%v", err)
			return
		}
		_, _ = readAll(s)
		require.NoError(t, s.Close())
	})
}
