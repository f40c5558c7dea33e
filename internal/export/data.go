package export

import (
	"io"
	"path"
	"slices"

	"footrule/internal/coverage"
	"footrule/internal/position"
	"footrule/internal/site"
	"footrule/internal/walk"
)

// Data is what is given out.
type Data struct {
	Site   *site.Site
	Rev    uint64                // of Site
	Plans  map[uint64]*site.Site // further revisions, such as walks were made on
	Walks  []walk.Walk
	Key    string           // what partitions of this site are called; empty is its name
	Errors *position.Errors // nil where there are none
	Map    *coverage.Map    // nil where nothing is predicted
	Hidden Hiding           // what was done to the names of networks
}

// File is one file of an export. Name is relative, with slashes.
type File struct {
	Name  string
	Write func(io.Writer) error
}

// Format is one way to give a site out.
type Format struct {
	Name, Says string
	Ext        string // of its single file
	Errors     bool   // it shows position errors, where there are any
	Map        bool   // it shows a prediction, where there is one
	Files      func(*Data) []File
	// One writes all of it as a single file; nil where it is several by nature.
	One func(*Data, io.Writer) error
}

// Formats lists all formats.
func Formats() []Format { return slices.Clone(formats) }

var formats = []Format{
	{Name: "csv", Says: "walk.csv, one file a walk, with its header and marks beside it", Ext: ".csv", Files: csvFiles, One: oneCSV},
	{Name: "jsonl", Says: "JSON Lines: walks, visits, scans, readings, marks, without loss", Ext: ".jsonl",
		Files: func(d *Data) []File { return []File{{"walks.jsonl", d.writeLines}} }, One: (*Data).writeLines},
	{Name: "geojson", Says: "plan, access points, errors and contours, a file a floor and layer", Ext: ".geojson", Errors: true, Map: true, Files: geoFiles, One: oneGeo},
	{Name: "toml", Says: "the plan as site.toml, and the revisions that walks were made on", Ext: ".toml", Files: planFiles,
		One: func(d *Data, w io.Writer) error { return site.Write(w, d.Site) }},
	{Name: "parquet", Says: "readings and fixes as tables, partitioned by site and walk", Ext: ".parquet", Errors: true, Files: parquetFiles},
}

// walkFiles names a file for every walk: after its name, with more where two
// would meet.
func (d *Data) walkFiles(folder, ext string) []string {
	var names namer
	out := make([]string, len(d.Walks))
	for i := range d.Walks {
		name := d.Walks[i].Name
		if name == "" {
			name = d.Walks[i].ID
		}
		out[i] = path.Join(folder, names.of(name, d.Walks[i].ID)+ext)
	}
	return out
}
