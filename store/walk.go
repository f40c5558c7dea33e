package store

import (
	"cmp"
	"fmt"
	"slices"

	"footrule/internal/walk"

	"go.etcd.io/bbolt"
)

// head is what is kept of a walk beside its visits and marks: its header, and
// how much there must be.
type head struct {
	Header   walk.Header
	Visits   int
	Marks    int
	Scans    int
	Readings int
}

// entry is a walk in the file.
type entry struct {
	no     uint64
	bucket *bbolt.Bucket
	head
}

// entries lists the walks in the order in which they were begun, without
// imports that are not done.
func entries(tx *bbolt.Tx) ([]entry, error) {
	st, err := getState(tx)
	if err != nil {
		return nil, err
	}
	var out []entry
	walks := tx.Bucket(bucketWalks)
	err = walks.ForEach(func(k, _ []byte) error {
		no, err := number(k)
		if err != nil {
			return err
		}
		b := walks.Bucket(k)
		if b == nil {
			return damagef("walk %d is no bucket", no)
		}
		if b.Get(keyImport) != nil && b.Get(keyHead) == nil {
			return nil
		}
		e := entry{no: no, bucket: b}
		if err := e.load(); err != nil {
			return err
		}
		out = append(out, e)
		return nil
	})
	if err != nil {
		return nil, err
	}
	if uint64(len(out)) != st.Walks {
		return nil, damagef("%d walks are there, not %d", len(out), st.Walks)
	}
	return out, nil
}

func (e *entry) load() error {
	rec := e.bucket.Get(keyHead)
	if rec == nil || e.bucket.Bucket(bucketVisits) == nil || e.bucket.Bucket(bucketMarks) == nil {
		return damagef("walk %d lacks a part", e.no)
	}
	if err := unseal(kindHead, e.no, keyHead, rec, &e.head); err != nil {
		return err
	}
	return nil
}

func (e *entry) save() error {
	rec, err := seal(kindHead, e.no, keyHead, e.head)
	if err != nil {
		return err
	}
	return e.bucket.Put(keyHead, rec)
}

func find(tx *bbolt.Tx, id string) (entry, error) {
	all, err := entries(tx)
	if err != nil {
		return entry{}, err
	}
	if i := slices.IndexFunc(all, func(e entry) bool { return e.Header.ID == id }); i >= 0 {
		return all[i], nil
	}
	return entry{}, &Error{Kind: ErrNotFound, What: fmt.Sprintf("there is no walk %q", id), Do: "name one of the walks in the file"}
}

// Headers lists the walks, in order of their start, then their ID.
func (s *Store) Headers() ([]walk.Header, error) {
	var out []walk.Header
	err := s.view(func(tx *bbolt.Tx) error {
		all, err := entries(tx)
		for _, e := range all {
			out = append(out, e.Header)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(out, byStart)
	return out, nil
}

func byStart(a, b walk.Header) int {
	return cmp.Or(a.Started.Compare(b.Started), cmp.Compare(a.ID, b.ID))
}

// Walk reads a walk with all its visits and marks; ErrNotFound where there is
// none. Times are UTC.
func (s *Store) Walk(id string) (*walk.Walk, error) {
	var out walk.Walk
	err := s.view(func(tx *bbolt.Tx) error {
		e, err := find(tx, id)
		if err != nil {
			return err
		}
		out, err = e.read()
		return err
	})
	if err != nil {
		return nil, err
	}
	return &out, nil
}

// Walks reads walks, all where none are named, in order of their start, then
// their ID.
func (s *Store) Walks(ids ...string) ([]walk.Walk, error) {
	var out []walk.Walk
	err := s.view(func(tx *bbolt.Tx) error {
		all, err := entries(tx)
		if err != nil {
			return err
		}
		if len(ids) > 0 {
			for _, id := range ids {
				if !slices.ContainsFunc(all, func(e entry) bool { return e.Header.ID == id }) {
					_, err := find(tx, id)
					return err
				}
			}
			all = slices.DeleteFunc(all, func(e entry) bool { return !slices.Contains(ids, e.Header.ID) })
		}
		for i := range all {
			w, err := all[i].read()
			if err != nil {
				return err
			}
			out = append(out, w)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(out, func(a, b walk.Walk) int { return byStart(a.Header, b.Header) })
	return out, nil
}

// read gives the whole walk.
func (e *entry) read() (walk.Walk, error) {
	w := walk.Walk{Header: e.Header}
	if e.Visits > 0 {
		w.Visits = make([]walk.Visit, 0, min(e.Visits, 1<<20))
	}
	err := e.blocks(func(no uint64, visits []walk.Visit, _ []byte) error {
		w.Visits = append(w.Visits, visits...)
		return nil
	})
	if err != nil {
		return walk.Walk{}, err
	}
	err = e.bucket.Bucket(bucketMarks).ForEach(func(k, v []byte) error {
		var m walk.Mark
		if err := unseal(kindMark, e.no, k, v, &m); err != nil {
			return err
		}
		w.Marks = append(w.Marks, m)
		return nil
	})
	if err != nil {
		return walk.Walk{}, err
	}
	if len(w.Marks) != e.Marks {
		return walk.Walk{}, damagef("walk %q has %d marks, not %d", e.Header.ID, len(w.Marks), e.Marks)
	}
	return w, nil
}

// blocks calls f for each block of visits, with the place of its first visit
// and its payload, and checks that they are all there.
func (e *entry) blocks(f func(first uint64, visits []walk.Visit, payload []byte) error) error {
	next := uint64(0)
	err := e.bucket.Bucket(bucketVisits).ForEach(func(k, rec []byte) error {
		first, err := number(k)
		if err != nil {
			return err
		}
		if first != next {
			return damagef("walk %q lacks its visit %d", e.Header.ID, next+1)
		}
		payload, err := payloadOf(kindBlock, e.no, k, rec)
		if err != nil {
			return err
		}
		visits, err := unpackBlock(payload)
		if err != nil {
			return err
		}
		next += uint64(len(visits))
		return f(first, visits, payload)
	})
	if err == nil && next != uint64(e.Visits) {
		err = damagef("walk %q has %d visits, not %d", e.Header.ID, next, e.Visits)
	}
	return err
}
