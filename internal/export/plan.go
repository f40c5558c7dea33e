package export

import (
	"fmt"
	"io"
	"maps"
	"slices"

	"footrule/internal/site"
)

// planFiles are the newest plan and the other revisions, each a site.toml.
func planFiles(d *Data) []File {
	out := []File{{"site.toml", func(w io.Writer) error { return site.Write(w, d.Site) }}}
	for _, rev := range slices.Sorted(maps.Keys(d.Plans)) {
		if rev != d.Rev {
			out = append(out, File{fmt.Sprintf("plans/revision-%d.toml", rev), func(w io.Writer) error { return site.Write(w, d.Plans[rev]) }})
		}
	}
	return out
}

// plansOf gives the further plans in the order of their revisions.
func plansOf(d *Data) []*site.Site {
	var out []*site.Site
	for _, rev := range slices.Sorted(maps.Keys(d.Plans)) {
		out = append(out, d.Plans[rev])
	}
	return out
}
