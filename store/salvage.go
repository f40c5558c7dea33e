package store

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"

	"footrule/internal/site"
	"footrule/internal/walk"
)

// Fault is one thing in a file that is not what was written, or does not fit
// the rest of it.
type Fault struct {
	Where string // what of the file: "walk monday", "plan, revision 2", "page 17"
	What  string // lower case, no full stop
}

// Whole is what can be read of a file, whatever its condition, and what is
// wrong with it.
type Whole struct {
	Format   string // as the file has it; empty where lost
	Program  string // version that made the file; empty where lost
	Bytes    int64
	Pages    uint64 // in use
	Plans    map[uint64]*site.Site
	Walks    []walk.Walk       // in order of their start, then their ID; with the visits and marks that are whole
	Pictures map[string][]byte // by ID
	Pending  int               // imports that were killed; the next opening for writing removes them
	Records  int               // that check out
	Faults   []Fault           // none for a file that is sound from end to end
}

// Newest gives the newest plan that is whole and its revision; nil and 0 where
// none is.
func (w *Whole) Newest() (*site.Site, uint64) {
	if len(w.Plans) == 0 {
		return nil, 0
	}
	rev := slices.Max(slices.Collect(maps.Keys(w.Plans)))
	return w.Plans[rev], rev
}

// Salvage reads a file record by record, past everything that is damaged, and
// changes nothing in it.
//
//  1. Every record that is given was written as such: it carries a checksum
//     over its kind, its walk, its place and its content.
//  2. A file without faults is one that [Open] opens and reads to its end.
//  3. Pages that nothing whole leads to are searched for records that the rest
//     lacks.
//
// It fails where the file can't be read at all, is of another program, of a
// newer version, or in use by another process.
func Salvage(path string) (*Whole, error) {
	w, err := salvage(path)
	var own *Error
	if errors.As(err, &own) && own.Path == "" {
		own.Path = path
	}
	return w, wrap(path, err)
}

func salvage(path string) (*Whole, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer func() { _ = f.Close() }()
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	if info.IsDir() || !info.Mode().IsRegular() || info.Size() == 0 {
		return nil, inspect(f, Options{ReadOnly: true}) // which says what it is
	}
	if err := lock(f, false, DefaultTimeout); err != nil {
		return nil, err
	}
	if info, err = f.Stat(); err != nil {
		return nil, err
	}
	r := &rescue{out: &Whole{Bytes: info.Size(), Plans: map[uint64]*site.Site{}, Pictures: map[string][]byte{}},
		meta: map[string][]byte{}, plans: map[uint64][]byte{}, pictures: map[string][]byte{}, walks: map[uint64]*lostWalk{}, buckets: map[string]bool{}}
	return r.out, r.run(f, uint64(info.Size()), path)
}

// rescue gathers what is found of a file and puts it together.
type rescue struct {
	out      *Whole
	meta     map[string][]byte
	plans    map[uint64][]byte
	pictures map[string][]byte
	walks    map[uint64]*lostWalk
	state    state
	stateOK  bool
	buckets  map[string]bool // that are there, by their path
}

// lostWalk is what is found of a walk, undecoded.
type lostWalk struct {
	head          []byte
	pending       bool
	visits, marks map[uint64][]byte
	loose         []uint64 // visits that nothing led to
}

func (r *rescue) fault(where, format string, args ...any) {
	r.out.Faults = append(r.out.Faults, Fault{where, fmt.Sprintf(format, args...)})
}

func (r *rescue) walk(no uint64) *lostWalk {
	w, ok := r.walks[no]
	if !ok {
		w = &lostWalk{visits: map[uint64][]byte{}, marks: map[uint64][]byte{}}
		r.walks[no] = w
	}
	return w
}

func (r *rescue) run(f *os.File, size uint64, path string) error {
	s := &scavenger{f: f, size: size, record: r.take, bucket: r.part}
	m, ok := r.begin(f, s)
	if ok {
		s.tree(m.root, nil, 0)
	}
	lost := !ok || len(s.broken) > 0 || len(r.out.Faults) > 0
	if lost {
		s.loose(r.loose)
	}
	if len(r.meta)+len(r.plans)+len(r.walks) == 0 {
		return foreign("nothing in it is of one")
	}
	if err := r.format(path); err != nil {
		return err
	}
	r.readState()
	r.readPlans()
	names := r.readWalks()
	r.parts(names)
	r.readPictures()
	for _, b := range s.broken {
		where := fmt.Sprintf("page %d", b.id)
		if of := nameOf(b.path, names); of != "" {
			where += ", of " + of
		}
		r.fault(where, "%s", b.what)
	}
	r.references()
	if len(r.out.Faults) == 0 {
		// What bbolt relies on beyond the records: the order of keys, free pages.
		if err := checkPages(f, int64(size)); err != nil {
			r.fault("pages", "%v", err)
		}
	}
	return nil
}

// part keeps that a bucket is there: also without a record in it, a file that
// lacks one is refused.
func (r *rescue) part(path [][]byte) {
	if len(path) >= 2 && bytes.Equal(path[0], bucketWalks) {
		if no, err := number(path[1]); err == nil {
			r.walk(no)
		}
	}
	r.buckets[string(bytes.Join(path, []byte("/")))] = true
}

// parts says which buckets are lost.
func (r *rescue) parts(names map[uint64]string) {
	for _, name := range [][]byte{bucketMeta, bucketPlans, bucketWalks} {
		if !r.buckets[string(name)] {
			r.fault("the "+string(name), "their place in the file is lost")
		}
	}
	for _, no := range slices.Sorted(maps.Keys(names)) {
		for _, name := range [][]byte{bucketVisits, bucketMarks} {
			if !r.buckets[string(bytes.Join([][]byte{bucketWalks, be64(no), name}, []byte("/")))] {
				r.fault(names[no], "the place of its %s in the file is lost", name)
			}
		}
	}
}

// begin finds the head page of the latest state that is whole.
func (r *rescue) begin(f *os.File, s *scavenger) (meta, bool) {
	const usual = 4096
	m0, ok0 := readMeta(f, 0, 0)
	var m1 meta
	ok1 := false
	for at := int64(1024); at <= 16<<20 && !ok1; at *= 2 {
		m1, ok1 = readMeta(f, at, 1)
		ok1 = ok1 && int64(m1.pageSize) == at
	}
	m := m0
	if !ok0 || ok1 && m1.txid > m0.txid {
		m = m1
	}
	if !ok0 {
		r.fault("head page 1", "does not check out")
	}
	if !ok1 {
		r.fault("head page 2", "does not check out")
	}
	ok := ok0 || ok1
	s.page = usual
	if ok {
		s.page = uint64(m.pageSize)
	}
	pages := s.size / s.page
	s.high, r.out.Pages = pages, pages
	if ok && m.high <= pages {
		s.high, r.out.Pages = m.high, m.high
	} else if ok {
		r.fault("the end of the file", "is cut off: %d of %d pages are there", pages, m.high)
	}
	s.seen = make([]bool, s.high)
	for i := range min(2, s.high) {
		s.seen[i] = true
	}
	return m, ok
}

// take keeps a record that the tree leads to.
func (r *rescue) take(path [][]byte, key, value []byte) {
	if len(path) == 0 {
		return
	}
	no, err := number(key)
	switch top := path[0]; {
	case len(path) == 1 && bytes.Equal(top, bucketMeta):
		r.meta[string(key)] = value
	case len(path) == 1 && bytes.Equal(top, bucketPictures):
		r.pictures[string(key)] = value
	case len(path) == 1 && bytes.Equal(top, bucketPlans):
		if err != nil {
			r.fault("plan", "%v", err)
			return
		}
		r.plans[no] = value
	case len(path) >= 2 && bytes.Equal(top, bucketWalks):
		of, numErr := number(path[1])
		if numErr != nil {
			r.fault("walks", "%v", numErr)
			return
		}
		w := r.walk(of)
		switch {
		case len(path) == 2 && bytes.Equal(key, keyHead):
			w.head = value
		case len(path) == 2 && bytes.Equal(key, keyImport):
			w.pending = true
		case len(path) == 3 && err == nil && bytes.Equal(path[2], bucketVisits):
			w.visits[no] = value
		case len(path) == 3 && err == nil && bytes.Equal(path[2], bucketMarks):
			w.marks[no] = value
		case len(path) == 3 && (bytes.Equal(path[2], bucketVisits) || bytes.Equal(path[2], bucketMarks)):
			r.fault(fmt.Sprintf("walk %d", of), "%v", err)
		}
	}
}

// likelyWalks is up to which number of a walk a loose record is tried.
const likelyWalks = 1024

// loose keeps a record that nothing leads to, where it checks out and nothing
// better is known: its checksum says what and whose it is.
func (r *rescue) loose(key, value []byte) {
	is := func(k kind, walk uint64) bool { _, err := payloadOf(k, walk, key, value); return err == nil }
	no, err := number(key)
	switch {
	case bytes.Equal(key, keyFormat) && strings.HasPrefix(string(value), formatName):
		if r.meta[string(key)] == nil {
			r.meta[string(key)] = value
		}
	case bytes.Equal(key, keyState):
		if old := r.meta[string(key)]; is(kindState, 0) && (old == nil || newerState(old, value)) {
			r.meta[string(key)] = value
		}
	case bytes.Equal(key, keyHead):
		for n := range uint64(likelyWalks) {
			if is(kindHead, n) {
				if w := r.walk(n); w.head == nil || newerHead(n, w.head, value) {
					w.head = value
				}
			}
		}
	case err == nil && is(kindPlan, 0):
		keep(r.plans, no, value, func(old []byte) bool { _, err := payloadOf(kindPlan, 0, key, old); return err == nil })
	case err == nil:
		for n := range uint64(likelyWalks) {
			if is(kindBlock, n) && keep(r.walk(n).visits, no, value, func(old []byte) bool { _, err := payloadOf(kindBlock, n, key, old); return err == nil }) {
				r.walk(n).loose = append(r.walk(n).loose, no)
			}
			if is(kindMark, n) {
				keep(r.walk(n).marks, no, value, func(old []byte) bool { _, err := payloadOf(kindMark, n, key, old); return err == nil })
			}
		}
	case is(kindPicture, 0):
		keep(r.pictures, string(key), value, func(old []byte) bool { _, err := payloadOf(kindPicture, 0, key, old); return err == nil })
	}
}

// keep puts a record where none is that is sound.
func keep[K comparable](m map[K][]byte, key K, value []byte, sound func([]byte) bool) bool {
	old, there := m[key]
	if there && sound(old) {
		return false
	}
	m[key] = value
	return true
}

func newerState(old, value []byte) bool {
	var a, b state
	return unseal(kindState, 0, keyState, value, &b) == nil && (unseal(kindState, 0, keyState, old, &a) != nil || b.Plans+b.Next+b.Walks > a.Plans+a.Next+a.Walks)
}

func newerHead(no uint64, old, value []byte) bool {
	var a, b head
	return unseal(kindHead, no, keyHead, value, &b) == nil && (unseal(kindHead, no, keyHead, old, &a) != nil || b.Visits+b.Marks > a.Visits+a.Marks)
}

// nameOf says which part of the file a path of buckets is.
func nameOf(path [][]byte, walks map[uint64]string) string {
	switch {
	case len(path) == 0:
		return ""
	case len(path) == 1:
		return "the " + string(path[0])
	}
	no, err := number(path[1])
	if err != nil {
		return "the " + string(path[0])
	}
	name := walks[no]
	if name == "" {
		name = fmt.Sprintf("walk %d", no)
	}
	if len(path) == 2 {
		return name
	}
	return fmt.Sprintf("the %s of %s", path[2], name)
}
