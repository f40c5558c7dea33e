package store

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"time"

	"footrule/internal/walk"

	"go.etcd.io/bbolt"
)

// BeginWalk adds a walk without visits. A header that is there already is fine;
// another one of the same ID is ErrExists. A header without a plan's revision
// gets the newest, one without a program this one.
func (s *Store) BeginWalk(h walk.Header) error {
	return s.update(func(tx *bbolt.Tx) error {
		_, err := s.begin(tx, h)
		return err
	})
}

// begin adds a walk and gives it, or gives the equal one that is there.
func (s *Store) begin(tx *bbolt.Tx, h walk.Header) (entry, error) {
	if h.ID == "" {
		return entry{}, &Error{What: "a walk without an ID", Do: "give it one"}
	}
	st, err := getState(tx)
	if err != nil {
		return entry{}, err
	}
	s.fill(&h, st)
	old, err := find(tx, h.ID)
	switch {
	case err == nil:
		was := old.Header
		was.Completed = h.Completed // that changes while it is walked
		a, errA := encoding.Marshal(was)
		b, errB := encoding.Marshal(h)
		if err := errors.Join(errA, errB); err != nil {
			return entry{}, err
		}
		if !bytes.Equal(a, b) {
			return entry{}, &Error{Kind: ErrExists, What: fmt.Sprintf("another walk %q is there already", h.ID), Do: "give this one another ID"}
		}
		return old, nil
	case !errors.Is(err, ErrNotFound):
		return entry{}, err
	}
	e, err := newEntry(tx, h)
	if err != nil {
		return entry{}, err
	}
	return e, e.save()
}

// newEntry makes a walk without visits; its header is yet to be saved.
func newEntry(tx *bbolt.Tx, h walk.Header) (entry, error) {
	st, err := getState(tx)
	if err != nil {
		return entry{}, err
	}
	e := entry{no: st.Next, head: head{Header: h}}
	if e.bucket, err = tx.Bucket(bucketWalks).CreateBucket(be64(e.no)); err != nil {
		return entry{}, err
	}
	for _, name := range [][]byte{bucketVisits, bucketMarks} {
		if _, err := e.bucket.CreateBucket(name); err != nil {
			return entry{}, err
		}
	}
	st.Next++
	st.Walks++
	return e, putState(tx, st)
}

func (s *Store) fill(h *walk.Header, st state) {
	if h.PlanRev == 0 {
		h.PlanRev = st.Plans
	}
	if h.Program == "" {
		h.Program = s.opt.Version
	}
	h.Started = h.Started.UTC()
}

// AppendVisit adds a visit to a walk and returns when it is on the disk. A
// visit that is there already with equal content is fine; another one of the
// same ID is ErrExists. Times become UTC.
func (s *Store) AppendVisit(walkID string, v walk.Visit) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	var e entry
	var ids map[string]uint64
	added := false
	err := s.update(func(tx *bbolt.Tx) (err error) {
		if e, err = find(tx, walkID); err != nil {
			return err
		}
		if e.Header.Source == walk.Imported {
			return &Error{What: fmt.Sprintf("walk %q was imported as a whole", walkID), Do: "begin a new walk"}
		}
		if ids, err = s.ids(&e); err != nil {
			return err
		}
		added, err = e.add(&v, ids)
		if err != nil || !added {
			return err
		}
		return e.save()
	})
	if err != nil {
		delete(s.visits, e.no) // whether it reached the disk is asked of the disk
		return err
	}
	if added {
		ids[v.ID] = uint64(e.Visits - 1)
	}
	return nil
}

// ids gives the places of the visits of a walk by their ID.
func (s *Store) ids(e *entry) (map[string]uint64, error) {
	if ids, ok := s.visits[e.no]; ok && len(ids) == e.Visits {
		return ids, nil
	}
	ids := map[string]uint64{}
	err := e.blocks(func(first uint64, visits []walk.Visit, _ []byte) error {
		for i := range visits {
			ids[visits[i].ID] = first + uint64(i)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	s.visits[e.no] = ids
	return ids, nil
}

// add puts a visit behind the others; false where it is there already.
func (e *entry) add(v *walk.Visit, ids map[string]uint64) (bool, error) {
	if v.ID == "" {
		return false, &Error{What: "a visit without an ID", Do: "give it one"}
	}
	p := newPacker()
	if err := p.add(v); err != nil {
		return false, err
	}
	payload, err := p.payload()
	if err != nil {
		return false, err
	}
	visits := e.bucket.Bucket(bucketVisits)
	if at, there := ids[v.ID]; there {
		key := be64(at)
		old, err := payloadOf(kindBlock, e.no, key, visits.Get(key))
		if err != nil {
			return false, err
		}
		if !bytes.Equal(old, payload) {
			return false, &Error{Kind: ErrExists, What: fmt.Sprintf("walk %q has another visit %q already", e.Header.ID, v.ID), Do: "give this one another ID"}
		}
		return false, nil
	}
	key := be64(uint64(e.Visits))
	if err := visits.Put(key, sealPayload(kindBlock, e.no, key, payload)); err != nil {
		return false, err
	}
	e.Visits++
	e.Scans += len(v.Scans)
	e.Readings += p.readings
	return true, nil
}

// AppendMark adds a mark to a walk and returns when it is on the disk. The mark
// needs its Seq. A mark that is there already with equal content is fine;
// another one with the same Seq is ErrExists. A finish completes the walk.
func (s *Store) AppendMark(walkID string, m walk.Mark) error {
	return s.update(func(tx *bbolt.Tx) error {
		e, err := find(tx, walkID)
		if err != nil {
			return err
		}
		added, err := e.mark(m)
		if err != nil || !added {
			return err
		}
		return e.save()
	})
}

func (e *entry) mark(m walk.Mark) (bool, error) {
	if m.Seq < 1 {
		return false, &Error{What: fmt.Sprintf("a mark with Seq %d", m.Seq), Do: "count the facts of a walk from 1"}
	}
	m.Time = m.Time.UTC()
	key := be64(uint64(m.Seq))
	rec, err := seal(kindMark, e.no, key, m)
	if err != nil {
		return false, err
	}
	marks := e.bucket.Bucket(bucketMarks)
	if old := marks.Get(key); old != nil {
		if !bytes.Equal(old, rec) {
			return false, &Error{Kind: ErrExists, What: fmt.Sprintf("walk %q has another mark %d already", e.Header.ID, m.Seq), Do: "count the facts of a walk from 1, each once"}
		}
		return false, nil
	}
	if err := marks.Put(key, rec); err != nil {
		return false, err
	}
	e.Marks++
	if m.Kind == walk.Finish {
		e.Header.Completed = true
	}
	return true, nil
}

// EndWalk adds a finish to a walk, unless it is completed already.
func (s *Store) EndWalk(walkID string) error {
	now := time.Now
	if s.opt.Clock != nil {
		now = s.opt.Clock
	}
	return s.update(func(tx *bbolt.Tx) error {
		e, err := find(tx, walkID)
		if err != nil || e.Header.Completed {
			return err
		}
		seq := e.Visits + e.Marks
		if k, _ := e.bucket.Bucket(bucketMarks).Cursor().Last(); k != nil {
			last, err := number(k)
			if err != nil {
				return err
			}
			seq = max(seq, int(last))
		}
		if _, err := e.mark(walk.Mark{Seq: seq + 1, Time: now(), Kind: walk.Finish}); err != nil {
			return err
		}
		return e.save()
	})
}

// AddWalk adds a walk with its visits and marks as a whole, such as one from
// another file. added is false where an equal one is there; another one of the
// same ID is ErrExists.
func (s *Store) AddWalk(w walk.Walk) (added bool, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	err = s.update(func(tx *bbolt.Tx) error {
		before, err := getState(tx)
		if err != nil {
			return err
		}
		e, err := s.begin(tx, w.Header)
		if err != nil {
			return err
		}
		if after, err := getState(tx); err != nil {
			return err
		} else if after.Walks == before.Walks {
			return e.same(&w)
		}
		ids := map[string]uint64{}
		for i := range w.Visits {
			v := &w.Visits[i]
			if _, twice := ids[v.ID]; twice {
				return &Error{Kind: ErrExists, What: fmt.Sprintf("walk %q has visit %q twice", w.ID, v.ID), Do: "give every visit an ID of its own"}
			}
			if _, err := e.add(v, nil); err != nil {
				return err
			}
			ids[v.ID] = uint64(i)
		}
		for _, m := range w.Marks {
			if _, err := e.mark(m); err != nil {
				return err
			}
		}
		e.Header.Completed = w.Completed
		added = true
		return e.save()
	})
	return added && err == nil, err
}

// same says whether a walk in the file equals another.
func (e *entry) same(w *walk.Walk) error {
	old, err := e.read()
	if err != nil {
		return err
	}
	a, errA := fingerprint(&old)
	b, errB := fingerprint(w)
	if err := errors.Join(errA, errB); err != nil {
		return err
	}
	if !slices.Equal(a, b) || old.Completed != w.Completed {
		return &Error{Kind: ErrExists, What: fmt.Sprintf("walk %q is there already with other visits or marks", w.ID), Do: "give this one another ID"}
	}
	return nil
}

// fingerprint gives bytes that equal walks share: each visit and mark as it is
// stored.
func fingerprint(w *walk.Walk) ([]byte, error) {
	var out []byte
	for i := range w.Visits {
		payload, err := packed(&w.Visits[i])
		if err != nil {
			return nil, err
		}
		out = append(out, payload...)
	}
	marks := slices.SortedFunc(slices.Values(w.Marks), func(a, b walk.Mark) int { return a.Seq - b.Seq })
	for _, m := range marks {
		m.Time = m.Time.UTC()
		payload, err := encoding.Marshal(m)
		if err != nil {
			return nil, err
		}
		out = append(out, payload...)
	}
	return out, nil
}
