package drawing

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"

	"footrule/internal/input"
)

// maxLine is the longest line of a DXF: texts come in pieces of 250 characters,
// and the reference allows 2049.
const maxLine = 16 << 10

// pairs reads the tagged pairs of an ASCII DXF: a line with a group code, a line
// with its value.
type pairs struct {
	r     *bufio.Reader
	line  int // of the value
	code  int
	value []byte // good until the next call
	again bool   // next gives this pair once more
}

// next moves to the next pair; io.EOF only before a pair.
func (p *pairs) next() error {
	if p.again {
		p.again = false
		return nil
	}
	for {
		text, err := p.text()
		if err != nil {
			return err
		}
		code, err := strconv.Atoi(string(bytes.TrimSpace(text)))
		if err != nil || code < -5 || code > 1071 {
			return p.fail(fmt.Sprintf("%q stands where a group code should", clip(string(text))), "this is no ASCII DXF, or it is damaged; save it again")
		}
		p.code = code
		if p.value, err = p.text(); err != nil {
			if errors.Is(err, io.EOF) {
				return p.cut()
			}
			return err
		}
		if code != 999 { // a comment
			return nil
		}
	}
}

func (p *pairs) cut() error {
	return p.fail("the file ends in the middle of the drawing", "it was cut off; save or copy it again")
}

// text gives a line without its end.
func (p *pairs) text() ([]byte, error) {
	s, err := p.r.ReadSlice('\n')
	if err != nil && len(s) == 0 {
		if errors.Is(err, io.EOF) {
			return nil, io.EOF
		}
		return nil, err
	}
	p.line++
	if errors.Is(err, bufio.ErrBufferFull) || len(s) > maxLine {
		return nil, p.fail(fmt.Sprintf("the line has more than %d characters", maxLine), "this is no ASCII DXF, or it is damaged")
	}
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	return bytes.TrimRight(s, "\r\n"), nil
}

func (p *pairs) fail(what, want string) error {
	return &input.Error{Line: p.line, What: what, Want: want}
}

// is reports whether the pair is a code with a keyword.
func (p *pairs) is(code int, word string) bool {
	return p.code == code && string(bytes.TrimSpace(p.value)) == word
}

// number reads the value as one that a drawing can have.
func (p *pairs) number() (float64, error) {
	v, err := strconv.ParseFloat(string(bytes.TrimSpace(p.value)), 64)
	if err != nil {
		return 0, p.fail(fmt.Sprintf("group %d holds %q, not a number", p.code, clip(string(p.value))), "correct it, or save the drawing again")
	}
	if !(v >= -maxNumber && v <= maxNumber) {
		return 0, p.fail(fmt.Sprintf("group %d holds %v", p.code, v), "correct the drawing: a coordinate is a number of at most 1e12")
	}
	return v, nil
}

// integer reads the value as a whole number.
func (p *pairs) integer() (int, error) {
	v, err := p.number()
	if err == nil && (v != float64(int64(v)) || v > 1<<31 || v < -(1<<31)) {
		err = p.fail(fmt.Sprintf("group %d holds %v, not a whole number", p.code, v), "correct it, or save the drawing again")
	}
	return int(v), err
}
