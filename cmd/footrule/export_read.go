package main

import (
	"errors"
	"fmt"
	"maps"
	"slices"

	"footrule/internal/export"
	"footrule/internal/site"
	"footrule/internal/walk"
	"footrule/store"
)

// gathered is what an export is made from, and what there is to say of it.
type gathered struct {
	data   *export.Data
	notes  []string
	files  []string
	faults []store.Fault // of a damaged file
}

// gather reads the site, with --salvage past what is damaged.
func (f *exportFlags) gather(sh *shell, path string) (*gathered, error) {
	g := &gathered{data: &export.Data{Key: f.key}}
	var err error
	if f.salvage {
		err = f.salvaged(sh, path, g)
	} else {
		err = f.sound(path, g)
	}
	return g, err
}

// sound reads a site file, all of it or nothing.
func (f *exportFlags) sound(path string, g *gathered) error {
	st, err := open(path, true)
	if err != nil {
		return err
	}
	defer st.Close()
	d := g.data
	if d.Site, d.Rev, err = st.Plan(); err != nil {
		return err
	}
	if d.Plans, err = plansBefore(st, d.Rev); err != nil {
		return err
	}
	ids, err := walkIDs(st, path, f.walks)
	if err != nil || len(ids) == 0 {
		return err
	}
	d.Walks, err = st.Walks(ids...)
	return err
}

// plansBefore reads the revisions of the plan before the newest.
func plansBefore(st *store.Store, newest uint64) (map[uint64]*site.Site, error) {
	out := map[uint64]*site.Site{}
	for rev := uint64(1); rev < newest; rev++ {
		plan, err := st.PlanAt(rev)
		if err != nil {
			return nil, err
		}
		out[rev] = plan
	}
	return out, nil
}

// salvaged reads what is whole of a file, and says what is not.
func (f *exportFlags) salvaged(sh *shell, path string, g *gathered) error {
	w, err := store.Salvage(path)
	if err != nil {
		return err
	}
	d := g.data
	g.faults = w.Faults
	if !f.asJSON {
		tellFaults(sh, path, w.Faults)
	}
	if d.Site, d.Rev = w.Newest(); d.Site == nil {
		return &exit{exitNo, errors.New(path + ": no revision of the plan is whole, so that there is nothing to hold the walks to; go back to a copy")}
	}
	d.Plans = maps.Clone(w.Plans)
	delete(d.Plans, d.Rev)
	d.Walks = w.Walks
	if len(f.walks) > 0 {
		for _, name := range f.walks {
			if !slices.ContainsFunc(w.Walks, func(o walk.Walk) bool { return o.Name == name || o.ID == name }) {
				return usage(fmt.Errorf("no walk %q that could be read in %s", name, path))
			}
		}
		d.Walks = slices.DeleteFunc(slices.Clone(w.Walks), func(o walk.Walk) bool { return !slices.Contains(f.walks, o.Name) && !slices.Contains(f.walks, o.ID) })
	}
	return nil
}
