package main

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"footrule/internal/canvas"
	"footrule/internal/coverage"
	"footrule/internal/export"
	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/say"
	"footrule/internal/walk"

	"github.com/spf13/cobra"
)

// exportFlags are the flags of the command export.
type exportFlags struct {
	formats, walks  []string
	out, key        string
	networks, salt  string
	salvage, asJSON bool
}

func newExport(sh *shell) *cobra.Command {
	var f exportFlags
	cmd := &cobra.Command{
		Use:   "export FILE",
		Short: "Give a site's data out in open formats",
		Long: `export writes what FILE holds in formats that other programs read:

` + formatLines() + `
--out names a folder, or for one format a file by its ending, or - for standard
output. Each file is written whole or not at all, and equal input gives equal bytes.

BSSIDs and SSIDs of neighbours can be personal data. --bssid hash replaces all of
them, the site's own too, by keyed hashes: the same --salt gives the same names
again, so that exports of one site still fit together. --bssid drop numbers the
site's own and leaves out everything else.

A damaged file is refused. --salvage exports what of it is whole, and says what is
not; footrule check lists it first.`,
		Example: `  footrule export depot.footrule
  footrule export depot.footrule --format csv --walk monday --out monday.csv
  footrule export depot.footrule --format parquet --out lake --site depot-17 --bssid hash --salt 'ours alone'`,
		Args: files(1, 1, "a site FILE"),
		RunE: func(cmd *cobra.Command, args []string) error { return f.run(cmd.Context(), sh, args[0]) },
	}
	fl := cmd.Flags()
	fl.StringSliceVar(&f.formats, "format", nil, "formats to write: "+strings.Join(formatNames(), ", ")+" (default: by the ending of --out, else all)")
	fl.StringArrayVar(&f.walks, "walk", nil, "export only this walk (repeatable)")
	fl.StringVarP(&f.out, "out", "o", "", "folder or file to write (default: FILE's name with -export)")
	fl.StringVar(&f.networks, "bssid", string(export.Keep), "what becomes of BSSIDs and SSIDs: keep, hash, drop")
	fl.StringVar(&f.salt, "salt", "", "of the hashes (default: at random, and said)")
	fl.StringVar(&f.key, "site", "", "value of site= in the folders of parquet (default: the site's name)")
	fl.BoolVar(&f.salvage, "salvage", false, "export what is whole of a damaged file")
	fl.BoolVar(&f.asJSON, "json", false, "print one JSON object")
	complete(cmd, "format", formatNames()...)
	complete(cmd, "bssid", "keep", "hash", "drop")
	return cmd
}

func formatNames() []string {
	var out []string
	for _, f := range export.Formats() {
		out = append(out, f.Name)
	}
	return out
}

func formatLines() string {
	var b strings.Builder
	for _, f := range export.Formats() {
		fmt.Fprintf(&b, "  %-9s%s\n", f.Name, f.Says)
	}
	return b.String()
}

// chosen gives the formats that are asked for, and whether they go to one file.
func (f *exportFlags) chosen(site string) (formats []export.Format, single bool, err error) {
	all := export.Formats()
	if f.out == "" {
		f.out = strings.TrimSuffix(filepath.Base(site), filepath.Ext(site)) + "-export"
	}
	info, err := os.Stat(f.out)
	isFolder := err == nil && info.IsDir()
	for _, name := range f.formats {
		k := slices.IndexFunc(all, func(a export.Format) bool { return a.Name == name })
		if k < 0 {
			return nil, false, usage(fmt.Errorf("no format %q; use one of %s", name, strings.Join(formatNames(), ", ")))
		}
		formats = append(formats, all[k])
	}
	byEnding := slices.IndexFunc(all, func(a export.Format) bool { return a.One != nil && strings.EqualFold(filepath.Ext(f.out), a.Ext) })
	switch {
	case isFolder:
	case f.out == "-" || byEnding >= 0:
		if len(formats) == 0 && byEnding >= 0 {
			formats = all[byEnding : byEnding+1]
		}
		if len(formats) != 1 || formats[0].One == nil {
			return nil, false, usage(fmt.Errorf("--out %s takes one of the formats that are a single file; name it with --format, or give a folder", f.out))
		}
		single = true
	case err == nil:
		return nil, false, usage(fmt.Errorf("%s is a file, and several are to be written; give --out a folder", f.out))
	}
	if sameFile(f.out, site) {
		return nil, false, usage(fmt.Errorf("--out %s is the site file itself", f.out))
	}
	if len(formats) == 0 {
		formats = all
	}
	return formats, single, nil
}

func (f *exportFlags) run(ctx context.Context, sh *shell, path string) error {
	how, err := export.ParseHiding(f.networks)
	if err != nil {
		return usage(fmt.Errorf("--bssid %w", err))
	}
	if f.salt != "" && how != export.Hash {
		return usage(errors.New("--salt belongs to --bssid hash"))
	}
	formats, single, err := f.chosen(path)
	if err != nil {
		return err
	}
	if single && f.out == "-" && f.asJSON {
		return usage(errors.New("--out - and --json both want standard output; give one of them"))
	}
	g, err := f.gather(sh, path)
	if err != nil {
		return err
	}
	if how == export.Hash && f.salt == "" {
		var b [16]byte
		if _, err := rand.Read(b[:]); err != nil {
			return err
		}
		f.salt = hex.EncodeToString(b[:])
		g.notes = append(g.notes, fmt.Sprintf("hashed with the salt %s: give it with --salt to get the same names again, and keep it from whoever gets the data", f.salt))
	}
	var left int
	if g.data, left = g.data.Hide(how, f.salt); left > 0 {
		g.notes = append(g.notes, fmt.Sprintf("%s of networks that are not on the plan left out", say.Count(left, "reading")))
	}
	if err := g.compute(ctx, formats); err != nil {
		return err
	}
	if err := f.write(sh, g, formats, single); err != nil {
		return err
	}
	return f.report(sh, path, g, how)
}

// compute adds what is not stored: position errors and a prediction, as far as the
// formats show them and the walks give them.
func (g *gathered) compute(ctx context.Context, formats []export.Format) error {
	d := g.data
	if len(d.Walks) == 0 {
		return nil
	}
	if slices.ContainsFunc(formats, func(a export.Format) bool { return a.Errors }) {
		e, err := position.Judge(ctx, d.Site, d.Walks, position.Options{Seed: 1})
		switch {
		case ctx.Err() != nil:
			return errStopped
		case err != nil:
			g.notes = append(g.notes, fmt.Sprintf("no fixes: %v", err))
		default:
			d.Errors = e
		}
	}
	if slices.ContainsFunc(formats, func(a export.Format) bool { return a.Map }) {
		fit, err := propagation.Estimate(propagation.Observe(d.Site, walk.Stays(d.Site, d.Walks, walk.ByVisit)), propagation.Options{})
		if err == nil {
			d.Map, err = coverage.Predict(ctx, d.Site, fit, coverage.Options{})
		}
		switch {
		case ctx.Err() != nil:
			return errStopped
		case err != nil:
			g.notes = append(g.notes, fmt.Sprintf("no contours: %v", err))
		}
	}
	return nil
}

// write writes the files and remembers their names.
func (f *exportFlags) write(sh *shell, g *gathered, formats []export.Format, single bool) error {
	if single && f.out == "-" {
		return formats[0].One(g.data, sh.out)
	}
	dir, files := f.out, []export.File{}
	if single {
		dir = filepath.Dir(f.out)
		one := formats[0].One
		files = append(files, export.File{Name: filepath.Base(f.out), Write: func(w io.Writer) error { return one(g.data, w) }})
	} else {
		for _, a := range formats {
			files = append(files, a.Files(g.data)...)
		}
	}
	if len(files) == 0 {
		return usage(errors.New("there is nothing to write: the site has no walks yet"))
	}
	out, err := openFolder(dir)
	if err != nil {
		return err
	}
	defer out.Close()
	for _, one := range files {
		if err := out.write(one.Name, one.Write); err != nil {
			return fmt.Errorf("%s was not written: %w", filepath.Join(dir, filepath.FromSlash(one.Name)), err)
		}
		g.files = append(g.files, filepath.Join(dir, filepath.FromSlash(one.Name)))
	}
	return nil
}

type jsonExport struct {
	File     string         `json:"file"`
	Out      string         `json:"out"`
	Networks export.Hiding  `json:"networks"`
	Salt     *string        `json:"salt"`
	Files    []string       `json:"files"`
	Walks    []jsonWalkSize `json:"walks"`
	Notes    []string       `json:"notes"`
	Faults   []jsonFault    `json:"faults"` // of a damaged file
}

func (f *exportFlags) report(sh *shell, path string, g *gathered, how export.Hiding) error {
	if f.asJSON {
		out := jsonExport{File: path, Out: f.out, Networks: how, Files: append([]string{}, g.files...), Walks: []jsonWalkSize{}, Notes: append([]string{}, g.notes...), Faults: faultsJSON(g.faults)}
		if how == export.Hash {
			out.Salt = &f.salt
		}
		for i := range g.data.Walks {
			h := &g.data.Walks[i].Header
			out.Walks = append(out.Walks, jsonWalkSize{h.ID, h.Name, sizeOf(&g.data.Walks[i])})
		}
		return printJSON(sh.out, out)
	}
	for _, n := range g.notes {
		fmt.Fprintf(sh.err, "footrule: %s\n", canvas.Clean(n))
	}
	if f.out == "-" {
		return nil
	}
	for _, name := range g.files {
		fmt.Fprintln(sh.out, name)
	}
	return nil
}
