package walk

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"unicode/utf8"

	"footrule/internal/input"
)

// MaxCSVRecord is the longest record of a walk.csv in bytes, quoted line ends
// included: room for a dozen extra columns of prose, and a bound on what a
// quote that nobody closed can swallow.
const MaxCSVRecord = 64 << 10

// splitBuffer is how much of the file is held at a time.
const splitBuffer = 4 * MaxCSVRecord

// splitter cuts a stream into records and fields by RFC 4180. It differs from
// encoding/csv in three ways: a line end inside quotes is kept byte for byte, a
// bare carriage return outside quotes is an error, and a record has a longest
// length. It is several times as fast, because nothing is copied.
type splitter struct {
	file string
	r    io.Reader
	buf  []byte
	at   int // start of what was not yet given out
	end  int
	eof  bool
	line int // physical line of the latest record, from 1
	next int // physical line of the record after it

	record  []byte   // the latest record without its line end
	fields  [][]byte // into buf or scratch
	offsets []int    // of each field in record
	scratch []byte
}

func newSplitter(r io.Reader, file string) *splitter {
	return &splitter{file: file, r: r, buf: make([]byte, splitBuffer), next: 1}
}

// fill reads more, after moving what is left to the front.
func (s *splitter) fill() error {
	if s.at > 0 {
		s.end = copy(s.buf, s.buf[s.at:s.end])
		s.at = 0
	}
	for tries := 0; s.end < len(s.buf); tries++ {
		n, err := s.r.Read(s.buf[s.end:])
		s.end += n
		if errors.Is(err, io.EOF) {
			s.eof = true
			return nil
		}
		if err != nil {
			return err
		}
		if n > 0 {
			return nil
		}
		if tries > 100 {
			return io.ErrNoProgress
		}
	}
	return nil
}

// read cuts the next record that is not an empty line; io.EOF after the last.
// The fields are valid until the next call.
func (s *splitter) read() error {
	for {
		size, ends, quoted, err := s.measure()
		if err != nil {
			return err
		}
		s.line = s.next
		s.next += ends
		s.record = s.buf[s.at : s.at+size]
		s.at += size
		if n := len(s.record); n > 0 && s.record[n-1] == '\n' {
			s.record = s.record[:n-1]
		}
		if n := len(s.record); n > 0 && s.record[n-1] == '\r' {
			s.record = s.record[:n-1]
		}
		if len(s.record) == 0 {
			continue
		}
		return s.cut(quoted)
	}
}

// measure finds the length of the next record with its line end, and how many
// line ends it has.
func (s *splitter) measure() (size, ends int, quoted bool, err error) {
	odd := false
	for {
		chunk := s.buf[s.at+size : s.end]
		nl := bytes.IndexByte(chunk, '\n')
		if nl >= 0 {
			chunk = chunk[:nl+1]
		}
		if nl >= 0 || s.eof {
			if bytes.IndexByte(chunk, '"') >= 0 {
				quoted = true
				if bytes.Count(chunk, []byte{'"'})%2 == 1 {
					odd = !odd
				}
			}
			size += len(chunk)
			if nl >= 0 {
				ends++
			}
			if size > MaxCSVRecord {
				return 0, 0, false, s.tooLong(odd)
			}
			if nl >= 0 && !odd {
				return size, ends, quoted, nil
			}
			if nl < 0 {
				if size == 0 {
					return 0, 0, false, io.EOF
				}
				return size, ends, quoted, nil
			}
			continue
		}
		if size+len(chunk) > MaxCSVRecord {
			return 0, 0, false, s.tooLong(odd || bytes.IndexByte(s.buf[s.at:s.end], '"') >= 0)
		}
		if err := s.fill(); err != nil {
			return 0, 0, false, err
		}
	}
}

func (s *splitter) tooLong(quote bool) error {
	want := "put one reading on a line"
	if quote {
		want = "look for a quotation mark that is not closed"
	}
	return &input.Error{File: s.file, Line: s.next, Col: 1, What: fmt.Sprintf("a record of more than %d bytes", MaxCSVRecord), Want: want}
}

// cut splits the record into fields.
func (s *splitter) cut(quoted bool) error {
	s.fields, s.offsets = s.fields[:0], s.offsets[:0]
	if i := bytes.IndexByte(s.record, 0); i >= 0 {
		if s.line == 1 && utf16Text(s.record) {
			return s.errorAt(0, "the text is UTF-16", "save the file as UTF-8")
		}
		return s.errorAt(i, "a NUL byte", "the file is damaged or no text; save it again as UTF-8")
	}
	if !utf8.Valid(s.record) {
		i := 0
		for i < len(s.record) {
			r, n := utf8.DecodeRune(s.record[i:])
			if r == utf8.RuneError && n <= 1 {
				break
			}
			i += n
		}
		if s.line == 1 && utf16Text(s.record) {
			return s.errorAt(0, "the text is UTF-16", "save the file as UTF-8")
		}
		return s.errorAt(i, fmt.Sprintf("byte 0x%02x is not UTF-8", s.record[i]), "save the file as UTF-8")
	}
	if quoted {
		return s.cutQuoted()
	}
	if i := bytes.IndexByte(s.record, '\r'); i >= 0 {
		return s.errorAt(i, "a bare carriage return", "end lines with a line feed, with or without a carriage return before it")
	}
	rest, at := s.record, 0
	for {
		s.offsets = append(s.offsets, at)
		i := bytes.IndexByte(rest, ',')
		if i < 0 {
			s.fields = append(s.fields, rest)
			return nil
		}
		s.fields = append(s.fields, rest[:i])
		rest = rest[i+1:]
		at += i + 1
	}
}

func (s *splitter) cutQuoted() error {
	s.scratch = s.scratch[:0]
	if cap(s.scratch) < len(s.record) {
		s.scratch = make([]byte, 0, max(1024, 2*len(s.record))) // never grows while fields point into it
	}
	b := s.record
	for at := 0; ; {
		s.offsets = append(s.offsets, at)
		if at < len(b) && b[at] == '"' {
			start, from := at, len(s.scratch)
			at++
			for {
				i := bytes.IndexByte(b[at:], '"')
				if i < 0 {
					return s.errorAt(start, "a quotation mark that is not closed", `close it; a quotation mark inside quotes is written ""`)
				}
				s.scratch = append(s.scratch, b[at:at+i]...)
				at += i + 1
				if at < len(b) && b[at] == '"' {
					s.scratch = append(s.scratch, '"')
					at++
					continue
				}
				break
			}
			s.fields = append(s.fields, s.scratch[from:len(s.scratch):len(s.scratch)])
			if at == len(b) {
				return nil
			}
			if b[at] != ',' {
				return s.errorAt(at, "text after a closing quotation mark", `put a comma; a quotation mark inside quotes is written ""`)
			}
			at++
			continue
		}
		field := b[at:]
		if i := bytes.IndexByte(field, ','); i >= 0 {
			field = field[:i]
		}
		if i := bytes.IndexByte(field, '"'); i >= 0 {
			return s.errorAt(at+i, "a quotation mark inside a field", `put the whole field in quotes and write ""`)
		}
		if i := bytes.IndexAny(field, "\r\n"); i >= 0 {
			return s.errorAt(at+i, "a bare carriage return", "end lines with a line feed, with or without a carriage return before it")
		}
		s.fields = append(s.fields, field)
		at += len(field)
		if at == len(b) {
			return nil
		}
		at++
	}
}

// errorAt makes an error at a byte of the record.
func (s *splitter) errorAt(offset int, what, want string) error {
	line, col := s.place(offset)
	return &input.Error{File: s.file, Line: line, Col: col, What: what, Want: want}
}

func (s *splitter) place(offset int) (line, col int) {
	before := s.record[:offset]
	return s.line + bytes.Count(before, []byte{'\n'}), offset - bytes.LastIndexByte(before, '\n')
}

// utf16Text recognises a byte order mark of UTF-16, or Latin text in it: every
// other byte is zero.
func utf16Text(b []byte) bool {
	if len(b) >= 2 && (b[0] == 0xff && b[1] == 0xfe || b[0] == 0xfe && b[1] == 0xff) {
		return true
	}
	return len(b) >= 4 && (b[0] == 0 && b[2] == 0 && b[1] != 0 || b[1] == 0 && b[3] == 0 && b[0] != 0)
}
