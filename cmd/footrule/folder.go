package main

import (
	"bufio"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
	"syscall"
)

// folder is a directory that files are written into, and never outside of,
// whatever they are called and whatever links stand in it.
type folder struct{ root *os.Root }

// openFolder makes a directory where there is none, and opens it.
func openFolder(name string) (*folder, error) {
	if err := os.MkdirAll(name, 0o755); err != nil {
		return nil, err
	}
	root, err := os.OpenRoot(name)
	if err != nil {
		return nil, err
	}
	return &folder{root}, nil
}

// Close ends the use of the directory.
func (f *folder) Close() error { return f.root.Close() }

// write makes or replaces a file, whole or not at all: what write gives goes to a
// file beside, which is synced and renamed.
func (f *folder) write(name string, write func(io.Writer) error) (err error) {
	dir := path.Dir(name)
	if !filepath.IsLocal(filepath.FromSlash(name)) {
		return fmt.Errorf("%q leads out of the folder", name)
	}
	if err := f.root.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	var salt [6]byte
	if _, err := rand.Read(salt[:]); err != nil {
		return err
	}
	tmp := path.Join(dir, ".footrule-"+hex.EncodeToString(salt[:]))
	t, err := f.root.OpenFile(tmp, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			_ = f.root.Remove(tmp)
		}
	}()
	b := bufio.NewWriterSize(t, 64<<10)
	err = write(b)
	if err == nil {
		err = b.Flush()
	}
	if err == nil {
		err = t.Sync()
	}
	if e := t.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = f.root.Rename(tmp, name)
	}
	if err != nil {
		return err
	}
	return f.sync(dir)
}

// sync makes the names in a directory durable.
func (f *folder) sync(dir string) error {
	d, err := f.root.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	if err := d.Sync(); err != nil && !errors.Is(err, errors.ErrUnsupported) && !errors.Is(err, syscall.EINVAL) {
		return err
	}
	return nil
}
