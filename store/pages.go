package store

import (
	"bytes"
	"encoding/binary"
	"errors"
	"hash/fnv"
	"io"
)

// bbolt trusts what it reads: a page that points to itself ends in a stack
// overflow, a wrong count in a read outside the file, and some of that in
// goroutines of its own where nothing can catch it. So the tree is walked here
// once before bbolt sees the file: every page is where it says it is, every
// element lies within its page, keys ascend within the bounds of their parent,
// no page is reached twice. It reads the headers and keys, not the values;
// those carry their own checksums (see seal).
//
// The layout is that of bbolt's file version 2, in the byte order of the
// machine: pages of {id u64, flags u16, count u16, overflow u32}, elements of
// 16 bytes, two meta pages with an FNV-1a checksum.

const (
	metaMagic   = 0xED0CDAED
	metaVersion = 2

	pageHeader = 16
	element    = 16
	metaSize   = 64

	branchPage   = 0x01
	leafPage     = 0x02
	metaPage     = 0x04
	freelistPage = 0x10
	bucketLeaf   = 0x01

	noFreelist = ^uint64(0)
	maxDepth   = 64
)

// order is that of the machine, as in bbolt.
var order = binary.NativeEndian

// errNoMeta says that a file is not of bbolt at all.
var errNoMeta = errors.New("no head page")

type meta struct {
	pageSize             uint32
	root, freelist, high uint64
	txid                 uint64
}

// readMeta reads the meta page at an offset; ok is false where there is none
// that checks out.
func readMeta(f io.ReaderAt, offset int64, id uint64) (m meta, ok bool) {
	var b [pageHeader + metaSize]byte
	if _, err := f.ReadAt(b[:], offset); err != nil {
		return m, false
	}
	p := b[pageHeader:]
	sum := fnv.New64a()
	_, _ = sum.Write(p[:56])
	if order.Uint64(b[:]) != id || order.Uint16(b[8:])&metaPage == 0 || order.Uint32(p) != metaMagic ||
		order.Uint32(p[4:]) != metaVersion || order.Uint64(p[56:]) != sum.Sum64() {
		return m, false
	}
	m = meta{order.Uint32(p[8:]), order.Uint64(p[16:]), order.Uint64(p[32:]), order.Uint64(p[40:]), order.Uint64(p[48:])}
	return m, m.pageSize >= 1024 && m.pageSize <= 16<<20 && m.pageSize&(m.pageSize-1) == 0
}

// checkPages walks the tree of a file. errNoMeta says that it is no bbolt file
// at all; any other *damage says where it is broken.
func checkPages(f io.ReaderAt, size int64) error {
	m0, ok0 := readMeta(f, 0, 0)
	var m1 meta
	ok1 := false
	if ok0 {
		m1, ok1 = readMeta(f, int64(m0.pageSize), 1)
	} else {
		for at := int64(1024); at <= 16<<20 && !ok1; at *= 2 {
			m1, ok1 = readMeta(f, at, 1)
			ok1 = ok1 && int64(m1.pageSize) == at
		}
	}
	switch {
	case !ok0 && !ok1:
		return errNoMeta
	case !ok0 || !ok1 || m0.pageSize != m1.pageSize:
		// The other one would open, but at the state before the last visit.
		return damagef("one of its two head pages is broken, the last that was saved may be lost")
	}
	m := m0
	if m1.txid > m0.txid {
		m = m1
	}
	pages := uint64(size) / uint64(m.pageSize)
	if m.high > pages || m.high < 3 {
		return damagef("it is cut short: %d of %d pages", pages, m.high)
	}
	c := pageCheck{f: f, size: int64(m.pageSize), high: m.high, seen: make([]bool, m.high)}
	c.seen[0], c.seen[1] = true, true
	if err := c.page(m.root, nil, nil, 0); err != nil {
		return err
	}
	if m.freelist != noFreelist {
		return c.freelist(m.freelist)
	}
	return nil
}

type pageCheck struct {
	f    io.ReaderAt
	size int64
	high uint64
	seen []bool
	bufs [maxDepth][]byte // one page a level, used again
}

// claim marks a page and its overflow as reached.
func (c *pageCheck) claim(id, n uint64) error {
	if id >= c.high || n > c.high-id {
		return damagef("page %d lies outside it", id)
	}
	for i := id; i < id+n; i++ {
		if c.seen[i] {
			return damagef("page %d is used twice", i)
		}
		c.seen[i] = true
	}
	return nil
}

// page checks a page and what hangs below it; its keys lie in [low, high).
func (c *pageCheck) page(id uint64, low, high []byte, depth int) error {
	if depth >= maxDepth {
		return damagef("page %d lies too deep", id)
	}
	if id >= c.high {
		return damagef("page %d lies outside it", id)
	}
	if c.bufs[depth] == nil {
		c.bufs[depth] = make([]byte, c.size)
	}
	b := c.bufs[depth]
	if _, err := c.f.ReadAt(b, int64(id)*c.size); err != nil {
		return damagef("page %d cannot be read: %v", id, err)
	}
	over := uint64(order.Uint32(b[12:]))
	if order.Uint64(b) != id {
		return damagef("page %d calls itself %d", id, order.Uint64(b))
	}
	if err := c.claim(id, over+1); err != nil {
		return err
	}
	v := view{c: c, id: id, head: b, base: int64(id) * c.size, len: int64(over+1) * c.size}
	return c.elements(&v, low, high, depth)
}

// elements checks the elements of a page or of an inline bucket.
func (c *pageCheck) elements(v *view, low, high []byte, depth int) error {
	head, err := v.bytes(0, pageHeader)
	if err != nil {
		return err
	}
	flags, n := order.Uint16(head[8:]), int64(order.Uint16(head[10:]))
	if flags != branchPage && flags != leafPage {
		return damagef("page %d is neither branch nor leaf", v.id)
	}
	if flags == branchPage && n == 0 {
		return damagef("page %d is an empty branch", v.id)
	}
	if pageHeader+n*element > v.len {
		return damagef("page %d has %d elements, more than fit", v.id, n)
	}
	key := func(i int64) (k []byte, e [element]byte, at int64, err error) {
		raw, err := v.bytes(pageHeader+i*element, element)
		if err != nil {
			return nil, e, 0, err
		}
		copy(e[:], raw)
		pos, ksize := int64(order.Uint32(e[0:])), int64(order.Uint32(e[4:]))
		if flags == leafPage {
			pos, ksize = int64(order.Uint32(e[4:])), int64(order.Uint32(e[8:]))
		}
		at = pageHeader + i*element + pos
		if ksize > 32768 || at < pageHeader+n*element || at+ksize > v.len {
			return nil, e, 0, damagef("element %d of page %d lies outside it", i, v.id)
		}
		raw, err = v.bytes(at, ksize)
		return bytes.Clone(raw), e, at + ksize, err
	}
	if n == 0 {
		return nil
	}
	k, e, at, err := key(0)
	if err != nil {
		return err
	}
	if low != nil && bytes.Compare(k, low) < 0 {
		return damagef("page %d has a key before its bounds", v.id)
	}
	for i := int64(0); i < n; i++ {
		next, nextE, nextAt := high, e, at
		if i+1 < n {
			if next, nextE, nextAt, err = key(i + 1); err != nil {
				return err
			}
		}
		if next != nil && bytes.Compare(k, next) >= 0 {
			return damagef("page %d has keys out of order", v.id)
		}
		switch {
		case flags == branchPage:
			if err := c.page(order.Uint64(e[8:]), k, next, depth+1); err != nil {
				return err
			}
		default:
			size := int64(order.Uint32(e[12:]))
			if at+size > v.len {
				return damagef("element %d of page %d lies outside it", i, v.id)
			}
			kind := order.Uint32(e[0:])
			if kind > bucketLeaf {
				return damagef("element %d of page %d is of no kind", i, v.id)
			}
			if kind == bucketLeaf {
				if err := c.bucket(v, at, size, depth); err != nil {
					return err
				}
			}
		}
		k, e, at = next, nextE, nextAt
	}
	return nil
}

// bucket checks the head of a bucket {root u64, sequence u64} and what it holds.
func (c *pageCheck) bucket(v *view, at, size int64, depth int) error {
	if size < 16 {
		return damagef("a bucket in page %d is too short", v.id)
	}
	head, err := v.bytes(at, 16)
	if err != nil {
		return err
	}
	if root := order.Uint64(head); root != 0 {
		return c.page(root, nil, nil, depth+1)
	}
	if size < 16+pageHeader || depth+1 >= maxDepth {
		return damagef("a bucket in page %d is too short", v.id)
	}
	in := view{c: c, id: v.id, base: v.base + at + 16, len: size - 16}
	raw, err := v.bytes(at+16, pageHeader)
	if err != nil {
		return err
	}
	if order.Uint16(raw[8:]) != leafPage {
		return damagef("a bucket in page %d is no leaf", v.id)
	}
	return c.elements(&in, nil, nil, depth+1)
}

// freelist checks that no page in use is called free.
func (c *pageCheck) freelist(id uint64) error {
	var b [pageHeader + 8]byte
	if id >= c.high {
		return damagef("its list of free pages lies outside it")
	}
	if _, err := c.f.ReadAt(b[:], int64(id)*c.size); err != nil {
		return damagef("its list of free pages cannot be read: %v", err)
	}
	pages := uint64(order.Uint32(b[12:])) + 1
	n, at := uint64(order.Uint16(b[10:])), int64(pageHeader)
	if n == 0xffff {
		n, at = order.Uint64(b[pageHeader:]), at+8
	}
	if order.Uint64(b[:]) != id || order.Uint16(b[8:]) != freelistPage {
		return damagef("its list of free pages is broken")
	}
	if err := c.claim(id, pages); err != nil {
		return err
	}
	if n > c.high || at+int64(n)*8 > int64(pages)*c.size {
		return damagef("its list of free pages is too long")
	}
	ids := make([]byte, n*8)
	if _, err := c.f.ReadAt(ids, int64(id)*c.size+at); err != nil {
		return damagef("its list of free pages cannot be read: %v", err)
	}
	for i := uint64(0); i < n; i++ {
		if err := c.claim(order.Uint64(ids[8*i:]), 1); err != nil {
			return err
		}
	}
	return nil
}

// view is a page with its overflow, or an inline bucket, of which the first
// page may be in memory.
type view struct {
	c    *pageCheck
	id   uint64
	head []byte
	base int64 // offset in the file
	len  int64
	tmp  []byte
}

// bytes gives n bytes at an offset, valid until the next call.
func (v *view) bytes(at, n int64) ([]byte, error) {
	if at < 0 || n < 0 || at+n > v.len {
		return nil, damagef("page %d ends too soon", v.id)
	}
	if at+n <= int64(len(v.head)) {
		return v.head[at : at+n], nil
	}
	if int64(cap(v.tmp)) < n {
		v.tmp = make([]byte, n)
	}
	b := v.tmp[:n]
	if _, err := v.c.f.ReadAt(b, v.base+at); err != nil {
		return nil, damagef("page %d cannot be read: %v", v.id, err)
	}
	return b, nil
}
