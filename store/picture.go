package store

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	"go.etcd.io/bbolt"
)

// bucketPictures holds pictures that plans refer to, by the SHA-256 of their
// bytes. A file without any has none.
var bucketPictures = []byte("pictures")

// MaxPictureBytes is the largest picture that is kept.
const MaxPictureBytes = 8 << 20

// PutPicture keeps the bytes of a picture and gives the ID under which a plan
// refers to them. Bytes that are there already are not kept twice.
func (s *Store) PutPicture(data []byte) (string, error) {
	if len(data) == 0 || len(data) > MaxPictureBytes {
		return "", &Error{Path: s.path, What: fmt.Sprintf("a picture of %d bytes is not kept", len(data)), Do: fmt.Sprintf("give one of at most %d MiB", MaxPictureBytes>>20)}
	}
	key := sha256.Sum256(data)
	err := s.update(func(tx *bbolt.Tx) error {
		b, err := tx.CreateBucketIfNotExists(bucketPictures)
		if err != nil || b.Get(key[:]) != nil {
			return err
		}
		return b.Put(key[:], sealPayload(kindPicture, 0, key[:], data))
	})
	if err != nil {
		return "", err
	}
	return hex.EncodeToString(key[:]), nil
}

// Picture gives the bytes of a picture; ErrNotFound where the file has none of
// that ID.
func (s *Store) Picture(id string) ([]byte, error) {
	missing := &Error{Path: s.path, Kind: ErrNotFound, What: "the picture of the plan is not in the file", Do: "add the floor again from its picture"}
	key, err := hex.DecodeString(id)
	if err != nil || len(key) != sha256.Size {
		return nil, missing
	}
	var out []byte
	err = s.view(func(tx *bbolt.Tx) error {
		b := tx.Bucket(bucketPictures)
		if b == nil {
			return missing
		}
		rec := b.Get(key)
		if rec == nil {
			return missing
		}
		data, err := payloadOf(kindPicture, 0, key, rec)
		if err != nil {
			return err
		}
		out = append(out, data...)
		return nil
	})
	return out, err
}
