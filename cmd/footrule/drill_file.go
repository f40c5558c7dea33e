package main

import (
	"fmt"
	"time"

	"footrule/internal/drill"
	"footrule/internal/radio/synthetic"
	"footrule/internal/walk"
	"footrule/store"
)

// drillIn gives what is hidden in an open site file, nil where that is no drill.
func drillIn(st *store.Store) (*drill.Record, error) {
	data, err := st.Drill()
	if err != nil || data == nil {
		return nil, err
	}
	r, err := drill.Unpack(data)
	if err != nil {
		return nil, usage(fmt.Errorf("%s: %w", st.Path(), err))
	}
	return r, nil
}

// hides reports whether a file is a drill whose truth was not shown, so that what
// the program finds is not to be shown either.
func hides(path string) (bool, error) {
	r, err := drillOf(path)
	return r != nil && !r.Open(), err
}

// drillOf is the record in a file, nil where that is no drill.
func drillOf(path string) (*drill.Record, error) {
	st, err := open(path, true)
	if err != nil {
		return nil, err
	}
	defer st.Close()
	return drillIn(st)
}

// shown is an error where what the program finds in a file is hidden.
func shown(path string) error {
	hidden, err := hides(path)
	if hidden {
		err = usage(fmt.Errorf("%s is a drill: %s; footrule drill grade %s", path, hiddenText, path))
	}
	return err
}

// hiddenText is said where a finding would stand.
const hiddenText = "what the program finds in a drill stays hidden until it is graded"

// openDrill opens a drill with its case.
func openDrill(path string, readOnly bool) (*store.Store, *drill.Record, *drill.Case, error) {
	st, err := open(path, readOnly)
	if err != nil {
		return nil, nil, nil, err
	}
	r, err := drillIn(st)
	if err == nil && r == nil {
		err = usage(fmt.Errorf("%s is no drill; footrule drill makes one", path))
	}
	var c *drill.Case
	if err == nil {
		if c, err = r.Case(); err != nil {
			err = usage(fmt.Errorf("%s: %w", path, err))
		}
	}
	if err != nil {
		st.Close()
		return nil, nil, nil, err
	}
	return st, r, c, nil
}

// keepDrill puts a record back.
func keepDrill(st *store.Store, r *drill.Record) error {
	data, err := r.Pack()
	if err != nil {
		return err
	}
	return st.PutDrill(data)
}

// drillScanner gives the scanner of a drill for who goes on walking it.
func drillScanner(st *store.Store, r *drill.Record) (*drill.Scanner, error) {
	c, err := r.Case()
	if err != nil {
		return nil, usage(fmt.Errorf("%s: %w", st.Path(), err))
	}
	walks, err := st.Walks()
	if err != nil {
		return nil, err
	}
	return drill.NewScanner(c, visitsOf(walks), synthetic.WallClock{})
}

func visitsOf(walks []walk.Walk) int {
	n := 0
	for i := range walks {
		n += len(walks[i].Visits)
	}
	return n
}

// opened notes that the truth was shown.
func opened(r *drill.Record, now time.Time) {
	if !r.Open() {
		r.Opened = now.UTC()
	}
}
