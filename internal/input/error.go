package input

import (
	"strconv"
	"strings"
)

// Error says what is wrong in something a person or another program wrote,
// where it stands, and what was expected. Line and Col count from 1 and are
// zero where unknown; Col counts bytes, as editors and compilers do.
type Error struct {
	File string // as the user named it; may be empty
	Line int
	Col  int
	What string // lower case, no full stop
	Want string // what to write instead; may be empty
}

// Error gives one line: file:line:col: what; want.
func (e *Error) Error() string {
	var b strings.Builder
	if e.File != "" {
		b.WriteString(e.File)
	} else {
		b.WriteString("input")
	}
	if e.Line > 0 {
		b.WriteByte(':')
		b.WriteString(strconv.Itoa(e.Line))
		if e.Col > 0 {
			b.WriteByte(':')
			b.WriteString(strconv.Itoa(e.Col))
		}
	}
	b.WriteString(": ")
	b.WriteString(e.What)
	if e.Want != "" {
		b.WriteString("; ")
		b.WriteString(e.Want)
	}
	return b.String()
}
