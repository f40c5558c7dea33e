package store

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"go.etcd.io/bbolt"
)

// migrations bring a file from the format of their place to the next one. They
// see a file that is sound as far as its pages go, and run in one transaction with
// the change of the format, so that a file is of the old or of the new one.
var migrations = [formatVersion]func(*bbolt.Tx) error{
	0: countFacts,
}

// migrate brings the file up to date, and leaves a copy of it as it was beside it.
func (s *Store) migrate() error {
	from := formatVersion
	err := s.db.View(func(tx *bbolt.Tx) (err error) {
		from, _, err = formatOf(tx)
		return err
	})
	if err != nil || from >= formatVersion {
		return err
	}
	backup := fmt.Sprintf("%s.format-%d", s.path, from)
	if err := s.copyTo(backup); err != nil {
		return err
	}
	err = s.db.Update(func(tx *bbolt.Tx) error {
		for n := from; n < formatVersion; n++ {
			if err := migrations[n](tx); err != nil {
				return err
			}
		}
		return putFormat(tx)
	})
	if err == nil {
		s.backup = backup
	}
	return err
}

// Backup names the copy that was made because the file was of an older format;
// empty where it was not.
func (s *Store) Backup() string { return s.backup }

// copyTo makes a copy of the file that is durable before it has its name. A copy
// that is there already stays: it is from before.
func (s *Store) copyTo(name string) error {
	if _, err := os.Lstat(name); err == nil {
		return nil
	} else if !errors.Is(err, os.ErrNotExist) {
		return err
	}
	t, err := os.CreateTemp(filepath.Dir(name), ".footrule-*")
	if err != nil {
		return err
	}
	defer func() { _ = os.Remove(t.Name()) }() // nothing to remove once it is renamed
	err = s.db.View(func(tx *bbolt.Tx) error {
		_, err := tx.WriteTo(t)
		return err
	})
	if err == nil {
		err = t.Sync()
	}
	if e := t.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Rename(t.Name(), name)
	}
	if err != nil {
		return err
	}
	return syncDir(filepath.Dir(name))
}

// countFacts is for files from before headers of walks said how many scans,
// readings and marks there must be.
func countFacts(tx *bbolt.Tx) error {
	all, err := entries(tx)
	if err != nil {
		return err
	}
	for i := range all {
		e := &all[i]
		if e.Scans != 0 || e.Readings != 0 || e.Marks != 0 {
			return damagef("walk %q has counts, which the format of the file does not", e.Header.ID)
		}
		if k, _ := e.bucket.Bucket(bucketMarks).Cursor().First(); k != nil {
			e.Marks = e.bucket.Bucket(bucketMarks).Stats().KeyN
		}
		w, err := e.read()
		if err != nil {
			return err
		}
		for j := range w.Visits {
			e.Scans += len(w.Visits[j].Scans)
			for _, sc := range w.Visits[j].Scans {
				e.Readings += len(sc.Readings)
			}
		}
		if err := e.save(); err != nil {
			return err
		}
	}
	return nil
}
