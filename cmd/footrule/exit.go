package main

import (
	"errors"
	"io/fs"
	"syscall"

	"footrule/internal/input"
	"footrule/store"
)

// The exit codes that scripts rely on.
const (
	exitDone    = 0
	exitNo      = 1 // a target missed, a check failed
	exitUsage   = 2 // wrong usage or unreadable input
	exitRefused = 3 // no adapter, no permission, file locked, disk full
)

// exit carries an exit code with its sentence. An exit without an error has
// said all it has to say on standard output.
type exit struct {
	code int
	err  error
}

func (e *exit) Error() string {
	if e.err == nil {
		return ""
	}
	return e.err.Error()
}

func (e *exit) Unwrap() error { return e.err }

func usage(err error) error   { return &exit{exitUsage, err} }
func refused(err error) error { return &exit{exitRefused, err} }

// codeOf says which exit code an error means.
func codeOf(err error) int {
	var e *exit
	var in *input.Error
	switch {
	case err == nil:
		return exitDone
	case errors.As(err, &e):
		return e.code
	case errors.As(err, &in):
		return exitUsage
	case errors.Is(err, store.ErrLocked), errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.ENOSPC),
		errors.Is(err, syscall.EROFS), errors.Is(err, syscall.EDQUOT), errors.Is(err, syscall.EFBIG), errors.Is(err, syscall.EIO):
		return exitRefused
	}
	return exitUsage
}
