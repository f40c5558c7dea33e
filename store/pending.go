package store

import (
	"bytes"
	"encoding/binary"
	"errors"
	"slices"
	"time"

	"footrule/internal/walk"

	"go.etcd.io/bbolt"
	berrors "go.etcd.io/bbolt/errors"
)

// An import gathers rows, and at every spillRows of them writes the visits they
// made, in a transaction of its own, to a walk that nobody sees yet: it has a
// mark under keyImport and no head. Visits that begin in this spill go into
// blocks, in the order of their first rows; more rows of a visit that an
// earlier spill began go beside them as parts. At the end parts are joined to
// their visits, block by block, and the last transaction writes the head.
// Nothing is kept in memory from one spill to the next but counts.

const (
	spillRows     = 1 << 16
	blockReadings = 1 << 14
	blockVisits   = 1 << 10
)

// The buckets of an import that is not done.
var (
	bucketIDs   = []byte("ids")   // visit ID -> place
	bucketParts = []byte("parts") // place, line -> more of a visit
	bucketRows  = []byte("rows")  // as visits: where the rows of a block stand
)

type pendingImport struct {
	s      *Store
	file   string
	gather *walk.Gatherer
	pack   *packer

	no      uint64
	visits  int // places given so far
	first   uint64
	rows    []packedRows // of the visits in pack
	scans   int
	reading int
	started time.Time
	joined  int64 // place after the last block that was joined
}

// packedRows is walk.Part without its visit.
type packedRows struct {
	_    struct{} `cbor:",toarray"`
	Line int
	Scan []packedScanRows
}

type packedScanRows struct {
	_    struct{} `cbor:",toarray"`
	Line int
	Span time.Duration // from the earliest to the latest row
}

func rowsOf(p *walk.Part) packedRows {
	out := packedRows{Line: p.Line, Scan: make([]packedScanRows, len(p.Rows))}
	for i, r := range p.Rows {
		out.Scan[i] = packedScanRows{Line: r.Line, Span: r.Last.Sub(p.Visit.Scans[i].Time)}
	}
	return out
}

func (r packedRows) part(v walk.Visit) (*walk.Part, error) {
	if len(r.Scan) != len(v.Scans) {
		return nil, damagef("visit %q has %d scans, not %d", v.ID, len(v.Scans), len(r.Scan))
	}
	p := &walk.Part{Visit: v, Line: r.Line, Rows: make([]walk.ScanRows, len(r.Scan))}
	for i, sc := range r.Scan {
		p.Rows[i] = walk.ScanRows{Line: sc.Line, Last: v.Scans[i].Time.Add(sc.Span)}
	}
	return p, nil
}

// begin takes a number for the walk.
func (im *pendingImport) begin(tx *bbolt.Tx) error {
	st, err := getState(tx)
	if err != nil {
		return err
	}
	im.no = st.Next
	st.Next++
	b, err := tx.Bucket(bucketWalks).CreateBucket(be64(im.no))
	if err != nil {
		return err
	}
	if err := b.Put(keyImport, []byte(im.file)); err != nil {
		return err
	}
	for _, name := range [][]byte{bucketVisits, bucketMarks, bucketIDs, bucketParts, bucketRows} {
		if _, err := b.CreateBucket(name); err != nil {
			return err
		}
	}
	return putState(tx, st)
}

func (im *pendingImport) bucket(tx *bbolt.Tx) *bbolt.Bucket {
	return tx.Bucket(bucketWalks).Bucket(be64(im.no))
}

// drop removes what was written.
func (im *pendingImport) drop(tx *bbolt.Tx) error {
	err := tx.Bucket(bucketWalks).DeleteBucket(be64(im.no))
	if errors.Is(err, berrors.ErrBucketNotFound) {
		return nil
	}
	return err
}

// spill writes what was gathered.
func (im *pendingImport) spill(tx *bbolt.Tx) error {
	b := im.bucket(tx)
	ids := b.Bucket(bucketIDs)
	var fresh []struct {
		id string
		no uint64
	}
	for _, p := range im.gather.Take() {
		if at := ids.Get([]byte(p.Visit.ID)); at != nil {
			if err := im.putPart(b, at, p); err != nil {
				return err
			}
			continue
		}
		fresh = append(fresh, struct {
			id string
			no uint64
		}{p.Visit.ID, uint64(im.visits)})
		im.gather.Settled(&p.Visit)
		im.visits++
		p.Visit.Seq = im.visits
		if err := im.put(b, p); err != nil {
			return err
		}
	}
	if err := im.flush(b); err != nil {
		return err
	}
	// In order, because bbolt moves what stands behind a new key.
	slices.SortFunc(fresh, func(a, b struct {
		id string
		no uint64
	}) int {
		return bytes.Compare([]byte(a.id), []byte(b.id))
	})
	for _, f := range fresh {
		if err := ids.Put([]byte(f.id), be64(f.no)); err != nil {
			return err
		}
	}
	return nil
}

// put adds a visit to the block that is being packed.
func (im *pendingImport) put(b *bbolt.Bucket, p *walk.Part) error {
	if im.pack.readings >= blockReadings || len(im.pack.block.Visits) >= blockVisits {
		if err := im.flush(b); err != nil {
			return err
		}
	}
	if len(im.pack.block.Visits) == 0 {
		im.first = uint64(p.Visit.Seq - 1)
	}
	im.rows = append(im.rows, rowsOf(p))
	for i := range p.Visit.Scans {
		im.started = earliest(im.started, p.Visit.Scans[i].Time)
		im.reading += len(p.Visit.Scans[i].Readings)
	}
	im.scans += len(p.Visit.Scans)
	return im.pack.add(&p.Visit)
}

// flush writes the block that is being packed.
func (im *pendingImport) flush(b *bbolt.Bucket) error {
	if len(im.pack.block.Visits) == 0 {
		return nil
	}
	payload, err := im.pack.payload()
	if err != nil {
		return err
	}
	key := be64(im.first)
	if err := b.Bucket(bucketVisits).Put(key, sealPayload(kindBlock, im.no, key, payload)); err != nil {
		return err
	}
	rec, err := seal(kindRows, im.no, key, im.rows)
	if err != nil {
		return err
	}
	im.pack.reset()
	im.rows = im.rows[:0]
	return b.Bucket(bucketRows).Put(key, rec)
}

// packedPart is more of a visit that is in a block already.
type packedPart struct {
	_     struct{} `cbor:",toarray"`
	Block []byte   // payload of a block of this one visit
	Rows  packedRows
}

func (im *pendingImport) putPart(b *bbolt.Bucket, at []byte, p *walk.Part) error {
	payload, err := packed(&p.Visit)
	if err != nil {
		return err
	}
	key := binary.BigEndian.AppendUint64(bytes.Clone(at), uint64(p.Line))
	rec, err := seal(kindPart, im.no, key, packedPart{Block: payload, Rows: rowsOf(p)})
	if err != nil {
		return err
	}
	return b.Bucket(bucketParts).Put(key, rec)
}

// join joins parts to the visits of the next block that has any; more says
// whether there may be another.
func (im *pendingImport) join(tx *bbolt.Tx) (more bool, err error) {
	b := im.bucket(tx)
	parts, visits, rows := b.Bucket(bucketParts), b.Bucket(bucketVisits), b.Bucket(bucketRows)
	pc := parts.Cursor()
	k, rec := pc.Seek(be64(uint64(im.joined)))
	if k == nil {
		return false, nil
	}
	vc := visits.Cursor()
	bk, brec := vc.Seek(k[:8])
	if bk == nil {
		bk, brec = vc.Last()
	} else if !bytes.Equal(bk, k[:8]) {
		bk, brec = vc.Prev()
	}
	key := bytes.Clone(bk)
	payload, err := payloadOf(kindBlock, im.no, key, brec)
	if err != nil {
		return false, err
	}
	block, err := unpackBlock(payload)
	if err != nil {
		return false, err
	}
	var where []packedRows
	if err := unseal(kindRows, im.no, key, rows.Get(key), &where); err != nil {
		return false, err
	}
	if len(where) != len(block) {
		return false, damagef("block %x has %d visits, not %d", key, len(block), len(where))
	}
	for i := range block { // it is counted again when it is put again
		im.scans -= len(block[i].Scans)
		for j := range block[i].Scans {
			im.reading -= len(block[i].Scans[j].Readings)
		}
	}
	first := binary.BigEndian.Uint64(key)
	for i := range block {
		p, err := where[i].part(block[i])
		if err != nil {
			return false, err
		}
		for k != nil && binary.BigEndian.Uint64(k) == first+uint64(i) {
			q, err := im.partOf(k, rec)
			if err != nil {
				return false, err
			}
			if err := im.gather.Join(p, q); err != nil {
				return false, err
			}
			k, rec = pc.Next()
		}
		if err := im.put(b, p); err != nil {
			return false, err
		}
	}
	im.joined = int64(first) + int64(len(block))
	return true, im.flush(b)
}

func (im *pendingImport) partOf(key, rec []byte) (*walk.Part, error) {
	var pp packedPart
	if err := unseal(kindPart, im.no, key, rec, &pp); err != nil {
		return nil, err
	}
	v, err := unpackBlock(pp.Block)
	if err != nil {
		return nil, err
	}
	if len(v) != 1 {
		return nil, damagef("part %x has %d visits", key, len(v))
	}
	return pp.Rows.part(v[0])
}

// show makes the walk visible.
func (im *pendingImport) show(tx *bbolt.Tx, h walk.Header) (*entry, error) {
	st, err := getState(tx)
	if err != nil {
		return nil, err
	}
	if h.Started.IsZero() {
		h.Started = im.started
	}
	im.s.fill(&h, st)
	b := im.bucket(tx)
	for _, name := range [][]byte{bucketIDs, bucketParts, bucketRows} {
		if err := b.DeleteBucket(name); err != nil {
			return nil, err
		}
	}
	if err := b.Delete(keyImport); err != nil {
		return nil, err
	}
	e := &entry{no: im.no, bucket: b, head: head{Header: h, Visits: im.visits, Scans: im.scans, Readings: im.reading}}
	if err := e.save(); err != nil {
		return nil, err
	}
	st.Walks++
	return e, putState(tx, st)
}

// clean removes imports that a killed process left behind.
func (s *Store) clean() error {
	var left [][]byte
	err := s.db.View(func(tx *bbolt.Tx) error {
		walks := tx.Bucket(bucketWalks)
		return walks.ForEach(func(k, _ []byte) error {
			if b := walks.Bucket(k); b != nil && b.Get(keyImport) != nil && b.Get(keyHead) == nil {
				left = append(left, bytes.Clone(k))
			}
			return nil
		})
	})
	if err != nil || len(left) == 0 {
		return err
	}
	return s.db.Update(func(tx *bbolt.Tx) error {
		for _, k := range left {
			if err := tx.Bucket(bucketWalks).DeleteBucket(k); err != nil {
				return err
			}
		}
		return nil
	})
}
