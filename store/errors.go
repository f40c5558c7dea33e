package store

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"syscall"

	"footrule/internal/input"

	berrors "go.etcd.io/bbolt/errors"
)

// Errors to ask for with [errors.Is]. Errors of the operating system (no room,
// no permission, no such file) are wrapped and answer to errors.Is as well.
var (
	ErrLocked   = errors.New("the file is in use")
	ErrForeign  = errors.New("not a sound site file") // another program's, or damaged
	ErrNewer    = errors.New("the file is from a newer version")
	ErrOlder    = errors.New("the file is from an older version")
	ErrReadOnly = errors.New("the file was opened for reading only")
	ErrExists   = errors.New("there already")
	ErrNotFound = errors.New("not there")
)

// Error says which file, what is wrong and what to do. It unwraps to one of
// the errors above and to its cause.
type Error struct {
	Path  string
	Kind  error  // one of the errors above; nil where the cause says it all
	What  string // lower case, no full stop
	Do    string // may be empty
	Cause error  // may be nil
}

// Error gives one line: path: what; do.
func (e *Error) Error() string {
	s := e.Path + ": " + e.What
	if e.Do != "" {
		s += "; " + e.Do
	}
	return s
}

// Unwrap gives the kind and the cause.
func (e *Error) Unwrap() []error {
	var out []error
	for _, err := range []error{e.Kind, e.Cause} {
		if err != nil {
			out = append(out, err)
		}
	}
	return out
}

// damage is how the layers below say that what they read is not what was written.
type damage struct{ what string }

func (d *damage) Error() string { return d.what }

func damagef(format string, args ...any) error { return &damage{fmt.Sprintf(format, args...)} }

const keepCopy = "keep the file as it is; footrule check says what of it is whole, and footrule export --salvage saves that"

// wrap gives an error of the layers below its path, kind and hint.
func wrap(path string, err error) error {
	if err == nil {
		return nil
	}
	var own *Error
	var in *input.Error
	if errors.As(err, &own) || errors.As(err, &in) || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	var d *damage
	switch {
	case errors.As(err, &d):
		return &Error{Path: path, Kind: ErrForeign, What: "the file is damaged: " + d.what, Do: keepCopy}
	case errors.Is(err, berrors.ErrTimeout):
		return &Error{Path: path, Kind: ErrLocked, What: "another process has the file open", Do: "end it there, or wait, and try again", Cause: err}
	case errors.Is(err, berrors.ErrDatabaseReadOnly):
		return &Error{Path: path, Kind: ErrReadOnly, What: "the file was opened for reading only", Do: "open it for writing"}
	case errors.Is(err, berrors.ErrInvalid), errors.Is(err, berrors.ErrChecksum), errors.Is(err, berrors.ErrVersionMismatch):
		return &Error{Path: path, Kind: ErrForeign, What: "not a footrule site file, or a damaged one", Do: "check the name", Cause: err}
	}
	err = errnoOf(err)
	e := &Error{Path: path, What: err.Error(), Cause: err}
	switch {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		e.What, e.Do = "no room left on the disk, nothing was added", "make room and try again"
	case errors.Is(err, syscall.EFBIG):
		e.What, e.Do = "the file may not grow further, nothing was added", "raise the limit on file sizes (ulimit -f) or move the file"
	case errors.Is(err, syscall.EROFS):
		e.What, e.Do = "the disk is read-only", "copy the file elsewhere"
	case errors.Is(err, syscall.EACCES), errors.Is(err, syscall.EPERM):
		e.What, e.Do = "no permission to open the file that way", "change its permissions or copy it"
	case errors.Is(err, syscall.ENOENT):
		e.What, e.Do = "no such file", "check the name, or make a site file first"
	case errors.Is(err, syscall.EISDIR):
		e.What, e.Do = "a directory, not a site file", "name a file in it"
	}
	return e
}

// errnoOf restores the error number where bbolt kept only its text (when it
// fails to make the file larger).
func errnoOf(err error) error {
	var no syscall.Errno
	if errors.As(err, &no) {
		return err
	}
	for _, no := range []syscall.Errno{syscall.ENOSPC, syscall.EFBIG, syscall.EDQUOT, syscall.EIO, syscall.EROFS} {
		if strings.HasSuffix(err.Error(), no.Error()) {
			return fmt.Errorf("%s%w", strings.TrimSuffix(err.Error(), no.Error()), no)
		}
	}
	return err
}
