package store

import (
	"errors"
	"os"
	"path/filepath"
	"runtime/debug"
	"sync"
	"syscall"
	"time"

	"footrule/internal/site"

	"go.etcd.io/bbolt"
)

// Format names what this version writes. A change that an older version could
// misread raises the number.
const (
	formatName    = "footrule-store/"
	formatVersion = 1
)

// Format is the text under which the format stands in the file.
const Format = "footrule-store/1"

// DefaultTimeout is how long an opening waits for another process.
const DefaultTimeout = 2 * time.Second

// growBy is how many bytes a file grows by beyond need: some hundred visits, so
// that few of them wait for the second sync that growing takes.
const growBy = 256 << 10

// Options say how a file is opened. The zero value is fine.
type Options struct {
	ReadOnly bool             // open for reading only; others may read at the same time
	Timeout  time.Duration    // wait for the lock; 0 is DefaultTimeout, below 0 does not wait
	Version  string           // of the program, kept in the file and in the walks it imports
	Clock    func() time.Time // for EndWalk; nil is time.Now

	// NoSync returns before the data are on the disk. A power cut can then
	// damage the whole file. It is for tests of what is not durability.
	NoSync bool
}

// Store is an open site file. It may be used from several goroutines.
type Store struct {
	path string
	db   *bbolt.DB
	opt  Options

	backup string // made by a migration

	mu     sync.Mutex
	visits map[uint64]map[string]uint64 // visit IDs of walks that were appended to, by walk number
}

// The buckets at the top, and those of a walk.
var (
	bucketMeta  = []byte("meta")
	bucketPlans = []byte("plans") // revision -> plan
	bucketWalks = []byte("walks") // number -> bucket of a walk

	bucketVisits = []byte("visits") // place of the first visit -> block
	bucketMarks  = []byte("marks")  // Seq -> mark

	keyFormat = []byte("format")
	keySealed = []byte("format-sealed") // the same under a checksum; older files have none
	keyState  = []byte("state")
	keyHead   = []byte("head")
	keyImport = []byte("import") // stands where an import is not done
)

// state counts what a file must have, so that a lost record is noticed.
type state struct {
	Plans   uint64
	Walks   uint64
	Next    uint64 // number of the next walk
	Program string // version that made the file
}

// Create makes a site file with the first revision of its plan. A file that is
// there already is refused and left alone.
func Create(path string, s *site.Site, opt Options) (*Store, error) {
	if opt.ReadOnly {
		return nil, &Error{Path: path, Kind: ErrReadOnly, What: "a new file cannot be opened for reading only", Do: "open it for writing"}
	}
	made := false
	st, err := open(path, opt, func(name string, flag int, mode os.FileMode) (*os.File, error) {
		f, err := os.OpenFile(name, flag|os.O_CREATE|os.O_EXCL, mode)
		made = err == nil
		return f, err
	}, func(s2 *Store) error {
		return s2.db.Update(func(tx *bbolt.Tx) error { return s2.lay(tx, s) })
	})
	if err == nil {
		err = syncDir(filepath.Dir(path))
		if err != nil {
			_ = st.Close()
			err = wrap(path, err)
		}
	}
	if err == nil {
		return st, nil
	}
	if errors.Is(err, os.ErrExist) {
		return nil, &Error{Path: path, Kind: ErrExists, What: "there is a file of that name", Do: "choose another name, or move the file away", Cause: err}
	}
	if made {
		_ = os.Remove(path)
	}
	return nil, err
}

// lay writes what every file has.
func (s *Store) lay(tx *bbolt.Tx, plan *site.Site) error {
	for _, name := range [][]byte{bucketMeta, bucketPlans, bucketWalks} {
		if _, err := tx.CreateBucket(name); err != nil {
			return err
		}
	}
	if err := putFormat(tx); err != nil {
		return err
	}
	if err := putState(tx, state{Program: s.opt.Version}); err != nil {
		return err
	}
	_, err := putPlan(tx, plan)
	return err
}

// Open opens a site file. Where it opens for writing, what a killed import left
// behind is removed. A file of an older format is brought up to date, with a copy
// beside it (see [Store.Backup]), also where it is then only read.
func Open(path string, opt Options) (*Store, error) {
	s, err := openOnce(path, opt)
	if !opt.ReadOnly || !errors.Is(err, ErrOlder) {
		return s, err
	}
	writing := opt
	writing.ReadOnly = false
	if s, err = openOnce(path, writing); err != nil {
		return nil, err
	}
	backup := s.backup
	if err := s.Close(); err != nil {
		return nil, err
	}
	if s, err = openOnce(path, opt); err == nil {
		s.backup = backup
	}
	return s, err
}

func openOnce(path string, opt Options) (*Store, error) {
	return open(path, opt, func(name string, flag int, mode os.FileMode) (*os.File, error) {
		f, err := os.OpenFile(name, flag&^os.O_CREATE, mode)
		if err != nil {
			return nil, err
		}
		if err := inspect(f, opt); err != nil {
			_ = f.Close()
			return nil, err
		}
		return f, nil
	}, func(s *Store) error {
		if !opt.ReadOnly {
			if err := s.migrate(); err != nil {
				return err
			}
		}
		if err := s.db.View(checkFormat); err != nil || opt.ReadOnly {
			return err
		}
		return s.clean()
	})
}

// inspect checks a file under its lock before bbolt reads it.
func inspect(f *os.File, opt Options) error {
	info, err := f.Stat()
	if err != nil {
		return err
	}
	if info.IsDir() {
		return &os.PathError{Op: "open", Path: f.Name(), Err: syscall.EISDIR}
	}
	if !info.Mode().IsRegular() || info.Size() == 0 {
		return foreign("it is empty or no ordinary file")
	}
	if err := lock(f, !opt.ReadOnly, opt.timeout()); err != nil {
		return err
	}
	if info, err = f.Stat(); err != nil { // it may have grown meanwhile
		return err
	}
	err = checkPages(f, info.Size())
	if errors.Is(err, errNoMeta) {
		return foreign("it has another format")
	}
	return err
}

func foreign(why string) error {
	return &Error{Kind: ErrForeign, What: "not a footrule site file: " + why, Do: "check the name"}
}

func (o Options) timeout() time.Duration {
	switch {
	case o.Timeout == 0:
		return DefaultTimeout
	case o.Timeout < 0:
		return time.Nanosecond
	}
	return o.Timeout
}

// open lets bbolt open a file that openFile gives, and begin do the first
// things. Whatever goes wrong, no lock stays behind.
func open(path string, opt Options, openFile func(string, int, os.FileMode) (*os.File, error), begin func(*Store) error) (*Store, error) {
	s := &Store{path: path, opt: opt, visits: map[uint64]map[string]uint64{}}
	var file *os.File
	err := s.guard(func() (err error) {
		s.db, err = bbolt.Open(path, 0o644, &bbolt.Options{
			Timeout:      opt.timeout(),
			ReadOnly:     opt.ReadOnly,
			FreelistType: bbolt.FreelistMapType,
			NoSync:       opt.NoSync,
			// Free pages are found by walking the tree at a writable opening, which
			// inspect does anyway; a list on disk is one more thing to break.
			NoFreelistSync: true,
			NoStatistics:   true,
			OpenFile: func(name string, flag int, mode os.FileMode) (*os.File, error) {
				f, err := openFile(name, flag, mode)
				file = f
				return f, err
			},
		})
		if err != nil {
			return err
		}
		s.db.AllocSize = growBy
		return begin(s)
	})
	if err == nil {
		return s, nil
	}
	if s.db != nil {
		_ = s.guard(s.db.Close)
	}
	if file != nil {
		_ = file.Close() // bbolt leaves it open where it panics
	}
	var own *Error
	if errors.As(err, &own) {
		own.Path = path
	}
	return nil, wrap(path, err)
}

// Close closes the file. It waits for calls that are under way.
func (s *Store) Close() error { return s.guard(s.db.Close) }

// Path gives the name under which the file was opened.
func (s *Store) Path() string { return s.path }

// Program gives the version that made the file.
func (s *Store) Program() (string, error) {
	var st state
	err := s.view(func(tx *bbolt.Tx) (err error) {
		st, err = getState(tx)
		return err
	})
	return st.Program, err
}

func (s *Store) view(f func(*bbolt.Tx) error) error {
	return s.guard(func() error { return s.db.View(f) })
}

func (s *Store) update(f func(*bbolt.Tx) error) error {
	return s.guard(func() error { return s.db.Update(f) })
}

// guard runs what reads or writes the file. Where the file changed under us (a
// disk that went away, another program that wrote into it), a fault or a panic
// of bbolt becomes an error.
func (s *Store) guard(f func() error) (err error) {
	old := debug.SetPanicOnFault(true)
	defer debug.SetPanicOnFault(old)
	defer func() {
		if r := recover(); r != nil {
			err = wrap(s.path, damagef("%v", r))
		}
	}()
	err = f()
	var n *newer
	if errors.As(err, &n) {
		return &Error{Path: s.path, Kind: ErrNewer, What: n.Error(), Do: "use a newer footrule"}
	}
	var own *Error
	if errors.As(err, &own) && own.Path == "" {
		own.Path = s.path
	}
	return wrap(s.path, err)
}

func getState(tx *bbolt.Tx) (state, error) {
	var st state
	meta := tx.Bucket(bucketMeta)
	for _, name := range [][]byte{bucketMeta, bucketPlans, bucketWalks} {
		if tx.Bucket(name) == nil {
			return st, damagef("its part %s is missing", name)
		}
	}
	return st, unseal(kindState, 0, keyState, meta.Get(keyState), &st)
}

func putState(tx *bbolt.Tx, st state) error {
	rec, err := seal(kindState, 0, keyState, st)
	if err != nil {
		return err
	}
	return tx.Bucket(bucketMeta).Put(keyState, rec)
}

// syncDir makes a new name in a directory durable.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer func() { _ = d.Close() }()
	if err := d.Sync(); err != nil && !errors.Is(err, errors.ErrUnsupported) && !errors.Is(err, syscall.EINVAL) {
		return err
	}
	return nil
}
