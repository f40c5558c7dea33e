package store

import (
	"encoding/binary"
	"hash/crc32"

	"github.com/fxamacker/cbor/v2"
)

// A record is the CRC-32C (Castagnoli, RFC 3720 12.1) of its kind, its walk's
// number, its key and its payload, big-endian, followed by the payload in CBOR
// (RFC 8949). A record that was moved to another key does not check out either.

// kind says what a record is.
type kind byte

const (
	kindState kind = iota + 1 // how many plans and walks there are
	kindPlan
	kindHead  // of a walk
	kindBlock // of visits
	kindMark
	kindPart    // of a visit that an import has not joined yet
	kindRows    // where the rows of a block stand in the imported file
	kindPicture // of a plan
	kindFormat  // the format once more, so that a slip of it is no other version
	kindDrill   // what is hidden in a training case
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

func checksum(k kind, walk uint64, key, payload []byte) uint32 {
	var head [9]byte
	head[0] = byte(k)
	binary.BigEndian.PutUint64(head[1:], walk)
	sum := crc32.Update(0, castagnoli, head[:])
	sum = crc32.Update(sum, castagnoli, key)
	return crc32.Update(sum, castagnoli, payload)
}

// seal makes a record of a value.
func seal(k kind, walk uint64, key []byte, v any) ([]byte, error) {
	payload, err := encoding.Marshal(v)
	if err != nil {
		return nil, err
	}
	return sealPayload(k, walk, key, payload), nil
}

func sealPayload(k kind, walk uint64, key, payload []byte) []byte {
	out := make([]byte, 4, 4+len(payload))
	binary.BigEndian.PutUint32(out, checksum(k, walk, key, payload))
	return append(out, payload...)
}

// payloadOf checks a record and gives its payload, which lives as long as the
// transaction.
func payloadOf(k kind, walk uint64, key, record []byte) ([]byte, error) {
	if len(record) < 4 || binary.BigEndian.Uint32(record) != checksum(k, walk, key, record[4:]) {
		return nil, damagef("record %x of walk %d does not check out", key, walk)
	}
	return record[4:], nil
}

// unseal checks a record and decodes it.
func unseal(k kind, walk uint64, key, record []byte, v any) error {
	payload, err := payloadOf(k, walk, key, record)
	if err != nil {
		return err
	}
	if err := decoding.Unmarshal(payload, v); err != nil {
		// It checks out, so this is what was written: by a version that knew more.
		return &newer{err}
	}
	return nil
}

// newer says that a record holds what this version does not know.
type newer struct{ err error }

func (n *newer) Error() string {
	return "a record holds what this version does not know: " + n.err.Error()
}

var encoding = func() cbor.EncMode {
	o := cbor.CanonicalEncOptions() // equal values give equal bytes
	o.Time = cbor.TimeRFC3339Nano
	m, err := o.EncMode()
	if err != nil {
		panic(err)
	}
	return m
}()

var decoding = func() cbor.DecMode {
	m, err := cbor.DecOptions{
		ExtraReturnErrors: cbor.ExtraDecErrorUnknownField,
		DupMapKey:         cbor.DupMapKeyEnforcedAPF,
		MaxArrayElements:  1 << 24,
		TimeTag:           cbor.DecTagIgnored,
	}.DecMode()
	if err != nil {
		panic(err)
	}
	return m
}()

func be64(n uint64) []byte { return binary.BigEndian.AppendUint64(nil, n) }
