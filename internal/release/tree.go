package main

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"io/fs"
	"path"
	"slices"
	"strings"
	"time"
)

// file is a regular file of a tree; its path is relative, with slashes.
type file struct {
	path string
	mode fs.FileMode
	data []byte
}

// tree is the files of an archive, in any order.
type tree []file

// under is the tree one folder deeper.
func (t tree) under(folder string) tree {
	out := slices.Clone(t)
	for i := range out {
		out[i].path = path.Join(folder, out[i].path)
	}
	return out
}

// tarGz is the tree as a compressed archive: folders before what is in them, all
// sorted, owned by root and dated alike.
func (t tree) tarGz(date time.Time) ([]byte, error) {
	type entry struct {
		file
		folder bool
	}
	entries := map[string]entry{}
	for _, f := range t {
		entries[f.path] = entry{file: f}
		for dir := path.Dir(f.path); dir != "."; dir = path.Dir(dir) {
			entries[dir] = entry{file{path: dir, mode: 0o755}, true}
		}
	}
	var names []string
	for name := range entries {
		names = append(names, name)
	}
	slices.SortFunc(names, func(a, b string) int { // "a/b" before "a.c"
		return slices.Compare(strings.Split(a, "/"), strings.Split(b, "/"))
	})
	var packed bytes.Buffer
	w := tar.NewWriter(&packed)
	for _, name := range names {
		e := entries[name]
		h := &tar.Header{Typeflag: tar.TypeReg, Name: "./" + name, Mode: int64(e.mode), Size: int64(len(e.data)),
			ModTime: date, Uname: "root", Gname: "root", Format: tar.FormatGNU}
		if e.folder {
			h.Typeflag, h.Name = tar.TypeDir, h.Name+"/"
		}
		if err := w.WriteHeader(h); err != nil {
			return nil, err
		}
		if _, err := w.Write(e.data); err != nil {
			return nil, err
		}
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	return compress(packed.Bytes())
}

// compress is gzip without name or time.
func compress(data []byte) ([]byte, error) {
	var out bytes.Buffer
	w, err := gzip.NewWriterLevel(&out, gzip.BestCompression)
	if err != nil {
		return nil, err
	}
	if _, err := w.Write(data); err != nil {
		return nil, err
	}
	err = w.Close()
	return out.Bytes(), err
}
