package store

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"sync/atomic"
	"time"

	"footrule/internal/input"
	"footrule/internal/site"
	"footrule/internal/walk"

	"go.etcd.io/bbolt"
)

// Report says what an import did.
type Report struct {
	Walk         walk.Header
	Visits       int
	Scans        int
	Readings     int
	Unknown      int      // readings of BSSIDs that are on no radio of the site
	Warnings     []string // what was left out or looks odd, in sentences
	AlreadyThere bool     // the file was imported before: nothing was added
}

// Progress is told how far an import is: bytes read, of total (what the caller
// gave as size), and rows taken.
type Progress func(bytesRead, total int64, readings int)

// Import adds a walk.csv as one walk: all of it, or nothing when anything is
// wrong, the disk is full or the process is killed. Memory does not grow with
// the number of rows.
//
// name is how the user called the file, for errors (*input.Error). header.Name
// must not be that of another walk; header.ID, Started, Digest, Source, PlanRev
// and Program are set where they are empty. Content that was imported before,
// under whatever name, is not added again. progress may be nil.
func (s *Store) Import(header walk.Header, name string, r io.Reader, size int64, progress func(bytesRead, total int64, readings int)) (Report, error) {
	return s.ImportContext(context.Background(), header, name, r, size, progress)
}

// ImportContext is [Store.Import] that ctx can end; then nothing was added. It
// returns after the Read that is under way.
func (s *Store) ImportContext(ctx context.Context, header walk.Header, name string, r io.Reader, size int64, progress Progress) (rep Report, err error) {
	if s.opt.ReadOnly {
		return rep, &Error{Path: s.path, Kind: ErrReadOnly, What: "the file was opened for reading only", Do: "open it for writing"}
	}
	plan, rev, err := s.Plan()
	if err != nil {
		return rep, err
	}
	ctx, cancel := context.WithCancelCause(ctx)
	rows := readRows(ctx, r, name, plan)
	defer rows.drain(cancel)

	im := &pendingImport{s: s, file: name, gather: walk.NewGatherer(name, plan), pack: newPacker()}
	if err := s.update(im.begin); err != nil {
		return rep, err
	}
	defer func() {
		if err != nil {
			// Where even that fails (a full disk), nobody sees what is left, and the
			// next opening for writing removes it.
			_ = s.update(im.drop)
		}
	}()
	for batch := range rows.full {
		for i := range batch {
			if err := im.gather.Add(&batch[i]); err != nil {
				return rep, err
			}
		}
		rows.free <- batch
		if im.gather.Held() >= spillRows {
			if err := s.update(im.spill); err != nil {
				return rep, err
			}
		}
		if progress != nil {
			progress(rows.read.Load(), size, im.gather.Tally().Readings)
		}
	}
	if err := rows.end(ctx, name); err != nil {
		return rep, err
	}
	if err := im.gather.Finish(); err != nil {
		return rep, err
	}
	if header.Digest == "" {
		header.Digest = hex.EncodeToString(rows.sum.Sum(nil))
	}
	if header.ID == "" {
		header.ID = "import-" + header.Digest[:min(16, len(header.Digest))]
	}
	if header.Source == "" {
		header.Source = walk.Imported
	}
	if header.PlanRev == 0 {
		header.PlanRev = rev
	}
	header.Completed = true
	rep, err = s.finish(im, header)
	if err != nil {
		return Report{}, err
	}
	if !rep.AlreadyThere {
		rep.Warnings = im.gather.Tally().Warnings(rows.csv.ExtraColumns())
	}
	if progress != nil {
		progress(rows.read.Load(), size, im.gather.Tally().Readings)
	}
	return rep, nil
}

// finish makes the walk visible, unless its content is there already.
func (s *Store) finish(im *pendingImport, header walk.Header) (rep Report, err error) {
	var already bool
	err = s.view(func(tx *bbolt.Tx) error {
		rep, already, err = meets(tx, header)
		return err
	})
	if err != nil {
		return rep, err
	}
	if already {
		return rep, s.update(im.drop)
	}
	if err := s.update(im.spill); err != nil {
		return rep, err
	}
	for more := true; more; {
		if err := s.update(func(tx *bbolt.Tx) (err error) {
			more, err = im.join(tx)
			return err
		}); err != nil {
			return rep, err
		}
	}
	err = s.update(func(tx *bbolt.Tx) error {
		// Another goroutine may have added a walk meanwhile.
		if rep, already, err = meets(tx, header); err != nil {
			return err
		}
		if already {
			return im.drop(tx)
		}
		e, err := im.show(tx, header)
		if err != nil {
			return err
		}
		rep = reportOf(e)
		rep.Unknown = im.gather.Tally().Unknown
		return nil
	})
	return rep, err
}

func reportOf(e *entry) Report {
	return Report{Walk: e.Header, Visits: e.Visits, Scans: e.Scans, Readings: e.Readings}
}

// meets looks for a walk of the same content, name or ID.
func meets(tx *bbolt.Tx, h walk.Header) (Report, bool, error) {
	all, err := entries(tx)
	if err != nil {
		return Report{}, false, err
	}
	for i := range all {
		if all[i].Header.Digest == h.Digest {
			rep := reportOf(&all[i])
			rep.AlreadyThere = true
			return rep, true, nil
		}
	}
	for i := range all {
		if o := &all[i].Header; o.ID == h.ID || h.Name != "" && o.Name == h.Name {
			return Report{}, false, &Error{Kind: ErrExists, What: fmt.Sprintf("a walk %q with other content is there already", o.Name), Do: "name this one with --walk NAME"}
		}
	}
	return Report{}, false, nil
}

// rowReader reads and checks rows in a goroutine of its own, while the caller
// gathers and stores those before.
type rowReader struct {
	full chan []walk.Row
	free chan []walk.Row
	read atomic.Int64
	sum  hash.Hash
	csv  *walk.CSVReader
	err  error // set before full is closed
}

const (
	batchRows = 1024
	batches   = 4
)

func readRows(ctx context.Context, r io.Reader, file string, plan *site.Site) *rowReader {
	rr := &rowReader{full: make(chan []walk.Row, batches), free: make(chan []walk.Row, batches), sum: sha256.New()}
	for range batches {
		rr.free <- make([]walk.Row, 0, batchRows)
	}
	go func() {
		defer close(rr.full)
		rr.err = rr.run(ctx, r, file, plan)
	}()
	return rr
}

func (rr *rowReader) run(ctx context.Context, r io.Reader, file string, plan *site.Site) (err error) {
	rr.csv, err = walk.NewCSVReader(&tally{ctx, r, rr}, file, plan)
	if err != nil {
		return err
	}
	for {
		var batch []walk.Row
		select {
		case batch = <-rr.free:
		case <-ctx.Done():
			return context.Cause(ctx)
		}
		batch = batch[:0]
		for err == nil && len(batch) < batchRows {
			var row *walk.Row
			if row, err = rr.csv.Next(); err == nil {
				batch = append(batch, *row)
			}
		}
		select {
		case rr.full <- batch:
		case <-ctx.Done():
			return context.Cause(ctx)
		}
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
	}
}

// end gives how reading ended.
func (rr *rowReader) end(ctx context.Context, file string) error {
	err := rr.err
	if err == nil {
		err = context.Cause(ctx)
	}
	var in *input.Error
	if err == nil || errors.As(err, &in) {
		return err
	}
	return fmt.Errorf("%s: cannot be read to its end, nothing was added: %w", file, err)
}

// drain ends the goroutine and waits for it.
func (rr *rowReader) drain(cancel context.CancelCauseFunc) {
	cancel(context.Canceled)
	for range rr.full {
	}
}

// tally counts and digests what is read.
type tally struct {
	ctx context.Context
	r   io.Reader
	rr  *rowReader
}

func (t *tally) Read(p []byte) (int, error) {
	if t.ctx.Err() != nil {
		return 0, context.Cause(t.ctx)
	}
	n, err := t.r.Read(p)
	t.rr.sum.Write(p[:n])
	t.rr.read.Add(int64(n))
	return n, err
}

// earliest gives the earlier of two times; the zero time is none.
func earliest(a, b time.Time) time.Time {
	if a.IsZero() || b.Before(a) {
		return b
	}
	return a
}
