//go:build unix && !solaris && !aix

package store

import (
	"errors"
	"os"
	"syscall"
	"time"

	berrors "go.etcd.io/bbolt/errors"
)

// lock takes the lock that bbolt takes on the same descriptor a moment later,
// so that the pages can be checked while nobody writes.
func lock(f *os.File, exclusive bool, timeout time.Duration) error {
	how := syscall.LOCK_SH
	if exclusive {
		how = syscall.LOCK_EX
	}
	const pause = 20 * time.Millisecond
	for waited := time.Duration(0); ; waited += pause {
		err := syscall.Flock(int(f.Fd()), how|syscall.LOCK_NB)
		switch {
		case err == nil:
			return nil
		case errors.Is(err, syscall.EINTR):
			continue
		case !errors.Is(err, syscall.EWOULDBLOCK):
			return err
		case waited >= timeout:
			return berrors.ErrTimeout
		}
		time.Sleep(pause)
	}
}
