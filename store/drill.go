package store

import (
	"slices"

	"go.etcd.io/bbolt"
)

// keyDrill is where a file that is a training case keeps what is hidden in it.
var keyDrill = []byte("drill")

// PutDrill keeps what belongs to a training case, in place of what was there. It
// is the one thing in the file that is replaced: it is about the file's use, not
// about the site.
func (s *Store) PutDrill(data []byte) error {
	return s.update(func(tx *bbolt.Tx) error {
		return tx.Bucket(bucketMeta).Put(keyDrill, sealPayload(kindDrill, 0, keyDrill, data))
	})
}

// Drill gives what PutDrill kept; nil where the file is no training case.
func (s *Store) Drill() ([]byte, error) {
	var out []byte
	err := s.view(func(tx *bbolt.Tx) error {
		rec := tx.Bucket(bucketMeta).Get(keyDrill)
		if rec == nil {
			return nil
		}
		data, err := payloadOf(kindDrill, 0, keyDrill, rec)
		out = slices.Clone(data)
		return err
	})
	return out, err
}
