package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"

	"footrule/internal/site"
	"footrule/internal/walk"
	"footrule/store"
)

// open opens a site file, with the sentence that helps where it can't be.
func open(path string, readOnly bool) (*store.Store, error) {
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return nil, usage(fmt.Errorf("%s is not there; make it with: footrule new %s --from site.toml", path, path))
	}
	st, err := store.Open(path, store.Options{ReadOnly: readOnly, Version: version})
	if err == nil && st.Backup() != "" {
		fmt.Fprintf(os.Stderr, "footrule: %s was of an older format and is brought up to date; as it was it is kept as %s\n", path, st.Backup())
	}
	return st, err
}

// load reads the plan and the walks of a site file. With names, only those
// walks, by name or ID.
func load(path string, names []string) (*site.Site, []walk.Walk, error) {
	plan, _, walks, err := loadAt(path, names)
	return plan, walks, err
}

// loadAt is load with the revision of the plan.
func loadAt(path string, names []string) (*site.Site, uint64, []walk.Walk, error) {
	plan, rev, walks, err := planAndWalks(path, names)
	if err == nil && len(walks) == 0 {
		err = usage(fmt.Errorf("%s has no walks yet; make one with: footrule walk %s, or footrule import %s walk.csv", path, path, path))
	}
	if err != nil {
		return nil, 0, nil, err
	}
	return plan, rev, walks, nil
}

// planAndWalks reads the plan and the walks of a site file, which may have none
// unless some are named.
func planAndWalks(path string, names []string) (*site.Site, uint64, []walk.Walk, error) {
	st, err := open(path, true)
	if err != nil {
		return nil, 0, nil, err
	}
	defer st.Close()
	plan, rev, err := st.Plan()
	if err != nil {
		return nil, 0, nil, err
	}
	ids, err := walkIDs(st, path, names)
	if err != nil || len(ids) == 0 {
		return plan, rev, nil, err
	}
	walks, err := st.Walks(ids...)
	return plan, rev, walks, err
}

// walkIDs turns names or IDs of walks into IDs; without names, all of them.
func walkIDs(st *store.Store, path string, names []string) ([]string, error) {
	heads, err := st.Headers()
	if err != nil {
		return nil, err
	}
	var ids, known []string
	for _, h := range heads {
		known = append(known, h.Name)
		if len(names) == 0 {
			ids = append(ids, h.ID)
		}
	}
	for _, name := range names {
		var twice []string
		for _, h := range heads {
			if h.Name == name && !slices.ContainsFunc(heads, func(o walk.Header) bool { return o.ID == name }) {
				twice = append(twice, h.ID)
			}
		}
		if len(twice) > 1 {
			return nil, usage(fmt.Errorf("%s has %d walks called %q; name one by its ID: %q", path, len(twice), name, twice))
		}
		k := slices.IndexFunc(heads, func(h walk.Header) bool { return h.ID == name || len(twice) == 1 && h.ID == twice[0] })
		if k < 0 {
			return nil, usage(fmt.Errorf("no walk %q in %s; it has %q", name, path, known))
		}
		ids = append(ids, heads[k].ID)
	}
	return ids, nil
}
