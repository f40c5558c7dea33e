package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"footrule/internal/coverage"
	"footrule/internal/figure"

	"github.com/spf13/cobra"
)

// pngScale is how many pixels a PNG has for a unit of the page: sharp in print.
const pngScale = 2

// mapFlags ask for a map as a file.
type mapFlags struct {
	kind, out string
}

func (f *mapFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.kind, "map", "", "draw a map: "+strings.Join(coverage.Kinds(), ", "))
	cmd.Flags().StringVar(&f.out, "out", "", "file for the map, .svg or .png")
	complete(cmd, "map", "heard", "strongest", "hull", "bound", "error")
}

func (f *mapFlags) check() error {
	switch {
	case (f.kind == "") != (f.out == ""):
		return usage(fmt.Errorf("--map says what to draw and --out where to; give both"))
	case f.out == "":
		return nil
	}
	switch strings.ToLower(filepath.Ext(f.out)) {
	case ".svg", ".png":
		return nil
	}
	return usage(fmt.Errorf("--out %q; give a name that ends in .svg or .png", f.out))
}

// write draws every floor of a map and says what it wrote. With several floors
// each file carries its floor's ID.
func (f *mapFlags) write(m *coverage.Map, picture func(*coverage.FloorMap, string) (*figure.Plan, error), notes []string) ([]string, error) {
	var out []string
	for i := range m.Floors {
		plan, err := picture(&m.Floors[i], f.kind)
		if err != nil {
			return out, usage(fmt.Errorf("--map: %w", err))
		}
		plan.Notes = notes
		name := f.out
		if len(m.Floors) > 1 {
			ext := filepath.Ext(name)
			name = fmt.Sprintf("%s-%s%s", strings.TrimSuffix(name, ext), fileSafe(m.Site.Floors[m.Floors[i].Floor].ID), ext)
		}
		if err := writePicture(name, plan.Figure()); err != nil {
			return out, err
		}
		out = append(out, name)
	}
	return out, nil
}

// fileSafe keeps of an ID what any file system takes in a name.
func fileSafe(id string) string {
	return strings.Map(func(r rune) rune {
		if r == '/' || r == '\\' || r == ':' || strings.ContainsRune(`*?"<>|`, r) {
			return '_'
		}
		return r
	}, id)
}

// writePicture writes a figure as its name says, whole or not at all.
func writePicture(name string, f *figure.Figure) error {
	data := f.SVG()
	if strings.EqualFold(filepath.Ext(name), ".png") {
		var err error
		if data, err = f.PNG(pngScale); err != nil {
			return usage(err)
		}
	}
	return replaceFile(name, data)
}

// replaceFile writes to a file beside and renames it.
func replaceFile(name string, data []byte) error {
	t, err := os.CreateTemp(filepath.Dir(name), "."+filepath.Base(name)+".*")
	if err != nil {
		return err
	}
	defer os.Remove(t.Name()) // nothing to remove once it is renamed
	_, err = t.Write(data)
	if err == nil {
		err = t.Chmod(0o644)
	}
	if err == nil {
		err = t.Sync()
	}
	if e := t.Close(); err == nil {
		err = e
	}
	if err != nil {
		return err
	}
	return os.Rename(t.Name(), name)
}
