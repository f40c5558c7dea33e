package store

import (
	"bytes"
	"encoding/binary"
	"fmt"

	"footrule/internal/site"

	"go.etcd.io/bbolt"
)

// Plan gives the newest revision of the plan and its number, from 1.
func (s *Store) Plan() (*site.Site, uint64, error) {
	var plan *site.Site
	var rev uint64
	err := s.view(func(tx *bbolt.Tx) (err error) {
		plan, rev, err = planAt(tx, 0)
		return err
	})
	return plan, rev, err
}

// PlanAt gives a revision of the plan; ErrNotFound where there is none.
func (s *Store) PlanAt(rev uint64) (*site.Site, error) {
	var plan *site.Site
	err := s.view(func(tx *bbolt.Tx) (err error) {
		if rev == 0 {
			return &Error{Kind: ErrNotFound, What: "there is no revision 0 of the plan", Do: "revisions count from 1"}
		}
		plan, _, err = planAt(tx, rev)
		return err
	})
	return plan, err
}

// PutPlan adds a revision of the plan and gives its number. A plan that equals
// the newest revision adds none.
func (s *Store) PutPlan(plan *site.Site) (uint64, error) {
	var rev uint64
	err := s.update(func(tx *bbolt.Tx) (err error) {
		rev, err = putPlan(tx, plan)
		return err
	})
	return rev, err
}

// planAt reads a revision, the newest for 0.
func planAt(tx *bbolt.Tx, rev uint64) (*site.Site, uint64, error) {
	st, err := getState(tx)
	if err != nil {
		return nil, 0, err
	}
	if rev == 0 {
		rev = st.Plans
	}
	if rev == 0 || rev > st.Plans {
		return nil, 0, &Error{Kind: ErrNotFound, What: fmt.Sprintf("the plan has %d revisions, not %d", st.Plans, rev), Do: "ask for one of them"}
	}
	key := be64(rev)
	rec := tx.Bucket(bucketPlans).Get(key)
	if rec == nil {
		return nil, 0, damagef("revision %d of the plan is missing", rev)
	}
	plan := new(site.Site)
	if err := unseal(kindPlan, 0, key, rec, plan); err != nil {
		return nil, 0, err
	}
	return plan, rev, nil
}

func putPlan(tx *bbolt.Tx, plan *site.Site) (uint64, error) {
	st, err := getState(tx)
	if err != nil {
		return 0, err
	}
	payload, err := encoding.Marshal(plan)
	if err != nil {
		return 0, err
	}
	plans := tx.Bucket(bucketPlans)
	if st.Plans > 0 {
		key := be64(st.Plans)
		newest, err := payloadOf(kindPlan, 0, key, plans.Get(key))
		if err != nil {
			return 0, err
		}
		if bytes.Equal(newest, payload) {
			return st.Plans, nil
		}
	}
	st.Plans++
	key := be64(st.Plans)
	if err := plans.Put(key, sealPayload(kindPlan, 0, key, payload)); err != nil {
		return 0, err
	}
	return st.Plans, putState(tx, st)
}

// number reads a key of 8 bytes.
func number(key []byte) (uint64, error) {
	if len(key) != 8 {
		return 0, damagef("key %x is no number", key)
	}
	return binary.BigEndian.Uint64(key), nil
}
