package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"footrule/internal/drawing"
	"footrule/internal/input"
	"footrule/internal/site"
	"footrule/store"

	"github.com/paulmach/orb"
)

// pictures are those that a plan refers to, by their ID.
type pictures map[string][]byte

// keep puts the pictures into a site file.
func (p pictures) keep(st *store.Store) error {
	for _, b := range p {
		if _, err := st.PutPicture(b); err != nil {
			return err
		}
	}
	return nil
}

// readPicture reads a picture and makes a floor of it.
func (f *drawingFlags) readPicture(path string, o drawing.Options, m drawing.Making) (*drawing.Made, []byte, error) {
	switch {
	case len(f.layers) > 0:
		return nil, nil, usage(fmt.Errorf("%s is a picture and has no layers; leave --layer out", path))
	case f.turn != 0 || f.window != "" || f.join != "" || f.faces != "" || f.box || f.ratio != "":
		return nil, nil, usage(fmt.Errorf("%s is a picture: of the flags for drawings it takes --scale, --origin, --outline and those that name the floor", path))
	case o.MetresPerUnit == 0:
		return nil, nil, usage(fmt.Errorf(`%s: say how large it is by two of its pixels and how far apart they are in the building, such as --scale "120,80 920,80 12.5m"`, path))
	}
	var outline []orb.Point
	if f.outline != "" {
		var err error
		if outline, err = parsePlaces(f.outline); err != nil || len(outline) < 3 {
			return nil, nil, usage(fmt.Errorf(`--outline %q; write at least three pixels x,y with a blank between them`, f.outline))
		}
	}
	r, err := os.Open(path)
	if err != nil {
		return nil, nil, err
	}
	defer r.Close()
	p, err := drawing.ReadPicture(path, r)
	if err != nil {
		return nil, nil, err
	}
	made, err := p.Floor(path, m, o.MetresPerUnit, outline)
	if err != nil {
		return nil, nil, err
	}
	made.Floor.Drawing.File = path
	return made, p.Bytes, nil
}

// picturesOf reads the pictures that a site.toml refers to, which stand beside
// it, and notes their IDs in the plan.
func picturesOf(toml string, plan *site.Site) (pictures, error) {
	out := pictures{}
	for i := range plan.Floors {
		f := &plan.Floors[i]
		d := f.Drawing
		if d == nil || d.Kind != site.DrawingPicture {
			continue
		}
		path := d.File
		if !filepath.IsAbs(path) {
			path = filepath.Join(filepath.Dir(toml), path)
		}
		r, err := os.Open(path)
		if err != nil {
			return nil, usage(fmt.Errorf("the picture of floor %q: %w; put it there, or take [floor.drawing] out of %s", f.ID, err, toml))
		}
		p, err := drawing.ReadPicture(path, r)
		r.Close()
		if err != nil {
			return nil, err
		}
		if d.Picture != "" && d.Picture != p.ID {
			return nil, &input.Error{File: path, What: fmt.Sprintf("this is not the picture that floor %q of %s was made with", f.ID, toml), Want: "give that one, or take sha256 out after a look at the scale"}
		}
		d.File, d.Picture = path, p.ID
		out[p.ID] = p.Bytes
	}
	return out, nil
}

// nameFor sets how a plan names its pictures: a site.toml by the way from where
// it stands, a site file, which has them in it, by their name.
func nameFor(out string, plan *site.Site) error {
	for i := range plan.Floors {
		d := plan.Floors[i].Drawing
		if d == nil || d.Kind != site.DrawingPicture {
			continue
		}
		if !isTOML(out) {
			d.File = filepath.Base(d.File)
			continue
		}
		dir, err1 := filepath.Abs(filepath.Dir(out))
		file, err2 := filepath.Abs(d.File)
		rel, err3 := filepath.Rel(dir, file)
		if err := errors.Join(err1, err2, err3); err != nil {
			return err
		}
		d.File = filepath.ToSlash(rel)
	}
	return nil
}

// listPicture prints what a picture is.
func listPicture(sh *shell, path string, asJSON bool) error {
	r, err := os.Open(path)
	if err != nil {
		return err
	}
	defer r.Close()
	p, err := drawing.ReadPicture(path, r)
	if err != nil {
		return err
	}
	if asJSON {
		return printJSON(sh.out, map[string]any{"kind": string(site.DrawingPicture), "format": p.Format, "width_px": p.Width, "height_px": p.Height, "bytes": len(p.Bytes)})
	}
	fmt.Fprintf(sh.out, "%s: %s of %d by %d pixels, %d bytes\n", path, p.Format, p.Width, p.Height, len(p.Bytes))
	fmt.Fprintf(sh.out, "next: footrule new FILE --from %s --scale \"x1,y1 x2,y2 12.5m\"\n", path)
	return nil
}
