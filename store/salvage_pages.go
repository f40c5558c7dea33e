package store

import (
	"fmt"
	"io"
)

// scavenger reads a file of any condition page by page and keeps every record
// that it can reach, whether or not it checks out. It trusts nothing: what it
// reads lies within the file, and no page is read twice.
type scavenger struct {
	f    io.ReaderAt
	size uint64 // bytes of the file
	page uint64 // bytes of a page
	high uint64 // pages in use
	seen []bool

	broken []brokenPage
	record func(path [][]byte, key, value []byte)
	bucket func(path [][]byte) // every bucket that is there, empty or not
}

// brokenPage is a page whose records can't be reached from it.
type brokenPage struct {
	id   uint64
	path [][]byte // bucket that it belongs to
	what string
}

func (s *scavenger) fault(id uint64, path [][]byte, format string, args ...any) {
	s.broken = append(s.broken, brokenPage{id, path, fmt.Sprintf(format, args...)})
}

// read gives a page with its overflow; nil where it is none.
func (s *scavenger) read(id uint64, path [][]byte) []byte {
	var head [pageHeader]byte
	if id >= s.high || id < 2 {
		s.fault(id, path, "lies outside the file")
		return nil
	}
	if s.seen[id] {
		s.fault(id, path, "is used twice")
		return nil
	}
	if _, err := s.f.ReadAt(head[:], int64(id*s.page)); err != nil {
		s.fault(id, path, "cannot be read: %v", err)
		return nil
	}
	over := uint64(order.Uint32(head[12:]))
	if own := order.Uint64(head[:]); own != id {
		s.fault(id, path, "calls itself %d", own)
		return nil
	}
	if over >= s.high-id {
		s.fault(id, path, "reaches beyond the end of the file")
		return nil
	}
	for i := id; i <= id+over; i++ {
		if s.seen[i] {
			s.fault(i, path, "is used twice")
			return nil
		}
	}
	b := make([]byte, (over+1)*s.page)
	if _, err := s.f.ReadAt(b, int64(id*s.page)); err != nil {
		s.fault(id, path, "cannot be read: %v", err)
		return nil
	}
	for i := id; i <= id+over; i++ {
		s.seen[i] = true
	}
	return b
}

// tree reads a page and what hangs below it.
func (s *scavenger) tree(id uint64, path [][]byte, depth int) {
	if depth >= maxDepth {
		s.fault(id, path, "lies too deep")
		return
	}
	if b := s.read(id, path); b != nil {
		s.elements(id, b, path, depth)
	}
}

// elements reads the elements of a page or of an inline bucket.
func (s *scavenger) elements(id uint64, b []byte, path [][]byte, depth int) {
	flags, n := order.Uint16(b[8:]), int(order.Uint16(b[10:]))
	if flags != branchPage && flags != leafPage {
		s.fault(id, path, "is neither branch nor leaf")
		return
	}
	if most := (len(b) - pageHeader) / element; n > most {
		s.fault(id, path, "has %d elements, more than fit", n)
		n = most
	}
	for i := range n {
		at := pageHeader + i*element
		e := b[at : at+element]
		if flags == branchPage {
			s.tree(order.Uint64(e[8:]), path, depth+1)
			continue
		}
		key, value, ok := leaf(b, at)
		if !ok {
			s.fault(id, path, "has its element %d outside of it", i)
			continue
		}
		switch order.Uint32(e) {
		case 0:
			s.record(path, key, value)
		case bucketLeaf:
			s.below(id, key, value, path, depth)
		default:
			s.fault(id, path, "has an element %d of no kind", i)
		}
	}
}

// below reads what a bucket holds.
func (s *scavenger) below(id uint64, key, value []byte, path [][]byte, depth int) {
	path = append(path[:len(path):len(path)], key)
	if len(value) < 16 {
		s.fault(id, path, "has a bucket that is too short")
		return
	}
	s.bucket(path)
	if root := order.Uint64(value); root != 0 {
		s.tree(root, path, depth+1)
		return
	}
	if len(value) < 16+pageHeader || order.Uint16(value[16+8:]) != leafPage || depth+1 >= maxDepth {
		s.fault(id, path, "has a bucket that is broken")
		return
	}
	s.elements(id, value[16:], path, depth+1)
}

// leaf gives key and value of the element of a leaf at an offset of its page.
func leaf(b []byte, at int) (key, value []byte, ok bool) {
	e := b[at : at+element]
	pos, ksize, vsize := uint64(order.Uint32(e[4:])), uint64(order.Uint32(e[8:])), uint64(order.Uint32(e[12:]))
	from := uint64(at) + pos
	if ksize > 32768 || pos < element || from+ksize+vsize > uint64(len(b)) {
		return nil, nil, false
	}
	return b[from : from+ksize], b[from+ksize : from+ksize+vsize], true
}

// loose reads the leaves that nothing that is whole leads to, and calls f for
// each of their elements, also of buckets within a page.
func (s *scavenger) loose(f func(key, value []byte)) {
	var page func(b []byte, depth int)
	page = func(b []byte, depth int) {
		if len(b) < pageHeader || order.Uint16(b[8:]) != leafPage {
			return
		}
		for i := range min(int(order.Uint16(b[10:])), (len(b)-pageHeader)/element) {
			at := pageHeader + i*element
			key, value, ok := leaf(b, at)
			switch {
			case !ok:
			case order.Uint32(b[at:]) == bucketLeaf && len(value) > 16 && depth < 4:
				page(value[16:], depth+1)
			default:
				f(key, value)
			}
		}
	}
	for id := uint64(0); id < s.size/s.page; id++ {
		if id < s.high && s.seen[id] {
			continue
		}
		var head [pageHeader]byte
		if _, err := s.f.ReadAt(head[:], int64(id*s.page)); err != nil || order.Uint16(head[8:]) != leafPage {
			continue
		}
		// A page whose own length is broken is read as one page.
		pages := min(uint64(order.Uint32(head[12:]))+1, s.size/s.page-id)
		if pages > 1<<14 {
			pages = 1
		}
		b := make([]byte, pages*s.page)
		if _, err := s.f.ReadAt(b, int64(id*s.page)); err == nil {
			page(b, 0)
		}
	}
}
