package store

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"regexp"
	"slices"

	"footrule/internal/site"
	"footrule/internal/walk"

	"go.etcd.io/bbolt"
)

// ErrPlans says that two files have plans that were changed on both sides.
var ErrPlans = errors.New("the plans differ")

// PlanChoice says which plan becomes the newest where both sides changed it.
type PlanChoice int

// The choices of [Store.Merge].
const (
	PlanUndecided PlanChoice = iota // refuse with [ErrPlans]
	PlanMine
	PlanTheirs
	PlanGiven
)

// Merged says what a merge did.
type Merged struct {
	Added    []walk.Header // walks that were not there
	Extended []walk.Header // open walks that the other side had gone on with
	Same     []walk.Header // walks of which the other side has no more
	Apart    []walk.Header // walks that both sides went on with, in all their versions
	Plans    int           // revisions of the plan that were added
	Newer    bool          // the newest plan is another than before
	Pictures int
}

// Merge adds to this file what another has: revisions of the plan, pictures and
// walks. A walk is the same by its digest where it was imported, else by its ID.
//
//  1. Nothing is lost: of a walk that both sides went on with, each version is
//     kept as a walk of its own, called by its ID, a tilde and a piece of its
//     digest.
//  2. The walks and the plans that they were made on do not depend on the order
//     of merges nor on how often they are done. Nor does the newest plan, where
//     no merge had to be told which: what is chosen between two is a new fact,
//     which a third file can't know.
//  3. Everything is added or nothing.
//
// plan is the newest plan with [PlanGiven], else nil.
func (s *Store) Merge(other *Store, choice PlanChoice, plan *site.Site) (Merged, error) {
	theirs, err := other.all()
	if err != nil {
		return Merged{}, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	clear(s.visits)
	var m *merging
	err = s.update(func(tx *bbolt.Tx) error {
		m = &merging{s: s, tx: tx, theirs: theirs}
		if err := m.pictures(); err != nil {
			return err
		}
		if err := m.plans(choice, plan); err != nil {
			return err
		}
		return m.walks()
	})
	if err != nil {
		return Merged{}, err
	}
	return m.out, nil
}

// everything is what a file holds, as it is stored.
type everything struct {
	plans    [][]byte // payloads, from revision 1
	pictures map[string][]byte
	walks    []walk.Walk
}

func (s *Store) all() (e everything, err error) {
	e.pictures = map[string][]byte{}
	err = s.view(func(tx *bbolt.Tx) error {
		if e.plans, err = planPayloads(tx); err != nil {
			return err
		}
		b := tx.Bucket(bucketPictures)
		if b == nil {
			return nil
		}
		return b.ForEach(func(k, rec []byte) error {
			data, err := payloadOf(kindPicture, 0, k, rec)
			e.pictures[string(k)] = bytes.Clone(data)
			return err
		})
	})
	if err == nil {
		e.walks, err = s.Walks()
	}
	return e, err
}

func planPayloads(tx *bbolt.Tx) ([][]byte, error) {
	st, err := getState(tx)
	if err != nil {
		return nil, err
	}
	var out [][]byte
	for rev := uint64(1); rev <= st.Plans; rev++ {
		payload, err := payloadOf(kindPlan, 0, be64(rev), tx.Bucket(bucketPlans).Get(be64(rev)))
		if err != nil {
			return nil, err
		}
		out = append(out, bytes.Clone(payload))
	}
	return out, nil
}

type merging struct {
	s      *Store
	tx     *bbolt.Tx
	theirs everything
	mine   [][]byte // plans, with those that were added
	out    Merged
}

func (m *merging) pictures() error {
	if len(m.theirs.pictures) == 0 {
		return nil
	}
	b, err := m.tx.CreateBucketIfNotExists(bucketPictures)
	if err != nil {
		return err
	}
	for key, data := range m.theirs.pictures {
		if b.Get([]byte(key)) != nil {
			continue
		}
		if err := b.Put([]byte(key), sealPayload(kindPicture, 0, []byte(key), data)); err != nil {
			return err
		}
		m.out.Pictures++
	}
	return nil
}

func has(plans [][]byte, p []byte) bool {
	return slices.ContainsFunc(plans, func(o []byte) bool { return bytes.Equal(o, p) })
}

// plans adds the revisions that are missing and settles which is the newest.
func (m *merging) plans(choice PlanChoice, given *site.Site) (err error) {
	if m.mine, err = planPayloads(m.tx); err != nil {
		return err
	}
	before := m.mine
	if len(before) == 0 || len(m.theirs.plans) == 0 {
		return damagef("there is no plan")
	}
	mine, theirs := before[len(before)-1], m.theirs.plans[len(m.theirs.plans)-1]
	newest := mine
	knowsTheirs, knowMine := has(before, theirs), has(m.theirs.plans, mine)
	switch {
	case bytes.Equal(mine, theirs), knowsTheirs && !knowMine:
	case knowMine && !knowsTheirs, choice == PlanTheirs:
		newest = theirs
	case choice == PlanMine:
	case choice == PlanGiven:
		if newest, err = encoding.Marshal(given); err != nil {
			return err
		}
	default:
		return &Error{Kind: ErrPlans, What: "the plan was changed on both sides", Do: "say which is to be the newest with --plan mine, --plan theirs or --plan FILE; the others are kept as earlier revisions"}
	}
	for _, p := range m.theirs.plans {
		if !has(m.mine, p) && !bytes.Equal(p, newest) {
			if err := m.addPlan(p); err != nil {
				return err
			}
		}
	}
	if !bytes.Equal(m.mine[len(m.mine)-1], newest) {
		if err := m.addPlan(newest); err != nil {
			return err
		}
	}
	m.out.Plans, m.out.Newer = len(m.mine)-len(before), !bytes.Equal(newest, mine)
	return nil
}

func (m *merging) addPlan(payload []byte) error {
	st, err := getState(m.tx)
	if err != nil {
		return err
	}
	st.Plans++
	key := be64(st.Plans)
	if err := m.tx.Bucket(bucketPlans).Put(key, sealPayload(kindPlan, 0, key, payload)); err != nil {
		return err
	}
	m.mine = append(m.mine, payload)
	return putState(m.tx, st)
}

// version is one version of a walk.
type version struct {
	w      walk.Walk
	plan   []byte // that it was made on; nil where not known
	entry  *entry // nil for theirs
	digest string
	head   []byte   // its header without what may differ between files
	visits [][]byte // as they are stored
	marks  map[int][]byte
	grown  bool // an entry that has to take facts up
}

var versionSuffix = regexp.MustCompile(`~[0-9a-f]{8}$`)

// identity is what versions of one walk share.
func identity(h *walk.Header) string {
	if h.Source == walk.Imported && h.Digest != "" {
		return "import " + h.Digest
	}
	return "walk " + baseID(h.ID)
}

func baseID(id string) string { return versionSuffix.ReplaceAllString(id, "") }

func versionOf(w walk.Walk, plans [][]byte, e *entry) (*version, error) {
	v := &version{w: w, entry: e, marks: map[int][]byte{}}
	if rev := w.PlanRev; rev >= 1 && rev <= uint64(len(plans)) {
		v.plan = plans[rev-1]
	}
	h := w.Header
	h.ID, h.PlanRev, h.Completed, h.Started = baseID(h.ID), 0, false, h.Started.UTC()
	head, err := encoding.Marshal(h)
	if err != nil {
		return nil, err
	}
	v.head = append(head, v.plan...)
	sum := sha256.New()
	sum.Write(v.head)
	for i := range w.Visits {
		payload, err := packed(&w.Visits[i])
		if err != nil {
			return nil, err
		}
		v.visits = append(v.visits, payload)
		sum.Write(payload)
	}
	for _, k := range slices.SortedFunc(slices.Values(w.Marks), func(a, b walk.Mark) int { return cmp.Compare(a.Seq, b.Seq) }) {
		k.Time = k.Time.UTC()
		payload, err := encoding.Marshal(k)
		if err != nil {
			return nil, err
		}
		v.marks[k.Seq] = payload
		sum.Write(payload)
	}
	v.digest = hex.EncodeToString(sum.Sum(nil)[:4])
	return v, nil
}

// within says whether all of a version is in another: an imported walk is never
// gone on with; of equal imports the one with the lesser header is in no other.
func (v *version) within(o *version) bool {
	if v.w.Source == walk.Imported {
		return len(v.visits) == len(o.visits) && len(v.marks) == len(o.marks) && v.factsWithin(o) && bytes.Compare(v.head, o.head) >= 0
	}
	return bytes.Equal(v.head, o.head) && v.factsWithin(o) && (!v.w.Completed || o.w.Completed)
}

func (v *version) factsWithin(o *version) bool {
	if len(v.visits) > len(o.visits) || len(v.marks) > len(o.marks) {
		return false
	}
	for i := range v.visits {
		if !bytes.Equal(v.visits[i], o.visits[i]) {
			return false
		}
	}
	for seq, p := range v.marks {
		if !bytes.Equal(p, o.marks[seq]) {
			return false
		}
	}
	return true
}

// walks adds what the other side has of walks.
func (m *merging) walks() error {
	all, err := entries(m.tx)
	if err != nil {
		return err
	}
	families := map[string][]*version{}
	var order []string
	for i := range m.theirs.walks {
		v, err := versionOf(m.theirs.walks[i], m.theirs.plans, nil)
		if err != nil {
			return err
		}
		id := identity(&v.w.Header)
		if families[id] == nil {
			order = append(order, id)
		}
		families[id] = append(families[id], v)
	}
	ours := map[string][]*version{}
	for i := range all {
		if id := identity(&all[i].Header); families[id] != nil {
			w, err := all[i].read()
			if err != nil {
				return err
			}
			v, err := versionOf(w, m.mine, &all[i])
			if err != nil {
				return err
			}
			ours[id] = append(ours[id], v)
		}
	}
	for _, id := range order {
		if err := m.family(ours[id], families[id]); err != nil {
			return err
		}
	}
	return nil
}

// family joins the versions of one walk: those that are in no other remain.
func (m *merging) family(ours, theirs []*version) error {
	remain := slices.Clone(ours)
	for _, t := range theirs {
		if slices.ContainsFunc(remain, t.within) {
			continue
		}
		taken := false
		remain = slices.DeleteFunc(remain, func(o *version) bool {
			if !o.within(t) {
				return false
			}
			if o.entry != nil && !taken { // it grows in its place; what else it holds goes
				t.entry, t.grown, taken = o.entry, true, true
			}
			return true
		})
		remain = append(remain, t)
	}
	kept := map[*entry]bool{}
	for _, v := range remain {
		kept[v.entry] = true
	}
	for _, o := range ours {
		if !kept[o.entry] {
			if err := m.remove(o.entry); err != nil {
				return err
			}
		}
	}
	for _, v := range remain {
		if err := m.keep(v, len(remain) > 1); err != nil {
			return err
		}
	}
	return nil
}

func (m *merging) remove(e *entry) error {
	st, err := getState(m.tx)
	if err != nil {
		return err
	}
	st.Walks--
	if err := m.tx.Bucket(bucketWalks).DeleteBucket(be64(e.no)); err != nil {
		return err
	}
	return putState(m.tx, st)
}

// keep makes a version a walk of the file, or leaves it one.
func (m *merging) keep(v *version, apart bool) error {
	h := v.w.Header
	h.ID = baseID(h.ID)
	if apart {
		h.ID += "~" + v.digest
	}
	if v.plan == nil {
		h.PlanRev = 0
	} else if rev := h.PlanRev; v.entry == nil || v.grown || rev == 0 || rev > uint64(len(m.mine)) || !bytes.Equal(m.mine[rev-1], v.plan) {
		h.PlanRev = uint64(slices.IndexFunc(m.mine, func(p []byte) bool { return bytes.Equal(p, v.plan) }) + 1)
	}
	list := &m.out.Same
	e := v.entry
	switch {
	case e == nil:
		list = &m.out.Added
		made, err := newEntry(m.tx, h)
		if err != nil {
			return err
		}
		e = &made
	case v.grown:
		list = &m.out.Extended
	}
	for i := e.Visits; i < len(v.w.Visits); i++ {
		if _, err := e.add(&v.w.Visits[i], nil); err != nil {
			return err
		}
	}
	for _, k := range v.w.Marks {
		if _, err := e.mark(k); err != nil {
			return err
		}
	}
	if v.grown && e.Header.Source == walk.Imported {
		list = &m.out.Same // it has another header now, and nothing else
	}
	h.Completed = v.w.Completed
	e.Header = h
	if apart {
		list = &m.out.Apart
	}
	*list = append(*list, h)
	return e.save()
}
