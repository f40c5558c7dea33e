package store_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"strings"
	"testing"

	"footrule/store"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestPictures(t *testing.T) {
	path := t.TempDir() + "/p.footrule"
	s, err := store.Create(path, hall(), store.Options{})
	require.NoError(t, err)
	_, err = s.Picture(strings.Repeat("0", 64))
	require.ErrorIs(t, err, store.ErrNotFound)
	one, two := bytes.Repeat([]byte("picture"), 1000), []byte("another")
	id, err := s.PutPicture(one)
	require.NoError(t, err)
	sum := sha256.Sum256(one)
	assert.Equal(t, hex.EncodeToString(sum[:]), id)
	again, err := s.PutPicture(one)
	require.NoError(t, err)
	assert.Equal(t, id, again)
	id2, err := s.PutPicture(two)
	require.NoError(t, err)
	s = reopen(t, s, store.Options{ReadOnly: true})
	for want, id := range map[string]string{string(one): id, string(two): id2} {
		got, err := s.Picture(id)
		require.NoError(t, err)
		assert.Equal(t, want, string(got))
	}
	_, err = s.Picture("../x")
	require.ErrorIs(t, err, store.ErrNotFound)
	_, err = s.PutPicture(two)
	require.Error(t, err)
	require.NoError(t, s.Close())
	s, err = store.Open(path, store.Options{})
	require.NoError(t, err)
	for _, b := range [][]byte{nil, make([]byte, store.MaxPictureBytes+1)} {
		_, err = s.PutPicture(b)
		var e *store.Error
		require.True(t, errors.As(err, &e))
	}
	require.NoError(t, s.Close())
}
